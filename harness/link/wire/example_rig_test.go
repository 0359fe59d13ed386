package wire

import (
	"github.com/holdline/holdline/controller"
)

// plainRig is the limiter of the examples: at 5,000 rpm and above it withholds
// whole cycles. Its clock stands where the test puts it.
type plainRig struct {
	Rig
	speed int32
	cut   [controller.MaxCylinders + 1]struct {
		cycle controller.Cycle
		cut   bool
	}
	ticks, commits, offs, begins int

	micros uint32
	sent   []byte
}

func newPlainRig() *plainRig {
	p := &plainRig{}
	p.Handler = p
	p.Hello = Hello{
		Lowest: 1, Highest: 1, Features: TakesLockstep | TakesPaced | OwnCalibration, Token: 0x01020304,
		Channels: 1<<controller.EngineSpeed | 1<<controller.Throttle, Switches: 1 << controller.ClutchDown,
		Cylinders: 4, Events: 8, Items: 2, Window: 2, Frame: 256, Buffer: 512,
		Shortest: 1000, Clock: 1000000, Name: TextOf("plain limiter"), Version: TextOf("1"),
	}
	return p
}

func (p *plainRig) Begin(*Start) (Refusal, uint32) {
	p.begins++
	p.speed = 0
	return Fits, 0
}

func (p *plainRig) Tick(_ uint32, in *controller.Input, _ *controller.Output) {
	p.ticks++
	p.speed = in.Channels[controller.EngineSpeed].Value
}

func (p *plainRig) Commit(e *Event) {
	p.commits++
	c := &p.cut[e.Cylinder]
	if e.Kind == Fuel {
		c.cycle, c.cut = e.Cycle, p.speed >= 50000
	}
	e.Give = !(c.cycle == e.Cycle && c.cut)
	e.Why = controller.WhyGiven
	if !e.Give {
		e.Why = controller.WhyCut
	}
	switch {
	case e.Kind == Spark:
		e.Value = 1000
	case e.Give:
		e.Value = 10000
	}
}

func (p *plainRig) Off()                { p.offs++ }
func (p *plainRig) Image([]byte) uint32 { return 0 }
func (p *plainRig) Micros() uint32      { return p.micros }
func (p *plainRig) Write(b []byte)      { p.sent = append(p.sent, b...) }

// take returns what the rig has sent since the last call.
func (p *plainRig) take() []byte {
	s := p.sent
	p.sent = nil
	return s
}
