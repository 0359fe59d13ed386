package wire

import (
	"testing"

	"github.com/holdline/holdline/controller"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// heard takes apart what a rig sent.
func heard(t require.TestingT, p []byte, nonce uint32) (bodies [][]byte) {
	var d Deframer
	for _, b := range p {
		if d.Feed(b) {
			body, ok := Body(d.Data(), nonce)
			require.True(t, ok, "a rig sends good frames only")
			bodies = append(bodies, append([]byte(nil), body...))
		}
	}
	require.True(t, d.Idle())
	require.Zero(t, d.Dropped)
	return bodies
}

// inSession is a plain rig in a session.
func inSession(t testing.TB) (*plainRig, *exchange) {
	rig := newPlainRig()
	x := &exchange{rig: rig}
	exampleStart().Append(x.out.Begin(StartMsg))
	rig.Receive(x.out.Seal(0, false))
	require.True(t, rig.InSession())
	rig.take()
	return rig, x
}

func oneCommit(tick uint32) *Item {
	it := &Item{Tick: tick, N: 1}
	it.Events[0] = Event{Cylinder: 1, Cycle: controller.Cycle(tick), Angle: 100}
	return it
}

// The retry rule: the kept answer comes again, byte for byte, and nothing moves;
// beyond the window the rig says what it expects.
func TestRepetitionMovesNothing(t *testing.T) {
	rig, x := inSession(t)
	var frames, answers [][]byte
	for n := range 10 {
		frame := append([]byte(nil), x.step(uint16(n+1), oneCommit(uint32(n)))...)
		rig.Receive(frame)
		frames, answers = append(frames, frame), append(answers, rig.take())
	}
	ticks, commits := rig.ticks, rig.commits
	for range 3 {
		for back := 1; back <= 2; back++ {
			rig.Receive(frames[len(frames)-back])
			require.Equal(t, append([]byte{0}, answers[len(frames)-back]...), rig.take())
		}
	}
	rig.Receive(frames[len(frames)-3]) // the window of this rig is 2
	bodies := heard(t, rig.take(), exampleNonce)
	require.Len(t, bodies, 1)
	require.Equal(t, Report, Type(bodies[0][0]))
	require.Equal(t, ticks, rig.ticks)
	require.Equal(t, commits, rig.commits)
}

func TestSequenceWrapsAround(t *testing.T) {
	rig, x := inSession(t)
	for n := range 66_000 {
		it := oneCommit(uint32(n))
		it.Key = n%65536 == 0
		rig.Receive(x.step(uint16(n+1), it))
		rig.sent = rig.sent[:0]
	}
	require.Equal(t, 66_000, rig.ticks)
	frame := append([]byte(nil), x.step(uint16(66_000%65536), oneCommit(66_000))...)
	rig.Receive(frame)
	require.Equal(t, 66_000, rig.ticks)
}

// A start of the session in progress is answered again without a reset; one with
// an old token is refused; one of another session begins it.
func TestStartsAreSafeToRepeat(t *testing.T) {
	rig, x := inSession(t)
	rig.Receive(x.step(1, oneCommit(0)))
	exampleStart().Append(x.out.Begin(StartMsg))
	again := append([]byte(nil), x.out.Seal(0, false)...)
	rig.Receive(again)
	require.Equal(t, 1, rig.begins)
	rig.Receive(x.step(2, oneCommit(1)))
	require.Equal(t, 2, rig.ticks)

	s := exampleStart()
	s.Nonce = 99
	s.Append(x.out.Begin(StartMsg))
	rig.Receive(x.out.Seal(0, false)) // the token of the first session
	require.Equal(t, 1, rig.begins)
	s.Token = rig.Hello.Token
	s.Append(x.out.Begin(StartMsg))
	rig.take()
	rig.Receive(x.out.Seal(0, false))
	require.Equal(t, 2, rig.begins)
	require.EqualValues(t, 99, rig.nonce)

	rig.Receive(x.step(3, oneCommit(2))) // of the session before
	require.Equal(t, 2, rig.ticks)
	rig.Receive(again)
	require.EqualValues(t, 99, rig.nonce, "an old start changes nothing")
}

func TestSilenceDropsOutputsOnce(t *testing.T) {
	rig, x := inSession(t)
	rig.Receive(x.step(1, oneCommit(0)))
	offs := rig.offs
	for us := uint32(0); us <= 300_000; us += 10_000 {
		rig.micros = us
		rig.Poll()
		dropped := rig.offs > offs
		assert.Equal(t, us >= 90_000, dropped, "%d us", us)
	}
	require.Equal(t, offs+1, rig.offs)
	rig.take()
	rig.Receive(x.step(2, oneCommit(1)))
	body := heard(t, rig.take(), exampleNonce)[0]
	require.NotZero(t, AnswerFlags(body[3])&WasSilent)
	rig.Receive(x.step(3, oneCommit(2)))
	body = heard(t, rig.take(), exampleNonce)[0]
	require.Zero(t, AnswerFlags(body[3])&WasSilent)

	rig.micros = 0xffff_ff00 // the clock wraps
	rig.Receive(x.step(4, oneCommit(3)))
	offs = rig.offs
	rig.micros += 80_000
	rig.Poll()
	require.Equal(t, offs, rig.offs)
	rig.micros += 10_000
	rig.Poll()
	require.Equal(t, offs+1, rig.offs)
}

func TestIdleRigAnnouncesItself(t *testing.T) {
	rig := newPlainRig()
	for us := uint32(0); us < 1_000_000; us += 10_000 {
		rig.micros = us
		rig.Poll()
	}
	bodies := heard(t, rig.take(), 0)
	require.Len(t, bodies, 4)
	for _, b := range bodies {
		require.Equal(t, HelloMsg, Type(b[0]))
	}
}

// Malformed steps with a right checksum move nothing.
func TestMalformedStepsMoveNothing(t *testing.T) {
	for name, items := range map[string][]byte{
		"empty":                  {},
		"cut in a value":         {0, 1, 0x80},
		"rest behind the item":   {1 << 1, 1},
		"only with a tick":       {flagOnly | flagTick, 0, 0, 0, 0},
		"only without events":    {flagOnly},
		"key without a tick":     {flagKey, 0},
		"no such channel":        {0, 0x80, 0x80, 0x80, 0x80, 0x01, 2},
		"fresh and odd":          {flagOdd, 1, 2, 1, 2, 2},
		"no events":              {flagEvents, 0, 0},
		"cylinder 0":             {flagEvents, 0, 1, 0},
		"cylinder 13":            {flagEvents, 0, 1, 13},
		"angle beyond a cycle":   {flagEvents, 0, 1, 1 | eventAngle, 0xc0, 0xb2, 0x04},
		"reserved bit":           {flagEvents, 0, 1, 0x81},
		"more items than taken":  {0, 0, 0, 0, 0, 0},
		"more events than taken": {flagEvents, 0, 9, 1, 1, 1, 1, 1, 1, 1, 1, 1},
		"varint without end":     {0, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff},
	} {
		rig, x := inSession(t)
		before := rig.mem
		w := x.out.Begin(Step)
		w.U16(1)
		w.Put(items)
		rig.Receive(x.out.Seal(exampleNonce, false))
		bodies := heard(t, rig.take(), exampleNonce)
		require.Len(t, bodies, 1, name)
		require.Equal(t, Report, Type(bodies[0][0]), name)
		require.Equal(t, uint8(ReportMalformed), bodies[0][5], name)
		require.Zero(t, rig.ticks+rig.commits, name)
		require.Equal(t, before, rig.mem, name)
		rig.Receive(x.step(1, oneCommit(0)))
		require.Equal(t, 1, rig.ticks, "%s: the right step still comes through", name)
	}
}

// hostedRig is the reference controller on a stopped clock.
type hostedRig struct {
	Hosted
	Rig
	sent []byte
}

func (h *hostedRig) Off()           {}
func (h *hostedRig) Micros() uint32 { return 0 }
func (h *hostedRig) Write(b []byte) { h.sent = append(h.sent, b...) }

func TestCalibrationIsLoadedInPieces(t *testing.T) {
	cal := controller.Calibration{Name: controller.NameOf("two-step"), Period: controller.Millisecond}
	cal.Engine.Cylinders = 4
	cal.Engine.Order = [controller.MaxCylinders]uint8{1, 3, 4, 2}
	cal.Engine.CrankingBelow = 400 * controller.RPM
	cal.Channels[controller.EngineSpeed] = controller.ChannelSpec{Fitted: true, High: 150000}
	cal.Stages[0] = controller.Stage{Kind: controller.Main, Ceiling: controller.Curve{Const: int32(9000 * controller.RPM)},
		Cut: controller.Cut{Medium: controller.Both, Style: controller.Soft, Band: 200 * controller.RPM}}
	var problems controller.Problems
	require.True(t, cal.Seal(&problems), "%v", problems.List[0])
	image := make([]byte, controller.MaxImage)
	n, err := cal.Image(image)
	require.NoError(t, err)
	image = image[:n]

	h := &hostedRig{}
	h.Rig.Hello, h.Handler, h.Store = HostedHello(), h, make([]byte, controller.MaxImage)
	var f Frame
	piece := func(offset int, p []byte) (next int, code LoadCode) {
		w := f.Begin(Load)
		w.U16(uint16(n))
		w.U16(uint16(offset))
		w.Put(p)
		h.Receive(f.Seal(0, false))
		b := heard(t, h.sent, 1)[0]
		h.sent = nil
		require.Equal(t, Loaded, Type(b[0]))
		return int(b[1]) | int(b[2])<<8, LoadCode(b[3])
	}
	for at := 0; at < n; at += 50 {
		end := min(at+50, n)
		next, _ := piece(at, image[at:end])
		require.Equal(t, end, next)
		next, code := piece(at, image[at:end]) // the answer was lost
		require.Equal(t, end, next)
		if end < n {
			require.Equal(t, LoadMore, code)
			next, _ = piece(at+70, image[:1]) // ahead of its turn
			require.Equal(t, end, next)
			continue
		}
		require.Equal(t, LoadComplete, code)
	}
	require.Equal(t, ImageChecksum(image), h.Rig.Hello.Calibration)
	image[n-1] ^= 1
	_, code := piece(0, image)
	require.Equal(t, LoadRefused, code)
	require.Zero(t, h.Rig.Hello.Calibration)
}
