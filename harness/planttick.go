package harness

import (
	"github.com/holdline/holdline/controller"
	"github.com/holdline/holdline/sim"
)

// answer is a decision that waits for its angle.
type answer struct {
	ready   bool
	give    bool
	cycle   uint8
	advance float64 // degrees
	mixture float64
}

// Apply implements Stimulus: it takes over the unit's decisions and runs the
// plant to the end of the tick, or to a commit that nobody has answered.
func (p *Plant) Apply(f *Frame) error {
	for i := range f.Events[:f.N] {
		p.keep(&f.Events[i])
	}
	if !f.EventsOnly {
		p.out = f.Out
		p.command(&f.Out)
	}
	return p.advance()
}

// keep stores an answer until the crank gets to its angle.
func (p *Plant) keep(e *Event) {
	if e.Cylinder < 1 || int(e.Cylinder) > controller.MaxCylinders {
		return
	}
	p.answers[e.Cylinder-1][e.Kind&1] = answer{
		ready: true, give: e.Give, cycle: uint8(e.Cycle),
		advance: float64(e.Timing) / float64(controller.Degree), mixture: ratio(e.Mixture),
	}
	if e.Drop {
		p.act.NitrousDuty = [sim.Shots]float64{}
	}
}

// command turns a tick's output into actuators. A dry shot's fuel comes with the
// mixture of the fuel commits; a wet one has its own valve.
func (p *Plant) command(o *controller.Output) {
	p.act.BoostPa = float64(o.Boost)
	for i := range o.Shots {
		p.act.NitrousDuty[i] = 0
		if o.Master {
			p.act.NitrousDuty[i] = ratio(o.Shots[i].Duty)
		}
		p.act.NitrousFuel[i] = ratio(o.Shots[i].FuelDuty)
	}
}

// advance runs the plant, handing over each answer at its angle.
func (p *Plant) advance() error {
	for {
		stop := p.sim.Advance(&p.act)
		switch stop.Why {
		case sim.TickEnd:
			p.midTick = false
			p.endTick()
			return nil
		case sim.Diverged:
			p.err = &DivergedError{p.sim.Fault()}
			return p.err
		case sim.NeedDecision:
			if !p.decide(stop.Commit) {
				p.midTick, p.waitFor = true, stop.Commit
				p.refused++
				return nil
			}
		}
	}
}

// decide answers a commit that has been reached, if there is an answer.
func (p *Plant) decide(c sim.Commit) bool {
	a := &p.answers[(c.Cylinder-1)%controller.MaxCylinders][c.Kind&1]
	ok := a.ready && a.cycle == c.Cycle
	if !ok && p.synced() {
		return false
	}
	if !ok {
		*a = answer{}
	}
	if c.Kind == sim.FuelCommit {
		p.act.Mixture = a.mixture
	}
	p.sim.Decide(c.Cylinder, c.Cycle, c.Kind, a.give, a.advance)
	a.ready = false
	return true
}

func (p *Plant) endTick() {
	p.tick++
	p.teeth = p.sim.Teeth(p.teeth[:0])
	if d := p.options.Crank; d != nil {
		for _, t := range p.teeth {
			d.Edge(t.TimeNs/1000, t.Cam)
		}
	}
	p.mean.step(p.sim, p.periodS)
}
