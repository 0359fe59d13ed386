package record

import (
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"strconv"
	"strings"

	"github.com/holdline/holdline/harness"
)

// PartialSuffix marks an atomic file that was not completed.
const PartialSuffix = ".partial"

// Writer writes delimited text, field by field. It hands on whole rows only,
// so that what has been written reads back after any failure. The first error
// sticks; later calls do nothing, and Err, Flush and Close return it.
type Writer struct {
	out   io.Writer
	delim byte
	buf   []byte // whole rows, then the row being written
	whole int    // bytes of whole rows in buf
	field int    // fields in the present row
	width int    // fields in the first row
	row   int    // rows completed
	err   error

	file   *os.File
	path   string
	atomic bool
}

const writeBuffer = 64 << 10

// NewWriter returns a Writer on w, with ',' , ';' or '\t' as delimiter (0: ',').
// The decimal mark is a point.
func NewWriter(w io.Writer, delimiter byte) *Writer {
	out := &Writer{out: w, delim: delimiter, buf: make([]byte, 0, writeBuffer+4096)}
	if delimiter == 0 {
		out.delim = ','
	}
	if !oneOf(out.delim, ',', ';', '\t') {
		out.err = fmt.Errorf("delimiter %q cannot be used: use comma, semicolon or tab", delimiter)
	}
	return out
}

// CreateOptions says how a file comes into being.
type CreateOptions struct {
	Delimiter byte // 0: ','
	Overwrite bool // an existing file is replaced; else it is an error
	// Atomic writes to path + PartialSuffix and renames it at Close, so that a
	// file of that name is always complete. After a failure the partial file
	// stays, with all whole rows.
	Atomic bool
}

// Create returns a Writer on a new file.
func Create(path string, o CreateOptions) (*Writer, error) {
	w := NewWriter(nil, o.Delimiter)
	if w.err != nil {
		return nil, w.err
	}
	if _, err := os.Lstat(path); err == nil && !o.Overwrite {
		return nil, fmt.Errorf("%s exists already: choose another name, or allow it to be overwritten", path)
	}
	name := path
	if o.Atomic {
		name += PartialSuffix
	}
	f, err := os.OpenFile(name, os.O_WRONLY|os.O_CREATE|os.O_TRUNC, 0o644)
	if err != nil {
		return nil, err
	}
	w.out, w.file, w.path, w.atomic = f, f, path, o.Atomic
	return w, nil
}

// Name is where the rows are now: the path, or that of the partial file.
func (w *Writer) Name() string {
	if w.file != nil && w.atomic {
		return w.path + PartialSuffix
	}
	return w.path
}

// sep starts a field.
func (w *Writer) sep() {
	if w.field > 0 {
		w.buf = append(w.buf, w.delim)
	}
	w.field++
}

// Int writes a whole number.
func (w *Writer) Int(v int64) {
	w.sep()
	w.buf = strconv.AppendInt(w.buf, v, 10)
}

// Fixed writes v / 10^decimals exactly, with all decimals (0 to 18).
func (w *Writer) Fixed(v int64, decimals int) {
	w.sep()
	decimals = min(max(decimals, 0), 18)
	u := uint64(v)
	if v < 0 {
		u = -u
		w.buf = append(w.buf, '-')
	}
	var digits [20]byte
	i := len(digits)
	for n := 0; u > 0 || n <= decimals; n++ {
		i--
		digits[i] = byte('0' + u%10)
		u /= 10
	}
	point := len(digits) - decimals
	w.buf = append(w.buf, digits[i:point]...)
	if decimals > 0 {
		w.buf = append(w.buf, '.')
		w.buf = append(w.buf, digits[point:]...)
	}
}

// Float writes the shortest decimal that reads back as v. NaN becomes a blank
// field, a missing value; an infinity is an error.
func (w *Writer) Float(v float64) {
	switch {
	case v != v:
		w.Blank()
		return
	case math.IsInf(v, 0):
		w.fail(fmt.Errorf("row %d, field %d: value is infinite and cannot be written", w.row+1, w.field+1))
	}
	w.sep()
	if size := math.Abs(v); size >= 1e15 || size < 1e-6 && size > 0 {
		w.buf = strconv.AppendFloat(w.buf, v, 'e', -1, 64)
		return
	}
	if i := int64(v); float64(i) == v && (i != 0 || !math.Signbit(v)) {
		w.buf = strconv.AppendInt(w.buf, i, 10)
		return
	}
	w.buf = strconv.AppendFloat(w.buf, v, 'f', -1, 64)
}

// Blank writes an empty field.
func (w *Writer) Blank() { w.sep() }

// Text writes a word, in quotes where it needs them. A line end inside is an
// error, since one row is one line.
func (w *Writer) Text(s string) {
	if strings.ContainsAny(s, "\r\n\x00") {
		w.fail(fmt.Errorf("row %d, field %d: text %q holds a line end", w.row+1, w.field+1, s))
	}
	w.sep()
	if !needsQuotes(s, w.delim) {
		w.buf = append(w.buf, s...)
		return
	}
	w.buf = append(w.buf, '"')
	w.buf = append(w.buf, strings.ReplaceAll(s, `"`, `""`)...)
	w.buf = append(w.buf, '"')
}

func needsQuotes(s string, delim byte) bool {
	if s == "" {
		return false
	}
	return s[0] == ' ' || s[len(s)-1] == ' ' || s[0] == '#' || s[0] == '%' || s[0] == '/' || strings.IndexByte(s, delim) >= 0 || strings.ContainsAny(s, "\"\t")
}

// Header writes a row of titles.
func (w *Writer) Header(titles ...string) {
	for _, t := range titles {
		w.Text(t)
	}
	w.End()
}

// End completes a row. All rows have as many fields as the first.
func (w *Writer) End() {
	if w.row == 0 {
		w.width = w.field
	} else if w.field != w.width {
		w.fail(fmt.Errorf("row %d has %d fields, the first row has %d", w.row+1, w.field, w.width))
	}
	if w.err != nil {
		w.buf = w.buf[:w.whole]
		w.field = 0
		return
	}
	w.buf = append(w.buf, '\n')
	w.whole = len(w.buf)
	w.field = 0
	w.row++
	if w.whole >= writeBuffer {
		w.push()
	}
}

// push hands the whole rows on and keeps the row being written.
func (w *Writer) push() {
	if w.whole == 0 || w.out == nil {
		return
	}
	n, err := w.out.Write(w.buf[:w.whole])
	if err == nil && n < w.whole {
		err = io.ErrShortWrite
	}
	if err != nil {
		w.fail(err)
	}
	w.buf = append(w.buf[:0], w.buf[w.whole:]...)
	w.whole = 0
}

func (w *Writer) fail(err error) {
	if w.err == nil && err != nil {
		w.err = err
	}
}

// Err returns the first error.
func (w *Writer) Err() error { return w.err }

// Rows returns how many rows are complete, with the titles.
func (w *Writer) Rows() int { return w.row }

// Flush writes all whole rows out, those before an error too.
func (w *Writer) Flush() error {
	w.push()
	return w.err
}

// Close writes all whole rows out, drops a row that was not completed, and
// closes the file. An atomic file gets its name if nothing failed; else it
// stays under Name. Closing twice does nothing.
func (w *Writer) Close() error {
	w.push()
	if w.file == nil {
		return w.err
	}
	path, partial := w.path, w.Name()
	if err := errors.Join(w.file.Sync(), w.file.Close()); err != nil {
		w.fail(err)
	}
	w.file = nil
	if w.err == nil && w.atomic {
		w.fail(harness.Rename(partial, path))
	}
	if w.err != nil {
		w.path = partial
		return fmt.Errorf("%s: %w; the rows so far are in %s", path, w.err, partial)
	}
	return nil
}

// Abort ends the file with what is complete, for a run that was interrupted:
// an atomic file stays under Name and does not take its final name.
func (w *Writer) Abort(why error) error {
	if why == nil {
		why = errors.New("interrupted")
	}
	w.fail(why)
	return w.Close()
}
