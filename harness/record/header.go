package record

import (
	"bytes"
	"fmt"
)

// findHeader finds titles and units above lines[data].
func (l *layout) findHeader(lines [][]byte, data int, o Options, log *findingLog) bool {
	l.first = data + 1
	if o.NoHeader {
		l.makeTitles(len(trimFields(splitFields(lines[data], l.delim))), o.Titles)
		return true
	}
	if o.HeaderLine > 0 {
		return l.statedHeader(lines, data, o.HeaderLine-1, log)
	}
	above := l.wordLines(lines[:data])
	if len(above) == 0 {
		above = commentHeader(lines[:data], l.delim)
	}
	if len(above) == 0 {
		f := errorAt(data+1, 0)
		f.Reason, f.Fix = "no line of titles above the first row of numbers", "add a line of titles, or state that there is none"
		log.add(f)
		return false
	}
	last := above[len(above)-1]
	if len(above) > 1 && l.isUnitsRow(lines[last]) && !l.isUnitsRow(lines[above[len(above)-2]]) {
		l.takeUnits(lines, last)
		last = above[len(above)-2]
	}
	l.takeHeader(lines, last)
	return true
}

// makeTitles names columns that have none in the file.
func (l *layout) makeTitles(n int, stated []string) {
	for i := range max(n, len(stated)) {
		title := fmt.Sprintf("column %d", i+1)
		if i < len(stated) && stated[i] != "" {
			title = stated[i]
		}
		l.titles = append(l.titles, title)
	}
}

// statedHeader takes the line that a person named, and units from the next.
func (l *layout) statedHeader(lines [][]byte, data, header int, log *findingLog) bool {
	if header >= data {
		log.err("header line", fmt.Sprint(header+1), fmt.Sprintf("1 to %d", data), "no row of numbers follows the stated header line", "")
		return false
	}
	l.takeHeader(lines, header)
	below := l.wordLines(lines[header+1 : data])
	if len(below) > 0 && l.isUnitsRow(lines[header+1+below[0]]) {
		l.takeUnits(lines, header+1+below[0])
	}
	return true
}

// wordLines returns the lines that are neither empty nor comments.
func (l *layout) wordLines(lines [][]byte) []int {
	var out []int
	for i, line := range lines {
		if !isComment(line) && len(trimFields(splitFields(line, l.delim))) > 0 {
			out = append(out, i)
		}
	}
	return out
}

// commentHeader accepts titles behind a comment sign just above the numbers.
func commentHeader(lines [][]byte, delim byte) []int {
	if n := len(lines); n > 0 && isComment(lines[n-1]) && bytes.IndexByte(lines[n-1], delim) >= 0 {
		return []int{n - 1}
	}
	return nil
}

func (l *layout) takeHeader(lines [][]byte, i int) {
	l.header = i + 1
	l.headerText = bytes.Clone(lines[i])
	text := lines[i]
	if isComment(text) {
		text = bytes.TrimLeft(text, "#%/ ")
	}
	for _, f := range trimFields(splitFields(text, l.delim)) {
		l.titles = append(l.titles, toText(f))
	}
}

func (l *layout) takeUnits(lines [][]byte, i int) {
	l.units = i + 1
	l.unitsText = bytes.Clone(lines[i])
	for _, f := range splitFields(lines[i], l.delim) {
		l.row2 = append(l.row2, stripBrackets(toText(f)))
	}
}

// isUnitsRow reports whether more than half of the fields that are not blank
// are units or stand in brackets.
func (l *layout) isUnitsRow(line []byte) bool {
	units, all := 0, 0
	for _, f := range splitFields(line, l.delim) {
		if len(f) == 0 {
			continue
		}
		all++
		text := toText(f)
		inner := stripBrackets(text)
		if _, ok := ParseUnit(inner); ok || inner != text || isClockUnit(inner) || timeUnits[inner] != 0 || inner == "-" {
			units++
		}
	}
	return units*2 > all
}
