package proving

import (
	"github.com/holdline/holdline/controller"
	"github.com/holdline/holdline/harness"
)

// Broken is one controller that is broken on purpose.
type Broken struct {
	Name    string // short
	Mistake string // what a person did
	Script  string // the shipped launch that shows it
	Caught  string // the requirement that must catch it there
	fault   fault
}

// fault is how: the reference with a calibration that was changed behind its
// back, with inputs changed on the way in, with answers changed on the way out.
type fault struct {
	cal func(*controller.Calibration)
	in  func(*unit, *harness.Frame)
	out func(*unit, *harness.Frame)
}

// Unit makes the broken controller.
func (b *Broken) Unit() harness.Unit { return &unit{fault: b.fault} }

// unit is the reference controller with a fault.
type unit struct {
	harness.Reference
	fault fault
	cal   controller.Calibration // what it was given, as changed
	given *controller.Calibration
	seen  controller.Input // memory of the faults
	prev  harness.Frame
	delay [64]int32
	n     int
	since int
	flag  bool
	last  [2]bool
}

// Open implements harness.Unit.
func (u *unit) Open(s harness.Session) (harness.Caps, error) {
	u.given, u.cal = s.Calibration, *s.Calibration
	if u.fault.cal != nil {
		u.fault.cal(&u.cal)
		if err := Seal(&u.cal); err != nil {
			return harness.Caps{}, err
		}
	}
	s.Calibration = &u.cal
	u.last = [2]bool{true, true}
	return u.Reference.Open(s)
}

// Step implements harness.Unit. The frame keeps the inputs as they were given.
func (u *unit) Step(f *harness.Frame) error {
	given := f.In
	if u.fault.in != nil {
		u.fault.in(u, f)
	}
	err := u.Reference.Step(f)
	f.In = given
	if u.fault.out != nil {
		u.fault.out(u, f)
	}
	u.n++
	u.prev = *f
	return err
}

// mask shows a switch in a state, whatever it is.
func mask(s controller.Switch, on bool) func(*unit, *harness.Frame) {
	return func(_ *unit, f *harness.Frame) { f.In.Put(s, on) }
}

// scaled shows a channel times a over b.
func scaled(c controller.Channel, a, b int64) func(*unit, *harness.Frame) {
	return func(_ *unit, f *harness.Frame) {
		s := &f.In.Channels[c]
		s.Value = int32(int64(s.Value) * a / b)
	}
}

// lagging shows a channel as it was some ticks ago, as if it were new.
func lagging(c controller.Channel, ticks int) func(*unit, *harness.Frame) {
	return func(u *unit, f *harness.Frame) {
		now := f.In.Channels[c].Value
		if u.n == 0 {
			for i := range u.delay {
				u.delay[i] = now
			}
		}
		f.In.Channels[c].Value = u.delay[u.n%ticks]
		u.delay[u.n%ticks] = now
	}
}

// believed shows a bad sample as a good one with the value that it has.
func believed(c controller.Channel) func(*unit, *harness.Frame) {
	return func(_ *unit, f *harness.Frame) { f.In.Channels[c].Good, f.In.Channels[c].Age = true, 0 }
}

// assumed shows a value in place of a bad sample.
func assumed(c controller.Channel, v int32) func(*unit, *harness.Frame) {
	return func(_ *unit, f *harness.Frame) {
		if s := &f.In.Channels[c]; !s.Good {
			s.Good, s.Age, s.Value = true, 0, v
		}
	}
}

// each changes every answered commit of a kind.
func each(kind harness.EventKind, do func(u *unit, f *harness.Frame, e *harness.Event)) func(*unit, *harness.Frame) {
	return func(u *unit, f *harness.Frame) {
		for i := range f.Events[:f.N] {
			if f.Events[i].Kind == kind {
				do(u, f, &f.Events[i])
			}
		}
	}
}

// give makes an answer one that nothing was cut from.
func give(e *harness.Event) {
	e.Give, e.Why, e.Unburnt = true, controller.WhyGiven, false
	if e.Mixture == 0 {
		e.Mixture = controller.One
	}
}

func withhold(e *harness.Event) { e.Give, e.Why = false, controller.WhyCut }

func mainStage(c *controller.Calibration) *controller.Stage { return stageOf(c, controller.Main) }
func launching(c *controller.Calibration) *controller.Stage { return stageOf(c, controller.Launch) }

func stageOf(c *controller.Calibration, k controller.StageKind) *controller.Stage {
	for i := range c.Stages {
		if c.Stages[i].Kind == k {
			return &c.Stages[i]
		}
	}
	return &controller.Stage{}
}

func index(c *controller.Calibration, k controller.StageKind) int {
	for i := range c.Stages {
		if c.Stages[i].Kind == k {
			return i
		}
	}
	return 0
}

func open(f *harness.Frame) bool {
	return f.Out.Shots[0].Phase == controller.ShotOpen || f.Out.Shots[1].Phase == controller.ShotOpen
}
