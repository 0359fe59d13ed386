package sweep

import (
	"bufio"
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"hash"
	"io"
	"os"
	"path/filepath"
	"strconv"
	"strings"

	"github.com/holdline/holdline/harness/files"
)

// ShardFormat is the kind and version of a shard's file: a header, a JSON array
// for each launch in order, and a last line with their number and a digest.
const ShardFormat = "holdline-shard-1"

// shardHeader is the first line of a shard's file.
type shardHeader struct {
	Format   string        `json:"format"`
	Plan     string        `json:"plan"` // hash
	Name     string        `json:"name"`
	MadeBy   string        `json:"made_by"` // version of the program
	Shard    int64         `json:"shard"`
	Of       int64         `json:"of"`
	First    int64         `json:"first"`
	Count    int64         `json:"count"`
	Launches int64         `json:"launches"` // of the whole sweep
	Seed     int64         `json:"seed"`
	Hot      bool          `json:"hot,omitempty"`
	Judged   bool          `json:"judged,omitempty"` // requirements were asked
	Columns  []Column      `json:"columns"`
	Pictures []pictureSpec `json:"pictures,omitempty"`
}

type shardFooter struct {
	Rows   int64  `json:"rows"`
	SHA256 string `json:"sha256"` // of all lines before
}

func (h *shardHeader) span() Shard { return Shard{h.Shard, h.Of} }

// maxHeader bounds the first line.
const maxHeader = 64 << 10

// shardWriter writes a shard's file under a name of its own and gives it the
// final name when it is whole.
type shardWriter struct {
	file *os.File
	out  *bufio.Writer
	sum  hash.Hash
	rows int64
	buf  []byte
	cols []Column
}

// createShard starts a file beside its final name. The name is nobody else's:
// a process that a scheduler has given up and started again may still be there.
func createShard(dir string, h *shardHeader) (*shardWriter, error) {
	f, err := os.CreateTemp(dir, partPrefix(h)+"*"+partSuffix)
	if err != nil {
		return nil, fmt.Errorf("the shard's file cannot be started: %w", err)
	}
	sum := sha256.New()
	w := &shardWriter{file: f, sum: sum, out: bufio.NewWriterSize(io.MultiWriter(f, sum), 64<<10), cols: h.Columns}
	line, err := json.Marshal(h)
	if err == nil {
		_, err = w.out.Write(append(line, '\n'))
	}
	if err != nil {
		w.drop()
		return nil, err
	}
	return w, nil
}

const partSuffix = ".part"

func partPrefix(h *shardHeader) string { return "." + h.span().fileName(h.Plan[:tagLength]) + "." }

func (w *shardWriter) add(r Row) error {
	w.buf = append(w.buf[:0], '[')
	for i, cell := range r {
		if i > 0 {
			w.buf = append(w.buf, ',')
		}
		if cell == "" {
			w.buf = append(w.buf, "null"...)
			continue
		}
		w.buf = appendCell(w.buf, w.cols[i], cell)
	}
	return w.addLine(append(w.buf, "]\n"...))
}

func (w *shardWriter) addLine(line []byte) error {
	w.rows++
	_, err := w.out.Write(line)
	return err
}

// checkpoint puts what is written so far on the disk, to be taken up again.
func (w *shardWriter) checkpoint() error {
	return errors.Join(w.out.Flush(), w.file.Sync())
}

// finish closes the file and gives it its name.
func (w *shardWriter) finish(path string) error {
	if err := w.out.Flush(); err != nil {
		return err
	}
	line, err := json.Marshal(shardFooter{w.rows, hex.EncodeToString(w.sum.Sum(nil))})
	if err != nil {
		return err
	}
	if _, err = w.file.Write(append(line, '\n')); err != nil {
		return err
	}
	return files.Finish(w.file, path)
}

func (w *shardWriter) drop() {
	w.file.Close()
	os.Remove(w.file.Name())
}

// shardReader reads a shard's file row by row.
type shardReader struct {
	shardHeader
	name string
	file *os.File
	in   *bufio.Reader
	sum  hash.Hash
	rows int64
	line []byte
}

// openShard reads the header of a file.
func openShard(path string) (*shardReader, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	r := &shardReader{name: path, file: f, in: bufio.NewReaderSize(f, maxHeader), sum: sha256.New()}
	line, err := r.in.ReadSlice('\n')
	if err == nil {
		err = json.Unmarshal(line, &r.shardHeader)
	}
	if err != nil || r.Format != ShardFormat {
		f.Close()
		return nil, fmt.Errorf("%s: is not a shard of a sweep", path)
	}
	if err := r.sane(); err != nil {
		f.Close()
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	r.sum.Write(line)
	return r, nil
}

// sane checks what a header says of itself.
func (r *shardReader) sane() error {
	s := r.span()
	if err := s.check(); err != nil {
		return err
	}
	first, end := s.span(r.Launches)
	if r.Launches < 1 || r.Launches > maxLaunches || r.First != first || r.Count != end-first || len(r.Plan) != 2*sha256.Size || len(r.Columns) < len(leading) {
		return errors.New("its header contradicts itself")
	}
	return nil
}

// next gives the next row and its line; io.EOF at a good end. A file that was
// cut off, or changed, is an error.
func (r *shardReader) next() (Row, error) {
	line, err := r.in.ReadSlice('\n')
	if err != nil {
		return nil, fmt.Errorf("%s: ends after %d of %d launches", r.name, r.rows, r.Count)
	}
	if len(line) > 0 && line[0] == '{' {
		return nil, r.end(line)
	}
	row, err := parseRow(line, r.Columns)
	if err != nil {
		return nil, fmt.Errorf("%s: row %d: %w", r.name, r.rows+1, err)
	}
	if row[0] != strconv.FormatInt(r.First+r.rows, 10) || r.rows >= r.Count {
		return nil, fmt.Errorf("%s: row %d is of launch %s and out of place", r.name, r.rows+1, row[0])
	}
	r.sum.Write(line)
	r.rows++
	r.line = append(r.line[:0], line...)
	return row, nil
}

func (r *shardReader) end(line []byte) error {
	var f shardFooter
	if err := json.Unmarshal(line, &f); err != nil {
		return fmt.Errorf("%s: its last line is not read", r.name)
	}
	if f.Rows != r.rows || r.rows != r.Count {
		return fmt.Errorf("%s: has %d of %d launches", r.name, r.rows, r.Count)
	}
	if f.SHA256 != hex.EncodeToString(r.sum.Sum(nil)) {
		return fmt.Errorf("%s: was changed after it was written", r.name)
	}
	if _, err := r.in.ReadByte(); err != io.EOF {
		return fmt.Errorf("%s: goes on behind its end", r.name)
	}
	return io.EOF
}

func (r *shardReader) close() { r.file.Close() }

// parseRow reads a row's array.
func parseRow(line []byte, cols []Column) (Row, error) {
	var cells []json.RawMessage
	if err := json.Unmarshal(line, &cells); err != nil {
		return nil, errors.New("is not a row")
	}
	if len(cells) != len(cols) {
		return nil, fmt.Errorf("has %d values of %d", len(cells), len(cols))
	}
	row := make(Row, len(cells))
	for i, c := range cells {
		switch {
		case bytes.Equal(c, []byte("null")):
		case c[0] == '"' == cols[i].Text:
			if row[i] = string(c); cols[i].Text {
				if err := json.Unmarshal(c, &row[i]); err != nil {
					return nil, errors.New("is not a row")
				}
			}
			continue
		default:
			return nil, fmt.Errorf("%s is %s", cols[i].Name, c)
		}
	}
	return row, nil
}

// valid reports whether a file is a whole shard of this very kind.
func valid(path string, want *shardHeader) bool {
	r, err := openShard(path)
	if err != nil {
		return false
	}
	defer r.close()
	if r.Plan != want.Plan || r.span() != want.span() || r.MadeBy != want.MadeBy {
		return false
	}
	for err == nil {
		_, err = r.next()
	}
	return err == io.EOF
}

// resume copies the rows that an earlier try of the same shard has left behind
// into a new file. Of several such tries the longest counts.
func resume(dir string, h *shardHeader, w *shardWriter) error {
	best, most := "", int64(0)
	for _, path := range parts(dir, h) {
		if path == w.file.Name() {
			continue
		}
		if n := usable(path, h, func([]byte) error { return nil }); n > most {
			best, most = path, n
		}
	}
	if best == "" {
		return nil
	}
	var err error
	usable(best, h, func(line []byte) error { err = w.addLine(line); return err })
	return err
}

// parts lists the unfinished files of a shard.
func parts(dir string, h *shardHeader) (paths []string) {
	entries, err := os.ReadDir(dir)
	if err != nil {
		return nil
	}
	for _, e := range entries {
		if strings.HasPrefix(e.Name(), partPrefix(h)) && strings.HasSuffix(e.Name(), partSuffix) {
			paths = append(paths, filepath.Join(dir, e.Name()))
		}
	}
	return paths
}

// usable gives the rows of an unfinished file up to the first that is not whole,
// and their number.
func usable(path string, h *shardHeader, take func(line []byte) error) (n int64) {
	r, err := openShard(path)
	if err != nil {
		return 0
	}
	defer r.close()
	want, _ := json.Marshal(h)
	have, _ := json.Marshal(&r.shardHeader)
	if !bytes.Equal(want, have) {
		return 0
	}
	for {
		row, err := r.next()
		if err != nil || row[1] != strconv.FormatUint(LaunchSeed(uint64(h.Seed), uint64(h.First+n)), 10) || take(r.line) != nil {
			return n
		}
		n++
	}
}

// clearParts removes what unfinished tries have left.
func clearParts(dir string, h *shardHeader) {
	for _, path := range parts(dir, h) {
		os.Remove(path)
	}
}
