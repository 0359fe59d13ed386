package link

import (
	"context"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/holdline/holdline/controller"
	"github.com/holdline/holdline/harness"
	"github.com/holdline/holdline/harness/link/wire"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// liar is a rig that shakes hands and then says what a script tells it.
type liar struct {
	script []byte
	in     wire.Deframer
	out    wire.Frame
	have   []byte
	hello  wire.Hello
	nonce  uint32
	said   [][]byte // good answers to the step
}

func (l *liar) String() string                     { return "liar" }
func (l *liar) Dial(context.Context) (Port, error) { return l, nil }
func (l *liar) Close() error                       { return nil }

func (l *liar) Read(p []byte, _ time.Time) (int, error) {
	if len(l.have) == 0 {
		return 0, ErrNothing
	}
	n := copy(p, l.have)
	l.have = l.have[n:]
	return n, nil
}

func (l *liar) Write(p []byte, _ time.Time) (int, error) {
	for _, b := range p {
		if !l.in.Feed(b) {
			continue
		}
		body, ok := wire.Body(l.in.Data(), l.nonce)
		if !ok {
			continue
		}
		switch wire.Type(body[0]) {
		case wire.Probe:
			l.hello.Append(l.out.Begin(wire.HelloMsg))
			l.have = append(l.have, l.out.Seal(0, true)...)
		case wire.StartMsg:
			var m wire.Start
			var r wire.Reader
			r.Reset(body[1:])
			m.Parse(&r)
			l.nonce = m.Nonce
			w := l.out.Begin(wire.Started)
			w.U32(m.Nonce)
			w.U8(0)
			w.U32(0)
			l.have = append(l.have, l.out.Seal(0, true)...)
		case wire.Step:
			l.play()
		}
	}
	return len(p), nil
}

// play says the next piece of the script.
func (l *liar) play() {
	if len(l.script) < 2 {
		return
	}
	op, n := l.script[0], min(int(l.script[1]), len(l.script)-2)
	arg := l.script[2 : 2+n]
	l.script = l.script[2+n:]
	switch op % 4 {
	case 0:
		l.have = append(append(l.have, arg...), 0)
	case 1, 2:
		seq := 1 + uint16(op>>2)%3 - 1
		w := l.out.Begin(wire.Answer)
		w.U16(seq)
		w.Put(arg)
		if seq == 1 {
			l.said = append(l.said, append([]byte(nil), arg...))
		}
		l.have = append(l.have, l.out.Seal(l.nonce, false)...)
	case 3:
		if len(arg) == 0 {
			return
		}
		l.out.Begin(wire.Type(arg[0])).Put(arg[1:])
		nonce := uint32(0)
		if t := wire.Type(arg[0]); t.InSession() {
			nonce = l.nonce
			if t == wire.Answer && len(arg) > 3 && arg[1] == 1 && arg[2] == 0 {
				l.said = append(l.said, append([]byte(nil), arg[3:]...))
			}
		}
		l.have = append(l.have, l.out.Seal(nonce, false)...)
	}
}

var fuzzCal = func() *controller.Calibration {
	cal := controller.Calibration{Name: controller.NameOf("fuzz"), Period: controller.Millisecond}
	cal.Engine.Cylinders = 2
	cal.Engine.Order = [controller.MaxCylinders]uint8{1, 2}
	cal.Engine.CrankingBelow = 400 * controller.RPM
	cal.Channels[controller.EngineSpeed] = controller.ChannelSpec{Fitted: true, High: 150000}
	cal.Stages[0] = controller.Stage{Kind: controller.Main, Ceiling: controller.Curve{Const: int32(9000 * controller.RPM)},
		Cut: controller.Cut{Medium: controller.Both, Style: controller.Soft, Band: 200 * controller.RPM}}
	if !cal.Seal(&controller.Problems{}) {
		panic("the calibration of the fuzz test is not usable")
	}
	return &cal
}()

// checkHost lets a rig answer one step with whatever a script says. Either the
// unit takes an answer that has the step's number and reads, byte by byte, as
// section 5 of WIRE.md says, or it ends with an error of ours.
func checkHost(t require.TestingT, outputs bool, script []byte, step func(*Unit, *harness.Frame) error) {
	l := &liar{script: script, hello: wire.HostedHello()}
	l.hello.Features = wire.TakesLockstep | wire.OwnCalibration
	if outputs {
		l.hello.Features |= wire.ReportsOutputs
	}
	u := NewUnit(l, Options{Limits: Limits{Open: time.Minute, Answer: time.Minute, Retries: 3}})
	_, err := u.Open(harness.Session{Calibration: fuzzCal})
	require.NoError(t, err)
	var f harness.Frame
	f.In.Set(controller.EngineSpeed, 30000)
	f.Add(harness.Event{Cylinder: 1, Cycle: 1, Kind: harness.FuelCommit, Angle: 100})
	f.Add(harness.Event{Cylinder: 2, Cycle: 1, Kind: harness.SparkCommit, Angle: 200})
	err = step(u, &f)
	if err != nil {
		var e *Error
		require.ErrorAs(t, err, &e)
		return
	}
	require.NotEmpty(t, l.said, "a step without an answer is no step")
	for _, body := range l.said {
		if reads(body, outputs, &f) {
			return
		}
	}
	require.Fail(t, "the frame holds what no answer said")
}

// reads is a simple twin of the answer's decoder: it reports whether a body
// behind its number is well formed and says what the frame holds.
func reads(body []byte, outputs bool, f *harness.Frame) bool {
	at, ok := 0, true
	next := func() byte {
		if at >= len(body) {
			ok = false
			return 0
		}
		at++
		return body[at-1]
	}
	varint := func() (x uint64) {
		for shift := 0; ok && shift < 64; shift += 7 {
			b := next()
			x |= uint64(b&0x7f) << shift
			if b < 0x80 {
				break
			}
		}
		return x
	}
	difference := func() int32 {
		u := uint32(varint())
		return int32(u>>1) ^ -int32(u&1)
	}
	if next()&2 != 0 {
		next()
		next()
	}
	var registers [2]int32 // mixture, timing
	if outputs {
		set := varint()
		for i := range 61 {
			if set>>i&1 == 0 {
				continue
			}
			d := difference()
			switch i {
			case 2:
				registers[1] = d
			case 7:
				registers[0] = d
			}
		}
	}
	for i := range f.Events[:2] {
		e := &f.Events[i]
		b := next()
		given := b&1 != 0
		value := registers[i]
		if i == 0 && !given {
			value = 0
		}
		if b&0x80 != 0 {
			value += difference()
		}
		got := int32(e.Mixture)
		if i == 1 {
			got = int32(e.Timing)
			ok = ok && e.Unburnt == (b&2 != 0) && e.Drop == (b&4 != 0)
		}
		ok = ok && e.Give == given && uint8(e.Why) == b>>3&15 && got == value
	}
	return ok && at == len(body)
}

func FuzzHost(f *testing.F) {
	f.Add(false, []byte{5, 3, 0, 9, 9})
	f.Add(true, []byte{5, 8, 2, 0, 0, 4, 20, 9, 9, 0})
	f.Add(false, []byte{0, 3, 1, 2, 3, 7, 3, 0x81, 1, 1, 5, 3, 0, 0x89, 2, 9})
	f.Fuzz(func(t *testing.T, outputs bool, script []byte) { checkHost(t, outputs, script, (*Unit).Step) })
}

// The fuzz target finds a bench that goes on when its patience ends, and one
// that mixes up the two kinds of commit; it finds no fault with ours.
func TestFuzzHostFindsAPlantedFault(t *testing.T) {
	assert.True(t, faulted(func(u *Unit, f *harness.Frame) error {
		if err := u.Step(f); err != nil && err.(*Error).Kind != Timeout {
			return err
		}
		return nil
	}))
	assert.True(t, faulted(func(u *Unit, f *harness.Frame) error {
		err := u.Step(f)
		f.Events[0].Give, f.Events[1].Give = f.Events[1].Give, f.Events[0].Give
		return err
	}))
	assert.False(t, faulted((*Unit).Step))
}

// faulted tries scripts until one shows a fault.
func faulted(step func(*Unit, *harness.Frame) error) bool {
	r := rand.New(rand.NewPCG(7, 7))
	for range 3000 {
		script := make([]byte, 2+r.IntN(14))
		for i := range script {
			script[i] = byte(r.IntN(10) * (1 + 13*r.IntN(2)))
		}
		c := &catcher{}
		func() {
			defer func() {
				if x := recover(); x != nil && x != caught {
					panic(x)
				}
			}()
			checkHost(c, r.IntN(2) == 0, script, step)
		}()
		if c.failed {
			return true
		}
	}
	return false
}

// catcher notes a failure instead of failing.
type catcher struct{ failed bool }

var caught = new(int)

func (c *catcher) Errorf(string, ...any) { c.failed = true }
func (c *catcher) FailNow()              { c.failed = true; panic(caught) }
