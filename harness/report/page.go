package report

import (
	"fmt"
	"html/template"
	"io"
	"math"
	"strings"

	"github.com/holdline/holdline/harness"
	"github.com/holdline/holdline/harness/require"
)

// caution is what stands on a page where somebody could act on it.
const caution = "Late ignition and added power can destroy engines and burn people. Fit hardware cut-offs first: a master switch, a fuel shut-off, a limiter that does not depend on this code. Keep people clear of exhaust, tyres and the line of the car."

// Page writes the page of one run. The error is that of w, or of results that are
// nil.
func Page(w io.Writer, r *Run) error {
	if r == nil || r.Results == nil {
		return fmt.Errorf("report: a page needs results")
	}
	view := pageView{sheet: newSheet(r.title()), Run: r, Headline: spelled(r.headline()), Verdict: verdictWords(r.Results.Verdict)}
	view.Kind = "run"
	list := require.Ranked(r.Results.Requirements)
	if r.Trace != nil {
		view.Chart = r.chart(list)
		view.Drawing = r.drawing(list)
		view.script(chartScript)
	}
	view.Requirements = r.rows(list)
	view.First, view.Rest = split(view.Requirements)
	view.See = r.see(list)
	view.Facts = r.facts()
	view.Spans = spansOf(r)
	return pageTemplate.Execute(w, &view)
}

// pageView is what the template of a page sees.
type pageView struct {
	sheet
	*Run
	Verdict, Headline string
	See               *sight
	Facts             []Fact
	Requirements      []requirementRow
	First, Rest       []requirementRow
	Spans             []spanRow
	Chart             *chart
	Drawing           template.HTML
}

func (r *Run) title() string {
	return fmt.Sprintf("%s: %s, seed %d", verdictWords(r.Results.Verdict), shown(r.Results.Title()), r.Results.Seed)
}

// Caution is the warning of a page on which late ignition or a shot is in play.
func (v *pageView) Caution() string {
	if v.hot() {
		return caution
	}
	return ""
}

// Repeat is the one command that repeats the run, never cut short.
func (v *pageView) Repeat() string { return spelled(v.Results.Repeat) }

// Early says why the run is not complete.
func (v *pageView) Early() string {
	if v.Results.Complete {
		return ""
	}
	return shown("this run stopped early: " + v.Results.Stopped)
}

// Notes are what the reader must know of the run.
func (v *pageView) Notes() (out []string) {
	for _, n := range v.Results.Notes {
		out = append(out, cut(spelled(n), 4*mostRunes))
	}
	return out
}

// sight is the answer to: what went wrong, and when?
type sight struct {
	What, Why, Condition, When string
	Mark, First                int // places of marks; First 0: none
	Holds                      bool
}

// see explains the requirement that the headline names.
func (r *Run) see(list []harness.RequirementResult) *sight {
	if len(list) == 0 {
		return nil
	}
	q := &list[0]
	s := &sight{What: shown(q.Text), Why: shown(q.Reason), Condition: shown(q.Condition), When: r.when(q.ClosestAt), Mark: r.markOf(0)}
	if s.What == "" {
		s.What = shown(q.ID)
	}
	if at, ok := r.begins(q); ok {
		s.First = r.markOf(len(list))
		s.When = "from " + r.seconds(at) + " on; worst at " + s.When
	}
	s.Holds = q.Verdict == harness.VerdictHolds
	return s
}

// begins is when a requirement that fails was first broken, to the end of the
// stretch in which its margin was; ok is false where nothing says so, or where
// that is no earlier than the worst moment.
func (r *Run) begins(q *harness.RequirementResult) (at float64, ok bool) {
	for i := range r.Margins {
		m := &r.Margins[i]
		if m.ID != q.ID || q.Verdict != harness.VerdictFails {
			continue
		}
		for k, x := range m.Values {
			if x < 0 {
				at = float64((k+1)*m.Step-1) * r.Results.Period
				return at, at < q.ClosestAt
			}
		}
	}
	return 0, false
}

// requirementRow is a line of the table of requirements.
type requirementRow struct {
	ID, Text, Reason, Source, Condition, Verdict, Sign, Margin, At string
	Mark                                                           int
	Fails, Open, Vacuous                                           bool
}

func (r *Run) rows(list []harness.RequirementResult) []requirementRow {
	rows := make([]requirementRow, len(list))
	for i := range list {
		q := &list[i]
		rows[i] = requirementRow{
			ID: shown(q.ID), Text: shown(q.Text), Reason: shown(q.Reason), Source: shown(q.Source), Condition: shown(q.Condition),
			Verdict: strings.ToLower(verdictWords(q.Verdict)), Margin: marginWords(q), At: r.seconds(q.ClosestAt), Mark: r.markOf(i),
			Fails: q.Verdict == harness.VerdictFails, Open: q.Verdict == harness.VerdictInconclusive, Vacuous: q.Vacuous && q.Verdict == harness.VerdictHolds,
		}
		row := &rows[i]
		switch {
		case row.Fails:
			row.Sign = "\u2715" // a cross
		case row.Open:
			row.Sign = "?"
		case row.Vacuous:
			row.Verdict, row.Sign = "not put to the test", "\u2013"
		default:
			row.Sign = "\u2713" // a tick
		}
	}
	return rows
}

// mostFirst is how many requirements a page shows before it folds the rest.
const mostFirst = 8

// split keeps in sight what failed or stayed open, and the closest of the rest.
func split(rows []requirementRow) (first, rest []requirementRow) {
	n := 0
	for n < len(rows) && (rows[n].Fails || rows[n].Open || n < mostFirst) {
		n++
	}
	return rows[:n], rows[n:]
}

// facts are the lines of the head.
func (r *Run) facts() []Fact {
	x := r.Results
	list := []Fact{
		{Name: "Unit under test", Text: shown(x.Unit)}, {Name: "Calibration", Text: shown(x.Calibration)}, {Name: "Car or recording", Text: shown(x.Source)},
		{Name: "Seed", Text: fmt.Sprint(x.Seed)}, {Name: "Length", Text: fmt.Sprintf("%s, ticks of %g ms", r.seconds(x.Seconds), x.Period*1000)},
	}
	if x.Varied != "" {
		list = append(list, Fact{Name: "Varied", Text: shown(x.Varied)})
	}
	if at, ok := r.release(); ok {
		list = append(list, Fact{Name: "Released", Text: r.seconds(at)})
	}
	if l := x.Launch; l != nil {
		list = append(list, Fact{Name: "Car", Text: shown(l.Car)})
		if l.LetGo > 0 {
			list = append(list, Fact{Name: "Held at", Text: fmt.Sprintf("%.0f rpm \u00b1 %.0f, %.0f kPa", l.HoldSpeed, l.HoldSD, l.Pressure)})
		}
		if l.Feet60 > 0 {
			list = append(list, Fact{Name: "60 ft", Text: fmt.Sprintf("%.3f s, limited by %s", l.Feet60, shown(l.Limit))})
		}
		if l.Quarter > 0 {
			list = append(list, Fact{Name: "Quarter mile", Text: fmt.Sprintf("%.3f s at %.1f m/s", l.Quarter, l.Trap)})
		}
	}
	if l := &x.Link; l.Steps > 0 {
		list = append(list, Fact{Name: "Link", Text: l.Words()})
	}
	for _, f := range r.Results.Facts {
		list = append(list, Fact{Name: shown(f.Name), Text: shown(f.Text)})
	}
	return list
}

// spanRow is a stretch of the launch sequence.
type spanRow struct{ State, From, To string }

// mostSpans bounds the printed list.
const mostSpans = 12

func spansOf(r *Run) (rows []spanRow) {
	for i, s := range r.Results.Sequence {
		if i == mostSpans {
			return append(rows, spanRow{fmt.Sprintf("and %d more, in results.json", len(r.Results.Sequence)-i), "", ""})
		}
		rows = append(rows, spanRow{shown(s.State), r.seconds(s.From), r.seconds(s.To)})
	}
	return rows
}

// markOf is the place of the i-th requirement's closest moment among the marks of
// the chart: the release, if there was one, comes first.
func (r *Run) markOf(i int) int {
	if _, ok := r.release(); ok {
		return i + 1
	}
	return i
}

// chart builds what the script draws; list are the requirements as ranked.
func (r *Run) chart(list []harness.RequirementResult) *chart {
	tick := int64(r.Trace.Period)
	c := &chart{To: int64(r.Trace.Ticks) * tick, Tick: tick, Selected: -1, Decimals: max(decimalsOfTime(float64(tick)/1e6), 3)}
	t := c.add(r.Trace, 0, "")
	if at, ok := r.release(); ok {
		c.Marks = append(c.Marks, mark{micro(at), "release", "release"})
	}
	for i := range list {
		c.Marks = append(c.Marks, mark{micro(list[i].ClosestAt), shown(list[i].ID), "closest"})
	}
	if len(list) > 0 {
		c.Selected = r.markOf(0)
		if at, ok := r.begins(&list[0]); ok {
			c.Marks = append(c.Marks, mark{micro(at), "here it begins: " + shown(list[0].ID), "first"})
		}
	}
	for _, p := range linePanels() {
		if p.Lines = t.lines(p.list...); len(p.Lines) > 0 {
			c.Panels = append(c.Panels, p.panel)
		}
	}
	if len(r.Trace.Events) > 0 {
		c.Panels = append(c.Panels, panel{Kind: "cycles", Title: "Firing events by cylinder", Table: c.cycles(t, "")})
	}
	if rows := t.bars(c, r.Results); len(rows) > 0 {
		c.Panels = append(c.Panels, panel{Kind: "bars", Title: "Launch sequence, stages and shots", Rows: rows})
	}
	if p := r.marginPanel(list); len(p.Limit) > 0 {
		c.Panels = append(c.Panels, p)
	}
	if rows := t.inhibits(c, r.Results); len(rows) > 0 {
		c.Panels = append(c.Panels, panel{Kind: "bars", Title: "Inhibits: what kept a stage or a shot from working", Rows: rows})
	}
	for i := range c.Panels {
		if c.Panels[i].Kind == "" {
			c.Panels[i].Kind = "lines"
		}
	}
	return c
}

func micro(seconds float64) int64 { return int64(math.Round(seconds * 1e6)) }

// marginPanel packs the margins over time in the order of the ranked requirements.
func (r *Run) marginPanel(list []harness.RequirementResult) panel {
	p := panel{Kind: "margins", Title: "Requirement margins"}
	for i := range list {
		for k := range r.Margins {
			if m := &r.Margins[k]; m.ID == list[i].ID && len(m.Values) > 0 {
				p.Limit = append(p.Limit, packMargin(m, &list[i], r.markOf(i), int64(r.Trace.Period)))
			}
		}
	}
	return p
}

func packMargin(m *Margin, q *harness.RequirementResult, markAt int, tick int64) marginOn {
	decimals := 3
	for _, x := range m.Values {
		if a := math.Abs(x); !math.IsInf(a, 0) && a > 1e5 {
			decimals = 0
		}
	}
	per := math.Pow10(decimals)
	data := make([]int32, len(m.Values))
	for i, x := range m.Values {
		switch {
		case math.IsNaN(x):
			data[i] = marginNone
		case math.IsInf(x, 1):
			data[i] = marginHolds
		case math.IsInf(x, -1):
			data[i] = marginFails
		default:
			data[i] = int32(math.Round(min(max(x*per, -largestMargin), largestMargin)))
		}
	}
	return marginOn{
		Mark: markAt, Label: shown(q.ID), Verdict: q.Verdict, Words: marginWords(q), Unit: unitOf(m.Unit),
		Per: per, Decimals: decimals, Scale: m.Scale * per, Tick: tick * int64(m.Step), N: len(data), Data: pack(data).text(),
	}
}

// Shown makes a stranger's text fit to be read.
func (v *pageView) Shown(s string) string { return shown(s) }
