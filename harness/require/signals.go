package require

import (
	"fmt"
	"math"
	"time"
)

// Kind says what the numbers of a column mean.
type Kind uint8

const (
	// Quantity is a measured or computed number with a unit.
	Quantity Kind = iota
	// Switch is off (0) or on (anything else).
	Switch
	// State holds the index of one of Labels.
	State
	// Flags holds a set: bit i stands for Labels[i].
	Flags
)

// String gives the kind in the words of error messages.
func (k Kind) String() string {
	return [...]string{"quantity", "switch", "state", "set of flags"}[k]
}

// Interp says what a column is worth between its stored samples.
type Interp uint8

const (
	// Hold keeps the last sample until the next one.
	Hold Interp = iota
	// Linear draws a straight line from sample to sample; after the last
	// sample the value is unknown.
	Linear
)

// Column describes one channel and lends its samples. Exactly one of Ints and
// Floats is read: Ints if it is not nil. A NaN or infinite sample is unknown:
// it can make a verdict inconclusive, never a pass.
type Column struct {
	Unit        string   // a unit of Units, or "" for a bare number
	Kind        Kind     // Quantity unless stated
	Labels      []string // State: name by value; Flags: name by bit
	Interp      Interp   // matters only where Every is above 1
	Every       int      // ticks from one stored sample to the next; 0 means 1
	Ints        []int32  // stored integers
	PerUnit     float64  // stored steps per Unit, e.g. 10 for tenths; 0 means 1
	Floats      []float64
	MarginScale float64 // the margin, in Unit, that ranks as 1; 0 means the unit's own
}

// Signals is what formulas are judged on: channels at a fixed tick, and named
// moments. Nothing is copied or kept after a call returns.
type Signals interface {
	// Len is the number of ticks; ticks run from 0 to Len-1.
	Len() int
	// Period is the time from tick to tick, above 0.
	Period() time.Duration
	// Complete is false if the recording stopped before the run did (a lost
	// link, say). What was not seen then stays open: see the package doc.
	Complete() bool
	// Lookup finds a channel.
	Lookup(name string) (Column, bool)
	// Moments gives the ticks at which the named moment came, ascending, and
	// whether such a moment can come at all.
	Moments(name string) ([]int, bool)
	// Names lists all channels and all moments, for error messages.
	Names() (channels, moments []string)
}

// matches reports how another trace's column differs from the one that a
// formula was compiled for.
func (c Column) matches(o Column) error {
	if c.Unit != o.Unit {
		return fmt.Errorf("unit is %q, the formula was compiled for %q", o.Unit, c.Unit)
	}
	if c.Kind != o.Kind {
		return fmt.Errorf("is a %s, the formula was compiled for a %s", o.Kind, c.Kind)
	}
	if len(c.Labels) != len(o.Labels) {
		return fmt.Errorf("has %d labels, the formula was compiled for %d", len(o.Labels), len(c.Labels))
	}
	for i := range c.Labels {
		if c.Labels[i] != o.Labels[i] {
			return fmt.Errorf("label %d is %q, the formula was compiled for %q", i, o.Labels[i], c.Labels[i])
		}
	}
	return nil
}

// every is the stride with its default.
func (c Column) every() int { return max(c.Every, 1) }

// stored is the number of samples.
func (c Column) stored() int {
	if c.Ints != nil {
		return len(c.Ints)
	}
	return len(c.Floats)
}

// sample is stored sample i in Unit, or NaN where unknown.
func (c Column) sample(i int) float64 {
	if i < 0 || i >= c.stored() {
		return math.NaN()
	}
	if c.Ints != nil {
		return c.scaled(c.Ints[i])
	}
	return finite(c.Floats[i])
}

// scaled divides rather than multiplies: a count of tenths over 10 is the
// nearest number to what a person writes, times 0.1 is not.
func (c Column) scaled(v int32) float64 {
	if c.PerUnit == 0 || c.PerUnit == 1 {
		return float64(v)
	}
	return finite(float64(v) / c.PerUnit)
}

func finite(v float64) float64 {
	if math.IsInf(v, 0) {
		return math.NaN()
	}
	return v
}

// held is the value at tick t, holding the last stored sample.
func (c *Column) held(t int) float64 { return c.sample(t / c.every()) }

// fill writes the value at every tick into dst.
func (c Column) fill(dst []float64) {
	if c.every() > 1 {
		c.fillSparse(dst)
		return
	}
	n := min(len(dst), c.stored())
	switch {
	case c.Ints != nil && (c.PerUnit == 0 || c.PerUnit == 1):
		for i, v := range c.Ints[:n] {
			dst[i] = float64(v)
		}
	case c.Ints != nil:
		for i, v := range c.Ints[:n] {
			dst[i] = c.scaled(v)
		}
	default:
		for i, v := range c.Floats[:n] {
			dst[i] = finite(v)
		}
	}
	for i := n; i < len(dst); i++ {
		dst[i] = math.NaN()
	}
}

func (c Column) fillSparse(dst []float64) {
	k := c.every()
	for t := range dst {
		i, r := t/k, t%k
		v := c.sample(i)
		if c.Interp == Linear && r > 0 {
			v += float64((c.sample(i+1) - v) * (float64(r) / float64(k)))
		}
		dst[t] = v
	}
}
