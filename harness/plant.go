package harness

import (
	"fmt"
	"io"

	"github.com/holdline/holdline/controller"
	"github.com/holdline/holdline/sim"
)

// CrankDecoder turns tooth times into what a controller can know of its crank.
// Package harness/crank has one.
type CrankDecoder interface {
	// Edge takes one edge of the crank wheel, or of the cam wheel, in
	// microseconds since the start. Times must not go back.
	Edge(us int64, cam bool)
	// Speed is the mean engine speed over the last firing interval, and how old
	// it is; ok is false without a speed.
	Speed(nowUS int64) (n controller.Speed, ageUS int64, ok bool)
	// Synced reports whether the crank angle within 720 degrees is known now.
	Synced(nowUS int64) bool
}

// PlantOptions says how a simulated car is driven and when a run ends.
type PlantOptions struct {
	Driver Driver
	// Trim is the position of the surface trim until the driver turns it.
	Trim int32
	// Crank decodes the plant's tooth times. Without one the controller is given
	// the mean of the true crank speed over the last firing interval.
	Crank CrankDecoder
	// Until ends the run this many metres from the start; 0: never.
	Until float64
	// Ticks ends the run at the latest.
	Ticks uint32
}

// stallWait is how long a stalled engine goes on being recorded.
const stallWait = controller.Second / 2

// Plant is a simulated car as a Stimulus, and the one place where the plant's SI
// units meet the controller's integers.
//
// A tick's frame lists every commit whose angle will be reached within the tick
// at present speed and a margin of a tenth, in the order in which they are
// reached, each once. Each answer is handed over when the crank gets to its
// angle. A commit that was not foreseen, because the engine gained speed within
// the tick, is asked for in a frame of its own with EventsOnly set, and the tick
// goes on from there. While a decoder has no sync, nothing is asked and every
// cycle is withheld.
type Plant struct {
	sim     *sim.Plant
	cal     *controller.Calibration
	options PlantOptions
	periodS float64

	tick    uint32
	midTick bool // Advance stands at waitFor
	waitFor sim.Commit
	stalled uint32 // ticks
	err     error

	in       controller.Input
	out      controller.Output
	seen     Seen
	controls Controls
	act      sim.Actuators
	answers  [controller.MaxCylinders][2]answer // by cylinder and kind
	commits  []sim.Commit
	teeth    []sim.Tooth
	mean     crankMean
	refused  int
}

// NewPlant puts a car on the line for a sealed calibration, whose period becomes
// the plant's. It refuses a calibration for another engine.
func NewPlant(m *sim.Model, c sim.Conditions, cal *controller.Calibration, o PlantOptions) (*Plant, error) {
	if fs := MatchCar(m.Car(), cal); fs.Failed() {
		return nil, fs
	}
	c.TickS = float64(cal.Period) / float64(controller.Second)
	p := &Plant{
		sim: sim.New(m, c), cal: cal, options: o, periodS: c.TickS,
		commits: make([]sim.Commit, 0, MaxEvents), teeth: make([]sim.Tooth, 0, MaxEvents),
	}
	p.mean.start(720/float64(cal.Engine.Cylinders), p.sim)
	p.controls = Controls{Gear: int8(p.sim.State.Gear), Trim: p.options.Trim}
	return p, nil
}

// MatchCar holds a sealed calibration's engine against a car's: the same firing
// order, and as many shots as there are jets.
func MatchCar(car sim.Car, cal *controller.Calibration) (fs Findings) {
	fail := func(field, value, allowed, reason string) {
		fs = append(fs, Finding{Severity: Error, Field: field, Value: value, Allowed: allowed, Reason: reason,
			Fix: "use a calibration that was made for this car"})
	}
	if !cal.Sealed() {
		fail("calibration", cal.Name.String(), "", controller.ErrNotSealed.Error())
		return fs
	}
	order := cal.Engine.Order[:cal.Engine.Cylinders]
	same := len(order) == len(car.Engine.Order)
	for i := 0; same && i < len(order); i++ {
		same = int(order[i]) == car.Engine.Order[i]
	}
	if !same {
		fail("engine.firing_order", fmt.Sprint(order), fmt.Sprint(car.Engine.Order),
			fmt.Sprintf("the calibration %q is for another engine than the car %q", cal.Name.String(), car.Name))
	}
	jets := 0
	if car.Nitrous.Fitted {
		jets = len(car.Nitrous.JetM2)
	}
	for i := range cal.Shots {
		if sh := &cal.Shots[i]; sh.When != controller.NoShot && i >= jets {
			fail(fmt.Sprintf("shot[%d]", i+1), ShotName(cal, i), fmt.Sprintf("%d jets", jets), "the car has no jet for this shot")
		}
	}
	return fs
}

// Sim gives the plant itself: its truth, its clocks.
func (p *Plant) Sim() *sim.Plant { return p.sim }

// TickEnded reports whether the last frame's Apply came to the end of its tick.
func (p *Plant) TickEnded() bool { return !p.midTick }

// Controls gives what the driver does in the present tick.
func (p *Plant) Controls() Controls { return p.controls }

// Unforeseen counts the commits that needed a frame of their own.
func (p *Plant) Unforeseen() int { return p.refused }

func (p *Plant) nowUS() int64 { return int64(p.tick) * int64(p.cal.Period) }

// Next implements Stimulus.
func (p *Plant) Next(f *Frame) error {
	if p.err != nil {
		return p.err
	}
	f.Tick = p.tick
	if p.midTick {
		f.EventsOnly = true
		f.Add(eventOf(p.waitFor))
		return nil
	}
	if p.over() {
		return io.EOF
	}
	p.measure()
	p.drive()
	f.In = p.in
	p.commits = p.sim.Upcoming(p.commits[:0], p.periodS)
	if p.synced() {
		for _, c := range p.commits {
			f.Add(eventOf(c))
		}
	}
	return nil
}

// over reports whether the run has reached its end.
func (p *Plant) over() bool {
	s := &p.sim.State
	if s.Stalled {
		p.stalled++
	}
	stall := uint32(stallWait / p.cal.Period)
	past := p.options.Until > 0 && s.X > p.options.Until+p.sim.Conditions().MarkFrom
	return past || p.tick >= p.options.Ticks || p.stalled > stall
}

func (p *Plant) synced() bool {
	return p.options.Crank == nil || p.options.Crank.Synced(p.nowUS())
}

// drive lets the driver act and puts the switches.
func (p *Plant) drive() {
	if p.options.Driver != nil {
		s := &p.sim.State
		p.seen = Seen{
			NowUS: p.nowUS(), PeriodUS: int64(p.cal.Period), In: &p.in, Out: &p.out,
			Stalled: s.Stalled, Shifting: s.ShiftLeft > 0, Distance: s.X,
		}
		p.options.Driver.Drive(&p.seen, &p.controls)
	}
	c := &p.controls
	p.in.Periods = 1
	p.in.On, p.in.Known = c.switches(), knownSwitches
	for i := range controller.MaxShots {
		p.in.Put(controller.Feedback1+controller.Switch(i), p.sim.State.Shot[i].Lift > 0)
	}
	p.act.Throttle = ratio(c.Throttle)
	p.act.Clutch = engaged(c.Clutch)
	p.act.FootBrake = ratio(c.FootBrake)
	p.act.TransBrake, p.act.Gear = c.TransBrake, int(c.Gear)
}

func ratio(r controller.Ratio) float64 { return float64(r) / float64(controller.One) }

func eventOf(c sim.Commit) Event {
	kind := FuelCommit
	if c.Kind == sim.SparkCommit {
		kind = SparkCommit
	}
	return Event{
		Angle: nearest(c.AngleDeg * 100), Cylinder: uint8(c.Cylinder),
		Cycle: controller.Cycle(c.Cycle), Kind: kind,
	}
}

// DivergedError says where a plant left the range of its equations.
type DivergedError struct{ Fault sim.Fault }

// Error implements error.
func (e *DivergedError) Error() string {
	f := &e.Fault
	return fmt.Sprintf("the simulated car left the range of its equations at %.4f s: %s = %.5g (allowed %g to %g); look at %s of the car file, or shorten the step",
		f.Time, f.State, f.Value, f.Min, f.Max, f.Parameter)
}
