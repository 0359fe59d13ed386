package report

import (
	"errors"
	"fmt"
	"html/template"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"

	"github.com/holdline/holdline/controller"
	"github.com/holdline/holdline/harness"
)

// Tables writes the page of a calibration's tables: each as a family of lines, a
// line a row, beside its plain numbers.
func Tables(w io.Writer, cal *controller.Calibration) error {
	if cal == nil {
		return errors.New("report: no calibration")
	}
	v := tablesView{sheet: newSheet("Tables of " + shown(cal.Name.String()))}
	uses := usesOf(cal)
	for i := range cal.Tables {
		if t := &cal.Tables[i]; t.Columns.N > 0 {
			v.Tables = append(v.Tables, viewTable(i+1, t, uses))
		}
	}
	for _, u := range uses {
		if u.curve.Table == 0 && u.curve.Const != 0 {
			v.Constants = append(v.Constants, Fact{Name: u.name, Text: withUnit(u.quantity, u.curve.Const)})
		}
	}
	return tablesTemplate.ExecuteTemplate(w, "tables", &v)
}

type tablesView struct {
	sheet
	Tables    []tableView
	Constants []Fact
}

type tableView struct {
	Number                 int
	Title, Caption, Corner string
	Columns                []string
	Rows                   []tableRow
	Picture                template.HTML
}

type tableRow struct {
	Name  string
	Cells []string
}

// use says what a curve of the calibration is for.
type use struct {
	name     string
	quantity harness.Quantity
	curve    controller.Curve
}

// Quantities of the cells of tables, by use.
var (
	speedCells    = harness.Quantity{Name: "ceiling", Unit: "rpm", Per: 10}
	angleCells    = harness.Quantity{Name: "timing", Unit: "deg", Per: 100}
	ratioCells    = harness.Quantity{Name: "mixture", Per: 10000}
	pressureCells = harness.Quantity{Name: "boost target", Unit: "kPa", Per: 1000}
)

func usesOf(cal *controller.Calibration) []use {
	list := []use{{"base timing", angleCells, cal.Engine.BaseAngle}, {"boost target where no stage has a wish", pressureCells, cal.Engine.BoostBase}}
	for i := range cal.Stages {
		s := &cal.Stages[i]
		if s.Kind == controller.NoStage {
			continue
		}
		name := shown(harness.StageName(cal, i)) + ": "
		list = append(list, use{name + "ceiling", speedCells, s.Ceiling}, use{name + "timing", angleCells, s.Timing.Angle},
			use{name + "mixture", ratioCells, s.Mixture}, use{name + "boost target", pressureCells, s.Boost})
	}
	return list
}

func viewTable(number int, t *controller.Table, uses []use) tableView {
	quantity := harness.Quantity{Per: 1}
	var names []string
	for _, u := range uses {
		if int(u.curve.Table) == number {
			quantity = u.quantity
			names = append(names, u.name)
		}
	}
	if names == nil {
		names = []string{"not used"}
	}
	v := tableView{Number: number, Title: fmt.Sprintf("Table %d: %s", number, strings.Join(names, "; "))}
	columns, rows := axisOf(&t.Columns), axisOf(&t.Rows)
	v.Caption = titled(quantity.Name, quantity.Unit) + " over " + columns.title
	v.Columns = columns.labels
	v.Corner = columns.title
	if t.Rows.N > 0 {
		v.Caption += " and " + rows.title
		v.Corner = rows.title + " \\ " + v.Corner
	}
	for r := range max(int(t.Rows.N), 1) {
		row := tableRow{Name: "value"}
		if r < len(rows.labels) {
			row.Name = rows.labels[r]
		}
		for c := range int(t.Columns.N) {
			row.Cells = append(row.Cells, shortest(quantity, t.Cells[r][c]))
		}
		v.Rows = append(v.Rows, row)
	}
	v.Picture = family(t, columns, rows, quantity, v.Title)
	return v
}

// axis is an axis of a table in its own unit.
type axis struct {
	title  string
	unit   string
	points []float64
	labels []string
}

func axisOf(a *controller.Axis) (out axis) {
	if a.N == 0 || int(a.Channel) >= len(harness.Channels) {
		return out
	}
	q := harness.Channels[a.Channel]
	out.title, out.unit = titled(strings.ReplaceAll(q.Name, "-", " "), q.Unit), q.Unit
	for _, p := range a.Points[:min(int(a.N), len(a.Points))] {
		out.points = append(out.points, q.Units(p))
		out.labels = append(out.labels, shortest(q, p))
	}
	return out
}

func titled(name, unit string) string {
	if unit == "" {
		return name
	}
	return name + ", " + unit
}

// shortest spells a value with no more digits than tell its steps apart.
func shortest(q harness.Quantity, raw int32) string {
	s := strconv.FormatFloat(q.Units(raw), 'f', decimalsOf(q.Per), 64)
	if strings.Contains(s, ".") {
		s = strings.TrimRight(strings.TrimRight(s, "0"), ".")
	}
	return strings.Replace(s, "-", "\u2212", 1)
}

func withUnit(q harness.Quantity, raw int32) string {
	return strings.TrimSpace(shortest(q, raw) + " " + q.Unit)
}

// family draws a table: a line for each row, named where it ends.
func family(t *controller.Table, columns, rows axis, q harness.Quantity, label string) template.HTML {
	if len(columns.points) == 0 {
		return ""
	}
	f := newFrame(label, 520, 300, 56, 84, 30, 40)
	low, high := math.Inf(1), math.Inf(-1)
	n := max(len(rows.points), 1)
	for r := range n {
		for c := range columns.points {
			low, high = min(low, q.Units(t.Cells[r][c])), max(high, q.Units(t.Cells[r][c]))
		}
	}
	f.span(columns.points[0], columns.points[len(columns.points)-1], low, high)
	f.axes(columns.title, titled(q.Name, q.Unit))
	var ends []float64
	for r := range n {
		var points []point
		for c, x := range columns.points {
			points = append(points, point{x, q.Units(t.Cells[r][c])})
		}
		f.path(points, r)
		f.dots(points, r)
		ends = append(ends, f.y(points[len(points)-1].y))
	}
	for r, y := range apart(ends, 13) {
		if r < len(rows.labels) {
			f.text(f.right+6, y+4, "start", strings.TrimSpace(rows.labels[r]+" "+rows.unit))
		}
	}
	return f.html()
}

// dots marks the points of a table's row.
func (f *frame) dots(points []point, style int) {
	for _, p := range points {
		fmt.Fprintf(&f.out, `<circle cx="%.1f" cy="%.1f" r="2.2" fill="%s"/>`, f.x(p.x), f.y(p.y), tones[style%len(tones)])
	}
}

// apart moves labels that would cover each other, keeping their order.
func apart(at []float64, least float64) []float64 {
	order := make([]int, len(at))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int {
		switch {
		case at[a] < at[b]:
			return -1
		case at[a] > at[b]:
			return 1
		}
		return b - a
	})
	out := slices.Clone(at)
	for k := 1; k < len(order); k++ {
		out[order[k]] = max(out[order[k]], out[order[k-1]]+least)
	}
	return out
}
