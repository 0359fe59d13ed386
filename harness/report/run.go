package report

import (
	"github.com/holdline/holdline/controller"
	"github.com/holdline/holdline/harness"
)

// Run is what is shown of one run.
type Run struct {
	Results *harness.Results
	Trace   *harness.Trace // nil: none was kept, the page has no charts
	Margins []Margin       // of the requirements that have one at every tick

	Calibration *controller.Calibration // for Overlay; nil: not known
}

// Fact is a name and what is said of it.
type Fact = harness.Fact

// release gives when the launch device was first let go after an earned hold, in
// seconds from the start; ok is false if it never was.
func (r *Run) release() (at float64, ok bool) {
	for _, s := range r.Results.Sequence {
		if s.State == controller.Released.String() {
			return s.From, true
		}
	}
	return 0, false
}

// stateAt names the state of the launch sequence at a time.
func (r *Run) stateAt(seconds float64) string {
	name := ""
	for _, s := range r.Results.Sequence {
		if s.From <= seconds+r.Results.Period/2 {
			name = s.State
		}
	}
	return name
}

// late is by how much ignition was later than base at the most, in degrees.
func (r *Run) late() float64 {
	if r.Trace == nil {
		return 0
	}
	base, timing := r.Trace.Column("base"), r.Trace.Column("timing")
	if base == nil || timing == nil {
		return 0
	}
	most := int32(0)
	for i := range min(len(base.Data), len(timing.Data)) {
		most = max(most, base.Data[i]-timing.Data[i])
	}
	return timing.Units(most)
}

// hot reports whether late ignition or added power was in play.
func (r *Run) hot() bool {
	return len(r.Results.Shots) > 0 || r.late() > 0
}
