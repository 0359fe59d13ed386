package record

import (
	"fmt"
	"slices"
	"strings"
)

// column is one column of the file while it is read.
type column struct {
	title, name, unit string
	number            int // from 1
	skip              bool
	timeOf            int // base that it is the time of; -1: none
	base              int // base that times it; -1: none
	words             *Words
	need              bool // text in it is an error
	text              []string
}

// makeColumns names the columns and finds which of them is whose time.
func makeColumns(l *layout, o Options, log *findingLog) ([]column, []base, bool) {
	if len(l.titles) > maxColumns {
		log.err("", fmt.Sprint(len(l.titles)), fmt.Sprint("1 to ", maxColumns), "too many columns", "check the delimiter")
		return nil, nil, false
	}
	cols := nameColumns(l, log)
	p := planner{cols: cols, o: o, log: log, line: l.header}
	p.ignore()
	p.words()
	p.need()
	p.plan()
	served := 0
	for i := range p.bases {
		served += len(p.bases[i].channel)
	}
	if served == 0 && !log.failed() {
		log.err("", "", "", "no column is left to read as a channel", "check the delimiter, the time column and the columns to ignore")
	}
	return p.cols, p.bases, !log.failed()
}

func nameColumns(l *layout, log *findingLog) []column {
	cols := make([]column, len(l.titles))
	first := map[string]int{}
	for i, title := range l.titles {
		c := column{title: title, number: i + 1, timeOf: -1, base: -1}
		if title == "" {
			c.title = fmt.Sprintf("column %d", i+1)
			f := warningAt(l.header, 0)
			f.Field, f.Reason = c.title, "column has no title"
			log.add(f)
		}
		c.name, c.unit = splitTitle(c.title)
		if c.unit == "" && i < len(l.row2) {
			c.unit = l.row2[i]
		}
		if before, ok := first[title]; ok && title != "" && !isTimeTitle(c.name) {
			f := warningAt(l.header, 0)
			f.Field, f.Reason = title, fmt.Sprintf("title of column %d is used again in column %d", before, i+1)
			f.Fix = fmt.Sprintf("name them #%d and #%d", before, i+1)
			log.add(f)
		} else {
			first[title] = i + 1
		}
		cols[i] = c
	}
	return cols
}

// planner decides which column times which.
type planner struct {
	cols  []column
	bases []base
	o     Options
	log   *findingLog
	line  int
}

func (p *planner) ignore() {
	for _, name := range p.o.Ignore {
		hits := p.match(name)
		for _, i := range hits {
			p.cols[i].skip = true
		}
		if len(hits) == 0 {
			f := warningAt(p.line, 0)
			f.Field, f.Value, f.Allowed, f.Reason = "ignore", name, clip(p.titles()), "no such column"
			p.log.add(f)
		}
	}
}

func (p *planner) words() {
	for k := range p.o.Words {
		w := &p.o.Words[k]
		i, ok := p.find("words", w.Column)
		switch {
		case ok && p.cols[i].words != nil:
			p.log.err("words", w.Column, "", "this column's words are stated under the name "+p.cols[i].words.Column+" too", "use one name for it")
		case ok:
			p.cols[i].words = w
		}
	}
}

// need marks the columns that somebody wants. That one is missing is for them to
// say, who know what for.
func (p *planner) need() {
	for i := range p.cols {
		p.cols[i].need = p.o.Need == nil || p.cols[i].words != nil
	}
	for _, name := range p.o.Need {
		for _, i := range p.match(name) {
			p.cols[i].need = true
		}
	}
}

func (p *planner) match(name string) []int {
	return match(name, len(p.cols), func(i int) (string, string, int) {
		return p.cols[i].title, p.cols[i].name, p.cols[i].number
	})
}

func (p *planner) plan() {
	switch p.o.Pairing {
	case TimeBefore:
		p.pair(0, 1)
		return
	case TimeAfter:
		p.pair(1, 0)
		return
	}
	p.namedTimes()
	if p.log.failed() {
		return
	}
	shared := -1
	switch {
	case p.o.Rate > 0:
		p.bases = append(p.bases, base{col: -1, rate: p.o.Rate})
		shared = len(p.bases) - 1
		p.warnUnused()
	case p.o.TimeColumn != "":
		if i, ok := p.find("time column", p.o.TimeColumn); ok {
			shared = p.addBase(i)
		}
	case p.anyUntimed():
		shared = p.guessTime()
	}
	if shared < 0 {
		return
	}
	for i := range p.cols {
		if c := &p.cols[i]; !c.skip && c.timeOf < 0 && c.base < 0 {
			p.serve(shared, i)
		}
	}
}

// pair takes the columns two by two.
func (p *planner) pair(time, value int) {
	var live []int
	for i := range p.cols {
		if !p.cols[i].skip {
			live = append(live, i)
		}
	}
	if len(live)%2 != 0 {
		p.log.err("time", fmt.Sprint(len(live)), "an even number", "columns cannot be paired as time and value", "ignore the odd one, or name each time column")
		return
	}
	for i := 0; i < len(live); i += 2 {
		p.serve(p.addBase(live[i+time]), live[i+value])
	}
}

// namedTimes applies Options.TimeOf, in the order of the file.
func (p *planner) namedTimes() {
	type link struct{ value, time int }
	var links []link
	keys := make([]string, 0, len(p.o.TimeOf))
	for k := range p.o.TimeOf {
		keys = append(keys, k)
	}
	slices.Sort(keys)
	for _, k := range keys {
		v, ok1 := p.find("channel", k)
		t, ok2 := p.find("time column", p.o.TimeOf[k])
		if ok1 && ok2 {
			links = append(links, link{v, t})
		}
	}
	slices.SortFunc(links, func(a, b link) int { return a.value - b.value })
	for _, l := range links {
		p.addBase(l.time)
	}
	for _, l := range links {
		c := &p.cols[l.value]
		if c.timeOf >= 0 || c.base >= 0 {
			p.log.err(c.title, "", "", "column is stated as time and as a channel, or twice as a channel", "")
			continue
		}
		p.serve(p.cols[l.time].timeOf, l.value)
	}
}

// find looks a stated column up and says which are there if it is not.
func (p *planner) find(what, name string) (int, bool) {
	hits := p.match(name)
	f := errorAt(p.line, 0)
	f.Field, f.Value = what, name
	switch len(hits) {
	case 1:
		return hits[0], true
	case 0:
		f.Reason, f.Allowed = "no such column", clip(p.titles())
	default:
		f.Reason = "several columns have this title"
		f.Fix = fmt.Sprintf("name it by number, for instance #%d", hits[0]+1)
	}
	p.log.add(f)
	return -1, false
}

func (p *planner) titles() string {
	all := make([]string, len(p.cols))
	for i := range p.cols {
		all[i] = p.cols[i].title
	}
	return strings.Join(all, ", ")
}

func (p *planner) anyUntimed() bool {
	for i := range p.cols {
		if c := &p.cols[i]; !c.skip && c.timeOf < 0 && c.base < 0 {
			return true
		}
	}
	return false
}
