package record

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"os"
	"runtime/debug"

	"github.com/holdline/holdline/harness"
	"golang.org/x/exp/mmap"
)

// Read reads a recording. name stands in the findings. The findings hold all
// that is wrong or doubtful, in the order of the file; if they hold an error,
// the recording is what could be read all the same, or nil if titles and
// columns could not be made out.
func Read(r io.Reader, name string, o Options) (*Recording, harness.Findings) {
	return read(r, name, 0, o)
}

// ReadFile is Read for a file; a large one is memory-mapped. A file that
// shrinks while it is read is a finding.
func ReadFile(path string, o Options) (*Recording, harness.Findings) {
	f, err := os.Open(path)
	if err != nil {
		return nil, ioFinding(path, 0, err)
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil {
		return nil, ioFinding(path, 0, err)
	}
	if info.IsDir() {
		return nil, ioFinding(path, 0, errors.New("is a folder"))
	}
	if !info.Mode().IsRegular() {
		return read(f, path, 0, o)
	}
	if info.Size() >= mapAbove {
		if m, err := mmap.Open(path); err == nil {
			return readMapped(m, path, o)
		}
	}
	return read(f, path, info.Size(), o)
}

func readMapped(m *mmap.ReaderAt, path string, o Options) (*Recording, harness.Findings) {
	defer m.Close()
	size := int64(m.Len())
	return read(io.NewSectionReader(mapped{m}, 0, size), path, size, o)
}

// mapped turns the fault of a mapping whose file shrank into an error.
type mapped struct{ m *mmap.ReaderAt }

func (m mapped) ReadAt(p []byte, off int64) (n int, err error) {
	defer debug.SetPanicOnFault(debug.SetPanicOnFault(true))
	defer func() {
		if recover() != nil {
			n, err = 0, errors.New("the file became shorter while it was read")
		}
	}()
	return m.m.ReadAt(p, off)
}

func ioFinding(path string, line int, err error) harness.Findings {
	return harness.Findings{{Severity: harness.Error, Level: harness.Error.String(), File: path, Line: line, Reason: harness.ReasonOf(err)}}
}

func read(r io.Reader, name string, size int64, o Options) (*Recording, harness.Findings) {
	o = o.withDefaults()
	log := &findingLog{file: name, most: o.MaxFindings}
	if o.check(log); log.failed() {
		return nil, log.all()
	}
	rec := readTable(r, size, o, log)
	return rec, log.all()
}

func readTable(r io.Reader, size int64, o Options, log *findingLog) *Recording {
	lines := newLineReader(r, o.MaxLine)
	head := lines.sample(sampleLines)
	if !lines.skipMark(log) {
		return nil
	}
	if len(head) > 0 {
		head[0] = bytes.TrimPrefix(head[0], utf8Mark)
	}
	if len(head) == 0 && lines.hi > lines.lo {
		lines.refuse(errLongLine, log)
		return nil
	}
	if len(head) == 0 && lines.err != io.EOF {
		lines.refuse(lines.err, log)
		return nil
	}
	l, ok := findLayout(head, o, log)
	if !ok {
		return nil
	}
	cols, bases, ok := makeColumns(&l, o, log)
	if !ok {
		return nil
	}
	t := newTable(l, cols, bases, o, log, size)
	lines.feed(t, log)
	return t.recording()
}

// feed hands all lines of data to t.
func (l *lineReader) feed(t *table, log *findingLog) {
	for {
		line, ended, err := l.next()
		if err != nil {
			if err != io.EOF {
				l.refuse(err, log)
			}
			return
		}
		if l.line >= t.first && !t.take(line, l.line, ended) {
			return
		}
	}
}

// refuse reports why reading stopped.
func (l *lineReader) refuse(err error, log *findingLog) {
	f := errorAt(max(l.line, 1), 0)
	f.Reason = "reading stopped: " + err.Error()
	if err == errLongLine {
		f.Reason = "line is too long; reading stopped here"
		f.Allowed = fmt.Sprintf("%d bytes", len(l.buf)-2)
		f.Fix = "check that this is delimited text with line ends, or allow longer lines"
		switch {
		case bytes.IndexByte(l.buf[l.lo:l.hi], '\r') >= 0:
			f.Fix = "lines seem to end in CR alone: save the file with LF or CRLF line ends"
		case bytes.IndexByte(l.buf[l.lo:l.hi], 0) >= 0:
			f.Fix = "zero bytes: if the logger lost power while writing, cut the file before this line"
		}
	}
	log.add(f)
}

var utf8Mark = []byte{0xEF, 0xBB, 0xBF}

// skipMark passes over a byte-order mark and refuses that of UTF-16.
func (l *lineReader) skipMark(log *findingLog) bool {
	start := l.buf[l.lo:l.hi]
	if bytes.HasPrefix(start, utf8Mark) {
		l.lo += len(utf8Mark)
	}
	if bytes.HasPrefix(start, []byte{0xFF, 0xFE}) || bytes.HasPrefix(start, []byte{0xFE, 0xFF}) {
		f := errorAt(1, 1)
		f.Reason, f.Fix = "the file is UTF-16", "save it as UTF-8"
		log.add(f)
		return false
	}
	return true
}
