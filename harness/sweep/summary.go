package sweep

import (
	"encoding/json"
	"errors"
	"math"
	"path/filepath"
	"sort"
	"strconv"

	"github.com/holdline/holdline/harness"
	"github.com/holdline/holdline/harness/stats"
)

// SummarySchema names the version of summary.json. Fields are added, never
// renamed, within a version.
const SummarySchema = "holdline-sweep-1"

// Summary is what a whole sweep comes to. It is the same for any number of
// shards, workers, stops and resumes.
type Summary struct {
	Schema   string   `json:"schema"`
	Name     string   `json:"name"`
	Plan     string   `json:"plan"` // hash
	MadeBy   string   `json:"made_by"`
	Launches int64    `json:"launches"`
	Verdict  string   `json:"verdict"` // worst of all launches; "none" where nothing was required
	Caution  string   `json:"caution,omitempty"`
	Notes    []string `json:"notes"`

	Outcomes []Count      `json:"outcomes"`
	Verdicts []Count      `json:"verdicts"`
	Limits   []Count      `json:"limited_by"`
	FailedBy []Count      `json:"failed_by"` // of each launch the first three
	Values   []ValueStats `json:"values"`
	Worst    []Noted      `json:"worst"`    // smallest margins
	Failures []Noted      `json:"failures"` // first launches
	Pictures []Drawing    `json:"pictures"`
}

// Count is how many launches a word is said of.
type Count struct {
	Word     string `json:"word"`
	Launches int64  `json:"launches"`
}

// ValueStats is the distribution of a measured column. Quantiles are to a
// thousandth, or to a whole rpm.
type ValueStats struct {
	Column
	N       int64   `json:"n"`
	Mean    float64 `json:"mean"`
	SD      float64 `json:"sd"`
	Lowest  float64 `json:"lowest"`
	P10     float64 `json:"p10"`
	Median  float64 `json:"median"`
	P90     float64 `json:"p90"`
	Highest float64 `json:"highest"`
}

// Drawing is the data of one picture.
type Drawing struct {
	Form    string `json:"form"`
	X       string `json:"x"`
	By      string `json:"by,omitempty"`
	Value   Column `json:"value"`
	Binned  bool   `json:"binned,omitempty"`  // x stands for the middle of a stretch
	Words   bool   `json:"words,omitempty"`   // x is not a number
	Without int64  `json:"without,omitempty"` // launches that never had this value
	Lines   []Line `json:"lines"`
}

// Line is one line of a picture.
type Line struct {
	Label  string      `json:"label"`
	Points []LinePoint `json:"points"`
}

// LinePoint is one place of a line: median, the middle eighty per cent, and the
// 95 % interval of the median between order statistics. For a picture of limits
// Median is the share of launches and the rest is zero.
type LinePoint struct {
	X      string  `json:"x"`
	At     float64 `json:"at"`
	N      int64   `json:"n"`
	Median float64 `json:"median"`
	P10    float64 `json:"p10"`
	P90    float64 `json:"p90"`
	Low    float64 `json:"median_low,omitempty"`
	High   float64 `json:"median_high,omitempty"`
	Mean   float64 `json:"mean"`
	SD     float64 `json:"sd"`
}

const (
	caution = "Competition and closed courses only. Added power and late ignition can destroy engines and burn people: hardware cut-offs first. " +
		"Values that look best here are results of a model, not settings: take them to a car in small steps, with the car's own limits watched."
	modelNote = "simulated cars of our own invention: they show directions, not your numbers"
)

func summarise(h shardHeader, t *tally) *Summary {
	s := &Summary{
		Schema: SummarySchema, Name: h.Name, Plan: h.Plan, MadeBy: h.MadeBy, Launches: t.launches, Notes: []string{modelNote},
		Outcomes: sorted(t.outcomes), Verdicts: sorted(t.verdicts), Limits: sorted(t.limits), FailedBy: sorted(t.failedBy),
		Worst: t.worst, Failures: t.failures, Verdict: overall(t, h.Judged),
	}
	if h.Hot {
		s.Caution = caution
	}
	for at := range h.Columns {
		if v, ok := t.values[at]; ok && v.n > 0 {
			s.Values = append(s.Values, statsOf(h.Columns[at], v, t.shape.places[at]))
		}
	}
	for i := range t.cells {
		s.Pictures = append(s.Pictures, draw(t, i))
	}
	return s
}

// overall is the worst verdict; a launch that could not be run leaves what was
// required open.
func overall(t *tally, judged bool) string {
	switch {
	case !judged:
		return harness.VerdictNone
	case t.verdicts[harness.VerdictFails] > 0:
		return harness.VerdictFails
	case t.verdicts[harness.VerdictHolds] < t.launches:
		return harness.VerdictInconclusive
	}
	return harness.VerdictHolds
}

// sorted lists counts, most first, then by word.
func sorted(m map[string]int64) []Count {
	list := []Count{}
	for w, n := range m {
		list = append(list, Count{w, n})
	}
	sort.Slice(list, func(i, j int) bool {
		if list[i].Launches != list[j].Launches {
			return list[i].Launches > list[j].Launches
		}
		return list[i].Word < list[j].Word
	})
	return list
}

func statsOf(c Column, v *spread, places int) ValueStats {
	n, at := v.ordered()
	of := func(x float64) float64 { return unscale(x, places) }
	return ValueStats{
		Column: c, N: v.n, Mean: round(of(v.mean()), places+1), SD: round(finite(of(v.sd())), places+1), Lowest: of(float64(v.least)), Highest: of(float64(v.most)),
		P10: of(stats.Quantile(n, 0.1, at)), Median: of(stats.Quantile(n, 0.5, at)), P90: of(stats.Quantile(n, 0.9, at)),
	}
}

// unscale turns last decimals into the unit; rounded so that the number reads as
// it was written.
func unscale(x float64, places int) float64 { return round(x/math.Pow10(places), places+2) }

func round(x float64, places int) float64 {
	p := math.Pow10(places)
	return math.RoundToEven(x*p) / p
}

func finite(x float64) float64 {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return 0
	}
	return x
}

// draw makes the data of one picture.
func draw(t *tally, i int) Drawing {
	q := &t.shape.pictures[i]
	d := Drawing{Form: q.Form, X: q.X, By: q.By, Binned: q.XBins.Width > 0, Value: Column{Name: q.Value}, Lines: []Line{}}
	if at, ok := t.shape.at[q.Value]; ok {
		d.Value = t.shape.columns[at]
	}
	cells := t.cells[i]
	xs, bys := axes(cells)
	d.Words = !allNumbers(xs)
	place := func(k int) float64 {
		if d.Words {
			return float64(k)
		}
		x, _ := number(xs[k])
		return x
	}
	if q.Form == formWord(Limits) {
		d.Lines = limitLines(cells, xs, place)
		return d
	}
	for _, c := range cells {
		d.Without += c.all - c.n
	}
	for _, by := range bys {
		line := Line{Label: by}
		for k, x := range xs {
			if c := cells[cellKey{x, by}]; c != nil && c.n > 0 {
				line.Points = append(line.Points, linePoint(x, place(k), &c.spread, t.shape.places[t.shape.at[q.Value]]))
			}
		}
		if len(line.Points) > 0 {
			d.Lines = append(d.Lines, line)
		}
	}
	return d
}

func linePoint(x string, at float64, v *spread, places int) LinePoint {
	s := statsOf(Column{}, v, places)
	p := LinePoint{X: x, At: at, N: v.n, Median: s.Median, P10: s.P10, P90: s.P90, Mean: s.Mean, SD: s.SD}
	n, order := v.ordered()
	if n > mostRanked {
		return p // the interval is narrower than a line
	}
	if low, high, ok := stats.MedianRanks(n); ok {
		p.Low, p.High = unscale(order(low), places), unscale(order(high), places)
	}
	return p
}

const mostRanked = 10_000

// axes lists the places of a picture in order: numbers by size, words by
// alphabet.
func axes(cells map[cellKey]*cell) (xs, bys []string) {
	seenX, seenBy := map[string]bool{}, map[string]bool{}
	for k := range cells {
		if !seenX[k.x] {
			seenX[k.x] = true
			xs = append(xs, k.x)
		}
		if !seenBy[k.by] {
			seenBy[k.by] = true
			bys = append(bys, k.by)
		}
	}
	inOrder(xs)
	inOrder(bys)
	return xs, bys
}

func inOrder(list []string) {
	numbers := allNumbers(list)
	sort.Slice(list, func(i, j int) bool {
		if !numbers {
			return list[i] < list[j]
		}
		a, _ := number(list[i])
		b, _ := number(list[j])
		return a < b
	})
}

func allNumbers(list []string) bool {
	for _, s := range list {
		if _, ok := number(s); !ok {
			return false
		}
	}
	return true
}

// limitOrder is the order in which limits are listed.
var limitOrder = []string{harness.LimitSpin, harness.LimitBog, harness.LimitCut, harness.LimitGrip, harness.LimitEngine, harness.LimitStall, harness.LimitNone}

// limitLines are the shares of launches by what limited them.
func limitLines(cells map[cellKey]*cell, xs []string, place func(int) float64) []Line {
	lines := []Line{}
	for _, limit := range limitOrder {
		line, any := Line{Label: limit}, int64(0)
		for k, x := range xs {
			var of, all int64
			for key, c := range cells {
				if key.x != x {
					continue
				}
				of += c.limits[limit]
				for _, n := range c.limits {
					all += n
				}
			}
			if all > 0 {
				line.Points = append(line.Points, LinePoint{X: x, At: place(k), N: all, Median: round(float64(of)/float64(all), 6)})
			}
			any += of
		}
		if any > 0 {
			lines = append(lines, line)
		}
	}
	return lines
}

// JSON gives the summary as indented text.
func (s *Summary) JSON() ([]byte, error) {
	b, err := json.MarshalIndent(s, "", "  ")
	return append(b, '\n'), err
}

// write writes summary and page into a folder.
func (s *Summary) write(out string) error {
	text, err := s.JSON()
	if err != nil {
		return err
	}
	return errors.Join(writeWhole(filepath.Join(out, SummaryFile), text), writeWhole(filepath.Join(out, PageFile), s.page()))
}

// Results gives the summary in the form that all verbs share. repeat is the
// command that repeats the sweep.
func (s *Summary) Results(verb, repeat string) *harness.Results {
	r := &harness.Results{
		Schema: harness.ResultsSchema, Verb: verb, Verdict: s.Verdict, Repeat: repeat, Source: s.Name, Launches: int(s.Launches), Complete: true,
		Notes: append([]string{}, s.Notes...), Requirements: []harness.RequirementResult{}, Sequence: []harness.StateSpan{}, Stages: []harness.StageResult{}, Shots: []harness.ShotResult{},
	}
	if s.Caution != "" {
		r.Notes = append(r.Notes, s.Caution)
	}
	for _, c := range s.Outcomes {
		r.Notes = append(r.Notes, strconv.FormatInt(c.Launches, 10)+" launches "+c.Word)
	}
	if len(s.Worst) > 0 {
		w := &s.Worst[0]
		r.Requirements = append(r.Requirements, harness.RequirementResult{
			ID: w.Closest, Verdict: w.Verdict, Scaled: w.Margin, Condition: "smallest margin of all launches, in launch " + strconv.FormatInt(w.Launch, 10),
		})
	}
	return r
}
