package report

import (
	"encoding/json"
	"errors"
	"fmt"
	"html/template"
	"io"
	"slices"

	"github.com/pelletier/go-toml/v2"

	"github.com/holdline/holdline/controller"
	"github.com/holdline/holdline/harness"
	"github.com/holdline/holdline/harness/files"
)

// ReleaseTick finds the tick of a trace at which the launch device was first let
// go after an earned hold; ok is false if it never was.
func ReleaseTick(tr *harness.Trace) (tick int, ok bool) {
	c := tr.Column("sequence")
	if c == nil || c.Words == nil {
		return 0, false
	}
	for i, x := range c.Data {
		if c.Words(x) == controller.Released.String() {
			return i, true
		}
	}
	return 0, false
}

// Overlay writes the page of two runs laid over each other, aligned at release, or
// at the start if one was never released. Both must have traces.
func Overlay(w io.Writer, a, b *Run) error {
	if a == nil || b == nil || a.Results == nil || b.Results == nil || a.Trace == nil || b.Trace == nil {
		return errors.New("report: two runs laid over each other need results and a trace each")
	}
	v := overlayView{sheet: newSheet(fmt.Sprintf("Two runs: %s, seed %d, and %s, seed %d",
		shown(a.Results.Title()), a.Results.Seed, shown(b.Results.Title()), b.Results.Seed))}
	v.script(chartScript)
	startA, startB, released, words := align(a.Trace, b.Trace)
	v.Aligned, v.Chart, v.Drawing = words, overlaid(a, b, startA, startB), drawOver(a, b, startA, startB, released)
	if released {
		v.Chart.Marks = append(v.Chart.Marks, mark{0, "release", "release"})
	}
	v.Heads, v.Conditions, v.Notes = heads(a, b), pairs(a.Results.Facts, b.Results.Facts), notesOf(a, b)
	var err error
	if v.Calibrations, err = CalibrationDifference(a.Calibration, b.Calibration); err != nil {
		return err
	}
	if a.Calibration == nil || b.Calibration == nil {
		v.Unknown = "Not shown: the calibration file of a run was not at hand."
	}
	if a.hot() || b.hot() {
		v.Caution = caution
	}
	return overlayTemplate.ExecuteTemplate(w, "overlay", &v)
}

type overlayView struct {
	sheet
	Aligned, Unknown, Caution       string
	Heads, Conditions, Calibrations []Difference
	Notes                           []Fact
	Chart                           *chart
	Drawing                         template.HTML
}

// Difference is a field as it stands in two runs.
type Difference struct {
	Name, A, B string
	Differs    bool
}

// align gives the times of both first ticks, so that release is at 0; released is
// false where one of them has none, and both begin at 0.
func align(a, b *harness.Trace) (startA, startB int64, released bool, words string) {
	ta, okA := ReleaseTick(a)
	tb, okB := ReleaseTick(b)
	if !okA || !okB {
		return 0, 0, false, "Aligned at the start: one of the runs was never released."
	}
	startA, startB = -int64(ta)*int64(a.Period), -int64(tb)*int64(b.Period)
	by := float64(startB-startA) / 1e6
	text := "Aligned at release, which is 0 s on the axis; "
	switch {
	case by < 0:
		return startA, startB, true, text + fmt.Sprintf("B was released %.6g s later in its run than A.", -by)
	case by > 0:
		return startA, startB, true, text + fmt.Sprintf("B was released %.6g s earlier in its run than A.", by)
	}
	return startA, startB, true, text + "both were released at the same time of their runs."
}

func endOf(tr *harness.Trace, start int64) int64 { return start + int64(tr.Ticks)*int64(tr.Period) }

// overlaid draws both runs: A in full lines, B dashed; ceilings dotted, and dash
// and dot.
func overlaid(a, b *Run, startA, startB int64) *chart {
	c := &chart{
		From: min(startA, startB), To: max(endOf(a.Trace, startA), endOf(b.Trace, startB)), Tick: int64(min(a.Trace.Period, b.Trace.Period)),
		Selected: -1,
	}
	c.Decimals = max(decimalsOfTime(float64(c.Tick)/1e6), 3)
	ta, tb := c.add(a.Trace, startA, "A "), c.add(b.Trace, startB, "B ")
	for _, p := range linePanels() {
		list := p.list
		p.Kind, p.Lines = "lines", ta.lines(restyled(list, 0)...)
		if p.Lines = append(p.Lines, tb.lines(restyled(list, 1)...)...); len(p.Lines) > 0 {
			c.Panels = append(c.Panels, p.panel)
		}
	}
	for _, x := range []struct {
		t    *timeline
		r    *Run
		name string
	}{{ta, a, "A"}, {tb, b, "B"}} {
		if len(x.r.Trace.Events) > 0 {
			c.Panels = append(c.Panels, panel{Kind: "cycles", Title: "Firing events of " + x.name, Table: c.cycles(x.t, x.name)})
		}
	}
	c.Panels = append(c.Panels, panel{Kind: "bars", Title: "Launch sequence, stages and shots", Rows: append(ta.bars(c, a.Results), tb.bars(c, b.Results)...)})
	return c
}

func restyled(list []namedLine, by int) []namedLine {
	out := slices.Clone(list)
	for i := range out {
		out[i].style = 2*out[i].style + by
	}
	return out
}

func drawOver(a, b *Run, startA, startB int64, released bool) template.HTML {
	ca, cb := a.Trace.Column("engine-speed"), b.Trace.Column("engine-speed")
	if ca == nil || cb == nil {
		return ""
	}
	from := "the start"
	if released {
		from = "release"
	}
	f := newFrame("Engine speed of both runs, aligned at "+from, 760, 270, 52, 12, 40, 36)
	low, high := boundsOf([]*harness.Column{ca, cb})
	f.span(float64(min(startA, startB))/1e6, float64(max(endOf(a.Trace, startA), endOf(b.Trace, startB)))/1e6, low, high)
	f.axes("seconds from "+from, "rpm")
	for i, x := range []struct {
		c     *harness.Column
		start int64
		tr    *harness.Trace
		name  string
	}{{ca, startA, a.Trace, "A (full line)"}, {cb, startB, b.Trace, "B (dashed)"}} {
		points := thinned(x.c, float64(x.tr.Period)/1e6, 600)
		for k := range points {
			points[k].x += float64(x.start) / 1e6
		}
		f.path(points, i)
		f.text(f.right-float64(120*(1-i)), f.top-24, "end", x.name)
	}
	if released {
		f.moment(0, "release", "1 3", 0)
	}
	return f.html()
}

// heads compares what the heads of both pages say.
func heads(a, b *Run) []Difference {
	say := func(r *Run) []Fact {
		list := []Fact{{Name: "Verdict", Text: spelled(r.headline())}, {Name: "Repeat", Text: spelled(r.Results.Repeat)}}
		results := *r.Results
		results.Facts = nil
		bare := *r
		bare.Results = &results
		return append(list, bare.facts()...)
	}
	return pairs(say(a), say(b))
}

// pairs puts facts of the same name side by side, in the order of A's, then what
// only B has.
func pairs(a, b []Fact) (out []Difference) {
	find := func(list []Fact, name string) (string, bool) {
		for _, f := range list {
			if f.Name == name {
				return f.Text, true
			}
		}
		return "\u2013", false
	}
	for _, f := range a {
		other, _ := find(b, f.Name)
		out = append(out, Difference{shown(f.Name), cut(spelled(f.Text), 2*mostRunes), cut(spelled(other), 2*mostRunes), f.Text != other})
	}
	for _, f := range b {
		if _, ok := find(a, f.Name); !ok {
			out = append(out, Difference{shown(f.Name), "\u2013", cut(spelled(f.Text), 2*mostRunes), true})
		}
	}
	return out
}

func notesOf(a, b *Run) (out []Fact) {
	for _, x := range []struct {
		name  string
		notes []string
	}{{"A", a.Results.Notes}, {"B", b.Results.Notes}} {
		for _, n := range x.notes {
			out = append(out, Fact{Name: x.name, Text: cut(spelled(n), 4*mostRunes)})
		}
	}
	return out
}

// CalibrationDifference lists the fields in which two calibrations differ, by
// their names in the calibration file, in the order of those names. It gives
// nothing if one of them is nil.
func CalibrationDifference(a, b *controller.Calibration) ([]Difference, error) {
	if a == nil || b == nil {
		return nil, nil
	}
	fa, err := fieldsOf(a)
	if err != nil {
		return nil, err
	}
	fb, err := fieldsOf(b)
	if err != nil {
		return nil, err
	}
	names := make([]string, 0, len(fa))
	for name := range fa {
		names = append(names, name)
	}
	for name := range fb {
		if _, ok := fa[name]; !ok {
			names = append(names, name)
		}
	}
	slices.Sort(names)
	var out []Difference
	for _, name := range names {
		if fa[name] != fb[name] {
			out = append(out, Difference{shown(name), orDash(fa[name]), orDash(fb[name]), true})
		}
	}
	return out, nil
}

func orDash(s string) string {
	if s == "" {
		return "\u2013"
	}
	return cut(spelled(s), 4*mostRunes)
}

// fieldsOf flattens a calibration file: dotted names and values as written.
func fieldsOf(cal *controller.Calibration) (map[string]string, error) {
	text, err := files.EncodeCalibration(cal)
	if err != nil {
		return nil, fmt.Errorf("report: calibration %q: %w", cal.Name.String(), err)
	}
	var tree map[string]any
	if err := toml.Unmarshal(text, &tree); err != nil {
		return nil, fmt.Errorf("report: calibration %q: %w", cal.Name.String(), err)
	}
	out := map[string]string{}
	err = flatten(out, "", tree)
	return out, err
}

func flatten(out map[string]string, prefix string, tree map[string]any) error {
	for name, v := range tree {
		if inner, ok := v.(map[string]any); ok {
			if err := flatten(out, prefix+name+".", inner); err != nil {
				return err
			}
			continue
		}
		text, err := json.Marshal(v)
		if err != nil {
			return fmt.Errorf("report: %s%s: %w", prefix, name, err)
		}
		out[prefix+name] = string(text)
	}
	return nil
}
