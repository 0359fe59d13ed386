package record

import (
	"bytes"
	"fmt"
	"math"

	"github.com/holdline/holdline/harness"
)

// table takes rows in and keeps columns.
type table struct {
	layout
	o     Options
	log   *findingLog
	cols  []column
	bases []base

	line      int       // being read
	rows      int       // met, good or bad
	row       []float64 // cells of the line being read
	values    [][]float64
	blanks    []int  // missing values, by column
	open      bool   // decimal mark not settled
	text      []byte // the present line
	cut       bool   // it has no line end
	emptyLine int    // number of the first of the empty lines just before; 0: none
}

func newTable(l layout, cols []column, bases []base, o Options, log *findingLog, size int64) *table {
	t := &table{layout: l, o: o, log: log, cols: cols, bases: bases}
	t.row = make([]float64, len(cols))
	t.values = make([][]float64, len(cols))
	t.blanks = make([]int, len(cols))
	t.open = l.mark == 0
	if t.open {
		t.mark = '.'
	}
	t.reserve(size)
	return t
}

// reserve makes room for as many rows as a file of this size is likely to hold.
func (t *table) reserve(size int64) {
	rows := size/int64(t.rowBytes+1) + size/64/int64(t.rowBytes+1) + 16
	rows = min(rows, size/int64(len(t.cols)+1)+16, int64(t.o.MaxCells/len(t.cols)+1))
	if size <= 0 {
		rows = 1024
	}
	for i := range t.bases {
		b := &t.bases[i]
		b.times = make([]int64, 0, rows)
		for _, c := range b.channel {
			t.values[c] = make([]float64, 0, rows)
		}
	}
}

// take reads one line of data. It reports false when the recording has become
// larger than is allowed.
func (t *table) take(line []byte, number int, ended bool) bool {
	t.line, t.text, t.cut = number, line, !ended
	if len(line) == 0 {
		t.passEmpty()
		return true
	}
	if line[0] == '#' || t.repeatsHeader(line) {
		return true
	}
	if t.emptyLine > 0 {
		t.warnEmpty()
	}
	fields, next := t.cells(line)
	if t.open {
		t.settle(line)
	}
	whole := t.countFields(line, fields, next)
	t.rows++
	if !whole {
		return true
	}
	if t.cut && !t.lastLine(line) {
		return true
	}
	t.store()
	if t.rows*len(t.cols) > t.o.MaxCells {
		f := errorAt(t.line, 0)
		f.Value, f.Allowed = fmt.Sprintf("%d rows of %d columns", t.rows, len(t.cols)), fmt.Sprintf("%d cells", t.o.MaxCells)
		f.Reason, f.Fix = "the recording is too large; reading stopped here", "cut it, ignore columns, or allow more cells"
		t.log.add(f)
		return false
	}
	return true
}

// repeatsHeader recognises titles and units that a logger wrote again.
func (t *table) repeatsHeader(line []byte) bool {
	if t.units > 0 && bytes.Equal(line, t.unitsText) {
		return true
	}
	if t.header == 0 || !bytes.Equal(line, t.headerText) {
		return false
	}
	f := warningAt(t.line, 0)
	f.Reason = "the line of titles is repeated; it was passed over"
	t.log.add(f)
	return true
}

// passEmpty passes over an empty line. With a stated rate it may have been
// meant as a row, which only a person can tell.
func (t *table) passEmpty() {
	if t.rows > 0 && t.emptyLine == 0 {
		t.emptyLine = t.line
	}
}

func (t *table) warnEmpty() {
	if t.emptyLine > 0 && t.bases[0].col < 0 {
		f := warningAt(t.emptyLine, 0)
		f.Reason, f.Fix = "empty line between rows; it was passed over and takes no time", "write a missing value as NaN if it was a row"
		t.log.add(f)
	}
	t.emptyLine = 0
}

// countFields checks the width of a row. Blank fields behind the last title
// are separators that loggers leave on every row.
func (t *table) countFields(line []byte, fields, next int) bool {
	if fields < len(t.cols) {
		if len(trimBlank(line)) == 0 {
			t.rows--
			return false
		}
		f := errorAt(t.line, len(line)+1)
		f.Value, f.Allowed = fmt.Sprintf("%d fields", fields), fmt.Sprintf("%d", len(t.cols))
		f.Reason, f.Fix = "row has too few fields", "complete the row or remove it"
		if t.cut {
			f.Severity, f.Fix = harness.Warning, ""
			f.Reason = "the file is cut off in this line; the line was left out"
		}
		t.log.add(f)
		return false
	}
	for i, extra := next, 0; i <= len(line); extra++ {
		field, at, after, _ := cutField(line, i, t.delim)
		if len(field) > 0 {
			f := errorAt(t.line, at+1)
			f.Value, f.Allowed = toText(field), fmt.Sprintf("%d fields", len(t.cols))
			f.Reason, f.Fix = "row has too many fields", "add the missing title, or state the delimiter and decimal mark"
			t.log.add(f)
			return false
		}
		i = after
	}
	return true
}

// lastLine judges a full row without line end: was it cut inside its last
// field? It reports whether the row may be kept.
func (t *table) lastLine(line []byte) bool {
	last := len(t.cols) - 1
	f := warningAt(t.line, len(line)+1)
	f.Field = t.cols[last].title
	fields := splitFields(line, t.delim)
	tail := trimFields(fields)
	switch {
	case len(fields) > len(t.cols):
		return true // the separator behind the last field is there
	case t.trailing, t.row[last] != t.row[last], len(tail) == len(t.cols) && decimals(tail[last]) < t.decimals:
		t.row[last] = math.NaN()
		f.Reason = "the file is cut off in this line; its last value was left out"
		if t.cols[last].timeOf >= 0 {
			f.Reason = "the file is cut off in this line; the line was left out"
		}
	default:
		f.Reason = "the last line has no line end; if the file was cut off, its last value is wrong"
	}
	t.log.add(f)
	return t.cols[last].timeOf < 0 || t.row[last] == t.row[last]
}
