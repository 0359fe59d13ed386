package harness

import (
	"github.com/holdline/holdline/controller"
)

// Reference is the reference controller as a unit, in process.
type Reference struct {
	cal   *controller.Calibration
	State controller.State
}

// Open resets the controller. It fails on a calibration that is not sealed.
func (r *Reference) Open(s Session) (Caps, error) {
	r.cal = s.Calibration
	if err := r.State.Reset(s.Calibration); err != nil {
		return Caps{}, err
	}
	return Caps{Name: "reference controller", Version: "1", Reference: true}, nil
}

// Step runs one tick and then its commits, in angle order.
func (r *Reference) Step(f *Frame) error {
	if !f.EventsOnly {
		r.State.Tick(r.cal, &f.In, &f.Out)
	}
	for i := range f.Events[:f.N] {
		r.commit(&f.Events[i])
	}
	return nil
}

func (r *Reference) commit(e *Event) {
	if e.Kind == FuelCommit {
		d := r.State.FuelCommit(r.cal, e.Cylinder, e.Cycle)
		e.Give, e.Why, e.Mixture = d.Give, d.Why, d.Mixture
		return
	}
	d := r.State.SparkCommit(r.cal, e.Cylinder, e.Cycle)
	e.Give, e.Why, e.Timing, e.Unburnt, e.Drop = d.Fire, d.Why, d.Angle, d.Unburnt, d.Drop
}

// Close does nothing.
func (r *Reference) Close() error { return nil }
