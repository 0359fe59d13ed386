package require

import (
	"math"
	"sort"

	"github.com/holdline/holdline/controller"
	"github.com/holdline/holdline/harness"
)

// Judge holds one run against requirements: Compile, Evaluate and Report in one.
// Use a Court for many runs of one calibration.
func Judge(tr *harness.Trace, cal *controller.Calibration, reqs []Requirement) ([]harness.RequirementResult, error) {
	c, err := NewCourt(cal, reqs)
	if err != nil {
		return nil, err
	}
	return c.Judge(tr, true)
}

// Court judges runs of one calibration by one list of requirements. It serves
// one goroutine at a time.
type Court struct {
	cal  *controller.Calibration
	reqs []Requirement
	set  *Set
}

// NewCourt compiles requirements for the traces of a calibration. An error is a
// harness.Findings.
func NewCourt(cal *controller.Calibration, reqs []Requirement) (*Court, error) {
	set, err := Compile(reqs, OfTrace(harness.NewTrace(cal), cal))
	if err != nil {
		return nil, err
	}
	return &Court{cal: cal, reqs: reqs, set: set}, nil
}

// Judge gives the verdicts on a run in the order of the requirements. complete
// is false for a run that stopped early.
func (c *Court) Judge(tr *harness.Trace, complete bool) ([]harness.RequirementResult, error) {
	results, err := c.Evaluate(tr, complete)
	if err != nil {
		return nil, err
	}
	return Report(c.reqs, results, tr.Period), nil
}

// Evaluate gives the results with all that the logic knows.
func (c *Court) Evaluate(tr *harness.Trace, complete bool) ([]Result, error) {
	sig := OfTrace(tr, c.cal)
	if !complete {
		sig.Stopped()
	}
	return c.set.Evaluate(sig)
}

// Report puts results into the form of results.json. Where no quantity decided,
// the margins are 0 and Unsized says so.
func Report(reqs []Requirement, results []Result, period controller.Duration) []harness.RequirementResult {
	tick := float64(period) / float64(controller.Second)
	out := make([]harness.RequirementResult, len(results))
	for i, r := range results {
		x := harness.RequirementResult{
			ID: r.ID, Text: reqs[i].Text, Reason: reqs[i].Reason, Source: reqs[i].Source, Verdict: verdictName(r.Verdict),
			Vacuous: len(r.Vacuous) > 0, Condition: r.Atom, Unsized: true,
			ClosestAt: tick * float64(max(r.Tick, 0)), TimeMargin: timeMargin(r),
		}
		if r.Margin.Sized && !math.IsInf(r.Margin.Scaled, 0) {
			x.Margin, x.Scaled, x.Unit, x.Unsized = r.Margin.Value, r.Margin.Scaled, r.Margin.Unit, false
		}
		out[i] = x
	}
	return out
}

func verdictName(v Verdict) string {
	switch v {
	case Holds:
		return harness.VerdictHolds
	case Fails:
		return harness.VerdictFails
	}
	return harness.VerdictInconclusive
}

// timeMargin is the smaller of the shifts either way that could change the
// verdict, in seconds; 0 if none could.
func timeMargin(r Result) float64 {
	least := math.Inf(1)
	for _, s := range []Shift{r.Earlier, r.Later} {
		if s.Known && s.Limited {
			least = min(least, s.Time.Seconds())
		}
	}
	if math.IsInf(least, 1) {
		return 0
	}
	return least
}

// Overall puts the verdicts of a run together: failed if one failed, else
// inconclusive if one was, else held; none where nothing was required.
func Overall(results []harness.RequirementResult) string {
	out := harness.VerdictNone
	for _, r := range results {
		switch {
		case r.Verdict == harness.VerdictFails:
			return r.Verdict
		case r.Verdict == harness.VerdictInconclusive:
			out = r.Verdict
		case out == harness.VerdictNone:
			out = harness.VerdictHolds
		}
	}
	return out
}

// Closest gives the result to look at first, as Ranked orders them; ok is false
// if none has a size.
func Closest(results []harness.RequirementResult) (least harness.RequirementResult, ok bool) {
	for _, r := range Ranked(results) {
		if !r.Vacuous && r.Verdict != harness.VerdictInconclusive && (!r.Unsized || r.Verdict == harness.VerdictFails) {
			return r, true
		}
	}
	return least, false
}

// Ranked orders requirement results: failures first, then what stayed open, then
// what held by little. Behind these come what held exactly, as counts that must
// be 0 do, what has no size, and what was never put to the test.
func Ranked(list []harness.RequirementResult) []harness.RequirementResult {
	out := append([]harness.RequirementResult(nil), list...)
	sort.SliceStable(out, func(i, j int) bool {
		a, b := &out[i], &out[j]
		if ca, cb := class(a), class(b); ca != cb {
			return ca < cb
		}
		return rank(a) < rank(b)
	})
	return out
}

func class(r *harness.RequirementResult) int {
	switch {
	case r.Verdict == harness.VerdictFails:
		return 0
	case r.Verdict != harness.VerdictHolds:
		return 1
	case r.Vacuous:
		return 5
	case r.Unsized:
		return 4
	case r.Margin == 0:
		return 3
	}
	return 2
}

// rank is what results of a class are ordered by: a failure without size is worse
// than any with one.
func rank(r *harness.RequirementResult) float64 {
	if r.Unsized && r.Verdict == harness.VerdictFails {
		return math.Inf(-1)
	}
	return r.Scaled
}
