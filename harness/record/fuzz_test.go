package record

import (
	"bytes"
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"

	"github.com/holdline/holdline/harness"
)

type textReader func(data []byte, o Options) (*Recording, harness.Findings)

func readBytes(data []byte, o Options) (*Recording, harness.Findings) {
	return Read(bytes.NewReader(data), "fuzz.csv", o)
}

// checkRead holds what must be true of any input: findings that stand in the
// file, columns that fit together, times that never fall, the same answer
// twice, and a recording without errors that survives being written.
func checkRead(read textReader, data []byte, o Options) error {
	r, f := read(data, o)
	lines := bytes.Count(data, []byte("\n")) + 1
	most := o.withDefaults().MaxFindings
	if len(f) > 2*most+2 {
		return fmt.Errorf("%d findings", len(f))
	}
	for _, x := range f {
		if x.Line < 0 || x.Line > lines || x.Column < 0 || x.Column > len(data)+1 || x.Reason == "" || x.File != "fuzz.csv" || len(x.Value) > 200 {
			return fmt.Errorf("finding %+v", x)
		}
	}
	if r == nil {
		if f.Err() == nil {
			return errors.New("neither recording nor error")
		}
		return nil
	}
	if err := checkRecording(r, lines); err != nil {
		return err
	}
	again, f2 := read(data, o)
	if fmt.Sprint(f) != fmt.Sprint(f2) || fmt.Sprintf("%x", channels(r)) != fmt.Sprintf("%x", channels(again)) {
		return errors.New("a second reading differs")
	}
	if f.Err() == nil && writable(r) {
		return sameAgain(r)
	}
	return nil
}

func checkRecording(r *Recording, lines int) error {
	for _, c := range r.Channels {
		if len(c.TimeUS) != len(c.Value) || len(c.Value) > lines || c.Present > len(c.Value) || c.IntervalUS < 0 {
			return fmt.Errorf("channel %q does not fit together", c.Title)
		}
		present := 0
		for i, v := range c.Value {
			if i > 0 && c.TimeUS[i] < c.TimeUS[i-1] {
				return fmt.Errorf("channel %q: time falls at %d", c.Title, i)
			}
			if math.IsInf(v, 0) {
				return fmt.Errorf("channel %q: infinite", c.Title)
			}
			if v == v {
				present++
			}
		}
		if present != c.Present {
			return fmt.Errorf("channel %q: %d present, counted %d", c.Title, present, c.Present)
		}
		k := c.Cursor(Linear, 0)
		for t := r.StartUS; t < r.StartUS+10; t++ {
			if s := k.At(t); s.Fresh && s.Value != s.Value {
				return fmt.Errorf("channel %q: fresh without a value", c.Title)
			}
		}
	}
	return nil
}

// writable leaves out what text in seconds cannot hold: times beyond the exact
// whole numbers of float64, and names that brackets and quotes make ambiguous.
func writable(r *Recording) bool {
	if r.StartUS < -1<<51 || r.EndUS > 1<<51 || r.Rows == 0 {
		return false
	}
	for _, c := range r.Channels {
		if name, unit := splitTitle(c.heading()); name != c.Name || unit != c.Unit || strings.ContainsAny(c.Title, "\"") || len(c.TimeUS) == 0 {
			return false
		}
		if c.Name == "" || strings.TrimSpace(c.Name) != c.Name {
			return false
		}
	}
	return true
}

var readSeeds = []string{
	"Time (s),A (kPa),B\n0,1,2\n0.1,3,\n0.2,5,6\n",
	"\xEF\xBB\xBFTime;A;B\r\n[s];[C];\r\n0,0;1,5;2\r\n0,1;3,5;NaN\r\n",
	"Time\tA\n00:00:01.5\t1\n00:00:02.5\t-\n00:00:0",
	"# note\n\"Time (ms)\",\"A, B\",\n0,\"1\",\n10,2e3,\n5,3,\n",
	"A ()\n1\n2\n\n3\n",
	"T,A,T,B\n0,1,0,2\n1,2,5,6\n2,3,,\n",
	"Time,A\n23:59:59,1\n00:00:01,2\n",
	"Time (s),A\n0,1\n1,x\n2\n3,4,5\n1,1\n\"",
	"Time,A\n2024-02-28 23:59:59.5,1\n2024-02-29T00:00:00Z,2\n",
	"a,b\r0,1\r",
	"Time (s),A,B\n0,1,ON\n1,text,x+on\n2,3,\n3,4,o",
	"\xFF\xFEx",
}

// fuzzOptions turns a byte into options, so that the fuzzer reaches all ways.
func fuzzOptions(n uint8) Options {
	o := Options{MaxLine: 300, MaxCells: 10_000, MaxFindings: 5}
	switch n % 8 {
	case 1:
		o.Rate = 7
	case 2:
		o.Pairing = TimeBefore
	case 3:
		o.Pairing = TimeAfter
	case 4:
		o.NoHeader, o.TimeColumn = true, "#1"
	case 5:
		o.TimeOf = map[string]string{"#2": "#3"}
	case 6:
		o.StepBack = DropSteps
	case 7:
		o.HeaderLine, o.Ignore = 2, []string{"#2"}
	}
	if n&8 != 0 {
		o.Decimal = '.'
	}
	if n&16 != 0 {
		o.TimeUnit = "ms"
	}
	if n&32 != 0 {
		o.Delimiter = ';'
	}
	if n&64 != 0 {
		o.Need = []string{"#2", "B"}
	}
	if n&128 != 0 {
		o.Words = []Words{{Column: "#3", Means: map[string]float64{"on": 1, "x": 2}, Between: "\x00+"[n&1]}}
	}
	return o
}

func FuzzRead(f *testing.F) {
	for i, s := range readSeeds {
		f.Add([]byte(s), uint8(i))
		f.Add([]byte(s), uint8(0))
	}
	f.Fuzz(func(t *testing.T, data []byte, n uint8) {
		if err := checkRead(readBytes, data, fuzzOptions(n)); err != nil {
			t.Fatal(err)
		}
	})
}

func TestReadHolds(t *testing.T) {
	for _, s := range readSeeds {
		for n := range 256 {
			assert.NoError(t, checkRead(readBytes, []byte(s), fuzzOptions(uint8(n))))
		}
		for cut := range len(s) {
			assert.NoError(t, checkRead(readBytes, []byte(s[:cut]), fuzzOptions(uint8(cut))))
		}
	}
}

// TestReadCheckFindsFaults plants faults in the reader; the property that the
// fuzzer checks must find each on the seeds alone.
func TestReadCheckFindsFaults(t *testing.T) {
	faults := map[string]textReader{
		"loses the last row of the first channel": func(data []byte, o Options) (*Recording, harness.Findings) {
			r, f := readBytes(data, o)
			if r != nil && len(r.Channels) > 0 && r.Rows > 0 {
				r.Channels[0].Value = r.Channels[0].Value[:len(r.Channels[0].Value)-1]
			}
			return r, f
		},
		"lets time fall": func(data []byte, o Options) (*Recording, harness.Findings) {
			r, f := readBytes(data, o)
			if r != nil && r.Rows > 1 {
				times := r.Channels[0].TimeUS
				times[0] = times[len(times)-1] + 1
			}
			return r, f
		},
		"takes an empty file in silence": func(data []byte, o Options) (*Recording, harness.Findings) {
			r, _ := readBytes(data, o)
			return r, nil
		},
		"points behind the file": func(data []byte, o Options) (*Recording, harness.Findings) {
			r, f := readBytes(data, o)
			for i := range f {
				f[i].Line += 100
			}
			return r, f
		},
		"counts missing values as present": func(data []byte, o Options) (*Recording, harness.Findings) {
			r, f := readBytes(data, o)
			if r != nil {
				for i := range r.Channels {
					r.Channels[i].Present = len(r.Channels[i].Value)
				}
			}
			return r, f
		},
	}
	for name, broken := range faults {
		found := false
		for _, s := range readSeeds {
			for n := range 8 {
				found = found || checkRead(broken, []byte(s), fuzzOptions(uint8(n))) != nil
			}
		}
		assert.True(t, found, name)
	}
}
