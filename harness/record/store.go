package record

import (
	"fmt"

	"github.com/holdline/holdline/harness"
)

// store adds the row that was parsed to its columns.
func (t *table) store() {
	for i := range t.bases {
		b := &t.bases[i]
		at, keep := t.timeOf(b)
		if !keep {
			continue
		}
		b.times = append(b.times, at)
		for _, c := range b.channel {
			v := t.row[c]
			t.values[c] = append(t.values[c], v)
			if v != v {
				t.blanks[c]++
			}
		}
	}
}

// timeOf returns the time of the present row by one base, and whether the row
// is kept.
func (t *table) timeOf(b *base) (int64, bool) {
	if b.col < 0 {
		return rateTime(t.rows-1, b.rate), true
	}
	v := t.row[b.col]
	if v != v {
		t.timeless(b)
		return 0, false
	}
	us, ok := b.us(v)
	if !ok {
		t.timeFinding(b, harness.Error, "time is out of range", "state the time unit")
		return 0, false
	}
	b.whole = b.whole && v == float64(int64(v))
	repeats := b.repeats
	at, keep, back := b.step(us, t.o.StepToleranceUS)
	if b.repeats != repeats && repeats == 0 {
		b.repeatLine = t.line
	}
	if back && t.o.StepBack == RefuseSteps {
		t.timeFinding(b, harness.Error, "time steps back", "cut the file here, or state that rows after a step back are to be dropped")
	}
	if !keep {
		if b.dropped == 0 {
			b.droppedLine = t.line
		}
		b.dropped++
	}
	return at, keep
}

// timeless reports values that have no time; a blank time cell that could not
// be read has its finding already.
func (t *table) timeless(b *base) {
	for _, c := range b.channel {
		if t.row[c] == t.row[c] {
			field, _ := t.fieldAt(b.col)
			if isMissing(field, t.o.Missing) {
				t.timeFinding(b, harness.Error, "value without a time", "fill in the time or remove the row")
			}
			return
		}
	}
}

func (t *table) timeFinding(b *base, s harness.Severity, reason, fix string) {
	field, at := t.fieldAt(b.col)
	t.log.add(harness.Finding{Severity: s, Line: t.line, Column: at + 1, Field: t.cols[b.col].title, Value: toText(field), Reason: reason, Fix: fix})
}

// fieldAt cuts the present line again, for a message.
func (t *table) fieldAt(col int) (field []byte, at int) {
	for i, c := 0, 0; i <= len(t.text); c++ {
		f, at, next, _ := cutField(t.text, i, t.delim)
		if c == col {
			return f, at
		}
		i = next
	}
	return nil, len(t.text)
}

// recording hands the columns over.
func (t *table) recording() *Recording {
	r := &Recording{File: t.log.file, Found: t.found()}
	for i := range t.cols {
		c := &t.cols[i]
		if c.base < 0 {
			continue
		}
		r.Channels = append(r.Channels, Channel{Title: c.title, Name: c.name, Unit: c.unit, Column: c.number, Text: c.text,
			TimeUS: t.bases[c.base].times, Value: t.values[i], Present: len(t.values[i]) - t.blanks[i]})
		r.Rows = max(r.Rows, len(t.values[i]))
	}
	r.finish(len(t.bases) == 1)
	t.sum(r)
	return r
}

func (t *table) found() Found {
	f := Found{Delimiter: t.delim, Decimal: t.mark, HeaderLine: t.header, UnitsLine: t.units}
	if t.open {
		f.Decimal = 0
	}
	if len(t.bases) > 0 && t.bases[0].col >= 0 {
		b := &t.bases[0]
		f.TimeColumn, f.TimeUnit = t.cols[b.col].title, b.unit
		if b.guessed {
			f.TimeUnit = "s"
		}
	}
	return f
}

// sum adds the findings that only the whole file shows.
func (t *table) sum(r *Recording) {
	if t.rows == 0 {
		t.log.err("", "", "", "no rows of data", "")
	}
	for i := range t.bases {
		b := &t.bases[i]
		if b.col < 0 {
			continue
		}
		title := t.cols[b.col].title
		t.count(b.repeats, b.repeatLine, title, "rows with a repeated time; of each instant the last row counts")
		if t.o.StepBack == DropSteps {
			t.count(b.dropped, b.droppedLine, title, "rows dropped after a step back in time")
		}
		if b.guessed && len(b.times) > 0 {
			t.judgeGuess(b, title)
		}
	}
}

func (t *table) count(n, line int, title, reason string) {
	if n == 0 {
		return
	}
	f := warningAt(line, 0)
	f.Field, f.Reason = title, fmt.Sprintf("%s: %d, from this line on", reason, n)
	t.log.add(f)
}

// judgeGuess accepts seconds for a time whose unit nobody stated, unless the
// numbers look like milliseconds: whole, and five or more apart.
func (t *table) judgeGuess(b *base, title string) {
	interval := rowInterval(b.times, map[*int64]int64{})
	f := warningAt(t.header, 0)
	f.Field, f.Fix = title, "state the time unit"
	f.Reason = "unit of time is not stated; taken as seconds"
	if b.whole && interval >= 5_000_000 {
		f.Severity = harness.Error
		f.Reason = "unit of time is not stated, and could be seconds or a thousandth of that"
	}
	t.log.add(f)
}
