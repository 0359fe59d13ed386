package require

import (
	"math"

	"github.com/holdline/holdline/controller"
	"github.com/holdline/holdline/harness"
)

// curve works out, from the recorded inputs alone and in floating point, what a
// curve of the calibration asks for at every tick: unknown where an axis is bad.
// It shares no code with the controller, so that it can be held against it.
func (s *RunSignals) curve(c controller.Curve, per float64) []float64 {
	out := make([]float64, s.trace.Ticks)
	if c.Table == 0 {
		for t := range out {
			out[t] = float64(c.Const) / per
		}
		return out
	}
	tb := &s.cal.Tables[(c.Table-1)%controller.MaxTables]
	x, y := s.axis(&tb.Columns), s.axis(&tb.Rows)
	for t := range out {
		out[t] = lookup(tb, x(t), y(t)) / per
	}
	return out
}

// axis gives an axis' input by tick, NaN where it is bad.
func (s *RunSignals) axis(a *controller.Axis) func(int) float64 {
	switch {
	case a.N == 0:
		return func(int) float64 { return 0 }
	case a.Channel >= controller.NumChannels:
		since := s.sinceRelease()
		return func(t int) float64 { return since[t] }
	}
	data, bad := s.raw(harness.Channels[a.Channel].Name), s.raw("channels-bad")
	return func(t int) float64 {
		if bad[t]>>a.Channel&1 != 0 {
			return math.NaN()
		}
		return float64(data[t])
	}
}

// sinceRelease counts ms from the tick at which the sequence became released,
// for as long as it is; 0 otherwise.
func (s *RunSignals) sinceRelease() []float64 {
	out := make([]float64, s.trace.Ticks)
	ms := float64(s.trace.Period) / float64(controller.Millisecond)
	seq := s.raw("sequence")
	for t, v := range seq {
		if t > 0 && v == int32(controller.Released) && seq[t-1] == v {
			out[t] = out[t-1] + ms
		}
	}
	return out
}

func lookup(tb *controller.Table, x, y float64) float64 {
	if math.IsNaN(x) || math.IsNaN(y) {
		return math.NaN()
	}
	c, fx := place(&tb.Columns, x)
	if tb.Rows.N == 0 {
		return blend(tb, 0, c, fx)
	}
	r, fy := place(&tb.Rows, y)
	low := blend(tb, r, c, fx)
	if fy == 0 {
		return low
	}
	return low + float64((blend(tb, r+1, c, fx)-low)*fy)
}

func blend(tb *controller.Table, r, c int, f float64) float64 {
	low := float64(tb.Cells[r][c])
	if f == 0 {
		return low
	}
	return low + float64((float64(tb.Cells[r][c+1])-low)*f)
}

// place finds the segment of an axis and how far into it a value lies.
func place(a *controller.Axis, x float64) (int, float64) {
	n := int(a.N)
	for i := range n - 1 {
		low, high := float64(a.Points[i]), float64(a.Points[i+1])
		switch {
		case x <= low:
			return i, 0
		case x < high:
			return i, (x - low) / (high - low)
		}
	}
	return n - 1, 0
}
