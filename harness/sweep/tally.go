package sweep

import (
	"math"
	"sort"
	"strconv"
	"strings"

	"github.com/holdline/holdline/harness"
)

// tally is what a stretch of launches comes to. Tallies of any stretches merge
// in any order to the same.
type tally struct {
	shape    *tallyShape
	launches int64
	outcomes map[string]int64
	verdicts map[string]int64
	limits   map[string]int64
	failedBy map[string]int64
	values   map[int]*spread // by column
	worst    []Noted         // smallest margins first
	failures []Noted         // first launches first
	cells    []map[cellKey]*cell
}

// tallyShape is what all tallies of one sweep share.
type tallyShape struct {
	columns  []Column
	pictures []pictureSpec
	at       map[string]int // column by name
	places   map[int]int    // decimals of a measured column
}

// spread is the distribution of one column: exact moments in the column's last
// decimal, and counts of coarser values for quantiles.
type spread struct {
	moments
	counts
}

// cellKey is a place in a picture.
type cellKey struct{ x, by string }

// cell is what the launches of one place came to.
type cell struct {
	spread
	all    int64
	limits map[string]int64
}

// Noted is a launch that is worth a look.
type Noted struct {
	Launch  int64   `json:"launch"`
	Seed    uint64  `json:"seed"`
	Outcome string  `json:"outcome"`
	Verdict string  `json:"verdict,omitempty"`
	Closest string  `json:"closest,omitempty"` // requirement
	Margin  float64 `json:"scaled_margin"`
	Failed  string  `json:"failed,omitempty"`
	Why     string  `json:"why,omitempty"`
}

// notedMost bounds the lists of launches worth a look.
const notedMost = 100

func newShape(columns []Column, pictures []pictureSpec) *tallyShape {
	s := &tallyShape{columns: columns, pictures: pictures, at: map[string]int{}, places: map[int]int{}}
	for i, c := range columns {
		s.at[c.Name] = i
	}
	for i := range measured {
		if at, ok := s.at[measured[i].Name]; ok {
			s.places[at] = measured[i].places
		}
	}
	return s
}

func newTally(s *tallyShape) *tally {
	t := &tally{
		shape: s, outcomes: map[string]int64{}, verdicts: map[string]int64{}, limits: map[string]int64{}, failedBy: map[string]int64{},
		values: map[int]*spread{}, cells: make([]map[cellKey]*cell, len(s.pictures)),
	}
	for at := range s.places {
		t.values[at] = &spread{counts: counts{}}
	}
	for i := range t.cells {
		t.cells[i] = map[cellKey]*cell{}
	}
	return t
}

func (s *tallyShape) cell(r Row, name string) string {
	if at, ok := s.at[name]; ok {
		return r[at]
	}
	return ""
}

// scaled reads a measured column in its last decimal.
func (s *tallyShape) scaled(r Row, at int) (int64, bool) {
	if r[at] == "" {
		return 0, false
	}
	x, err := strconv.ParseFloat(r[at], 64)
	if err != nil || math.Abs(x) > 1e9 {
		return 0, false
	}
	return int64(math.RoundToEven(x * math.Pow10(s.places[at]))), true
}

// coarse is how many of a column's last decimals make a step of the counts.
func coarse(places int) int64 {
	if places <= 1 {
		return 10 // whole rpm
	}
	return int64(math.Pow10(max(places-3, 0))) // thousandths
}

func (s *spread) take(v int64, places int) {
	s.add(v)
	step := coarse(places)
	s.counts[floorDiv(v+step/2, step)*step]++
}

func floorDiv(a, b int64) int64 {
	q := a / b
	if a%b != 0 && a < 0 {
		q--
	}
	return q
}

// add counts one launch.
func (t *tally) add(r Row) {
	s := t.shape
	t.launches++
	t.outcomes[s.cell(r, "outcome")]++
	t.verdicts[s.cell(r, "verdict")]++
	if limit := s.cell(r, "limited_by"); limit != "" {
		t.limits[limit]++
	}
	for _, id := range strings.Split(s.cell(r, "failed"), ";") {
		if id != "" && !strings.HasPrefix(id, "+") {
			t.failedBy[id]++
		}
	}
	for at, v := range t.values {
		if x, ok := s.scaled(r, at); ok {
			v.take(x, s.places[at])
		}
	}
	for i := range s.pictures {
		t.place(i, r)
	}
	t.note(r)
}

// place counts a launch in a picture.
func (t *tally) place(i int, r Row) {
	q, s := &t.shape.pictures[i], t.shape
	key := cellKey{q.XBins.of(s.cell(r, q.X)), q.ByBins.of(s.cell(r, q.By))}
	if key.x == "" {
		return
	}
	c := t.cells[i][key]
	if c == nil {
		c = &cell{spread: spread{counts: counts{}}, limits: map[string]int64{}}
		t.cells[i][key] = c
	}
	c.all++
	if limit := s.cell(r, "limited_by"); limit != "" {
		c.limits[limit]++
	}
	if at, ok := s.at[q.Value]; ok {
		if x, ok := s.scaled(r, at); ok {
			c.take(x, s.places[at])
		}
	}
}

func (t *tally) note(r Row) {
	s := t.shape
	n := Noted{Outcome: s.cell(r, "outcome"), Verdict: s.cell(r, "verdict"), Closest: s.cell(r, "closest"), Failed: s.cell(r, "failed"), Why: s.cell(r, "why")}
	n.Launch, _ = strconv.ParseInt(r[0], 10, 64)
	n.Seed, _ = strconv.ParseUint(r[1], 10, 64)
	margin := s.cell(r, "scaled_margin")
	n.Margin, _ = strconv.ParseFloat(margin, 64)
	if margin != "" {
		t.worst = keep(t.worst, n, byMargin)
	}
	if n.Outcome != Ran || n.Verdict == harness.VerdictFails || n.Verdict == harness.VerdictInconclusive {
		t.failures = keep(t.failures, n, byLaunch)
	}
}

func byMargin(a, b *Noted) bool {
	if a.Margin != b.Margin {
		return a.Margin < b.Margin
	}
	return a.Launch < b.Launch
}

func byLaunch(a, b *Noted) bool { return a.Launch < b.Launch }

// keep puts a launch into a sorted list of the first notedMost.
func keep(list []Noted, n Noted, less func(a, b *Noted) bool) []Noted {
	at := sort.Search(len(list), func(i int) bool { return less(&n, &list[i]) })
	if at == notedMost {
		return list
	}
	if len(list) < notedMost {
		list = append(list, Noted{})
	}
	copy(list[at+1:], list[at:])
	list[at] = n
	return list
}

// merge adds the launches of another tally, which must be others.
func (t *tally) merge(o *tally) {
	t.launches += o.launches
	for _, pair := range [][2]map[string]int64{{t.outcomes, o.outcomes}, {t.verdicts, o.verdicts}, {t.limits, o.limits}, {t.failedBy, o.failedBy}} {
		addCounts(pair[0], pair[1])
	}
	for at, v := range o.values {
		t.values[at].merge(v)
	}
	for i := range o.cells {
		for key, c := range o.cells[i] {
			mine := t.cells[i][key]
			if mine == nil {
				mine = &cell{spread: spread{counts: counts{}}, limits: map[string]int64{}}
				t.cells[i][key] = mine
			}
			mine.spread.merge(&c.spread)
			mine.all += c.all
			addCounts(mine.limits, c.limits)
		}
	}
	for _, n := range o.worst {
		t.worst = keep(t.worst, n, byMargin)
	}
	for _, n := range o.failures {
		t.failures = keep(t.failures, n, byLaunch)
	}
}

func (s *spread) merge(o *spread) {
	s.moments.merge(&o.moments)
	s.counts.merge(o.counts)
}

func addCounts(a, b map[string]int64) {
	for k, n := range b {
		a[k] += n
	}
}
