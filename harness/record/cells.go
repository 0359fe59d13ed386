package record

import (
	"bytes"
	"math"
	"slices"
)

// cells parses a line into row. The quick way is a number that ends at the
// delimiter; anything else goes to slowCell.
func (t *table) cells(line []byte) (fields, next int) {
	row, delim, mark, words := t.row, t.delim, t.mark, len(t.o.Words) > 0
	i, c := 0, 0
	for ; c < len(row) && i <= len(line); c++ {
		for i < len(line) && line[i] == ' ' {
			i++
		}
		v, end, ok := scanNumber(line, i, mark)
		if !ok || end < len(line) && line[end] != delim || words && t.cols[c].words != nil {
			i = t.slowCell(line, i, c)
			continue
		}
		row[c] = v
		i = end + 1
	}
	for k := c; k < len(row); k++ {
		row[k] = math.NaN()
	}
	return c, i
}

// slowCell reads one cell that is not a plain number, and returns where the
// next one starts.
func (t *table) slowCell(line []byte, i, c int) int {
	field, at, next, closed := cutField(line, i, t.delim)
	t.row[c] = math.NaN()
	col := &t.cols[c]
	switch {
	case !closed:
		if t.cut && next > len(line) {
			break
		}
		t.bad(at, col, field, "quote is not closed, or text follows it", "")
	case col.skip || t.wordCell(field, c) || isMissing(field, t.o.Missing):
	case col.words != nil:
		t.notNumber(field, at, col)
	case col.timeOf >= 0 && t.clockCell(field, at, c):
	default:
		v, ok := ParseNumber(field, t.mark)
		if !ok && t.open {
			if v, ok = ParseNumber(field, ','); ok {
				t.mark, t.open = ',', false
			}
		}
		if ok {
			t.row[c] = v
			break
		}
		t.notNumber(field, at, col)
	}
	return next
}

// wordCell reads a cell of a column that is written in words.
func (t *table) wordCell(field []byte, c int) bool {
	w := t.cols[c].words
	if w == nil {
		return false
	}
	x, ok := w.meaning(field)
	if ok {
		t.row[c] = x
	}
	return ok
}

// clockCell reads a time written as a clock shows it.
func (t *table) clockCell(field []byte, at, c int) bool {
	b := &t.bases[t.cols[c].timeOf]
	if b.unit != clockUnit && !b.guessed {
		return false
	}
	us, ok := parseClock(field)
	if !ok {
		return false
	}
	if b.guessed && !b.placed {
		b.guessed = false
		b.setUnit(clockUnit)
	}
	if b.unit != clockUnit {
		return false
	}
	t.row[c] = float64(us)
	return true
}

func (t *table) notNumber(field []byte, at int, col *column) {
	if t.cut && at+len(field) == len(t.text) && (isNumberStart(field) || col.words.starts(field)) {
		return // half a number, or half a word, at the end of a file that was cut off
	}
	switch {
	case !col.need && col.timeOf < 0:
		col.note(field)
	case col.timeOf >= 0:
		t.bad(at, col, field, "not a time", "write seconds, or h:mm:ss.sss")
	case col.words != nil:
		t.bad(at, col, field, "not one of the words that are stated for this column: "+col.words.list(), "state this word too, or that it means no value")
	case numberOtherMark(field, t.mark):
		t.bad(at, col, field, "not a number with the decimal mark of this file", "state the decimal mark, and use one only")
	default:
		t.bad(at, col, field, "text where a number is expected", "correct it, ignore the column, or state what this word means: no value, or a switch that is on or off")
	}
}

// mostText is how many different texts of a column are told, and how long a one is.
const mostText, longestText = 8, 40

// note remembers a text that stands where a number is expected.
func (c *column) note(field []byte) {
	if len(c.text) < mostText && len(field) <= longestText && !slices.Contains(c.text, string(field)) {
		c.text = append(c.text, toText(field))
	}
}

func isNumberStart(f []byte) bool {
	return len(f) == 1 && (f[0] == '-' || f[0] == '+' || f[0] == '.' || f[0] == ',') ||
		len(f) > 1 && (f[len(f)-1]|0x20 == 'e' || f[len(f)-1] == '-' || f[len(f)-1] == '+' || f[len(f)-1] == ':')
}

func numberOtherMark(f []byte, mark byte) bool {
	other := byte('.')
	if mark == '.' {
		other = ','
	}
	_, ok := ParseNumber(f, other)
	return ok
}

func (t *table) bad(at int, col *column, field []byte, reason, fix string) {
	f := errorAt(t.line, at+1)
	f.Field, f.Value, f.Reason, f.Fix = col.title, toText(field), reason, fix
	t.log.add(f)
}

// settle fixes the decimal mark once a number with a point has been met. A
// clock uses a point whatever the numbers do.
func (t *table) settle(line []byte) {
	for i := range t.bases {
		if t.bases[i].unit == clockUnit {
			return
		}
	}
	if bytes.IndexByte(line, '.') >= 0 {
		t.open = false
	}
}
