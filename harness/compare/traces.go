package compare

import (
	"fmt"
	"math"
	"sort"
	"strconv"
	"strings"

	"github.com/holdline/holdline/controller"
	"github.com/holdline/holdline/harness"
)

// Tolerance says how far a column of the two traces may differ: by Value in the
// column's own unit, or by any value for as long as the other trace shows a value
// within it no more than Within earlier or later.
type Tolerance struct {
	Column string // as in harness.Trace; "events" for the decisions at commits; "*" for all others
	Value  float64
	Within controller.Duration
	Ignore bool
}

// Divergence is where a column first differs by more than is allowed.
type Divergence struct {
	Column string  `json:"column"` // or "fuel 3" and "spark 3": a decision for that cylinder
	Tick   int     `json:"tick"`
	At     float64 `json:"at_s"`
	A      string  `json:"first"`
	B      string  `json:"second"`
	By     float64 `json:"by,omitempty"` // in Unit; 0 for words
	Unit   string  `json:"unit,omitempty"`
	Ticks  int     `json:"ticks"` // at which the column differs, in all
	Before []Row   `json:"before"`
	After  []Row   `json:"after"` // the moment itself and what follows
}

// Row is the same column of both traces at one tick.
type Row struct {
	Tick int    `json:"tick"`
	A    string `json:"first"`
	B    string `json:"second"`
}

// context is how many ticks, or commits of the same kind, are shown before and
// after.
const context = 10

// String says where and by how much, in one line.
func (d Divergence) String() string {
	by := ""
	if d.By != 0 {
		by = fmt.Sprintf(" (by %g %s)", d.By, d.Unit)
	}
	return fmt.Sprintf("%.3f s (tick %d): %s is %s and %s%s", d.At, d.Tick, d.Column, d.A, d.B, by)
}

// Traces gives the first divergence of each column, the earliest first. Columns
// that only one trace has are not compared. Of traces of different length the
// common part is compared, and the length is a divergence.
func Traces(a, b *harness.Trace, tolerances []Tolerance) []Divergence {
	var out []Divergence
	n := min(a.Ticks, b.Ticks)
	for i := range a.Columns {
		ca := &a.Columns[i]
		cb := b.Column(ca.Name)
		tol := find(tolerances, ca.Name)
		if cb == nil || tol.Ignore {
			continue
		}
		if d, differs := column(ca, cb, n, tol, a.Period); differs {
			out = append(out, d)
		}
	}
	if tol := find(tolerances, "events"); !tol.Ignore {
		out = append(out, events(a, b)...)
	}
	if a.Ticks != b.Ticks {
		out = append(out, Divergence{Column: "length", Tick: n, A: strconv.Itoa(a.Ticks), B: strconv.Itoa(b.Ticks), Unit: "ticks", By: float64(b.Ticks - a.Ticks)})
	}
	for i := range out {
		out[i].At = float64(out[i].Tick) * float64(a.Period) / float64(controller.Second)
	}
	sort.SliceStable(out, func(i, j int) bool { return out[i].Tick < out[j].Tick })
	return out
}

func find(list []Tolerance, name string) (t Tolerance) {
	for _, x := range list {
		if x.Column == name {
			return x
		}
		if x.Column == "*" && name != "events" {
			t = x
		}
	}
	return t
}

func column(a, b *harness.Column, n int, tol Tolerance, period controller.Duration) (d Divergence, differs bool) {
	reach := int(tol.Within / max(period, 1))
	first := -1
	count := 0
	for t := range n {
		if a.Data[t] == b.Data[t] || agrees(a, b, t, n, tol, reach) {
			continue
		}
		if first < 0 {
			first = t
		}
		count++
	}
	if first < 0 {
		return d, false
	}
	d = Divergence{Column: a.Name, Tick: first, A: show(a, first), B: show(b, first), Unit: a.Unit, Ticks: count}
	if a.Words == nil {
		d.By = b.Units(b.Data[first]) - a.Units(a.Data[first])
	}
	for t := max(0, first-context); t < min(n, first+context+1); t++ {
		r := Row{t, show(a, t), show(b, t)}
		if t < first {
			d.Before = append(d.Before, r)
		} else {
			d.After = append(d.After, r)
		}
	}
	return d, true
}

// agrees reports whether each trace has, near enough in time, a value near enough
// to the other's.
func agrees(a, b *harness.Column, t, n int, tol Tolerance, reach int) bool {
	return near(a, b, t, n, tol.Value, reach) && near(b, a, t, n, tol.Value, reach)
}

func near(a, b *harness.Column, t, n int, value float64, reach int) bool {
	for u := max(0, t-reach); u <= min(n-1, t+reach); u++ {
		if a.Data[t] == b.Data[u] {
			return true
		}
		if a.Words == nil && math.Abs(float64(int64(b.Data[u])-int64(a.Data[t]))) <= float64(value*a.Per) {
			return true
		}
	}
	return false
}

func show(c *harness.Column, t int) string {
	if c.Words != nil {
		if w := c.Words(c.Data[t]); w != "" {
			return w
		}
		return "none"
	}
	return strings.TrimSpace(strconv.FormatFloat(c.Units(c.Data[t]), 'g', -1, 64) + " " + c.Unit)
}

// events compares the decisions commit by commit: the questions are the same, so
// that the n-th commit of both is one. The first divergence of fuel and of spark
// is given.
func events(a, b *harness.Trace) (out []Divergence) {
	for _, kind := range []harness.EventKind{harness.FuelCommit, harness.SparkCommit} {
		ea, eb := ofKind(a, kind), ofKind(b, kind)
		first, count := -1, 0
		for i := range min(len(ea), len(eb)) {
			if ea[i].Give != eb[i].Give || ea[i].Cylinder != eb[i].Cylinder || ea[i].Cycle != eb[i].Cycle {
				if first < 0 {
					first = i
				}
				count++
			}
		}
		if first < 0 {
			continue
		}
		e := ea[first]
		d := Divergence{Column: fmt.Sprintf("%s %d", kind, e.Cylinder), Tick: int(e.Tick), A: decision(e), B: decision(eb[first]), Ticks: count}
		for i := max(0, first-context); i < min(len(ea), len(eb), first+context+1); i++ {
			r := Row{int(ea[i].Tick), decision(ea[i]), decision(eb[i])}
			if i < first {
				d.Before = append(d.Before, r)
			} else {
				d.After = append(d.After, r)
			}
		}
		out = append(out, d)
	}
	return out
}

func ofKind(t *harness.Trace, kind harness.EventKind) (list []*harness.EventRow) {
	for i := range t.Events {
		if t.Events[i].Kind == kind {
			list = append(list, &t.Events[i])
		}
	}
	return list
}

func decision(e *harness.EventRow) string {
	what := "withheld"
	if e.Give {
		what = "given"
	}
	return fmt.Sprintf("%s, cylinder %d (%s)", what, e.Cylinder, e.Why)
}
