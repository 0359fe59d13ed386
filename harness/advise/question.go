package advise

import (
	"context"
	"errors"
	"fmt"
	"slices"

	"github.com/holdline/holdline/harness"
	"github.com/holdline/holdline/harness/files"
	"github.com/holdline/holdline/harness/scenario"
)

// Question is what is asked.
type Question struct {
	Scenario string         // file: car, calibration, driver, surface, weather and their scatter
	Changes  []files.Change // to it
	Require  []string       // requirement sets beside the scenario's own
	Limits   Limits
	Rules    *Rules // of a class; nil: none
	// Knobs are the names of those that may move; empty: all that the
	// calibration has. "converter" moves only if it is named.
	Knobs  []string
	Passes int // changes, one knob each; 0: 8
	// LeastGain is what a change must gain in s to be advised, in the mean of the
	// launches that judge it; 0: anything that can be told from scatter.
	LeastGain float64
	Launches  int    // at most; 0: 2400
	Seed      uint64 // of the first launch
	Workers   int    // launches at a time; below 1: one
	Progress  func(done int)
}

// Limits are the user's own. The zero value of each keeps to what the calibration
// has: no more advance, no later ignition, no more boost, no larger shot; a
// ceiling has the bounds of the file then.
type Limits struct {
	MostAdvance    *float64 // deg before top dead centre, of launch timing; nil: not stated
	LatestTiming   *float64 // deg before top dead centre; negative is after; nil: not stated
	MostBoost      float64  // kPa
	MostDuty       float64  // % of a shot's valve
	MostShot       float64  // kW of one shot
	HighestCeiling float64  // rpm, of the launch stage
	LowestCeiling  float64  // rpm

	MostExhaust   float64 // degC, of the gas before the turbine; 0: not judged
	MostDriveline float64 // N m through the launch device; 0: not judged
	LongestLimit  float64 // s on the launch limiter; 0: not judged
}

const (
	defaultPasses   = 8
	defaultLaunches = 2400
)

func (q *Question) fill() {
	if q.Passes <= 0 {
		q.Passes = defaultPasses
	}
	if q.Launches <= 0 {
		q.Launches = defaultLaunches
	}
	q.Workers = max(q.Workers, 1)
}

// load reads the scenario with further changes.
func (q *Question) load(changes []files.Change, seed uint64, repeats int) (*scenario.Loaded, harness.Findings) {
	all := append(slices.Clone(q.Changes), changes...)
	list, findings := scenario.Load(q.Scenario, scenario.Options{Changes: all, Require: q.Require, Seed: int64(seed), Repeats: repeats})
	if findings.Failed() {
		return nil, findings
	}
	if len(list) != 1 {
		return nil, harness.Findings{{Severity: harness.Error, File: q.Scenario, Field: "vary", Reason: "the scenario varies values: advice is for one set of circumstances", Fix: "settle them with --set PATH=VALUE"}}
	}
	if list[0].Model == nil {
		return nil, harness.Findings{{Severity: harness.Error, File: q.Scenario, Field: "recording", Reason: "a recording does not answer what is changed", Fix: "name a scenario with a car"}}
	}
	return list[0], findings
}

// Repeat is the command that makes one launch of the search again.
func (q *Question) Repeat(changes []files.Change, seed uint64) string {
	text := "holdline run " + scenario.ShellWord(q.Scenario)
	for _, c := range append(slices.Clone(q.Changes), changes...) {
		text += " --set " + scenario.ShellWord(c.String())
	}
	for _, r := range q.Require {
		text += " --require " + scenario.ShellWord(r)
	}
	return text + fmt.Sprintf(" --seed %d --repeats 1", seed)
}

// allowed is load for what may be advised: what the rules forbid is a finding.
func (q *Question) allowed(changes []files.Change, seed uint64, repeats int) (*scenario.Loaded, harness.Findings) {
	l, findings := q.load(changes, seed, repeats)
	if q.Rules == nil || findings.Failed() {
		return l, findings
	}
	return l, append(findings, q.Rules.Check(l.Cal)...)
}

// begin reads the question's files, and refuses what stands beyond rules or limits.
func (q *Question) begin() (*scenario.Loaded, []*Knob, error) {
	q.fill()
	base, findings := q.allowed(nil, q.Seed, 1)
	if findings.Failed() {
		return nil, nil, findings
	}
	knobs, err := q.knobs(base)
	return base, knobs, err
}

// Ask answers a question. An error is a harness.Findings where the question's
// files are wrong.
func Ask(ctx context.Context, q Question) (*Answer, error) {
	base, knobs, err := q.begin()
	if err != nil {
		return nil, err
	}
	if len(knobs) == 0 {
		return nil, errors.New("no knob may move: the calibration has none, or limits and rules forbid all")
	}
	s := &search{q: &q, bench: newBench(ctx, &q), knobs: knobs}
	return s.run(base)
}
