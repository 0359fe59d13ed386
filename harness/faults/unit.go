package faults

import (
	"github.com/holdline/holdline/controller"
	"github.com/holdline/holdline/harness"
)

// unit puts the faults of a controller around another unit.
type unit struct {
	inner   harness.Unit
	session harness.Session
	faults  []*own
	last    controller.Output // of the last tick that ran
	owed    uint32            // periods that the unit has not been told of
	unseen  bool              // this tick passes without the unit's clock noticing
	off     bool
}

// own is one fault of the controller itself.
type own struct {
	Fault
	done  bool
	drift int64 // 1/100,000 tick
	count int64
}

// Open implements harness.Unit.
func (u *unit) Open(s harness.Session) (harness.Caps, error) {
	u.session, u.owed, u.off, u.last = s, 0, false, controller.Output{}
	for _, x := range u.faults {
		x.done, x.drift, x.count = false, 0, 0
	}
	return u.inner.Open(s)
}

// Close implements harness.Unit.
func (u *unit) Close() error { return u.inner.Close() }

// reopen is a restart, told to whoever judges the frame.
func (u *unit) reopen(f *harness.Frame) error {
	f.Flags |= harness.UnitRestarted
	if err := u.inner.Close(); err != nil {
		return err
	}
	_, err := u.inner.Open(u.session)
	return err
}

// Step implements harness.Unit.
func (u *unit) Step(f *harness.Frame) error {
	if f.EventsOnly {
		return u.events(f)
	}
	run, err := u.plan(f)
	switch {
	case err != nil:
		return err
	case u.off:
		u.silence(f)
		return nil
	case !run:
		if !u.unseen {
			u.owed++
		}
		return u.events(f)
	}
	periods := f.In.Periods
	if u.owed > 0 {
		f.In.Periods = uint16(min(uint32(max(periods, 1))+u.owed, controller.MaxPeriods))
		u.owed = 0
	}
	err = u.step(f)
	f.In.Periods = periods
	u.last = f.Out
	return err
}

// plan lets the faults say whether this tick runs.
func (u *unit) plan(f *harness.Frame) (run bool, err error) {
	run, u.unseen = true, false
	off := false
	now := int64(f.Tick) * int64(u.session.Calibration.Period)
	for _, x := range u.faults {
		if !x.within(now) {
			continue
		}
		switch x.Kind {
		case Restart:
			if !x.done {
				x.done = true
				err = u.reopen(f)
			}
		case PowerOff:
			off = true
		case StoppedTicks:
			run = false
		case SkippedTicks:
			run = run && x.count%(int64(x.Amount)/1000+1) == 0
			x.count++
		case ClockFast:
			if x.tick() {
				u.owed++ // the unit counts a period more than has passed
			}
		case ClockSlow:
			if x.tick() {
				run, u.unseen = false, true
			}
		}
	}
	if u.off && !off && err == nil {
		err = u.reopen(f)
		u.owed = 0
	}
	u.off = off
	return run, err
}

// tick adds a tick's drift and reports whether it amounts to a whole tick.
func (x *own) tick() bool {
	x.drift += int64(x.Amount)
	if x.drift < 100_000 {
		return false
	}
	x.drift -= 100_000
	return true
}

// silence is what outputs do without power: nothing is given, every valve shut.
func (u *unit) silence(f *harness.Frame) {
	f.Out = controller.Output{}
	for i := range f.Events[:f.N] {
		f.Events[i].Give, f.Events[i].Why = false, controller.WhyUnknown
	}
}

// events answers the commits of a frame without a tick: the outputs stand.
func (u *unit) events(f *harness.Frame) error {
	if u.off {
		u.silence(f)
		return nil
	}
	was := f.EventsOnly
	f.EventsOnly = true
	err := u.step(f)
	f.EventsOnly = was
	f.Out = u.last
	return err
}

// step passes a frame on, twice where commits are repeated.
func (u *unit) step(f *harness.Frame) error {
	if err := u.inner.Step(f); err != nil {
		return err
	}
	now := int64(f.Tick) * int64(u.session.Calibration.Period)
	for _, x := range u.faults {
		if x.Kind != RepeatedCommits || !x.within(now) {
			continue
		}
		again := *f
		again.EventsOnly = true
		if err := u.inner.Step(&again); err != nil {
			return err
		}
	}
	return nil
}
