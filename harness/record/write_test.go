package record

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestWriterFields(t *testing.T) {
	var b bytes.Buffer
	w := NewWriter(&b, 0)
	w.Header("a", "b,c", `say "x"`, "", " d", "#e")
	w.Int(math.MinInt64)
	w.Fixed(math.MinInt64, 6)
	w.Float(math.Copysign(0, -1))
	w.Float(nan)
	w.Float(1e300)
	w.Blank()
	w.End()
	for _, v := range []int64{0, 5, -5, 1_234_567, -1_000_000, 999_999} {
		w.Fixed(v, 6)
	}
	w.End()
	for _, v := range []float64{0.1, 1200, -3.25, 1e-7, 123456789012345680, 0} {
		w.Float(v)
	}
	w.End()
	require.NoError(t, w.Close())
	assert.Equal(t, "a,\"b,c\",\"say \"\"x\"\"\",,\" d\",\"#e\"\n"+
		"-9223372036854775808,-9223372036854.775808,-0,,1e+300,\n"+
		"0.000000,0.000005,-0.000005,1.234567,-1.000000,0.999999\n"+
		"0.1,1200,-3.25,1e-07,1.2345678901234568e+17,0\n", b.String())
	assert.Equal(t, 4, w.Rows())
}

// TestFloatsReadBack writes floats of every kind and reads the same bits.
func TestFloatsReadBack(t *testing.T) {
	rng := rand.New(rand.NewPCG(9, 10))
	var b bytes.Buffer
	w := NewWriter(&b, ';')
	w.Header("Time (us)", "A")
	var want []float64
	for i := range 20_000 {
		v := math.Float64frombits(rng.Uint64())
		switch {
		case i%3 == 0:
			v = float64(rng.IntN(2_000_000)-1_000_000) / 1000
		case math.IsInf(v, 0), math.IsNaN(v):
			v = nan
		}
		want = append(want, v)
		w.Int(int64(i))
		w.Float(v)
		w.End()
	}
	require.NoError(t, w.Close())
	r, f := Read(&b, "", Options{})
	require.Empty(t, f)
	for i, v := range want {
		got := r.Channels[0].Value[i]
		if math.IsNaN(v) {
			require.True(t, math.IsNaN(got))
			continue
		}
		require.Equal(t, math.Float64bits(v), math.Float64bits(got), "%v", v)
	}
}

func TestWriterRefuses(t *testing.T) {
	cases := map[string]struct {
		do   func(w *Writer)
		want string
	}{
		"infinity":     {func(w *Writer) { w.Float(math.Inf(1)); w.Blank(); w.End() }, "row 2, field 1: value is infinite"},
		"line end":     {func(w *Writer) { w.Int(1); w.Text("a\nb"); w.End() }, "row 2, field 2: text \"a\\nb\" holds a line end"},
		"short row":    {func(w *Writer) { w.Int(1); w.End() }, "row 2 has 1 fields, the first row has 2"},
		"long row":     {func(w *Writer) { w.Int(1); w.Int(1); w.Int(1); w.End() }, "row 2 has 3 fields"},
		"by the maker": {func(w *Writer) { w.Int(1); _ = w.Abort(errors.New("rig lost")) }, "rig lost"},
		"no reason":    {func(w *Writer) { _ = w.Abort(nil) }, "interrupted"},
	}
	for name, c := range cases {
		var b bytes.Buffer
		w := NewWriter(&b, 0)
		w.Header("a", "b")
		c.do(w)
		w.Int(7)
		w.Int(8)
		w.End()
		assert.ErrorContains(t, w.Close(), c.want, name)
		assert.Equal(t, "a,b\n", b.String(), "%s: what was whole is kept, and nothing more", name)
	}
	assert.ErrorContains(t, NewWriter(io.Discard, '|').Close(), "delimiter")
}

// failAfter accepts some bytes, like a disk that fills up.
type failAfter struct {
	bytes.Buffer
	room int
}

func (f *failAfter) Write(p []byte) (int, error) {
	if len(p) > f.room {
		n, _ := f.Buffer.Write(p[:f.room])
		f.room = 0
		return n, errors.New("disk full")
	}
	f.room -= len(p)
	return f.Buffer.Write(p)
}

func TestDiskFull(t *testing.T) {
	disk := &failAfter{room: 100_000}
	w := NewWriter(disk, 0)
	w.Header("Time (s)", "A")
	for i := range 100_000 {
		w.Fixed(int64(i)*1000, 6)
		w.Float(float64(i) / 8)
		w.End()
	}
	require.ErrorContains(t, w.Close(), "disk full")
	assert.ErrorContains(t, w.Flush(), "disk full", "the error stays")
	r, f := Read(&disk.Buffer, "", Options{})
	require.NoError(t, f.Err())
	assert.Greater(t, r.Rows, 5000)
	for i, v := range r.Channels[0].Value[:r.Rows-1] {
		require.Equal(t, float64(i)/8, v)
	}
}

// TestOnlyWholeRowsAreHandedOn looks at each write as a crash would leave it.
func TestOnlyWholeRowsAreHandedOn(t *testing.T) {
	var seen wholeRows
	w := NewWriter(&seen, 0)
	for i := range 50_000 {
		w.Int(int64(i))
		w.Text("abc")
		w.End()
	}
	w.Int(1) // never completed
	require.NoError(t, w.Close())
	assert.Greater(t, seen.writes, 3)
	assert.Zero(t, seen.torn)
}

type wholeRows struct{ writes, torn int }

func (s *wholeRows) Write(p []byte) (int, error) {
	s.writes++
	if !bytes.HasSuffix(p, []byte("abc\n")) {
		s.torn++
	}
	return len(p), nil
}

func TestCreate(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "trace.csv")
	row := func(w *Writer, v int64) { w.Int(v); w.End() }

	w, err := Create(path, CreateOptions{Atomic: true})
	require.NoError(t, err)
	row(w, 1)
	require.NoError(t, w.Flush())
	assert.NoFileExists(t, path)
	assert.FileExists(t, path+PartialSuffix)
	assert.Equal(t, path+PartialSuffix, w.Name())
	require.NoError(t, w.Close())
	require.NoError(t, w.Close(), "closing twice does nothing")
	assert.Equal(t, path, w.Name())
	assertFile(t, path, "1\n")
	assert.NoFileExists(t, path+PartialSuffix)

	_, err = Create(path, CreateOptions{Atomic: true})
	assert.ErrorContains(t, err, "exists already")

	w, err = Create(path, CreateOptions{Atomic: true, Overwrite: true})
	require.NoError(t, err)
	row(w, 2)
	row(w, 3)
	err = w.Abort(errors.New("rig lost"))
	assert.ErrorContains(t, err, "rig lost; the rows so far are in "+path+PartialSuffix)
	assertFile(t, path, "1\n")
	assertFile(t, path+PartialSuffix, "2\n3\n")
	assert.Equal(t, path+PartialSuffix, w.Name())

	plain := filepath.Join(dir, "events.csv")
	w, err = Create(plain, CreateOptions{})
	require.NoError(t, err)
	row(w, 4)
	assert.ErrorContains(t, w.Abort(nil), "interrupted; the rows so far are in "+plain)
	assertFile(t, plain, "4\n")

	_, err = Create(filepath.Join(dir, "none", "x.csv"), CreateOptions{})
	assert.Error(t, err)
	_, err = Create(filepath.Join(dir, "y.csv"), CreateOptions{Delimiter: '|'})
	assert.Error(t, err)
	assert.NoFileExists(t, filepath.Join(dir, "y.csv"))
}

func assertFile(t *testing.T, path, want string) {
	t.Helper()
	got, err := os.ReadFile(path)
	require.NoError(t, err)
	assert.Equal(t, want, string(got))
}

// sameAgain writes a recording, reads it, and says what differs.
func sameAgain(r *Recording) error {
	var b bytes.Buffer
	o, err := WriteCSV(&b, r)
	if err != nil {
		return err
	}
	text := b.String()
	again, f := Read(strings.NewReader(text), "", o)
	if f.Err() != nil {
		return fmt.Errorf("%v\n%s", f, text)
	}
	if d := cmp.Diff(channels(r), channels(again), sameValues); d != "" {
		return fmt.Errorf("%s\n%s", d, text)
	}
	return nil
}

func TestWriteReadEqual(t *testing.T) {
	real, f := ReadFile(filepath.Join("..", "..", "examples", "recordings", "obd-drive-1hz.csv"), Options{Rate: 1})
	require.Empty(t, f)
	assert.NoError(t, sameAgain(real))

	rng := rand.New(rand.NewPCG(11, 12))
	for range 500 {
		assert.NoError(t, sameAgain(randomRecording(rng)))
	}
}

func randomRecording(rng *rand.Rand) *Recording {
	r := &Recording{}
	shared := rng.IntN(2) == 0
	var times []int64
	for i := range 1 + rng.IntN(4) {
		if i == 0 || !shared {
			times = nil
			at := rng.Int64N(1 << 50)
			for range 1 + rng.IntN(20) {
				at += rng.Int64N(3) * rng.Int64N(1_000_000)
				times = append(times, at)
			}
		}
		c := Channel{Name: [...]string{"A", "B, C", `"D"`, "E (x)", "Time", "#F"}[rng.IntN(6)], Unit: [...]string{"", "kPa", "bar(a)", "1/min"}[rng.IntN(4)], TimeUS: times}
		for range times {
			v := math.Float64frombits(rng.Uint64())
			if math.IsInf(v, 0) || rng.IntN(3) == 0 {
				v = nan
			}
			c.Value = append(c.Value, v)
		}
		r.Channels = append(r.Channels, c)
	}
	return r
}

func TestWriterAllocatesNothing(t *testing.T) {
	w := NewWriter(io.Discard, 0)
	assert.Zero(t, testing.AllocsPerRun(10_000, func() {
		w.Fixed(123_456, 6)
		w.Float(1234.5)
		w.Text("held")
		w.Blank()
		w.End()
	}))
}
