package scenario

import (
	"errors"
	"fmt"
	"slices"
	"strings"

	"github.com/holdline/holdline/controller"
	"github.com/holdline/holdline/harness"
	"github.com/holdline/holdline/harness/files"
	"github.com/holdline/holdline/harness/record"
	"github.com/holdline/holdline/harness/require"
	"github.com/holdline/holdline/sim"
)

// Options changes what a scenario file says.
type Options struct {
	Changes []files.Change // "car." and "calibration." reach into those files
	Require []string       // sets beside the scenario's own, from the working folder
	Seed    int64          // below 0: the scenario's
	Repeats int            // 0: the scenario's
}

// AsWritten changes nothing.
var AsWritten = Options{Seed: -1}

// Loaded is one combination of a scenario's varied values, with the files that
// it names.
type Loaded struct {
	Scenario
	File     string
	Point    []files.Change // the combination; empty if nothing varies
	Changes  []files.Change // from outside the file
	Cal      *controller.Calibration
	Model    *sim.Model // nil with a recording
	Replay   *Replay    // nil with a car
	Required []require.Requirement

	asked []string // requirement sets from outside the file
}

// CalibrationFile is the path of the calibration that the scenario names.
func (l *Loaded) CalibrationFile() string { return files.Beside(l.File, l.Calibration) }

// CarFile is the path of the car that the scenario names.
func (l *Loaded) CarFile() string { return files.Beside(l.File, l.Car) }

// maxRuns bounds what one scenario asks for.
const maxRuns = 100000

// Load reads a scenario with all files that it names, once for every
// combination of its varied values. It returns everything that is wrong with any
// of them at once; nothing is loaded if any of that is an error.
func Load(path string, o Options) ([]*Loaded, harness.Findings) {
	base, doc, findings := Kind.Read(path, own(o.Changes)...)
	if findings.Failed() {
		// What it names is looked at all the same, so that all findings show.
		_, more := load(base, doc, path, o.Changes, o)
		return nil, append(findings, more...)
	}
	points := combinations(free(base.Vary, o.Changes))
	if runs := len(points) * max(o.Repeats, base.Repeats); runs > maxRuns {
		return nil, append(findings, at(doc, "vary", harness.Finding{
			Reason: "asks for too many runs", Value: fmt.Sprint(runs), Allowed: fmt.Sprintf("up to %d", maxRuns), Fix: "use a sweep"}))
	}
	var list []*Loaded
	told := map[harness.Finding]bool{}
	for _, f := range findings {
		told[f] = true
	}
	for _, point := range points {
		s, more := loadPoint(path, point, o)
		list = append(list, s)
		for _, f := range more {
			if !told[f] {
				told[f] = true
				findings = append(findings, f)
			}
		}
	}
	if findings.Failed() {
		return nil, findings
	}
	return list, findings
}

// loadPoint reads the scenario anew with one combination, so that every varied
// value meets the checks of the file in which it stands.
func loadPoint(path string, point []files.Change, o Options) (*Loaded, harness.Findings) {
	all := append(append([]files.Change{}, point...), o.Changes...)
	s, doc, findings := Kind.Read(path, own(all)...)
	if findings.Failed() {
		return nil, findings
	}
	one, more := load(s, doc, path, all, o)
	if one != nil {
		one.Point = point
	}
	return one, append(findings, more...)
}

// own drops the changes that reach into other files.
func own(changes []files.Change) []files.Change {
	_, rest := files.Under("car", changes)
	_, rest = files.Under("calibration", rest)
	return rest
}

// free gives the axes that no change from outside has settled.
func free(axes []Axis, changes []files.Change) (list []Axis) {
	for _, a := range axes {
		if !slices.ContainsFunc(changes, func(c files.Change) bool { return c.Path == a.Path }) {
			list = append(list, a)
		}
	}
	return list
}

// combinations lists every combination, the last axis fastest; without axes
// there is one, of nothing.
func combinations(axes []Axis) [][]files.Change {
	list := [][]files.Change{nil}
	for _, a := range axes {
		if len(list)*len(a.Values) > maxRuns {
			return make([][]files.Change, maxRuns+1) // too many, whatever they are
		}
		var longer [][]files.Change
		for _, before := range list {
			for _, v := range a.Values {
				longer = append(longer, append(append([]files.Change{}, before...), files.Change{Path: a.Path, Value: v}))
			}
		}
		list = longer
	}
	return list
}

// at gives a finding the place of a key.
func at(doc *files.Document, key string, f harness.Finding) harness.Finding {
	pos, _ := doc.Locate(key)
	f.Severity, f.File, f.Line, f.Column = harness.Error, doc.File, pos.Line, pos.Column
	if f.Field == "" {
		f.Field = key
	}
	return f
}

// load reads what a scenario names.
func load(s *Scenario, doc *files.Document, path string, changes []files.Change, o Options) (*Loaded, harness.Findings) {
	if s.Calibration == "" {
		return nil, nil
	}
	l := &Loaded{Scenario: *s, File: path, Changes: o.Changes, asked: o.Require}
	if o.Seed >= 0 {
		l.Seed = o.Seed
	}
	if o.Repeats > 0 {
		l.Repeats = o.Repeats
	}
	under, _ := files.Under("calibration", changes)
	cal, findings := files.LoadCalibration(files.Beside(path, s.Calibration), under...)
	findings = named(doc, "calibration", findings)
	l.Cal = cal
	more := l.source(doc, changes)
	findings = append(findings, more...)
	if cal != nil {
		findings = append(findings, l.requirements(doc)...)
	}
	if findings.Failed() {
		return nil, findings
	}
	return l, findings
}

// source loads the car or the recording.
func (l *Loaded) source(doc *files.Document, changes []files.Change) harness.Findings {
	under, _ := files.Under("car", changes)
	switch {
	case l.Car != "" && l.Recording != "":
		return harness.Findings{at(doc, "recording", harness.Finding{Reason: "a scenario names a car or a recording, not both", Fix: "take one of them out"})}
	case l.Recording != "":
		return l.recording(doc, under)
	case l.Car == "":
		return harness.Findings{at(doc, "car", harness.Finding{Reason: "neither a car nor a recording is named", Fix: "add car = \"FILE\", or recording and columns"})}
	case l.Columns != "":
		return harness.Findings{at(doc, "columns", harness.Finding{Reason: "a columns file goes with a recording", Fix: "take it out, or name a recording"})}
	}
	car, findings := files.LoadCar(files.Beside(l.File, l.Car), under...)
	findings = named(doc, "car", findings)
	if _, said := doc.Locate("driver.does"); !said {
		findings = append(findings, at(doc, "driver.does", harness.Finding{Field: "driver.does", Reason: "a car needs a driver", Fix: "say what the driver does, such as \"throttle 100 % at 1 s\""}))
	}
	if l.Cal == nil || findings.Failed() {
		return findings
	}
	match := harness.MatchCar(*car, l.Cal)
	for _, f := range match {
		pos, _ := doc.Locate("calibration")
		f.File, f.Line, f.Column = doc.File, pos.Line, pos.Column
		findings = append(findings, f)
	}
	if match.Failed() {
		return findings
	}
	model, bad := sim.Compile(*car)
	for _, f := range bad {
		findings = append(findings, harness.Finding{Severity: harness.Error, File: l.Car, Field: f.Field, Value: f.Value, Allowed: f.Allowed, Reason: f.Reason})
	}
	l.Model = model
	return findings
}

// ofACar are the keys that only a simulated car heeds.
var ofACar = []string{"surface", "weather", "noise", "spread", "driver.shift_rpm", "driver.surface_trim", "driver.start_rpm", "distance_m", "decode_teeth"}

func (l *Loaded) recording(doc *files.Document, car []files.Change) (findings harness.Findings) {
	refuse := func(key, reason, fix string) {
		findings = append(findings, at(doc, key, harness.Finding{Reason: reason, Fix: fix}))
	}
	recording, columns := files.Beside(l.File, l.Recording), ""
	switch {
	case l.Columns != "":
		columns = files.Beside(l.File, l.Columns)
	case !record.IsTrace(recording):
		refuse("recording", "a recording needs a columns file", "add columns = \"FILE\"; holdline replay --suggest-columns writes a first one")
	}
	if len(l.Script.Actions) > 0 {
		refuse("driver.does", "nobody drives a recording", "script its switches in the columns file")
	}
	for _, key := range ofACar {
		if _, said := doc.Locate(key); said {
			refuse(key, "does nothing with a recording, which is as it was on the day", "take it out")
		}
	}
	for _, c := range car {
		refuse("recording", "there is no car to change: car."+c.Path, "")
	}
	if l.Cal == nil || findings.Failed() {
		return findings
	}
	r, more := LoadReplay(l.Cal, recording, columns, ReplayOptions{From: -1, To: -1})
	l.Replay = r
	return append(findings, more...)
}

// requirements reads the scenario's sets, then those asked for from outside.
func (l *Loaded) requirements(doc *files.Document) harness.Findings {
	var names []string
	for _, n := range l.Requirements {
		if n != "standard" && !strings.HasPrefix(n, "standard/") {
			n = files.Beside(l.File, n)
		}
		names = append(names, n)
	}
	names = append(names, l.asked...)
	if len(names) == 0 {
		return nil
	}
	reqs, err := require.Include(l.Cal, names...)
	l.Required = reqs
	var findings harness.Findings
	switch {
	case err == nil:
		return nil
	case errors.As(err, &findings):
		return named(doc, "requirements", findings)
	}
	return harness.Findings{at(doc, "requirements", harness.Finding{Reason: err.Error()})}
}

// named points at the scenario's key where a file could not be read at all.
func named(doc *files.Document, key string, findings harness.Findings) harness.Findings {
	for i := range findings {
		if f := &findings[i]; f.Line == 0 && f.Field == "" && f.Severity == harness.Error {
			pos, _ := doc.Locate(key)
			f.Value, f.File, f.Line, f.Column, f.Field = f.File, doc.File, pos.Line, pos.Column, key
		}
	}
	return findings
}
