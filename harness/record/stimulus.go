package record

import (
	"io"
	"math"

	"github.com/holdline/holdline/controller"
	"github.com/holdline/holdline/harness"
)

// Feed says how a channel of a recording becomes an input: sampled by its
// cursor, put through a line to core units, rounded to nearest. A value that
// is missing or no longer fresh is an invalid input.
type Feed struct {
	Channel controller.Channel
	Cursor  Cursor
	ToCore  Line
}

// SwitchFeed says how a channel of a recording becomes a switch: on above, or
// below, a threshold in the recording's own unit. A value that is missing or no
// longer fresh is an unknown switch.
type SwitchFeed struct {
	Switch    controller.Switch
	Cursor    Cursor
	Threshold float64
	OnBelow   bool
	On, Off   uint64 // of a column in words: their bits, instead of a threshold
}

// Scripted sets what the recording lacks, after the feeds, at each tick. last is
// the output of the tick before.
type Scripted interface {
	Set(tUS int64, in *controller.Input, last *controller.Output)
}

// Stimulus replays a recording: an open loop, the recorded speed does not
// answer the cuts. Commits are made from engine speed by integrating crank
// angle. It implements harness.Stimulus.
type Stimulus struct {
	Feeds    []Feed
	Switches []SwitchFeed
	Script   Scripted // may be nil
	Schedule *harness.Schedule

	FromUS, ToUS int64 // of the recording
	PeriodUS     int64

	tick uint32
}

// Next implements harness.Stimulus.
func (s *Stimulus) Next(f *harness.Frame) error {
	t := s.FromUS + int64(s.tick)*s.PeriodUS
	if t > s.ToUS || s.tick == math.MaxUint32 {
		return io.EOF
	}
	f.Tick = s.tick
	s.tick++
	f.In.Periods = 1
	for i := range s.Feeds {
		s.Feeds[i].set(t, &f.In)
	}
	for i := range s.Switches {
		s.Switches[i].set(t, &f.In)
	}
	if s.Script != nil {
		s.Script.Set(t-s.FromUS, &f.In, &f.Out)
	}
	if n := f.In.Channels[controller.EngineSpeed]; n.Good {
		s.Schedule.Advance(f, controller.Speed(n.Value))
	}
	return nil
}

// Apply implements harness.Stimulus; a recording does not answer.
func (s *Stimulus) Apply(*harness.Frame) error { return nil }

// Ticks is how many ticks the stimulus gives.
func (s *Stimulus) Ticks() int64 { return max(0, (s.ToUS-s.FromUS)/s.PeriodUS+1) }

func (d *Feed) set(t int64, in *controller.Input) {
	x := d.Cursor.At(t)
	if !x.Fresh || x.Value != x.Value {
		in.Channels[d.Channel].Good = false
		return
	}
	v := d.ToCore.At(x.Value)
	in.Channels[d.Channel] = controller.Sample{Value: toInt32(v), Good: true}
}

// toInt32 rounds to nearest and saturates.
func toInt32(v float64) int32 {
	v = math.Floor(v + 0.5)
	switch {
	case v >= math.MaxInt32:
		return math.MaxInt32
	case v <= math.MinInt32:
		return math.MinInt32
	}
	return int32(v)
}

func (d *SwitchFeed) set(t int64, in *controller.Input) {
	x := d.Cursor.At(t)
	if !x.Fresh || x.Value != x.Value {
		in.Known = in.Known.With(d.Switch, false)
		return
	}
	if d.On|d.Off != 0 {
		words := uint64(x.Value)
		in.Known = in.Known.With(d.Switch, words&(d.On|d.Off) != 0)
		in.On = in.On.With(d.Switch, words&d.On != 0)
		return
	}
	in.Put(d.Switch, x.Value > d.Threshold != d.OnBelow)
}
