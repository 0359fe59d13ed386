package sweep

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"strconv"
	"strings"

	"github.com/holdline/holdline/harness"
	"github.com/holdline/holdline/harness/require"
)

// MaxRow bounds a result row in bytes, as text and as a JSON line.
const MaxRow = 1024

// Column describes one value of a row.
type Column struct {
	Name string `json:"name"`
	Unit string `json:"unit,omitempty"`
	Text bool   `json:"text,omitempty"` // words, not numbers
}

// title is the column as a header line shows it.
func (c Column) title() string {
	if c.Unit == "" {
		return c.Name
	}
	return c.Name + " [" + c.Unit + "]"
}

// Row is one launch: a text for each column, "" where there is nothing to say.
type Row []string

// measured are the columns that every plan has, behind its own.
var measured = []struct {
	Column
	places int
	get    func(*harness.LaunchResult) float64
}{
	{Column{Name: "hold_speed", Unit: "rpm"}, 1, func(l *harness.LaunchResult) float64 { return l.HoldSpeed }},
	{Column{Name: "hold_spread", Unit: "rpm"}, 1, func(l *harness.LaunchResult) float64 { return l.HoldSD }},
	{Column{Name: "release_pressure", Unit: "kPa"}, 2, func(l *harness.LaunchResult) float64 { return l.Pressure }},
	{Column{Name: "to_target", Unit: "s"}, 3, func(l *harness.LaunchResult) float64 { return l.ToTarget }},
	{Column{Name: "beam", Unit: "s"}, 4, func(l *harness.LaunchResult) float64 { return l.Reaction }},
	{Column{Name: "sixty_feet", Unit: "s"}, 4, func(l *harness.LaunchResult) float64 { return l.Feet60 }},
	{Column{Name: "three_thirty_feet", Unit: "s"}, 4, func(l *harness.LaunchResult) float64 { return l.Feet330 }},
	{Column{Name: "eighth", Unit: "s"}, 4, func(l *harness.LaunchResult) float64 { return l.Eighth }},
	{Column{Name: "quarter", Unit: "s"}, 4, func(l *harness.LaunchResult) float64 { return l.Quarter }},
	{Column{Name: "quarter_trap", Unit: "m/s"}, 3, func(l *harness.LaunchResult) float64 { return l.Trap }},
	{Column{Name: "lowest_speed", Unit: "rpm"}, 1, func(l *harness.LaunchResult) float64 { return l.LowSpeed }},
	{Column{Name: "withheld_share"}, 4, func(l *harness.LaunchResult) float64 { return l.Withheld }},
	{Column{Name: "spin_share"}, 4, func(l *harness.LaunchResult) float64 { return l.Spin }},
	{Column{Name: "bog_share"}, 4, func(l *harness.LaunchResult) float64 { return l.Bog }},
	{Column{Name: "cut_share"}, 4, func(l *harness.LaunchResult) float64 { return l.Cut }},
	{Column{Name: "grip_share"}, 4, func(l *harness.LaunchResult) float64 { return l.Grip }},
}

// Columns before a plan's own values, and behind the measured ones.
var (
	leading  = []Column{{Name: "launch"}, {Name: "seed"}, {Name: "scenario", Text: true}, {Name: "repeat"}}
	trailing = []Column{
		{Name: "outcome", Text: true}, {Name: "limited_by", Text: true}, {Name: "verdict", Text: true},
		{Name: "closest", Text: true}, {Name: "scaled_margin"}, {Name: "failed", Text: true}, {Name: "why", Text: true},
	}
)

// Columns lists the columns of a plan's rows: the launch, its values by their
// paths, what was drawn at random, what was measured, and the verdict.
func (p *Plan) Columns() []Column {
	cols := append([]Column(nil), leading...)
	for i := range p.Parameters {
		cols = append(cols, Column{Name: p.Parameters[i].column(), Text: !p.Parameters[i].numeric()})
	}
	for i := range p.Scatter {
		cols = append(cols, Column{Name: ownPath(p.Scatter[i].Path) + " drawn"})
	}
	for i := range measured {
		cols = append(cols, measured[i].Column)
	}
	return append(cols, trailing...)
}

// column is the name of a parameter's column.
func (p *Parameter) column() string {
	if p.Name != "" {
		return p.Name
	}
	return ownPath(p.Path)
}

// numeric reports whether all values of a parameter are numbers.
func (p *Parameter) numeric() bool {
	if p.HasFrom {
		return true
	}
	for _, v := range p.Values {
		if _, ok := number(v); !ok {
			return false
		}
	}
	return true
}

// row writes down an outcome.
func (p *Plan) row(o *outcome) Row {
	r := Row{strconv.FormatInt(o.launch, 10), strconv.FormatUint(o.seed, 10), p.bases[o.point.scenario].name, strconv.FormatInt(o.point.repeat+1, 10)}
	for i, v := range o.point.values {
		if ownPath(p.Parameters[i].Path) == "car" || ownPath(p.Parameters[i].Path) == "calibration" {
			v = shownFile(v)
		}
		r = append(r, v)
	}
	r = append(r, o.drawn...)
	l := o.results.Launch
	for i := range measured {
		text := ""
		if l != nil {
			text = decimalText(measured[i].get(l), measured[i].places)
		}
		r = append(r, text)
	}
	limit := ""
	if l != nil {
		limit = l.Limit
	}
	return p.fit(append(append(r, o.word, limit), verdictCells(o)...))
}

// verdictCells fills the columns from verdict on.
func verdictCells(o *outcome) []string {
	cells := []string{o.results.Verdict, "", "", "", oneLine(o.why)}
	if c, ok := require.Closest(o.results.Requirements); ok {
		cells[1], cells[2] = c.ID, strconv.FormatFloat(c.Scaled, 'g', 6, 64)
	}
	var failed []string
	for i := range o.results.Requirements {
		if q := &o.results.Requirements[i]; q.Verdict != harness.VerdictHolds {
			failed = append(failed, q.ID)
		}
	}
	if n := len(failed); n > shownFailures {
		failed = append(failed[:shownFailures], fmt.Sprintf("+%d more", n-shownFailures))
	}
	cells[3] = strings.Join(failed, ";")
	return cells
}

const shownFailures = 3

// fit cuts the reason, the only text without a bound of its own, so that a row
// stays within MaxRow.
func (p *Plan) fit(r Row) Row {
	why := &r[len(r)-1]
	if *why == "" {
		return r
	}
	left := MaxRow - len(appendJSON(nil, p.Columns(), r)) + len(*why)
	for left < len(*why)+8 && *why != "" {
		*why = strings.ToValidUTF8((*why)[:max(0, min(len(*why)-8, left-8))], "")
	}
	return r
}

// decimalText rounds to a number of places; 0 means that it never happened.
func decimalText(x float64, places int) string {
	if x == 0 || math.IsNaN(x) || math.IsInf(x, 0) {
		return ""
	}
	return strconv.FormatFloat(x, 'f', places, 64)
}

func oneLine(s string) string { return strings.Join(strings.Fields(s), " ") }

// appendCSV adds a row as delimited text: commas, decimal points, quotes where
// they are needed (RFC 4180, but for the line end).
func appendCSV(b []byte, r Row) []byte {
	for i, cell := range r {
		if i > 0 {
			b = append(b, ',')
		}
		if strings.ContainsAny(cell, ",\"\n\r") {
			b = append(b, '"')
			b = append(b, strings.ReplaceAll(cell, `"`, `""`)...)
			b = append(b, '"')
			continue
		}
		b = append(b, cell...)
	}
	return append(b, '\n')
}

// header is the first line of the delimited text.
func header(cols []Column) Row {
	r := make(Row, len(cols))
	for i, c := range cols {
		r[i] = c.title()
	}
	return r
}

// appendJSON adds a row as a JSON object on a line of its own; what is not there
// is left out.
func appendJSON(b []byte, cols []Column, r Row) []byte {
	b = append(b, '{')
	first := true
	for i, cell := range r {
		if cell == "" {
			continue
		}
		if !first {
			b = append(b, ',')
		}
		first = false
		b = appendText(b, cols[i].Name)
		b = append(b, ':')
		b = appendCell(b, cols[i], cell)
	}
	return append(b, "}\n"...)
}

func appendCell(b []byte, c Column, cell string) []byte {
	if c.Text {
		return appendText(b, cell)
	}
	return append(b, cell...)
}

func appendText(b []byte, s string) []byte {
	var buf bytes.Buffer
	e := json.NewEncoder(&buf)
	e.SetEscapeHTML(false)
	_ = e.Encode(s) // a text can always be written
	return append(b, bytes.TrimSuffix(buf.Bytes(), []byte("\n"))...)
}

// number reads a plain decimal.
func number(text string) (float64, bool) {
	if text == "" || strings.ContainsAny(text, "xXpPnN") {
		return 0, false
	}
	x, err := strconv.ParseFloat(strings.ReplaceAll(text, "_", ""), 64)
	return x, err == nil && x-x == 0
}
