package record

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"testing"

	"golang.org/x/exp/mmap"
)

// plainFile is what both readers of the benchmark get: titles, and rows of
// plain numbers as a 100 Hz log of twelve channels holds them.
func plainFile(rows int) []byte {
	var b bytes.Buffer
	b.WriteString("Time (s)")
	for c := range 12 {
		fmt.Fprintf(&b, ",Channel %d", c)
	}
	b.WriteByte('\n')
	x := uint64(1)
	for r := range rows {
		fmt.Fprintf(&b, "%.3f", float64(r)*0.01)
		for c := range 12 {
			x = x*6364136223846793005 + 1442695040888963407
			fmt.Fprintf(&b, ",%.*f", c%5, float64(x>>44)/100)
		}
		b.WriteByte('\n')
	}
	return b.Bytes()
}

func BenchmarkRead(b *testing.B) {
	data := plainFile(50_000)
	b.SetBytes(int64(len(data)))
	b.ReportAllocs()
	for b.Loop() {
		r, f := read(bytes.NewReader(data), "plain.csv", int64(len(data)), Options{})
		if len(f) > 0 || r.Rows != 50_000 {
			b.Fatal(f)
		}
	}
}

// BenchmarkReadFile is BenchmarkRead from a file, read and mapped.
func BenchmarkReadFile(b *testing.B) {
	data := plainFile(50_000)
	path := filepath.Join(b.TempDir(), "plain.csv")
	if err := os.WriteFile(path, data, 0o644); err != nil {
		b.Fatal(err)
	}
	b.Run("read", func(b *testing.B) {
		b.SetBytes(int64(len(data)))
		for b.Loop() {
			if r, f := ReadFile(path, Options{}); len(f) > 0 || r.Rows != 50_000 {
				b.Fatal(f)
			}
		}
	})
	b.Run("mapped", func(b *testing.B) {
		b.SetBytes(int64(len(data)))
		for b.Loop() {
			m, err := mmap.Open(path)
			if err != nil {
				b.Fatal(err)
			}
			if r, f := readMapped(m, path, Options{}); len(f) > 0 || r.Rows != 50_000 {
				b.Fatal(f)
			}
		}
	})
}

// BenchmarkStdlib reads the same file with encoding/csv and strconv into the
// same columns, records reused.
func BenchmarkStdlib(b *testing.B) {
	data := plainFile(50_000)
	b.SetBytes(int64(len(data)))
	b.ReportAllocs()
	for b.Loop() {
		cols, err := stdlibRead(bytes.NewReader(data))
		if err != nil || len(cols[0]) != 50_000 {
			b.Fatal(err)
		}
	}
}

func stdlibRead(in io.Reader) ([][]float64, error) {
	r := csv.NewReader(in)
	r.ReuseRecord = true
	titles, err := r.Read()
	if err != nil {
		return nil, err
	}
	cols := make([][]float64, len(titles))
	for {
		record, err := r.Read()
		if err == io.EOF {
			return cols, nil
		}
		if err != nil {
			return nil, err
		}
		for i, s := range record {
			v, err := strconv.ParseFloat(s, 64)
			if err != nil {
				return nil, err
			}
			cols[i] = append(cols[i], v)
		}
	}
}

func BenchmarkCursor(b *testing.B) {
	c := Channel{IntervalUS: 10_000}
	for i := range 100_000 {
		c.TimeUS = append(c.TimeUS, int64(i)*10_000)
		c.Value = append(c.Value, math.Sqrt(float64(i)))
	}
	for _, m := range []Mode{Held, Linear} {
		b.Run([]string{"held", "linear"}[m], func(b *testing.B) {
			k := c.Cursor(m, 0)
			b.ReportAllocs()
			t := int64(0)
			for b.Loop() {
				k.At(t)
				if t += 1000; t > 999_000_000 {
					t = 0
				}
			}
		})
	}
}

func BenchmarkWrite(b *testing.B) {
	r, _ := Read(bytes.NewReader(plainFile(10_000)), "", Options{})
	var n countingWriter
	if _, err := WriteCSV(&n, r); err != nil {
		b.Fatal(err)
	}
	b.SetBytes(int64(n))
	b.ReportAllocs()
	for b.Loop() {
		if _, err := WriteCSV(io.Discard, r); err != nil {
			b.Fatal(err)
		}
	}
}

type countingWriter int

func (n *countingWriter) Write(p []byte) (int, error) {
	*n += countingWriter(len(p))
	return len(p), nil
}
