package record

import (
	"bytes"
	"errors"
	"io"
)

// errLongLine stops a reading: without a line end in sight there is no telling
// what the file is.
var errLongLine = errors.New("line too long")

// lineReader hands out lines from one fixed buffer; a line is valid until the
// next call.
type lineReader struct {
	r      io.Reader
	buf    []byte
	lo, hi int
	line   int   // number of the line handed out last, from 1
	err    error // sticky: what the reader ended with
}

func newLineReader(r io.Reader, maxLine int) *lineReader {
	return &lineReader{r: r, buf: make([]byte, maxLine+2)}
}

// fill reads until the buffer is full or the input has ended.
func (l *lineReader) fill() {
	if l.lo > 0 {
		copy(l.buf, l.buf[l.lo:l.hi])
		l.hi -= l.lo
		l.lo = 0
	}
	for idle := 0; l.err == nil && l.hi < len(l.buf); {
		n, err := l.r.Read(l.buf[l.hi:])
		if n < 0 || n > len(l.buf)-l.hi {
			n, err = 0, errors.New("reader returned an impossible count")
		}
		l.hi += n
		l.err = err
		if idle++; n > 0 {
			idle = 0
		} else if idle >= 100 && err == nil {
			l.err = io.ErrNoProgress
		}
	}
}

// next returns the next line without its line end, and whether it had one. It
// ends with io.EOF, errLongLine or the reader's own error.
func (l *lineReader) next() (line []byte, ended bool, err error) {
	n := bytes.IndexByte(l.buf[l.lo:l.hi], '\n')
	if n < 0 && l.err == nil {
		l.fill()
		n = bytes.IndexByte(l.buf[l.lo:l.hi], '\n')
	}
	rest := l.buf[l.lo:l.hi]
	switch {
	case n >= 0:
		l.lo += n + 1
		l.line++
		return trimCR(rest[:n]), true, nil
	case l.err == nil:
		l.line++
		return nil, false, errLongLine
	case len(rest) > 0:
		l.lo = l.hi
		l.line++
		return rest, false, nil
	}
	return nil, false, l.err
}

// sample returns the lines that the first buffer holds, without consuming
// them. A last line that is not ended is left out unless it is the only one.
func (l *lineReader) sample(most int) [][]byte {
	l.fill()
	rest := l.buf[l.lo:l.hi]
	var lines [][]byte
	for len(lines) < most {
		n := bytes.IndexByte(rest, '\n')
		if n < 0 {
			break
		}
		lines = append(lines, trimCR(rest[:n]))
		rest = rest[n+1:]
	}
	if len(lines) < most && len(rest) > 0 && l.err != nil {
		lines = append(lines, rest)
	}
	return lines
}

func trimCR(b []byte) []byte {
	if n := len(b); n > 0 && b[n-1] == '\r' {
		return b[:n-1]
	}
	return b
}

// cutField returns the field of line that starts at i, trimmed and without
// quotes, the index of its first byte, and the index behind its delimiter,
// which is len(line)+1 for the last field. It reports false if a quote is not
// closed.
func cutField(line []byte, i int, delim byte) (field []byte, at, next int, ok bool) {
	at = i
	for at < len(line) && isBlank(line[at]) && line[at] != delim {
		at++
	}
	if at < len(line) && line[at] == '"' {
		return cutQuoted(line, at, delim)
	}
	end := bytes.IndexByte(line[at:], delim)
	if end < 0 {
		end = len(line)
	} else {
		end += at
	}
	return trimBlank(line[at:end]), at, end + 1, true
}

func cutQuoted(line []byte, at int, delim byte) (field []byte, start, next int, ok bool) {
	i := at + 1
	doubled := false
	for ; i < len(line); i++ {
		if line[i] != '"' {
			continue
		}
		if i+1 < len(line) && line[i+1] == '"' {
			doubled = true
			i++
			continue
		}
		break
	}
	if i >= len(line) {
		return trimBlank(line[at:]), at, len(line) + 1, false
	}
	field = line[at+1 : i]
	if doubled {
		field = bytes.ReplaceAll(field, []byte(`""`), []byte(`"`))
	}
	end := bytes.IndexByte(line[i:], delim)
	if end < 0 {
		end = len(line)
	} else {
		end += i
	}
	if len(trimBlank(line[i+1:end])) > 0 { // text behind the closing quote
		return trimBlank(line[at:end]), at, end + 1, false
	}
	return trimBlank(field), at, end + 1, true
}

// splitFields cuts a whole line; the fields point into line.
func splitFields(line []byte, delim byte) [][]byte {
	var fields [][]byte
	for i := 0; i <= len(line); {
		f, _, next, _ := cutField(line, i, delim)
		fields = append(fields, f)
		i = next
	}
	return fields
}

func isBlank(c byte) bool { return c == ' ' || c == '\t' || c == '\r' }

func trimBlank(b []byte) []byte {
	for len(b) > 0 && isBlank(b[0]) {
		b = b[1:]
	}
	for len(b) > 0 && isBlank(b[len(b)-1]) {
		b = b[:len(b)-1]
	}
	return b
}
