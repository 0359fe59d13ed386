package faults

import (
	"math"
	"math/rand/v2"

	"github.com/holdline/holdline/controller"
	"github.com/holdline/holdline/harness"
)

// stimulus puts input faults behind another stimulus.
type stimulus struct {
	inner  harness.Stimulus
	period controller.Duration
	faults []*input
}

// input is one input fault at work.
type input struct {
	Fault
	cal    *controller.Calibration
	rng    *rand.Rand
	active bool
	ticks  int64 // since onset
	held   controller.Sample
	state  float64
	ring   []controller.Sample
	on     []bool
	left   int // ticks of a bounce or a dropout that are still to come
	last   bool
	known  bool
}

// Next implements harness.Stimulus.
func (s *stimulus) Next(f *harness.Frame) error {
	if err := s.inner.Next(f); err != nil {
		return err
	}
	now := int64(f.Tick) * int64(s.period)
	for _, x := range s.faults {
		x.step(&f.In, now)
	}
	return nil
}

// Apply implements harness.Stimulus.
func (s *stimulus) Apply(f *harness.Frame) error { return s.inner.Apply(f) }

func (f Fault) within(now int64) bool {
	return now >= int64(f.From) && (f.For == 0 || now < int64(f.From)+int64(f.For))
}

func (x *input) step(in *controller.Input, now int64) {
	if kinds[x.Kind].target == onSwitch {
		x.stepSwitch(in, x.within(now))
		return
	}
	s := &in.Channels[x.Channel]
	x.remember(*s)
	if !x.within(now) {
		x.active, x.ticks = false, 0
		x.held, x.state = *s, float64(s.Value)
		return
	}
	x.active = true
	x.disturb(in, s)
	x.ticks++
}

// remember keeps what a delay needs.
func (x *input) remember(s controller.Sample) {
	if x.Kind != Delayed {
		return
	}
	n := int(int64(x.Time) / int64(x.cal.Period))
	if len(x.ring) == 0 {
		x.ring = make([]controller.Sample, n+1)
		for i := range x.ring {
			x.ring[i] = s
		}
	}
	copy(x.ring, x.ring[1:])
	x.ring[n] = s
}

func (x *input) disturb(in *controller.Input, s *controller.Sample) {
	spec := &x.cal.Channels[x.Channel]
	per := int64(x.cal.Period)
	switch x.Kind {
	case Off:
		s.Good = false
	case Stuck:
		*s = controller.Sample{Value: x.held.Value, Good: true}
	case Zero:
		*s = controller.Sample{Good: true}
	case Stale:
		x.grow(s)
	case Noisy:
		x.add(s, x.rng.Int64N(2*abs(x.amount())+1)-abs(x.amount()))
	case Drifting:
		x.add(s, x.amount()*x.ticks*per/int64(controller.Second))
	case Offset:
		x.add(s, x.amount())
	case Scaled:
		s.Value = clip(int64(s.Value) * int64(x.Amount) / 1000)
	case Delayed:
		*s = x.ring[0]
	case Slow:
		x.state += (float64(s.Value) - x.state) * min(1, float64(per)/float64(x.Time))
		s.Value = clip(int64(math.Round(x.state)))
	case Intermittent:
		s.Good = s.Good && x.ticks*per%int64(x.Time) >= int64(x.Time)/2
	case Spikes:
		x.spike(s)
	case Dropouts:
		x.dropout(s)
	case Swapped:
		other := &in.Channels[x.Other]
		*s, *other = *other, *s
	case Quantised:
		if q := abs(x.amount()); q > 0 {
			s.Value = clip(floor(int64(s.Value), q) * q)
		}
	case Clipped:
		s.Value = min(s.Value, clip(x.amount()))
	case RangeHigh:
		*s = controller.Sample{Value: clip(int64(spec.High) + 1 + int64(spec.High-spec.Low)/20), Good: true}
	case RangeLow:
		*s = controller.Sample{Value: clip(int64(spec.Low) - 1 - int64(spec.High-spec.Low)/20), Good: true}
	case SupplyDip:
		s.Value = min(s.Value, clip(x.amount()))
	}
}

func (x *input) add(s *controller.Sample, v int64) { s.Value = clip(int64(s.Value) + v) }

// grow gives the last sample before the fault, one tick older each time.
func (x *input) grow(s *controller.Sample) {
	if x.held.Age < math.MaxUint16 {
		x.held.Age++
	}
	*s = x.held
}

func (x *input) chance() bool {
	return x.rng.Int64N(max(1, int64(x.Time)/int64(x.cal.Period))) == 0
}

func (x *input) spike(s *controller.Sample) {
	if !x.chance() {
		return
	}
	v := x.amount()
	if x.rng.IntN(2) == 0 {
		v = -v
	}
	x.add(s, v)
}

const longestDropout = 30

func (x *input) dropout(s *controller.Sample) {
	if x.left == 0 && x.chance() {
		x.left = 1 + x.rng.IntN(longestDropout)
	}
	if x.left == 0 {
		x.held = *s
		return
	}
	x.left--
	x.grow(s)
}

func (x *input) stepSwitch(in *controller.Input, within bool) {
	on := in.On.Has(x.Switch)
	edge := x.known && on != x.last
	x.last, x.known = on, true
	if x.Kind == SwitchDelayed {
		on = x.late(on)
	}
	if !within {
		x.left, x.ticks = 0, 0
		return
	}
	x.ticks++
	per := int64(x.cal.Period)
	switch x.Kind {
	case SwitchOn:
		in.Put(x.Switch, true)
	case SwitchOff:
		in.Put(x.Switch, false)
	case SwitchLost:
		in.Known = in.Known.With(x.Switch, false)
	case SwitchInverted:
		in.On = in.On.With(x.Switch, !on)
	case SwitchDelayed:
		in.On = in.On.With(x.Switch, on)
	case SwitchBounce:
		if edge {
			x.left = int(int64(x.Time) / per)
		}
		if x.left > 0 {
			x.left--
			in.On = in.On.With(x.Switch, x.rng.IntN(2) == 0)
		}
	case SwitchChatter:
		if (x.ticks-1)*per%int64(x.Time) < int64(x.Time)/2 {
			in.On = in.On.With(x.Switch, !on)
		}
	}
}

// late keeps switch states for a delay.
func (x *input) late(on bool) bool {
	n := int(int64(x.Time) / int64(x.cal.Period))
	for len(x.on) <= n {
		x.on = append(x.on, on)
	}
	copy(x.on, x.on[1:])
	x.on[n] = on
	return x.on[0]
}

func abs(v int64) int64 { return max(v, -v) }

func clip(v int64) int32 { return int32(max(math.MinInt32, min(v, math.MaxInt32))) }

// floor divides towards minus infinity.
func floor(v, q int64) int64 {
	if v < 0 {
		return -((-v + q - 1) / q)
	}
	return v / q
}
