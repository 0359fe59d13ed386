package scenario

import (
	"fmt"

	"github.com/holdline/holdline/controller"
	"github.com/holdline/holdline/harness"
	"github.com/holdline/holdline/harness/files"
	"github.com/holdline/holdline/harness/record"
)

// Replay is a recording that is ready to drive a unit: an open loop.
type Replay struct {
	Recording *record.Recording
	Notes     []string // what a reader of any results must know of the recording

	cal      *controller.Calibration
	cols     *files.Columns
	scripts  []*files.Script
	from, to int64 // us of the recording
}

// ReplayOptions is a section of a recording, and what it lacks.
type ReplayOptions struct {
	Scripts  []string // phrases for switches and channels, after those of the columns file
	From, To float64  // s of the recording; below 0: as the columns file says
}

// LoadReplay reads a recording and its columns file ("" for a trace of ours, which
// needs none) and ties them to a calibration. It returns everything that is wrong
// at once; the replay is nil if any of that is an error. A nil calibration, one
// that could not be read, leaves out what needs it.
func LoadReplay(cal *controller.Calibration, recording, columns string, o ReplayOptions) (*Replay, harness.Findings) {
	r := &Replay{cal: cal}
	rec, cols, findings := readRecording(recording, columns)
	r.cols = cols
	findings = append(findings, r.phrases(o.Scripts)...)
	if rec == nil || findings.Failed() {
		return nil, findings
	}
	r.Recording, r.scripts = rec, append([]*files.Script{&cols.Script}, r.scripts...)
	feeds, switches, more := cols.Bind(rec)
	findings = append(findings, more...)
	findings = append(findings, r.section(o)...)
	if findings.Failed() {
		return nil, findings
	}
	if cal == nil {
		return nil, findings
	}
	r.Notes = notesOf(rec, cols)
	return r, append(findings, r.unfed(feeds, switches)...)
}

// readRecording reads a recording the way that its columns file says, or a trace
// of ours the way that it says itself.
func readRecording(recording, columns string) (*record.Recording, *files.Columns, harness.Findings) {
	if columns == "" {
		rec, findings := record.ReadTrace(recording)
		if rec == nil {
			return nil, nil, findings
		}
		return rec, files.TraceColumns(rec), findings
	}
	cols, findings := files.LoadColumns(columns)
	if findings.Failed() {
		return nil, nil, findings
	}
	rec, more := record.ReadFile(recording, cols.Options())
	return rec, cols, append(findings, more...)
}

func (r *Replay) phrases(texts []string) (all harness.Findings) {
	for _, t := range texts {
		s, findings := files.ParseScript("", t, files.Inputs())
		for i := range findings {
			findings[i].Field = "--script"
		}
		all = append(all, findings...)
		r.scripts = append(r.scripts, s)
	}
	return all
}

// Stimulus gives a new stimulus at the start of the section.
func (r *Replay) Stimulus() *record.Stimulus {
	feeds, switches, _ := r.cols.Bind(r.Recording) // found to fit before
	return &record.Stimulus{
		Feeds: feeds, Switches: switches, Script: newInputScript(r.cal, r.cols, r.scripts),
		Schedule: harness.NewSchedule(&r.cal.Engine, r.cal.Period, r.cols.Commit),
		FromUS:   r.from, ToUS: r.to, PeriodUS: int64(r.cal.Period),
	}
}

// section finds the stretch of the recording to run, in its own time.
func (r *Replay) section(o ReplayOptions) (findings harness.Findings) {
	rec := r.Recording
	r.from, r.to = rec.StartUS+r.cols.Recording.FromUS, rec.EndUS
	if r.cols.Recording.ToUS > 0 {
		r.to = rec.StartUS + r.cols.Recording.ToUS
	}
	if o.From >= 0 {
		r.from = rec.StartUS + int64(o.From*1e6)
	}
	if o.To >= 0 {
		r.to = rec.StartUS + int64(o.To*1e6)
	}
	r.to = min(r.to, rec.EndUS)
	if r.from >= r.to {
		length := float64(rec.EndUS-rec.StartUS) / 1e6
		findings = append(findings, harness.Finding{
			Severity: harness.Error, File: rec.File, Field: "--from, --to",
			Value:   fmt.Sprintf("%.3f to %.3f s", float64(r.from-rec.StartUS)/1e6, float64(r.to-rec.StartUS)/1e6),
			Allowed: fmt.Sprintf("0 to %.3f s", length), Reason: "no part of the recording is left",
		})
	}
	return findings
}

// unfed warns of inputs that the calibration fits and nothing supplies: they
// count as lost.
func (r *Replay) unfed(feeds []record.Feed, switches []record.SwitchFeed) (findings harness.Findings) {
	have, haveSwitch := newInputScript(r.cal, r.cols, r.scripts).supplies()
	for _, f := range feeds {
		have |= 1 << f.Channel
	}
	for _, f := range switches {
		haveSwitch |= 1 << f.Switch
	}
	warn := func(name string) {
		findings = append(findings, harness.Finding{File: r.Recording.File, Field: name,
			Reason: "the calibration fits this input and nothing supplies it: it counts as lost",
			Fix:    "name its column in the columns file, script it, or declare it not fitted"})
	}
	for c := range controller.NumChannels {
		if r.cal.Channels[c].Fitted && !have.Has(c) {
			warn(harness.Channels[c].Name)
		}
	}
	for sw := range controller.NumSwitches {
		if r.cal.Switches.Has(sw) && !haveSwitch.Has(sw) {
			warn(harness.Switches[sw])
		}
	}
	return findings
}

// slowLog is the sampling interval above which a log cannot judge cuts.
const slowLog = 10000 // us

// OpenLoop is what a reader of a replay's results must know first.
const OpenLoop = "a replay is an open loop: the recorded engine speed does not answer the cuts, so a held engine goes where it went on the day"

func notesOf(rec *record.Recording, cols *files.Columns) (notes []string) {
	if rec.IntervalUS > slowLog {
		notes = append(notes, fmt.Sprintf("one row every %.4g s: a diagnostic log, too slow to judge cuts or interlocks; good for stage logic, switches and reasons only", float64(rec.IntervalUS)/1e6))
	}
	if cols.Notes != "" {
		notes = append(notes, cols.Notes)
	}
	return notes
}
