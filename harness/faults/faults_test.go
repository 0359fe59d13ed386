package faults_test

import (
	"fmt"
	"io"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/holdline/holdline/controller"
	"github.com/holdline/holdline/harness"
	"github.com/holdline/holdline/harness/faults"
	"github.com/holdline/holdline/harness/files"
)

// ramp is a stimulus whose values move by the tick, with events and an edge of
// the trans-brake every 50 ticks.
type ramp struct{ tick uint32 }

const ticks = 400

func (r *ramp) input() (in controller.Input) {
	in.Periods = 1
	t := int32(r.tick)
	in.Set(controller.EngineSpeed, 40000+10*t)
	in.Set(controller.Throttle, 5000+t)
	in.Set(controller.ManifoldPressure, 100000+100*t)
	in.Set(controller.SupplyVoltage, 13500)
	for sw := range controller.NumSwitches {
		in.Put(sw, false)
	}
	in.Put(controller.TransBrake, r.tick/50%2 == 1)
	return in
}

func (r *ramp) Next(f *harness.Frame) error {
	if r.tick == ticks {
		return io.EOF
	}
	f.Tick, f.In = r.tick, r.input()
	f.Add(harness.Event{Cylinder: uint8(r.tick%4) + 1, Cycle: controller.Cycle(r.tick / 4), Kind: harness.FuelCommit})
	r.tick++
	return nil
}

func (r *ramp) Apply(*harness.Frame) error { return nil }

// spy notes what a unit is given.
type spy struct {
	given                []harness.Frame // frames with a tick
	asked                int             // events, repeated ones too
	opened, closed, only int
	crank                []string
}

func (s *spy) Open(harness.Session) (harness.Caps, error) { s.opened++; return harness.Caps{}, nil }
func (s *spy) Close() error                               { s.closed++; return nil }
func (s *spy) Step(f *harness.Frame) error {
	s.asked += f.N
	if f.EventsOnly {
		s.only++
	} else {
		s.given = append(s.given, *f)
		f.Out.SinceRelease = f.Tick
	}
	for i := range f.Events[:f.N] {
		f.Events[i].Give = true
	}
	return nil
}

// wheel is a spy that has a crank wheel.
type wheel struct {
	spy
	refuse error
}

func (w *wheel) DisturbCrank(kind string, from, until, every controller.Duration, degrees float64, seed uint64) error {
	w.crank = append(w.crank, fmt.Sprint(kind, from, until, every, degrees, seed))
	return w.refuse
}

// answers keeps what comes back.
type answers struct{ frames []harness.Frame }

func (a *answers) Record(f *harness.Frame) error { a.frames = append(a.frames, *f); return nil }

func car() *controller.Calibration {
	c := &controller.Calibration{Period: controller.Millisecond}
	for _, ch := range []controller.Channel{controller.EngineSpeed, controller.Throttle, controller.ManifoldPressure, controller.SupplyVoltage} {
		c.Channels[ch] = controller.ChannelSpec{Fitted: true, Low: 0, High: 400000, LongestAge: 50 * controller.Millisecond}
	}
	c.Switches = c.Switches.With(controller.TransBrake, true)
	return c
}

func runWith(t *testing.T, u harness.Unit, seed uint64, list ...faults.Fault) *answers {
	t.Helper()
	cal := car()
	stim, wrapped, err := faults.Wrap(&ramp{}, u, cal, seed, list)
	require.NoError(t, err)
	a := &answers{}
	_, err = harness.Run(t.Context(), stim, wrapped, harness.Session{Calibration: cal, Seed: seed}, a)
	require.NoError(t, err)
	return a
}

const (
	onset = 100 // ms
	end   = 300
)

// Each kind: the unit saw it between onset and end, and nothing outside.
func TestUnitSawEveryInputFault(t *testing.T) {
	const ms = controller.Millisecond
	clean := func(n uint32) controller.Input { r := ramp{tick: n}; return r.input() }
	speed := func(in *controller.Input) controller.Sample { return in.Channels[controller.EngineSpeed] }
	was := func(n uint32) int32 { in := clean(n); return speed(&in).Value }
	type check func(t *testing.T, n uint32, in *controller.Input)
	value := func(want func(n uint32) int32) check {
		return func(t *testing.T, n uint32, in *controller.Input) {
			assert.Equal(t, controller.Sample{Value: want(n), Good: true}, speed(in), n)
		}
	}
	tb := func(in *controller.Input) bool { return in.On.Has(controller.TransBrake) }
	toggled := func(n uint32) bool { return n/50%2 == 1 }
	for _, tt := range []struct {
		fault faults.Fault
		check check // nil: only that something differed at some tick
	}{
		{faults.Fault{Kind: faults.Off}, func(t *testing.T, n uint32, in *controller.Input) { assert.False(t, speed(in).Good) }},
		{faults.Fault{Kind: faults.Stuck}, value(func(uint32) int32 { return was(onset - 1) })},
		{faults.Fault{Kind: faults.Zero}, value(func(uint32) int32 { return 0 })},
		{faults.Fault{Kind: faults.Stale}, func(t *testing.T, n uint32, in *controller.Input) {
			assert.Equal(t, controller.Sample{Value: was(onset - 1), Good: true, Age: uint16(n - onset + 1)}, speed(in))
		}},
		{faults.Fault{Kind: faults.Noisy, Amount: 50_000}, func(t *testing.T, n uint32, in *controller.Input) {
			assert.InDelta(t, was(n), speed(in).Value, 500)
		}},
		{faults.Fault{Kind: faults.Drifting, Amount: 1_000_000}, value(func(n uint32) int32 { return was(n) + int32(n-onset)*10 })},
		{faults.Fault{Kind: faults.Offset, Amount: -100_000}, value(func(n uint32) int32 { return was(n) - 1000 })},
		{faults.Fault{Kind: faults.Scaled, Amount: 1100}, value(func(n uint32) int32 { return was(n) * 11 / 10 })},
		{faults.Fault{Kind: faults.Delayed, Time: 20 * ms}, value(func(n uint32) int32 { return was(n - 20) })},
		{faults.Fault{Kind: faults.Slow, Time: 20 * ms}, func(t *testing.T, n uint32, in *controller.Input) {
			assert.LessOrEqual(t, speed(in).Value, was(n))
			assert.GreaterOrEqual(t, speed(in).Value, was(n)-201, "a lag of 20 ticks at 10 a tick")
		}},
		{faults.Fault{Kind: faults.Intermittent, Time: 10 * ms}, func(t *testing.T, n uint32, in *controller.Input) {
			assert.Equal(t, (n-onset)%10 >= 5, speed(in).Good)
		}},
		{faults.Fault{Kind: faults.Spikes, Amount: 500_000, Time: 10 * ms}, func(t *testing.T, n uint32, in *controller.Input) {
			d := speed(in).Value - was(n)
			assert.Contains(t, []int32{-5000, 0, 5000}, d)
		}},
		{faults.Fault{Kind: faults.Dropouts, Time: 20 * ms}, func(t *testing.T, n uint32, in *controller.Input) {
			assert.Equal(t, was(n-uint32(speed(in).Age)), speed(in).Value)
			assert.LessOrEqual(t, speed(in).Age, uint16(31*8))
		}},
		{faults.Fault{Kind: faults.Swapped, Other: controller.ManifoldPressure}, func(t *testing.T, n uint32, in *controller.Input) {
			assert.Equal(t, was(n), in.Channels[controller.ManifoldPressure].Value)
			assert.Equal(t, int32(100000+100*n), speed(in).Value)
		}},
		{faults.Fault{Kind: faults.Quantised, Amount: 100_000}, value(func(n uint32) int32 { return was(n) / 1000 * 1000 })},
		{faults.Fault{Kind: faults.Clipped, Amount: 4_050_000}, value(func(n uint32) int32 { return min(was(n), 40500) })},
		{faults.Fault{Kind: faults.RangeHigh}, func(t *testing.T, n uint32, in *controller.Input) { assert.Greater(t, speed(in).Value, int32(400000)) }},
		{faults.Fault{Kind: faults.RangeLow}, func(t *testing.T, n uint32, in *controller.Input) { assert.Less(t, speed(in).Value, int32(0)) }},
		{faults.Fault{Kind: faults.SupplyDip, Channel: controller.SupplyVoltage, Amount: 8500}, func(t *testing.T, n uint32, in *controller.Input) {
			assert.Equal(t, int32(8500), in.Channels[controller.SupplyVoltage].Value)
		}},
		{faults.Fault{Kind: faults.SwitchOn, Switch: controller.TransBrake}, func(t *testing.T, n uint32, in *controller.Input) { assert.True(t, tb(in)) }},
		{faults.Fault{Kind: faults.SwitchOff, Switch: controller.TransBrake}, func(t *testing.T, n uint32, in *controller.Input) { assert.False(t, tb(in)) }},
		{faults.Fault{Kind: faults.SwitchLost, Switch: controller.TransBrake}, func(t *testing.T, n uint32, in *controller.Input) {
			assert.False(t, in.Known.Has(controller.TransBrake))
		}},
		{faults.Fault{Kind: faults.SwitchInverted, Switch: controller.TransBrake}, func(t *testing.T, n uint32, in *controller.Input) {
			assert.Equal(t, !toggled(n), tb(in))
		}},
		{faults.Fault{Kind: faults.SwitchDelayed, Switch: controller.TransBrake, Time: 7 * ms}, func(t *testing.T, n uint32, in *controller.Input) {
			assert.Equal(t, toggled(n-7), tb(in))
		}},
		{faults.Fault{Kind: faults.SwitchBounce, Switch: controller.TransBrake, Time: 8 * ms}, func(t *testing.T, n uint32, in *controller.Input) {
			if n%50 >= 8 {
				assert.Equal(t, toggled(n), tb(in))
			}
		}},
		{faults.Fault{Kind: faults.SwitchChatter, Switch: controller.TransBrake, Time: 6 * ms}, func(t *testing.T, n uint32, in *controller.Input) {
			assert.Equal(t, toggled(n) != ((n-onset)%6 < 3), tb(in))
		}},
	} {
		t.Run(tt.fault.Kind.String(), func(t *testing.T) {
			tt.fault.From, tt.fault.For = onset*ms, (end-onset)*ms
			s := &spy{}
			runWith(t, s, 7, tt.fault)
			require.Len(t, s.given, ticks)
			differed := 0
			for _, f := range s.given {
				if f.Tick < onset || f.Tick >= end {
					assert.Equal(t, clean(f.Tick), f.In, f.Tick)
					continue
				}
				tt.check(t, f.Tick, &f.In)
				if f.In != clean(f.Tick) {
					differed++
				}
			}
			assert.Positive(t, differed, "the unit saw nothing")
		})
	}
}

func TestUnitSawEveryFaultOfItsOwn(t *testing.T) {
	const ms = controller.Millisecond
	at := func(k faults.Kind, amount int32) faults.Fault {
		return faults.Fault{Kind: k, From: onset * ms, For: (end - onset) * ms, Amount: amount}
	}
	t.Run("restart", func(t *testing.T) {
		s := &spy{}
		runWith(t, s, 1, at(faults.Restart, 0))
		assert.Equal(t, []int{2, 2, ticks}, []int{s.opened, s.closed, len(s.given)})
	})
	t.Run("power-off", func(t *testing.T) {
		s := &spy{}
		a := runWith(t, s, 1, at(faults.PowerOff, 0))
		assert.Equal(t, []int{2, 2, ticks - 200}, []int{s.opened, s.closed, len(s.given)})
		for _, f := range a.frames {
			assert.Equal(t, f.Tick < onset || f.Tick >= end, f.Events[0].Give, f.Tick)
		}
	})
	t.Run("skipped-ticks", func(t *testing.T) {
		s := &spy{}
		runWith(t, s, 1, at(faults.SkippedTicks, 3000))
		assert.Len(t, s.given, ticks-150)
		assert.Equal(t, 150, s.only, "commits go on")
		sum := 0
		for _, f := range s.given {
			sum += int(f.In.Periods)
		}
		assert.Equal(t, ticks, sum, "no period is lost")
	})
	t.Run("stopped-ticks", func(t *testing.T) {
		s := &spy{}
		a := runWith(t, s, 1, at(faults.StoppedTicks, 0))
		assert.Equal(t, []int{ticks - 200, 200}, []int{len(s.given), s.only})
		assert.Equal(t, uint32(onset-1), a.frames[end-1].Out.SinceRelease, "outputs stand")
		assert.Equal(t, uint16(201), s.given[onset].In.Periods)
	})
	for name, want := range map[faults.Kind]int{faults.ClockFast: ticks + 20, faults.ClockSlow: ticks - 20} {
		t.Run(name.String(), func(t *testing.T) {
			s := &spy{}
			runWith(t, s, 1, at(name, 10_000))
			sum := 0
			for _, f := range s.given {
				sum += int(f.In.Periods)
			}
			assert.Equal(t, want, sum, "10 percent of 200 ticks")
		})
	}
	t.Run("repeated-commits", func(t *testing.T) {
		s := &spy{}
		runWith(t, s, 1, at(faults.RepeatedCommits, 0))
		assert.Equal(t, ticks+200, s.asked)
	})
	for _, k := range []faults.Kind{faults.ToothMissing, faults.ToothExtra, faults.ToothNoise} {
		t.Run(k.String(), func(t *testing.T) {
			f := at(k, 500)
			f.Time = 10 * ms
			w := &wheel{}
			runWith(t, w, 1, f)
			assert.Equal(t, []string{fmt.Sprint(k.String(), f.From, f.From+f.For, f.Time, 0.5, 1)}, w.crank)
			_, _, err := faults.Wrap(&ramp{}, &wheel{refuse: io.ErrClosedPipe}, car(), 1, []faults.Fault{f})
			require.ErrorIs(t, err, io.ErrClosedPipe)
			_, _, err = faults.Wrap(&ramp{}, &spy{}, car(), 1, []faults.Fault{f})
			require.Error(t, err, "a unit without a wheel")
			assert.Contains(t, err.Error(), "crank wheel")
		})
	}
}

// Every kind is tested above, and there are enough of them.
func TestKindsAreNamedOnce(t *testing.T) {
	seen := map[string]bool{}
	for _, k := range faults.Kinds() {
		assert.False(t, seen[k.String()], k.String())
		seen[k.String()] = true
		assert.NotEmpty(t, k.Doc())
	}
	assert.GreaterOrEqual(t, len(seen), 25)
}

func TestFaultsThatCannotBeGiven(t *testing.T) {
	for name, f := range map[string]faults.Fault{
		"no kind":          {},
		"not fitted":       {Kind: faults.Off, Channel: controller.Lambda},
		"other not fitted": {Kind: faults.Swapped, Channel: controller.Throttle, Other: controller.Lambda},
		"switch":           {Kind: faults.SwitchOn, Switch: controller.Arm},
		"no such channel":  {Kind: faults.Off, Channel: 99},
		"no such switch":   {Kind: faults.SwitchOn, Switch: 99},
		"no amount":        {Kind: faults.Noisy},
		"no time":          {Kind: faults.Delayed},
		"dip of another":   {Kind: faults.SupplyDip, Channel: controller.Throttle, Amount: 8000},
		"negative time":    {Kind: faults.Off, From: -1},
		"half a tick":      {Kind: faults.SkippedTicks, Amount: 500},
		"clock of nothing": {Kind: faults.ClockFast, Amount: 60000},
	} {
		t.Run(name, func(t *testing.T) {
			_, _, err := faults.Wrap(&ramp{}, &spy{}, car(), 1, []faults.Fault{f})
			assert.Error(t, err)
		})
	}
}

// The same seed gives the same run; another one does not.
func TestSeeded(t *testing.T) {
	given := func(seed uint64) []harness.Frame {
		s := &spy{}
		runWith(t, s, seed, faults.Fault{Kind: faults.Noisy, Amount: 100_000}, faults.Fault{Kind: faults.Spikes, Channel: controller.Throttle, Amount: 10_000, Time: 5000})
		return s.given
	}
	assert.Equal(t, given(3), given(3))
	assert.NotEqual(t, given(3), given(4))
}

func TestWithoutFaultsNothingIsWrapped(t *testing.T) {
	r, u := &ramp{}, &spy{}
	stim, unit, err := faults.Wrap(r, u, car(), 1, nil)
	require.NoError(t, err)
	assert.Same(t, r, stim)
	assert.Same(t, u, unit)
}

func TestFileFields(t *testing.T) {
	type scenario struct{ Faults []faults.Fault }
	kind := files.Kind[scenario]{Name: "test", Format: "holdline-test-1", Fields: func(b *files.Block, v *scenario) {
		files.Tables(b, files.Slice(&v.Faults), "fault", faults.Fields, files.Len(0, 20))
	}}
	require.NoError(t, kind.Verify())
	v, _, findings := kind.Decode("x.toml", []byte(`format = "holdline-test-1"
[[fault]]
kind = "noisy"
channel = "throttle"
at_s = 1.5
for_s = 0.25
amount = 2.5
[[fault]]
kind = "switch-bounce"
switch = "trans-brake"
time_s = 0.02
`))
	require.NoError(t, findings.Err())
	assert.Equal(t, []faults.Fault{
		{Kind: faults.Noisy, Channel: controller.Throttle, From: 1_500_000, For: 250_000, Amount: 2500},
		{Kind: faults.SwitchBounce, Switch: controller.TransBrake, Time: 20_000},
	}, v.Faults)
	_, _, findings = kind.Decode("x.toml", []byte("format = \"holdline-test-1\"\n[[fault]]\nkind = \"nosy\"\n"))
	assert.ErrorContains(t, findings.Err(), "noisy")
}
