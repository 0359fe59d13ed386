package record

import (
	"bytes"
	"fmt"
	"slices"
	"strings"
)

// layout is how a file is written, as its first lines show.
type layout struct {
	delim, mark   byte // mark 0: no fraction seen yet
	header, units int  // line numbers from 1; 0: none
	first         int  // first line that holds data
	titles, row2  []string
	headerText    []byte // to know titles and units again when a logger repeats them
	unitsText     []byte
	rowBytes      int  // length of the first row, for a first guess of size
	decimals      int  // of the last field of the first row
	trailing      bool // the first row ends in a separator
}

// findLayout works on the lines of the first buffer.
func findLayout(lines [][]byte, o Options, log *findingLog) (layout, bool) {
	var l layout
	if !readable(lines, log) {
		return l, false
	}
	l.delim = o.Delimiter
	if l.delim == 0 {
		l.delim = guessDelimiter(lines)
	}
	data := firstData(lines, l.delim, o)
	if data < 0 {
		log.err("", "", "", fmt.Sprintf("no row of numbers in the first %d lines", len(lines)),
			"check that this is a recording as delimited text; state the delimiter or the header line if it is")
		return l, false
	}
	if !l.findHeader(lines, data, o, log) {
		return l, false
	}
	l.mark = o.Decimal
	if l.delim == ',' {
		l.mark = '.'
	}
	if l.mark == 0 {
		l.mark = guessDecimal(lines[data:], l.delim)
	}
	l.rowBytes = len(lines[data])
	l.decimals = decimalsOfLast(lines[data], l.delim)
	l.trailing = len(splitFields(lines[data], l.delim)) > len(l.titles)
	return l, true
}

// readable refuses what is not text in a form that can be read.
func readable(lines [][]byte, log *findingLog) bool {
	if len(lines) == 0 {
		log.err("", "", "", "the file is empty", "")
		return false
	}
	if at := bytes.IndexByte(lines[0], '\r'); at >= 0 && len(lines) == 1 {
		f := errorAt(1, at+1)
		f.Reason, f.Fix = "lines end in CR alone", "save the file with LF or CRLF line ends"
		log.add(f)
		return false
	}
	for i, line := range lines {
		at := bytes.IndexByte(line, 0)
		if at < 0 {
			continue
		}
		f := errorAt(i+1, at+1)
		f.Reason, f.Fix = "zero byte in text", "save the recording as text in UTF-8"
		log.add(f)
		return false
	}
	return true
}

// guessDelimiter prefers tab and semicolon: a comma may be the decimal mark.
// It looks at the later lines, where titles and notes are behind us.
func guessDelimiter(lines [][]byte) byte {
	tail := lines[len(lines)/2:]
	for _, d := range []byte{'\t', ';'} {
		with, of := 0, 0
		for _, line := range tail {
			if len(trimBlank(line)) == 0 {
				continue
			}
			of++
			if bytes.IndexByte(line, d) >= 0 {
				with++
			}
		}
		if with*5 >= of*4 && with > 0 {
			return d
		}
	}
	return ','
}

// guessDecimal returns 0 if the rows hold no number with a fraction. A comma
// counts only if no number has a point.
func guessDecimal(lines [][]byte, delim byte) byte {
	comma := false
	for _, line := range lines {
		for _, f := range splitFields(line, delim) {
			if _, ok := ParseNumber(f, '.'); ok && bytes.IndexByte(f, '.') >= 0 {
				return '.'
			}
			if _, ok := ParseNumber(f, ','); ok && bytes.IndexByte(f, ',') >= 0 {
				comma = true
			}
		}
	}
	if comma {
		return ','
	}
	return 0
}

// firstData returns the index of the first line that is mostly numbers, or else
// of the first that holds one, and is at least half as wide as rows usually
// are; -1 if there is none. Below a stated header, or where there is none, one
// number is enough.
func firstData(lines [][]byte, delim byte, o Options) int {
	usual := usualWidth(lines, delim)
	stated := o.HeaderLine > 0 || o.NoHeader
	some := -1
	for i, line := range lines {
		if i < o.HeaderLine || isComment(line) {
			continue
		}
		fields := splitFields(line, delim)
		numbers, words := countNumbers(fields, &o)
		if stated && numbers > 0 {
			return i
		}
		if len(fields)*2 < usual {
			continue
		}
		if numbers > words {
			return i
		}
		if some < 0 && numbers > 0 && len(fields) >= usual {
			some = i
		}
	}
	return some
}

// countNumbers counts a word that stands for a number as one.
func countNumbers(fields [][]byte, o *Options) (numbers, words int) {
	for _, f := range fields {
		switch {
		case isNumeric(f) || o.means(f):
			numbers++
		case !isMissing(f, o.Missing):
			words++
		}
	}
	return numbers, words
}

func usualWidth(lines [][]byte, delim byte) int {
	var widths []int
	for _, line := range lines[len(lines)/2:] {
		if len(trimBlank(line)) > 0 {
			widths = append(widths, len(splitFields(line, delim)))
		}
	}
	if len(widths) == 0 {
		return 0
	}
	slices.Sort(widths)
	return widths[len(widths)/2]
}

func decimalsOfLast(line []byte, delim byte) int {
	fields := trimFields(splitFields(line, delim))
	if len(fields) == 0 {
		return 0
	}
	return decimals(fields[len(fields)-1])
}

func decimals(field []byte) int {
	if at := bytes.LastIndexAny(field, ".,"); at >= 0 {
		return len(field) - at - 1
	}
	return 0
}

// trimFields drops blank fields at the end.
func trimFields(fields [][]byte) [][]byte {
	for len(fields) > 0 && len(fields[len(fields)-1]) == 0 {
		fields = fields[:len(fields)-1]
	}
	return fields
}

func isComment(line []byte) bool {
	line = trimBlank(line)
	return len(line) > 0 && (line[0] == '#' || line[0] == '%' || bytes.HasPrefix(line, []byte("//")))
}

func isNumeric(f []byte) bool {
	if _, ok := ParseNumber(f, '.'); ok {
		return true
	}
	if _, ok := ParseNumber(f, ','); ok {
		return true
	}
	_, ok := parseClock(f)
	return ok
}

// missingWords stand for "no value" in logs, compared in lower case.
var missingWords = []string{"", "-", "--", "---", "nan", "na", "n/a", "n.a.", "#n/a", "null", "nil", "none", "?", "*", "1.#qnan", "-1.#ind", "-nan", "-nan(ind)"}

func isMissing(f []byte, more []string) bool {
	if len(f) == 0 {
		return true
	}
	if len(f) <= 12 {
		low := strings.ToLower(string(f))
		if slices.Contains(missingWords, low) {
			return true
		}
	}
	return len(more) > 0 && slices.Contains(more, string(f))
}
