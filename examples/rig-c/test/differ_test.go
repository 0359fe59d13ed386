package rigc_test

import (
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/holdline/holdline/controller"
	"github.com/holdline/holdline/harness/link/wire"
)

const nonce = 0x12345678

// pair makes the bench's frames, and is the Go twin of the rig in drive.c.
type pair struct {
	*rand.Rand
	rig    wire.Rig
	mixed  uint32
	micros uint32
	sent   []byte

	out wire.Frame
	mem wire.Memory
	seq uint16
	it  wire.Item
}

func newPair(seed uint64) *pair {
	p := &pair{Rand: rand.New(rand.NewPCG(seed, 0)), seq: 1}
	p.rig.Handler = p
	p.rig.Hello = wire.Hello{
		Lowest: 1, Highest: 1, Features: wire.ReportsOutputs | wire.OwnCalibration | wire.TakesLockstep | wire.TakesPaced,
		Token: 0x01020304, Channels: 0x1fffff, Switches: 0x7fff, Cylinders: 12, Events: 32, Items: 4, Window: 1,
		Frame: 512, Buffer: 512, Shortest: 100, Clock: 1000000,
		Name: wire.TextOf("a rig for tests"), Version: wire.TextOf("0.1"),
	}
	return p
}

func (p *pair) mix(v uint32) { p.mixed = (p.mixed^v)*16777619 + 1 }

func (p *pair) drawn() int32 {
	p.mix(7)
	return int32(p.mixed>>8&0xffff) - 0x8000
}

func (p *pair) Begin(*wire.Start) (wire.Refusal, uint32) { return wire.Fits, 0 }

func (p *pair) Tick(tick uint32, in *controller.Input, out *controller.Output) {
	p.mix(tick)
	p.mix(uint32(in.Periods))
	p.mix(uint32(in.On))
	p.mix(uint32(in.Known))
	for _, x := range in.Channels {
		p.mix(uint32(x.Value))
		p.mix(uint32(x.Age))
		p.mix(map[bool]uint32{true: 1}[x.Good])
	}
	out.Slope = p.drawn() * 60000
	out.Timing = controller.Angle(p.drawn() & 3)
	out.Mixture = controller.Ratio(10000 + p.drawn()&1)
	out.Demand = controller.Demand(p.drawn())
	out.Sequence = controller.SequenceState(p.drawn() & 255)
	out.Lost = controller.ChannelSet(p.drawn())
	out.Master = p.drawn()&1 != 0
	out.StageCeiling[7] = controller.Speed(p.drawn())
	out.Shots[3].Duty = controller.Ratio(p.drawn())
}

func (p *pair) Commit(e *wire.Event) {
	p.mix(uint32(e.Cylinder))
	p.mix(uint32(e.Cycle))
	p.mix(uint32(e.Kind))
	p.mix(uint32(e.Angle))
	e.Give = p.drawn()&1 != 0
	e.Unburnt = p.drawn()&1 != 0
	e.Drop = p.drawn()&1 != 0
	e.Why = controller.Reason(p.drawn() & 15)
	e.Value = p.drawn() & 3
}

func (p *pair) Off()                {}
func (p *pair) Image([]byte) uint32 { return 0 }
func (p *pair) Micros() uint32      { return p.micros }
func (p *pair) Write(b []byte)      { p.sent = append(p.sent, b...) }

// take returns what the Go rig has sent since the last call.
func (p *pair) take() []byte {
	s := append([]byte{}, p.sent...)
	p.sent = nil
	return s
}

// body undoes the framing of one session frame.
func (p *pair) body(t *testing.T, frame []byte) []byte {
	var d wire.Deframer
	for _, b := range frame {
		if d.Feed(b) {
			body, ok := wire.Body(d.Data(), nonce)
			require.True(t, ok, "%x", frame)
			return body
		}
	}
	require.Fail(t, "no frame", "%x", frame)
	return nil
}

func (p *pair) start() []byte {
	s := wire.Start{Nonce: nonce, Token: p.rig.Hello.Token, Version: 1, Period: 1000, Cylinders: 4}
	copy(s.Order[:], []uint8{1, 3, 4, 2})
	copy(s.Intervals[:], []controller.Angle{18000, 18000, 18000, 18000})
	s.Append(p.out.Begin(wire.StartMsg))
	return append([]byte(nil), p.out.Seal(0, false)...)
}

// step makes a step that follows the last one: one to four items.
func (p *pair) step() []byte {
	w := p.out.Begin(wire.Step)
	w.U16(p.seq)
	p.seq++
	for i := range 1 + p.IntN(4) {
		p.item(i)
		before := p.mem
		if w.Len()+wire.ItemRoom(p.it.N) > 480 {
			p.mem = before
			break
		}
		p.mem.AppendItem(w, &p.it)
	}
	return append([]byte(nil), p.out.Seal(nonce, p.IntN(4) == 0)...)
}

// item changes the item a little, or much.
func (p *pair) item(i int) {
	it := &p.it
	it.Only = i > 0 && p.IntN(4) == 0
	it.Key = !it.Only && (p.mem.Tick == 0 || p.IntN(50) == 0)
	it.Tick = p.mem.Tick + 1
	if p.IntN(20) == 0 {
		it.Tick = p.Uint32()
	}
	it.In.Periods = uint16(1 + p.IntN(2)*p.IntN(2)*p.IntN(300))
	for range p.IntN(6) {
		p.sample(&it.In.Channels[p.IntN(len(it.In.Channels))])
	}
	for c := range it.In.Channels {
		if p.IntN(2) == 0 && it.In.Channels[c].Age < 0xffff {
			it.In.Channels[c].Age++
		}
	}
	if p.IntN(10) == 0 {
		it.In.On, it.In.Known = controller.SwitchSet(p.IntN(1<<15)), controller.SwitchSet(p.IntN(1<<15))
	}
	it.N = p.IntN(6)
	if it.Only && it.N == 0 {
		it.N = 1
	}
	for i := range it.Events[:it.N] {
		e := &it.Events[i]
		e.Cylinder, e.Kind = uint8(1+p.IntN(12)), wire.Kind(p.IntN(2))
		e.Cycle += controller.Cycle(p.IntN(3))
		if p.IntN(2) == 0 {
			e.Angle = int32(p.IntN(72000))
		}
	}
}

func (p *pair) sample(s *controller.Sample) {
	switch p.IntN(5) {
	case 0:
		s.Value = int32(p.Uint32())
	case 1:
		s.Good = !s.Good
	case 2:
		s.Age = uint16(p.Uint32())
	default:
		*s = controller.Sample{Value: s.Value + int32(p.IntN(200)) - 100, Good: true}
	}
}

// spoil damages a frame, or what stands around it.
func (p *pair) spoil(frame []byte) []byte {
	frame = append([]byte(nil), frame...)
	switch p.IntN(6) {
	case 0:
		frame[p.IntN(len(frame))] ^= 1 << p.IntN(8)
	case 1:
		frame = frame[p.IntN(len(frame)):]
	case 2:
		frame = append(frame[:p.IntN(len(frame))], 0)
	case 3:
		frame = append([]byte("noise"), frame...)
	case 4:
		return append(frame, frame...)
	}
	return frame
}

// body makes an unheard-of body with a right checksum.
func (p *pair) strange() []byte {
	w := p.out.Begin(wire.Type(p.IntN(10)))
	session := p.IntN(2) == 0
	if session {
		w = p.out.Begin(wire.Step)
		w.U16(p.seq)
	}
	for range p.IntN(30) {
		few := uint8(p.Uint32()) // bits of a byte: small numbers are likelier to mean something
		w.U8(few & uint8(p.Uint32()))
	}
	n := uint32(0)
	if session {
		n = nonce
	}
	return append([]byte(nil), p.out.Seal(n, false)...)
}

// The C rig and the Go rig send the same bytes for the same bytes: steps,
// repeats, damage, nonsense, silence.
func TestTheCRigAgreesWithTheGoRig(t *testing.T) {
	rounds := 3000
	for seed := range uint64(3) {
		c, p := drive(t), newPair(seed)
		both := func(frame []byte) {
			t.Helper()
			p.rig.Receive(frame)
			require.Equal(t, p.take(), c.receive(frame), "seed %d, step %d, frame %x", seed, p.seq, frame)
		}
		both(p.start())
		last := p.step()
		both(last)
		for range rounds {
			switch p.IntN(8) {
			case 0:
				both(p.spoil(last))
				both([]byte{0})
			case 1:
				both(last)
			case 2:
				was := p.seq
				both(p.strange())
				if expected(&p.rig, p) != was {
					both(p.start()) // a strange step was well formed: both took it
					p.restart(both)
					last = p.step()
					both(last)
				}
			case 3:
				p.micros += uint32(p.IntN(60_000))
				c.clock(p.micros)
				p.rig.Poll()
				require.Equal(t, p.take(), c.poll())
			default:
				last = p.step()
				both(last)
			}
		}
		require.Greater(t, c.ticks, rounds/3)
		require.Greater(t, c.commits, rounds/3)
	}
}

// expected asks a rig which step it waits for, by a step far out of sequence.
func expected(g *wire.Rig, p *pair) uint16 {
	p.out.Begin(wire.Step).U16(p.seq + 20000)
	frame := append([]byte(nil), p.out.Seal(nonce, true)...)
	g.Receive(frame)
	var d wire.Deframer
	for _, b := range p.take() {
		if d.Feed(b) {
			if body, ok := wire.Body(d.Data(), nonce); ok && body[0] == byte(wire.Report) {
				return uint16(body[6]) | uint16(body[7])<<8
			}
		}
	}
	return p.seq
}

// restart ends the session and begins another of the same nonce.
func (p *pair) restart(both func([]byte)) {
	p.out.Begin(wire.Bye)
	both(append([]byte(nil), p.out.Seal(nonce, true)...))
	both(p.start())
	p.mem.Reset()
	p.seq = 1
}
