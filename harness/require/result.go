package require

import (
	"encoding/json"
	"fmt"
	"math"
	"time"
)

// Verdict is what a run says about a requirement.
type Verdict uint8

const (
	// Inconclusive: the trace ends too early, or a value is unknown. It is
	// the zero value: nothing passes by default.
	Inconclusive Verdict = iota
	// Holds: true whatever an unseen part might have shown.
	Holds
	// Fails: false whatever an unseen part might have shown.
	Fails
)

// String gives "inconclusive", "holds" or "fails".
func (v Verdict) String() string {
	return [...]string{"inconclusive", "holds", "fails"}[v]
}

// MarshalText writes the verdict as String does.
func (v Verdict) MarshalText() ([]byte, error) { return []byte(v.String()), nil }

// Margin says by how much: positive holds, negative fails. A margin of zero is
// on the limit itself, and the verdict says on which side that counts.
type Margin struct {
	Value  float64 // in Unit; infinite if not Sized
	Unit   string
	Scaled float64 // Value over the declared scale: comparable across units
	Sized  bool    // false where only switches, states and moments decided
}

// MarshalJSON writes an infinite value as null.
func (m Margin) MarshalJSON() ([]byte, error) {
	return json.Marshal(struct {
		Value  *float64 `json:"value"`
		Unit   string   `json:"unit"`
		Scaled *float64 `json:"scaled"`
	}{finiteOrNil(m.Value), m.Unit, finiteOrNil(m.Scaled)})
}

func finiteOrNil(v float64) *float64 {
	if math.IsInf(v, 0) || math.IsNaN(v) {
		return nil
	}
	return &v
}

// String gives the margin with its sign and unit, e.g. "+40 rpm".
func (m Margin) String() string {
	if !m.Sized {
		return "no size"
	}
	if m.Unit == "" {
		return fmt.Sprintf("%+.6g", m.Value)
	}
	return fmt.Sprintf("%+.6g %s", m.Value, m.Unit)
}

// Shift is a margin in time: every channel and moment may move by up to Time
// on its own before the verdict can change.
type Shift struct {
	Known   bool // false if the verdict is inconclusive
	Limited bool // false if no shift in this direction changes the verdict
	Ticks   int
	Time    time.Duration
}

// Result is the judgement of one requirement on one trace.
type Result struct {
	ID      string
	Verdict Verdict
	Margin  Margin // of an inconclusive run the lower bound
	// Low and High bound the scaled margin; they are the same unless
	// something was unknown.
	Low, High float64
	// Tick is the moment that set the margin: of a pass the closest, of a
	// failure the worst, of an inconclusive run where knowledge ended. -1 if
	// no moment was closer than another.
	Tick int
	// Atom is the condition that set the margin, as written, and Channels
	// what it reads: what to look at around Tick.
	Atom     string
	Channels []string
	// Vacuous lists the premises that were never true. A pass with any is
	// worth a warning: it may have tested nothing.
	Vacuous []string
	// Earlier and Later say how much earlier or later things could have
	// happened without changing the verdict.
	Earlier, Later Shift
}

// MarshalJSON writes infinite bounds as null, and times in milliseconds: null
// for a shift that is unknown or without limit.
func (r Result) MarshalJSON() ([]byte, error) {
	return json.Marshal(struct {
		ID       string   `json:"id"`
		Verdict  Verdict  `json:"verdict"`
		Margin   Margin   `json:"margin"`
		Low      *float64 `json:"low"`
		High     *float64 `json:"high"`
		Tick     int      `json:"tick"`
		Atom     string   `json:"condition"`
		Channels []string `json:"channels,omitempty"`
		Vacuous  []string `json:"vacuous,omitempty"`
		Earlier  *float64 `json:"earlier_ms"`
		Later    *float64 `json:"later_ms"`
	}{
		r.ID, r.Verdict, r.Margin, finiteOrNil(r.Low), finiteOrNil(r.High), r.Tick,
		r.Atom, r.Channels, r.Vacuous, r.Earlier.millis(), r.Later.millis(),
	})
}

func (s Shift) millis() *float64 {
	if !s.Known || !s.Limited {
		return nil
	}
	v := float64(s.Time) / 1e6
	return &v
}
