package link

import (
	"bufio"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"slices"
	"time"
)

// LogFormat is the first line of a byte log.
const LogFormat = "holdline-bytes-1"

// Log keeps the bytes of a link, both ways, with time stamps. Every record is
// written at once, so that the log is good up to the last byte whatever ends the
// program.
//
//	header   the format, a line feed
//	record   varint microseconds since the record before,
//	         varint of length * 2 + direction (0 to the rig, 1 from it), the bytes
type Log struct {
	w    io.Writer
	last time.Time
	buf  []byte
	err  error
}

// NewLog starts a log on w, which should not hold bytes back.
func NewLog(w io.Writer) *Log {
	l := &Log{w: w, last: time.Now()}
	_, l.err = io.WriteString(w, LogFormat+"\n")
	return l
}

type way uint8

const (
	toRig way = iota
	fromRig
)

func (l *Log) note(w way, p []byte) {
	if l == nil || l.err != nil || len(p) == 0 {
		return
	}
	now := time.Now()
	l.buf = binary.AppendUvarint(l.buf[:0], uint64(max(now.Sub(l.last).Microseconds(), 0)))
	l.buf = binary.AppendUvarint(l.buf, uint64(len(p))<<1|uint64(w))
	l.buf = append(l.buf, p...)
	l.last = now
	_, l.err = l.w.Write(l.buf)
}

// Err is what kept the log from being written, if anything did.
func (l *Log) Err() error { return l.err }

// LogRecord is one piece of a byte log.
type LogRecord struct {
	At      time.Duration // since the start of the log
	FromRig bool
	Bytes   []byte
}

// ErrLogCut says that a byte log ends in the middle of a record. What came
// before it is good.
var ErrLogCut = errors.New("byte log ends in the middle of a record")

const longestRecord = 1 << 20

// ReadLog reads a byte log. A log that was cut off gives its good records and
// ErrLogCut.
func ReadLog(r io.Reader) ([]LogRecord, error) {
	b := bufio.NewReader(r)
	head, err := b.ReadString('\n')
	if err != nil && err != io.EOF {
		return nil, err
	}
	if head != LogFormat+"\n" {
		return nil, fmt.Errorf("this is not a byte log: it starts with %.30q instead of %q", head, LogFormat)
	}
	var list []LogRecord
	var at uint64
	for {
		if _, end := b.Peek(1); end == io.EOF {
			return list, nil
		}
		gap, err := binary.ReadUvarint(b)
		if err != nil {
			return list, ErrLogCut
		}
		n, err := binary.ReadUvarint(b)
		if err != nil {
			return list, ErrLogCut
		}
		if n>>1 > longestRecord || gap > 1<<50 {
			return list, fmt.Errorf("byte log: record %d claims %d bytes after %d us: damaged", len(list)+1, n>>1, gap)
		}
		p := make([]byte, n>>1)
		if _, err := io.ReadFull(b, p); err != nil {
			return list, ErrLogCut
		}
		at += gap
		list = append(list, LogRecord{time.Duration(at) * time.Microsecond, n&1 != 0, p})
	}
}

const bytesALine = 20

// PrintLog writes records for people: time in seconds, direction, bytes; a long
// record goes on in the next line, without the first two.
func PrintLog(w io.Writer, list []LogRecord) error {
	for _, r := range list {
		arrow := "->"
		if r.FromRig {
			arrow = "<-"
		}
		head := fmt.Sprintf("%12.6f %s", r.At.Seconds(), arrow)
		for part := range slices.Chunk(r.Bytes, bytesALine) {
			if _, err := fmt.Fprintf(w, "%15s % x\n", head, part); err != nil {
				return err
			}
			head = ""
		}
	}
	return nil
}
