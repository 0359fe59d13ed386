package record

import (
	"fmt"
	"strings"
)

// guessTime finds the one column whose title says time and nothing else.
func (p *planner) guessTime() int {
	var hits []int
	for i := range p.cols {
		if c := &p.cols[i]; !c.skip && c.timeOf < 0 && c.base < 0 && isTimeTitle(c.name) {
			hits = append(hits, i)
		}
	}
	f := errorAt(p.line, 0)
	f.Field = "time column"
	switch len(hits) {
	case 1:
		return p.addBase(hits[0])
	case 0:
		f.Reason = "no column is titled as time"
		f.Fix = "name the time column, or state the rate in rows a second if there is none"
	default:
		f.Reason = fmt.Sprintf("%d columns are titled as time", len(hits))
		f.Fix = fmt.Sprintf("name one (#%d or #%d) and ignore the others, or state which time belongs to which channel", hits[0]+1, hits[1]+1)
	}
	p.log.add(f)
	return -1
}

func (p *planner) warnUnused() {
	for i := range p.cols {
		c := &p.cols[i]
		if c.skip || c.timeOf >= 0 || !isTimeTitle(c.name) {
			continue
		}
		f := warningAt(p.line, 0)
		f.Field, f.Reason = c.title, "column is titled as time, but a rate is stated; it is read as a channel"
		p.log.add(f)
	}
}

func (p *planner) serve(base, col int) {
	p.cols[col].base = base
	p.bases[base].channel = append(p.bases[base].channel, col)
}

// addBase makes column i a time column, once.
func (p *planner) addBase(i int) int {
	c := &p.cols[i]
	if c.timeOf >= 0 {
		return c.timeOf
	}
	b := base{col: i, whole: true}
	b.setUnit(p.timeUnit(c))
	if b.unit == "" {
		b.guessed, b.scale = true, 1e6
	}
	p.bases = append(p.bases, b)
	c.timeOf = len(p.bases) - 1
	c.skip = false
	return c.timeOf
}

// timeUnit gives the stated unit, that of the title, or that of a last word.
func (p *planner) timeUnit(c *column) string {
	if p.o.TimeUnit != "" {
		return p.o.TimeUnit
	}
	unit := strings.ToLower(c.unit)
	switch {
	case timeUnits[unit] != 0:
		return unit
	case isClockUnit(unit):
		return clockUnit
	case unit != "" && unit != "-":
		f := errorAt(p.line, 0)
		f.Field, f.Value, f.Allowed = c.title, c.unit, "s, ms, us, h:mm:ss.sss"
		f.Reason, f.Fix = "unit of time is not known", "state the time unit"
		p.log.add(f)
		return ""
	}
	w := words(c.name)
	if n := len(w); n > 1 && timeUnits[w[n-1]] != 0 {
		return w[n-1]
	}
	return ""
}

// setUnit keeps the short name of a unit.
func (b *base) setUnit(unit string) {
	b.scale = timeUnits[unit]
	switch b.scale {
	case 1e6:
		b.unit = "s"
	case 1e3:
		b.unit = "ms"
	case 1:
		b.unit = "us"
	default:
		b.unit = unit
		if unit == clockUnit {
			b.scale = 1
		}
	}
}
