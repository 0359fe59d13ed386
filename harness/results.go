package harness

import (
	"encoding/json"
	"fmt"
)

// ResultsSchema names the version of results.json. Fields are added, never
// renamed, within a version.
const ResultsSchema = "holdline-results-1"

// Verdicts of a run or a requirement.
const (
	VerdictNone         = "none" // nothing was required
	VerdictHolds        = "holds"
	VerdictFails        = "fails"
	VerdictInconclusive = "inconclusive"
)

// Results is the content of results.json, the same for every verb. Times are in
// seconds from the start of the run.
type Results struct {
	Schema      string   `json:"schema"`
	Verb        string   `json:"verb"`
	Verdict     string   `json:"verdict"`
	Repeat      string   `json:"repeat"`           // the one command that repeats this run
	Source      string   `json:"source"`           // recording, car or scenario
	Varied      string   `json:"varied,omitempty"` // of a scenario that varies values: those of this run
	Calibration string   `json:"calibration"`
	Unit        string   `json:"unit"`
	Seed        uint64   `json:"seed"`
	Period      float64  `json:"period_s"`
	Ticks       uint32   `json:"ticks"`
	Seconds     float64  `json:"seconds"`
	Complete    bool     `json:"complete"`          // false: stopped early
	Stopped     string   `json:"stopped,omitempty"` // why it stopped early
	Notes       []string `json:"notes,omitempty"`   // what the reader must know of this run
	Facts       []Fact   `json:"facts,omitempty"`   // weather, surface and start of a simulated run
	Findings    Findings `json:"findings,omitempty"`

	Requirements []RequirementResult `json:"requirements"`
	Sequence     []StateSpan         `json:"sequence"`
	Launches     int                 `json:"launches"`
	Bumps        int                 `json:"bumps"`
	Aborts       int                 `json:"aborts"`
	Stages       []StageResult       `json:"stages"`
	Cuts         CutResult           `json:"cuts"`
	Shots        []ShotResult        `json:"shots"`
	Lost         []LostResult        `json:"lost,omitempty"`
	Link         LinkResult          `json:"link"`
	Differences  []Difference        `json:"differences,omitempty"` // from the reference beside it, the earliest first
	Launch       *LaunchResult       `json:"launch,omitempty"`      // of a simulated car
	Runs         []Results           `json:"runs,omitempty"`        // of a verb that makes several, in order
}

// Title names the run for people: its source, and what varies.
func (r *Results) Title() string {
	if r.Varied == "" {
		return r.Source
	}
	return r.Source + ", " + r.Varied
}

// Fact is a name and what is said of it.
type Fact struct {
	Name string `json:"name"`
	Text string `json:"text"`
}

// RequirementResult is the verdict of one requirement.
type RequirementResult struct {
	ID         string  `json:"id"`
	Text       string  `json:"text,omitempty"`
	Verdict    string  `json:"verdict"`
	Margin     float64 `json:"margin"`
	Unit       string  `json:"unit,omitempty"`
	Scaled     float64 `json:"scaled_margin"`
	ClosestAt  float64 `json:"closest_at_s"`
	TimeMargin float64 `json:"time_margin_s,omitempty"`
	Vacuous    bool    `json:"vacuous,omitempty"`
	Unsized    bool    `json:"unsized,omitempty"`   // only switches, states and moments decided: margins are 0 and say nothing
	Condition  string  `json:"condition,omitempty"` // the comparison that set the margin
	Reason     string  `json:"reason,omitempty"`    // why it is required
	Source     string  `json:"source,omitempty"`
}

// Span is a stretch of time, from the first tick to the end of the last.
type Span struct {
	From float64 `json:"from_s"`
	To   float64 `json:"to_s"`
}

// Seconds is the length of the span.
func (s Span) Seconds() float64 { return s.To - s.From }

// StateSpan is a stretch of the launch sequence.
type StateSpan struct {
	State string `json:"state"`
	Span
}

// Inhibited says how long a reason stood against a stage or a shot, in all and
// at its longest.
type Inhibited struct {
	Reason  string  `json:"reason"`
	Seconds float64 `json:"seconds"`
	Longest Span    `json:"longest"`
}

// StageResult is what a stage did.
type StageResult struct {
	Name      string      `json:"name"`
	Kind      string      `json:"kind"`
	Active    float64     `json:"active_s"`
	Cutting   float64     `json:"cutting_s"` // ticks in which its demand was the one in force
	Entries   int         `json:"entries"`
	Spans     []Span      `json:"spans"` // the first MaxSpans
	Inhibited []Inhibited `json:"inhibited,omitempty"`
}

// CutResult counts the cycles that were withheld.
type CutResult struct {
	Cylinders []CylinderCuts `json:"cylinders"`
	Unburnt   int            `json:"unburnt"`    // charges passed unburnt
	Overrun   int            `json:"overrun"`    // sparks withheld far above main with oxidiser in the engine
	Blind     int            `json:"blind"`      // withheld because speed was unknown
	Both      int            `json:"both"`       // cycles of which fuel and spark were withheld
	FuelOnly  int            `json:"fuel_only"`  // cycles that were fired without fuel
	SparkOnly int            `json:"spark_only"` // cycles whose fuel was not fired
}

// CylinderCuts counts one cylinder.
type CylinderCuts struct {
	Cylinder int `json:"cylinder"`
	Cycles   int `json:"cycles"`
	Fuel     int `json:"fuel_withheld"`
	Spark    int `json:"spark_withheld"`
	Longest  int `json:"longest_run"` // cycles without power in a row
}

// ShotResult is what a shot did.
type ShotResult struct {
	Name      string      `json:"name"`
	Open      float64     `json:"open_s"`
	Openings  int         `json:"openings"`
	Spans     []Span      `json:"spans"`
	Inhibited []Inhibited `json:"inhibited,omitempty"`
}

// LostResult says how long a fitted channel was invalid.
type LostResult struct {
	Channel string  `json:"channel"`
	Seconds float64 `json:"seconds"`
}

// LinkResult counts what the link to a rig did; zero in process.
type LinkResult struct {
	Late    int `json:"late"`
	Retried int `json:"retried"`
	Missed  int `json:"missed"`

	Steps    int64    `json:"steps,omitempty"` // asked and answered
	BytesOut int64    `json:"bytes_out,omitempty"`
	BytesIn  int64    `json:"bytes_in,omitempty"`
	Damaged  int64    `json:"damaged,omitempty"`  // frames with a wrong checksum or stuffing
	Losses   int64    `json:"losses,omitempty"`   // of the port
	Reopened int64    `json:"reopened,omitempty"` // times it came back
	Silences int64    `json:"silences,omitempty"` // times the rig dropped its outputs for silence
	Latency  *Latency `json:"latency,omitempty"`  // of answers
}

// Words says in a line what the link did.
func (l *LinkResult) Words() string {
	text := fmt.Sprintf("%d steps, %d bytes out, %d in, %d repeated, %d damaged, %d losses", l.Steps, l.BytesOut, l.BytesIn, l.Retried, l.Damaged, l.Losses)
	if l.Late > 0 {
		text += fmt.Sprintf(", %d late", l.Late)
	}
	if l.Latency != nil {
		text += fmt.Sprintf("; answers within %.2f ms (half), %.2f ms (99 %%), %.2f ms (all)", l.Latency.Half, l.Latency.Most, l.Latency.Greatest)
	}
	return text
}

// Latency is how long answers took, in milliseconds.
type Latency struct {
	Half     float64 `json:"p50_ms"`
	Most     float64 `json:"p99_ms"`
	Nearly   float64 `json:"p999_ms"`
	Greatest float64 `json:"max_ms"`
}

// Difference is where a unit first answered otherwise than the reference beside
// it.
type Difference struct {
	Column    string  `json:"column"` // or "fuel 3" and "spark 3": a decision for that cylinder
	At        float64 `json:"at_s"`
	Unit      string  `json:"unit_says"`
	Reference string  `json:"reference_says"`
	Ticks     int     `json:"ticks"` // at which the column differs, in all
}

// JSON gives the results as indented text, ready for results.json.
func (r *Results) JSON() ([]byte, error) {
	b, err := json.MarshalIndent(r, "", "  ")
	if err != nil {
		return nil, fmt.Errorf("results: %w", err)
	}
	return append(b, '\n'), nil
}

// Longest gives the reason that stood longest, or "" if none did.
func Longest(list []Inhibited) Inhibited {
	var best Inhibited
	for _, x := range list {
		if x.Seconds > best.Seconds {
			best = x
		}
	}
	return best
}
