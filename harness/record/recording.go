package record

import (
	"math"
	"slices"
	"strconv"
	"strings"
)

// Recording is what was read: one entry a channel, in the order of the file.
type Recording struct {
	File     string
	Channels []Channel

	Rows       int   // rows kept
	IntervalUS int64 // median time between rows of the shared time, else of the fastest channel; 0: unknown
	StartUS    int64 // first and last time of all channels
	EndUS      int64

	Found Found
}

// Found says how the file was understood, for a person to check.
type Found struct {
	Delimiter  byte
	Decimal    byte // 0: no number with a fraction was met
	HeaderLine int  // 0: none
	UnitsLine  int  // 0: none
	TimeColumn string
	TimeUnit   string // "s", "ms", "us", "clock"; "" with a stated rate
}

// Channel is one column of a recording. Channels with one time column share
// TimeUS; it never falls, and has the length of Value.
type Channel struct {
	Title  string // as written, without quotes
	Name   string // Title without its unit
	Unit   string // as written, without brackets; "": not stated
	Column int    // in the file, from 1

	TimeUS []int64
	Value  []float64 // NaN: missing

	Text []string // some texts that are no numbers, where Options.Need lets them be

	Present    int   // values that are not missing
	IntervalUS int64 // median time between values that are not missing; 0: fewer than two
	// SteadyUS is the shortest time between two changes of value if that is more
	// than one interval and at least eight changes were seen, else 0. It hints
	// that a slow channel was written into a fast log by repeating it.
	SteadyUS int64
}

// Find returns the index of a channel by title, by title without unit, or as
// "#3" by its column number in the file. It reports false if there is none, or
// more than one.
func (r *Recording) Find(name string) (int, bool) {
	hits := match(name, len(r.Channels), func(i int) (string, string, int) {
		c := &r.Channels[i]
		return c.Title, c.Name, c.Column
	})
	if len(hits) != 1 {
		return -1, false
	}
	return hits[0], true
}

// match returns which of n columns a person's name for one may mean: those with
// this title, else those with this title without unit, else that number.
func match(name string, n int, column func(i int) (title, short string, number int)) []int {
	var exact, short, numbered []int
	number := 0
	if digits, ok := strings.CutPrefix(name, "#"); ok {
		number, _ = strconv.Atoi(digits)
	}
	for i := range n {
		t, s, k := column(i)
		switch {
		case t == name:
			exact = append(exact, i)
		case s == name:
			short = append(short, i)
		case k == number && number > 0:
			numbered = append(numbered, i)
		}
	}
	for _, hits := range [][]int{exact, short} {
		if len(hits) > 0 {
			return hits
		}
	}
	return numbered
}

// finish fills in what follows from times and values.
func (r *Recording) finish(shared bool) {
	if len(r.Channels) == 0 {
		return
	}
	whole := map[*int64]int64{} // interval of each time column, by where it starts
	r.StartUS, r.EndUS = math.MaxInt64, math.MinInt64
	for i := range r.Channels {
		c := &r.Channels[i]
		if len(c.TimeUS) == 0 {
			continue
		}
		r.StartUS = min(r.StartUS, c.TimeUS[0])
		r.EndUS = max(r.EndUS, c.TimeUS[len(c.TimeUS)-1])
		c.measure(whole)
		if c.IntervalUS > 0 && (r.IntervalUS == 0 || c.IntervalUS < r.IntervalUS) {
			r.IntervalUS = c.IntervalUS
		}
	}
	if r.StartUS > r.EndUS {
		r.StartUS, r.EndUS = 0, 0
	}
	if shared && len(r.Channels[0].TimeUS) > 1 {
		r.IntervalUS = rowInterval(r.Channels[0].TimeUS, whole)
	}
}

func (c *Channel) measure(whole map[*int64]int64) {
	if c.Present == len(c.Value) {
		c.IntervalUS = rowInterval(c.TimeUS, whole)
	} else {
		c.IntervalUS = median(presentSteps(c.TimeUS, c.Value))
	}
	c.SteadyUS = steady(c.TimeUS, c.Value)
	if c.SteadyUS <= c.IntervalUS {
		c.SteadyUS = 0
	}
}

func rowInterval(times []int64, known map[*int64]int64) int64 {
	if v, ok := known[&times[0]]; ok {
		return v
	}
	steps := make([]int64, 0, len(times))
	for i := 1; i < len(times); i++ {
		if d := times[i] - times[i-1]; d > 0 {
			steps = append(steps, d)
		}
	}
	v := median(steps)
	known[&times[0]] = v
	return v
}

func presentSteps(times []int64, values []float64) []int64 {
	var steps []int64
	last := -1
	for i, v := range values {
		if v != v {
			continue
		}
		if last >= 0 && times[i] > times[last] {
			steps = append(steps, times[i]-times[last])
		}
		last = i
	}
	return steps
}

// median returns the lower median of steps, which it may reorder; 0 of none.
func median(steps []int64) int64 {
	if len(steps) == 0 {
		return 0
	}
	if slices.Min(steps) == slices.Max(steps) {
		return steps[0]
	}
	slices.Sort(steps)
	return steps[(len(steps)-1)/2]
}

// steady returns the shortest time between two changes of value that are more
// than one row apart, or 0.
func steady(times []int64, values []float64) int64 {
	const enough = 8
	var shortest int64 = math.MaxInt64
	before, change, changes := -1, -1, 0
	for i, v := range values {
		if v != v {
			continue
		}
		if before >= 0 && v != values[before] {
			if change == before {
				return 0 // changed in two rows running
			}
			if change >= 0 {
				shortest = min(shortest, times[i]-times[change])
			}
			change = i
			changes++
		}
		before = i
	}
	if changes < enough {
		return 0
	}
	return shortest
}
