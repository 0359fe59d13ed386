package sim

import (
	"math"
	"reflect"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestDemoCarsAreSound(t *testing.T) {
	for _, car := range DemoCars() {
		assert.Empty(t, car.Validate(), car.Name)
		assert.NotEmpty(t, car.Story)
	}
}

// Every field carries what a generic reader needs.
func TestCarIsMachineReadable(t *testing.T) {
	seen := map[string]bool{}
	var look func(ty reflect.Type, prefix string)
	look = func(ty reflect.Type, prefix string) {
		for i := range ty.NumField() {
			f := ty.Field(i)
			key := prefix + f.Tag.Get("toml")
			assert.NotEqual(t, prefix, key, "%s.%s has no file key", ty.Name(), f.Name)
			assert.False(t, seen[key], "%s twice", key)
			seen[key] = true
			e := f.Type
			if e.Kind() == reflect.Slice {
				assert.NotEmpty(t, f.Tag.Get("len"), key)
				e = e.Elem()
			}
			switch e.Kind() {
			case reflect.Struct:
				look(e, key+".")
			case reflect.Float64, reflect.Int:
				lo, hi := tagNumber(f.Tag, "min"), tagNumber(f.Tag, "max")
				assert.Less(t, lo, hi, key)
				assert.NotEmpty(t, f.Tag.Get("unit"), key)
			}
		}
	}
	look(reflect.TypeOf(Car{}), "")
	assert.Greater(t, len(seen), 120)
}

func TestImpossibleCarIsRefusedWithEveryFinding(t *testing.T) {
	car := TurboEight()
	car.Engine.InertiaKgM2 = -0.2
	car.Launch.TR[5] = 1.4
	car.Gearbox.Ratios = nil
	car.Engine.Order = []int{1, 8, 4, 3, 6, 5, 7, 7}
	car.Body.Drive = "sideways"
	car.Sensing.Teeth = 58
	car.Tyre.Mu0 = math.NaN()
	m, f := Compile(car)
	assert.Nil(t, m)
	var all []string
	for _, x := range f {
		all = append(all, x.String())
		assert.NotEmpty(t, x.Allowed, x.Field)
	}
	text := strings.Join(all, "\n")
	for _, key := range []string{"engine.inertia_kgm2", "launch.torque_ratio[5]", "112 %", "gearbox.ratios",
		"engine.firing_order", "body.drive", "sensing.teeth", "tyre.mu"} {
		assert.Contains(t, text, key)
	}
	assert.Len(t, f, 7)
}

// Each numeric field alone, just outside its range, gives exactly its finding.
func TestEveryRangeIsChecked(t *testing.T) {
	car := TurboEight()
	v := reflect.ValueOf(&car).Elem()
	for i := range v.NumField() {
		part := v.Field(i)
		if part.Kind() != reflect.Struct {
			continue
		}
		for j := range part.NumField() {
			f, tag := part.Field(j), part.Type().Field(j).Tag
			if f.Kind() != reflect.Float64 {
				continue
			}
			old := f.Float()
			for _, x := range []float64{math.Nextafter(tagNumber(tag, "max"), math.Inf(1)), math.NaN(), math.Inf(1)} {
				f.SetFloat(x)
				key := v.Type().Field(i).Tag.Get("toml") + "." + tag.Get("toml")
				found := false
				for _, g := range car.Validate() {
					found = found || g.Field == key
				}
				assert.True(t, found, "%s = %v", key, x)
			}
			f.SetFloat(old)
		}
	}
}

// Every commit is listed once, in order, with the id that both commits of an
// engine cycle share, and reaches the cylinder and cycle it was decided for.
func TestCommitsAreListedOnceInOrder(t *testing.T) {
	for _, car := range DemoCars() {
		p := New(MustCompile(car), quiet(3000))
		in := Actuators{Throttle: 0.4, Gear: 1}
		type key struct {
			cyl  int
			kind Kind
		}
		next := map[key]int{}
		var buf []Commit
		for range 3000 {
			last := -1.0
			buf = p.Upcoming(buf[:0], p.cond.TickS)
			for _, c := range buf {
				assert.GreaterOrEqual(t, c.AheadDeg, last)
				last = c.AheadDeg
				k := key{c.Cylinder, c.Kind}
				if want, ok := next[k]; ok {
					require.Equal(t, uint8(want), c.Cycle, "%v", k)
				}
				next[k] = int(c.Cycle) + 1
				require.True(t, p.Decide(c.Cylinder, c.Cycle, c.Kind, true, 20))
				require.False(t, p.Decide(c.Cylinder, c.Cycle+1, c.Kind, true, 20), "not the next one")
			}
			require.Equal(t, TickEnd, p.Advance(&in).Why, "nothing was unforeseen")
		}
		assert.False(t, p.Decide(99, 0, FuelCommit, true, 0))
	}
}

// Withholding fuel of one cylinder and cycle silences that cycle and no other.
func TestDecisionLandsOnItsCycle(t *testing.T) {
	for _, kind := range []Kind{FuelCommit, SparkCommit} {
		car := TurboFour()
		car.Fuel.FilmShare = 0
		p := New(dyno(car), quiet(3000))
		in := Actuators{Throttle: 0.5}
		var buf []Commit
		var got []Event
		target := uint8(20)
		for range 1200 {
			buf = p.Upcoming(buf[:0], p.cond.TickS)
			for _, c := range buf {
				give := !(c.Kind == kind && c.Cylinder == 3 && c.Cycle == target)
				p.Decide(c.Cylinder, c.Cycle, c.Kind, give, 15)
			}
			p.Advance(&in)
			got = p.Events(got)
		}
		silent := 0
		for _, e := range got {
			if e.Cycle < 2 {
				continue
			}
			if !e.Fired {
				silent++
				assert.Equal(t, 3, e.Cylinder)
				assert.Equal(t, target, e.Cycle)
				assert.Equal(t, kind == SparkCommit, e.Fuel)
			}
		}
		assert.Equal(t, 1, silent, kind.String())
	}
}

// An undecided commit stops the tick; deciding lets the same tick go on.
func TestUndecidedCommitStops(t *testing.T) {
	p := New(MustCompile(TurboFour()), quiet(3000))
	in := Actuators{Throttle: 1}
	st := p.Advance(&in)
	for st.Why == TickEnd {
		st = p.Advance(&in)
	}
	require.Equal(t, NeedDecision, st.Why)
	tick := p.State.Tick
	again := p.Advance(&in)
	assert.Equal(t, st, again, "still waiting, nothing moved")
	require.True(t, p.Decide(st.Commit.Cylinder, st.Commit.Cycle, st.Commit.Kind, true, 10))
	for p.Advance(&in).Why == NeedDecision {
		c := p.State.waitFor
		require.True(t, p.Decide(c.Cylinder, c.Cycle, c.Kind, true, 10))
	}
	assert.Equal(t, tick+1, p.State.Tick)
}

func TestTimeDoesNotDrift(t *testing.T) {
	r := newRig(New(MustCompile(PlainEight()), quiet(2000)))
	r.in.Throttle = 0.3
	r.lim.ceiling, r.lim.spark = 5000, true
	for n := range 5000 {
		assert.Equal(t, float64(n)*1e-3, r.p.Time())
		r.tick()
	}
}

// 58 teeth and a gap of two a turn, in the right place at steady speed; the cam
// once per two turns.
func TestToothWheel(t *testing.T) {
	r := newRig(New(dyno(TurboFour()), quiet(3000)))
	var teeth []Tooth
	for range 2000 {
		r.tick()
		teeth = r.p.Teeth(teeth)
	}
	crank, cam, gaps := 0, 0, 0
	last := int64(-1)
	for _, e := range teeth {
		if e.Cam {
			cam++
			continue
		}
		crank++
		if last >= 0 {
			switch d := e.TimeNs - last; {
			case d > 900_000:
				gaps++
				assert.InDelta(t, 1_000_000, d, 2000, "three pitches at 3000 rpm are 1 ms")
			default:
				assert.InDelta(t, 333_333, d, 2000)
			}
		}
		last = e.TimeNs
	}
	assert.InDelta(t, 58*100, crank, 2)
	assert.InDelta(t, 100, gaps, 1)
	assert.InDelta(t, 50, cam, 1)
}

func TestToothFaults(t *testing.T) {
	c := quiet(3000)
	c.LoseTooth, c.ExtraTooth = 0.1, 0.05
	r := newRig(New(dyno(TurboFour()), c))
	n, fake := 0, 0
	var buf []Tooth
	for range 2000 {
		r.tick()
		buf = r.p.Teeth(buf[:0])
		for _, e := range buf {
			if e.False {
				fake++
			} else if !e.Cam {
				n++
			}
		}
	}
	assert.InDelta(t, 0.9*5800, n, 120)
	assert.InDelta(t, 0.05*5800, fake, 80)
}

// A run that leaves the range of the equations says when, what and why, and
// stays where it is.
func TestDivergenceStops(t *testing.T) {
	m := MustCompile(TurboFour())
	r := newRig(New(m, quiet(3000)))
	r.in.Throttle = 1
	r.run(0.2)
	r.p.model.car.Tyre.RelaxM = 0.25
	r.p.State.Twist = 1e9 // a shaft that no car has
	for r.tick() {
		require.Less(t, r.p.Time(), 1.0)
	}
	f := r.p.Fault()
	assert.True(t, f.Bad())
	assert.NotEmpty(t, f.Parameter)
	assert.InDelta(t, 0.2, f.Time, 0.01)
	t.Logf("%+v", f)
	before := r.p.State
	assert.Equal(t, Diverged, r.p.Advance(&r.in).Why)
	assert.Equal(t, before.X, r.p.State.X)
}

// Nonsense on any input neither panics nor makes a number that is not one.
func FuzzCommands(f *testing.F) {
	f.Add(0.5, 1.0, 0.3, 150e3, 1.0, 1, 0.5, 15.0)
	f.Add(math.NaN(), math.Inf(1), -1.0, math.Inf(-1), math.NaN(), -5, 1e300, math.NaN())
	f.Add(1.0, 0.0, 0.0, 0.0, 1e9, 99, -3.0, -1e18)
	m := MustCompile(TurboEight())
	f.Fuzz(func(t *testing.T, throttle, clutch, brake, boost, mix float64, gear int, duty, adv float64) {
		c := Standard()
		c.AmbientPa, c.Grip, c.StartRPM = boost, mix, float64(100*throttle)+2000
		p := New(m, c)
		in := Actuators{Throttle: throttle, Clutch: clutch, FootBrake: brake, BoostPa: boost, Mixture: mix, Gear: gear, TransBrake: gear&1 == 0}
		in.NitrousDuty[0], in.NitrousFuel[1] = duty, duty
		var buf []Commit
		for range 60 {
			buf = p.Upcoming(buf[:0], mix)
			for _, q := range buf {
				p.Decide(q.Cylinder, q.Cycle, q.Kind, q.Cycle&1 == 0, adv)
			}
			for p.Advance(&in).Why == NeedDecision {
				q := p.State.waitFor
				p.Decide(q.Cylinder, q.Cycle, q.Kind, true, adv)
			}
		}
		row := make([]float64, ChannelCount)
		p.Truth(row)
		for i, x := range row {
			if math.IsNaN(x) && !p.Fault().Bad() {
				t.Fatalf("%s is not a number", channels[i].Name)
			}
		}
	})
}

func TestTruthHasEveryChannel(t *testing.T) {
	p := New(MustCompile(TurboFour()), Standard())
	row := make([]float64, 0, ChannelCount)
	n := p.truthEngine(row[:cap(row)])
	n += p.truthAir(row[:cap(row)])
	n += p.truthCar(row[:cap(row)])
	assert.Equal(t, ChannelCount, n)
	seen := map[string]bool{}
	for _, c := range Channels() {
		assert.False(t, seen[c.Name], c.Name)
		assert.NotEmpty(t, c.Unit)
		seen[c.Name] = true
	}
}

func TestNothingAllocates(t *testing.T) {
	p := New(MustCompile(TurboEight()), Standard())
	r := newRig(p)
	r.in.Throttle, r.in.TransBrake = 1, true
	r.in.NitrousDuty[0], r.in.NitrousFuel[0] = 0.5, 0.5
	r.lim = limiter{ceiling: 3000, spark: true, pattern: true, rpm: 1500}
	r.run(0.5)
	row := make([]float64, ChannelCount)
	teeth := make([]Tooth, 0, 64)
	p.TeethStop = true
	n := testing.AllocsPerRun(200, func() {
		r.tick()
		p.Truth(row)
		teeth = p.Teeth(teeth[:0])
	})
	assert.Zero(t, n)
	assert.Zero(t, testing.AllocsPerRun(10, func() { p.Reset(Standard()) }))
}

// One operation is one second of simulated time, so ns/op below 4e6 is more
// than 250 times real time. Every truth channel is read at every tooth.
func benchmarkRun(b *testing.B, car Car) {
	row := make([]float64, ChannelCount)
	p := New(MustCompile(car), Standard())
	r := newRig(p)
	b.ReportAllocs()
	simulated := 0.0
	for range b.N {
		if simulated == 0 || p.Time() > 8 {
			p.Reset(Standard())
			*r = rig{p: p, buf: r.buf, ev: r.ev}
			r.in.Gear = 1
			r.in.Throttle, r.in.TransBrake = 1, true
			r.lim = limiter{ceiling: 5000, spark: true, pattern: true, rpm: 1500}
			p.TeethStop = true
		}
		for range 1000 {
			r.tickTeeth(row)
		}
		if p.Time() > 3 {
			r.in.TransBrake, r.in.Clutch = false, 1
			r.lim.ceiling = 7000
			r.shiftUp(6500)
		}
		simulated++
	}
	b.ReportMetric(simulated/b.Elapsed().Seconds(), "x-real-time")
}

// tickTeeth is tick with the truth read at every tooth.
func (r *rig) tickTeeth(row []float64) {
	r.segment()
	r.buf = r.p.Upcoming(r.buf[:0], r.p.cond.TickS)
	for _, c := range r.buf {
		r.decide(c)
	}
	for {
		st := r.p.Advance(&r.in)
		r.p.Truth(row)
		if st.Why == NeedDecision {
			r.decide(st.Commit)
		} else if st.Why != ToothEdge {
			return
		}
	}
}

func BenchmarkTurboFour(b *testing.B)  { benchmarkRun(b, TurboFour()) }
func BenchmarkTurboEight(b *testing.B) { benchmarkRun(b, TurboEight()) }
func BenchmarkPlainEight(b *testing.B) { benchmarkRun(b, PlainEight()) }

// With the plate shut and the brake on, every demo car idles, in neutral and in
// gear, at a speed that a driver would accept (common practice).
func TestDemoCarsIdle(t *testing.T) {
	for _, car := range DemoCars() {
		for _, gear := range []int{0, 1} {
			c := quiet(1200)
			c.Gear = gear
			r := newRig(New(MustCompile(car), c))
			r.in.Gear, r.in.FootBrake = gear, 1
			r.run(6)
			t.Logf("%s, gear %d: %.0f rpm", car.Name, gear, r.p.RPM())
			assert.False(t, r.p.State.Stalled, car.Name)
			assert.True(t, r.p.RPM() > 700 && r.p.RPM() < 1600, "%s %v", car.Name, r.p.RPM())
		}
	}
}

// Cars drawn from the whole allowed range run, or stop with a fault; they never
// panic and never go on with a number that is not one.
func TestAnyValidCarRunsOrStops(t *testing.T) {
	ran, stopped := 0, 0
	row := make([]float64, ChannelCount)
	for seed := range uint64(150) {
		car := DemoCars()[seed%3]
		n := uint64(0)
		v := reflect.ValueOf(&car).Elem()
		for i := range v.NumField() {
			part := v.Field(i)
			if part.Kind() != reflect.Struct {
				continue
			}
			for j := range part.NumField() {
				f, tag := part.Field(j), part.Type().Field(j).Tag
				n++
				if f.Kind() != reflect.Float64 || tag.Get("step") != "" || uniform(seed, 90, n) > 0.15 {
					continue
				}
				lo, hi := tagNumber(tag, "min"), tagNumber(tag, "max")
				f.SetFloat(lo + float64(uniform(seed, 91, n)*(hi-lo)))
			}
		}
		m, bad := Compile(car)
		if len(bad) > 0 {
			continue
		}
		r := newRig(New(m, Standard()))
		r.in.Throttle, r.in.TransBrake = 1, true
		r.in.NitrousDuty[0], r.in.NitrousFuel[0] = 1, 1
		r.lim = limiter{ceiling: 5000, spark: true, rpm: 1500}
		ok := r.run(0.4)
		r.in.TransBrake, r.in.Clutch = false, 0.7
		ok = ok && r.run(0.6)
		r.p.Truth(row)
		if !ok {
			require.True(t, r.p.Fault().Bad())
			stopped++
			continue
		}
		ran++
		for i, x := range row {
			require.False(t, math.IsNaN(x), "seed %d: %s", seed, channels[i].Name)
		}
	}
	t.Logf("%d ran, %d stopped with a fault", ran, stopped)
	assert.Greater(t, ran, 60)
}
