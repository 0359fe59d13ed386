package harness_test

import (
	"context"
	"crypto/sha256"
	"encoding/binary"
	"errors"
	"io"
	"math"
	"math/rand/v2"
	"sync"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/holdline/holdline/controller"
	"github.com/holdline/holdline/examples/demo"
	"github.com/holdline/holdline/harness"
	"github.com/holdline/holdline/harness/files"
	"github.com/holdline/holdline/sim"
)

// bench is one closed-loop launch in a test, with a demo car.
type bench struct {
	car    sim.Car
	cal    controller.Calibration
	cond   sim.Conditions
	script string
	until  float64
	most   uint32
	target harness.Target
	shift  controller.Speed
	crank  harness.CrankDecoder
}

func clutchBench() bench {
	return bench{
		car: sim.TurboFour(), cal: demo.TurboFour(), cond: sim.Standard(), script: demo.ClutchLaunch,
		until: 25, most: 12000, target: harness.Target{Pressure: 170 * controller.Kilopascal}, shift: 7000 * controller.RPM,
	}
}

func brakeBench() bench {
	return bench{
		car: sim.TurboEight(), cal: demo.TurboEight(), cond: sim.Standard(), script: demo.BrakeLaunch,
		until: 25, most: 12000, target: harness.Target{Speed: 3600 * controller.RPM}, shift: 6300 * controller.RPM,
	}
}

func plainBench() bench {
	return bench{
		car: sim.PlainEight(), cal: demo.PlainEight(), cond: sim.Standard(), script: demo.ClutchLaunch,
		until: 25, most: 12000, target: harness.Target{Speed: 4200 * controller.RPM}, shift: 6600 * controller.RPM,
	}
}

func (b bench) plant(t testing.TB) (*harness.Plant, *controller.Calibration) {
	cal := b.cal
	var p controller.Problems
	require.True(t, cal.Seal(&p), "%+v", p.List[:p.N])
	script, findings := files.ParseScript("", b.script, files.DriverWords())
	require.NoError(t, findings.Err())
	driver := files.NewScriptDriver(script, rand.New(rand.NewPCG(b.cond.Seed, 1)), files.ShiftsOf(&b.car, b.shift))
	model, bad := sim.Compile(b.car)
	require.Empty(t, bad)
	plant, err := harness.NewPlant(model, b.cond, &cal, harness.PlantOptions{Driver: driver, Until: b.until, Ticks: b.most, Crank: b.crank})
	require.NoError(t, err)
	return plant, &cal
}

// run launches with the reference controller.
func (b bench) run(t testing.TB, sinks ...harness.Sink) harness.LaunchResult {
	plant, cal := b.plant(t)
	return drive(t, plant, cal, b.target, sinks...)
}

func drive(t testing.TB, plant *harness.Plant, cal *controller.Calibration, target harness.Target, sinks ...harness.Sink) harness.LaunchResult {
	digest := harness.NewLaunchDigest(plant, target)
	_, err := harness.Run(context.Background(), plant, &harness.Reference{}, harness.Session{Calibration: cal}, append(sinks, digest)...)
	require.NoError(t, err)
	return digest.Result()
}

// fingerprint runs a bench and hashes everything that it leaves.
func (b bench) fingerprint(t testing.TB) [32]byte {
	plant, cal := b.plant(t)
	trace, truth := harness.NewTrace(cal), harness.NewTruthTrace(plant, 6000)
	drive(t, plant, cal, b.target, trace, truth)
	h := sha256.New()
	put := func(x any) { require.NoError(t, binary.Write(h, binary.LittleEndian, x)) }
	for i := range trace.Columns {
		put(trace.Columns[i].Data)
	}
	for _, e := range trace.Events {
		put([]int32{int32(e.Tick), e.Angle, int32(e.Cylinder), int32(e.Cycle), int32(e.Kind), int32(e.Timing), int32(e.Mixture)})
		put([]bool{e.Give, e.Unburnt, e.Drop})
	}
	for _, c := range truth.Columns {
		put(c)
	}
	return [32]byte(h.Sum(nil))
}

func TestSameSeedSameBytes(t *testing.T) {
	for _, b := range []bench{clutchBench(), brakeBench(), plainBench()} {
		first := b.fingerprint(t)
		t.Logf("%s: %x", b.car.Name, first) // the same on every processor: compare the logs
		assert.Equal(t, first, b.fingerprint(t), b.car.Name)
		b.cond.Seed++
		assert.NotEqual(t, first, b.fingerprint(t), "another seed must show")
	}
}

func TestParallelRunsDoNotDisturbEachOther(t *testing.T) {
	benches := []bench{clutchBench(), brakeBench(), plainBench(), clutchBench()}
	want := make([][32]byte, len(benches))
	for i, b := range benches {
		want[i] = b.fingerprint(t)
	}
	got := make([][32]byte, len(benches))
	var wg sync.WaitGroup
	for i, b := range benches {
		wg.Go(func() { got[i] = b.fingerprint(t) })
	}
	wg.Wait()
	assert.Equal(t, want, got)
}

// commitCheck is a sink that holds every commit and every engine cycle against
// the geometry of the engine and against what was decided.
type commitCheck struct {
	t        *testing.T
	plant    *harness.Plant
	car      sim.Car
	last     map[[2]int]int // cylinder, kind -> cycle
	asked    map[[3]int]harness.Event
	events   []sim.Event
	cycles   int
	cutFuel  int
	cutSpark int
	only     int // frames with EventsOnly
}

func newCommitCheck(t *testing.T, plant *harness.Plant, car sim.Car) *commitCheck {
	return &commitCheck{t: t, plant: plant, car: car, last: map[[2]int]int{}, asked: map[[3]int]harness.Event{}}
}

func (c *commitCheck) Record(f *harness.Frame) error {
	if f.EventsOnly {
		c.only++
		assert.Equal(c.t, 1, f.N)
	}
	for i := range f.Events[:f.N] {
		c.commit(&f.Events[i])
		if i > 0 { // in angle order: the way from one to the next is short
			step := (f.Events[i].Angle - f.Events[i-1].Angle + 72000) % 72000
			assert.Less(c.t, step, int32(36000))
		}
	}
	c.events = c.plant.Sim().Events(c.events[:0])
	for _, e := range c.events {
		c.outcome(e)
	}
	return nil
}

// commit: once, in its turn, at its angle.
func (c *commitCheck) commit(e *harness.Event) {
	key := [2]int{int(e.Cylinder), int(e.Kind)}
	if last, seen := c.last[key]; seen {
		require.Equal(c.t, (last+1)%256, int(e.Cycle), "cylinder %d, %s", e.Cylinder, e.Kind)
	}
	c.last[key] = int(e.Cycle)
	place := -1
	for i, n := range c.car.Engine.Order {
		if n == int(e.Cylinder) {
			place = i
		}
	}
	require.GreaterOrEqual(c.t, place, 0)
	before := 516 // common practice of the demo cars: see harness.DefaultCommitAngles
	if e.Kind == harness.SparkCommit {
		before = 96
	}
	angle := (place*720/len(c.car.Engine.Order) - before + 1440) % 720
	require.EqualValues(c.t, angle*100, e.Angle)
	c.asked[[3]int{int(e.Cylinder), int(e.Cycle), int(e.Kind)}] = *e
}

// outcome: what became of a cycle of a cylinder is what was decided for it.
func (c *commitCheck) outcome(e sim.Event) {
	fuel, okF := c.asked[[3]int{e.Cylinder, int(e.Cycle), int(harness.FuelCommit)}]
	spark, okS := c.asked[[3]int{e.Cylinder, int(e.Cycle), int(harness.SparkCommit)}]
	if !okF || !okS {
		return // of the first turn: its commits lay before the start
	}
	c.cycles++
	require.Equal(c.t, fuel.Give, e.Fuel, "cylinder %d, cycle %d", e.Cylinder, e.Cycle)
	require.Equal(c.t, spark.Give, e.Spark, "cylinder %d, cycle %d", e.Cylinder, e.Cycle)
	if e.Spark {
		require.InDelta(c.t, float64(spark.Timing)/100, e.AdvanceDeg, 1e-9)
	}
	c.cutFuel += b2i(!fuel.Give)
	c.cutSpark += b2i(!spark.Give)
	delete(c.asked, [3]int{e.Cylinder, int(e.Cycle), int(harness.FuelCommit)})
	delete(c.asked, [3]int{e.Cylinder, int(e.Cycle), int(harness.SparkCommit)})
}

func b2i(b bool) int {
	if b {
		return 1
	}
	return 0
}

func TestEveryCommitOnceAndInItsPlace(t *testing.T) {
	for _, b := range []bench{clutchBench(), brakeBench(), plainBench()} {
		for _, m := range []controller.Medium{controller.Fuel, controller.Spark, controller.Both} {
			b.cal.Stages[demo.LaunchStage].Cut.Medium = m
			b.until = 0.1 // after that main, which cuts both, may join in
			plant, cal := b.plant(t)
			check := newCommitCheck(t, plant, b.car)
			drive(t, plant, cal, b.target, check)
			assert.Greater(t, check.cycles, 300)
			assert.Equal(t, m&controller.Fuel != 0, check.cutFuel > 0)
			assert.Equal(t, m&controller.Spark != 0, check.cutSpark > 0)
			assert.Equal(t, plant.Unforeseen(), check.only)
			for _, e := range check.asked { // what is left are cycles under way
				assert.NotZero(t, e.Cylinder)
			}
			assert.LessOrEqual(t, len(check.asked), 4*len(b.car.Engine.Order))
		}
	}
}

// An engine that gains speed within a long tick reaches commits that were not
// listed: they come in frames of their own, still once and in order.
func TestUnforeseenCommitsGetTheirOwnFrame(t *testing.T) {
	b := clutchBench()
	b.cal.Period = 10 * controller.Millisecond
	b.car.Engine.InertiaKgM2 = 0.03
	b.script = "clutch 100 % at 0 s; throttle 100 % at 0.02 s"
	b.most = 100
	only := 0
	for b.cond.Seed = range uint64(10) {
		plant, cal := b.plant(t)
		check := newCommitCheck(t, plant, b.car)
		drive(t, plant, cal, b.target, check)
		only += check.only
	}
	assert.Positive(t, only)
}

func TestTickAllocatesNothing(t *testing.T) {
	for _, b := range []bench{clutchBench(), brakeBench()} {
		plant, cal := b.plant(t)
		truth, launch := harness.NewTruthTrace(plant, 20000), harness.NewLaunchDigest(plant, b.target)
		unit := &harness.Reference{}
		_, err := unit.Open(harness.Session{Calibration: cal})
		require.NoError(t, err)
		var f harness.Frame
		step := func() {
			f.N, f.EventsOnly = 0, false
			if err := plant.Next(&f); err != nil {
				require.ErrorIs(t, err, io.EOF)
				return
			}
			_ = unit.Step(&f)
			_ = plant.Apply(&f)
			_ = truth.Record(&f)
			_ = launch.Record(&f)
		}
		assert.Zero(t, testing.AllocsPerRun(3000, step), b.car.Name)
	}
}

func TestTruthTraceHasARowATick(t *testing.T) {
	b := clutchBench()
	b.most = 700
	plant, cal := b.plant(t)
	trace, truth := harness.NewTrace(cal), harness.NewTruthTrace(plant, 10)
	drive(t, plant, cal, b.target, trace, truth)
	assert.Equal(t, 700, truth.Ticks)
	assert.Len(t, truth.Column("speed"), 700)
	assert.InDelta(t, 0.7, truth.Column("time")[699], 1e-9)
	assert.Nil(t, truth.Column("no such channel"))
	// The truth of a tick's end is near the measurement of the next one: within
	// the speed that an engine gains in a firing interval.
	speed := trace.Column("engine-speed")
	for i := 100; i < 699; i++ {
		require.InDelta(t, truth.Column("speed")[i], speed.Units(speed.Data[i+1]), 400)
	}
}

func TestInputsAreInCoreUnits(t *testing.T) {
	b := brakeBench()
	b.most = 300
	plant, cal := b.plant(t)
	trace := harness.NewTrace(cal)
	drive(t, plant, cal, b.target, trace)
	last := func(name string) float64 {
		c := trace.Column(name)
		require.NotNil(t, c, name)
		return c.Units(c.Data[299])
	}
	assert.InDelta(t, 363-273.15, last("coolant-temperature"), 0.1)
	assert.InDelta(t, 5060, last("bottle-pressure"), 60, "saturation at 20 degC, Lemmon and Span 2006")
	assert.InDelta(t, 13.8, last("supply-voltage"), 0.3)
	assert.InDelta(t, 300, last("fuel-pressure"), 1)
	assert.Less(t, last("manifold-pressure"), 101.0)
	assert.Zero(t, last("road-speed"))
	assert.Equal(t, 1.0, last("gear"))
	assert.InDelta(t, 20, last("base-timing"), 20)
}

func TestPlantRefusesAnotherEngine(t *testing.T) {
	cal := demo.PlainEight()
	var p controller.Problems
	require.True(t, cal.Seal(&p))
	_, err := harness.NewPlant(sim.MustCompile(sim.TurboFour()), sim.Standard(), &cal, harness.PlantOptions{})
	require.ErrorContains(t, err, "another engine")
	raw := demo.TurboFour()
	_, err = harness.NewPlant(sim.MustCompile(sim.TurboFour()), sim.Standard(), &raw, harness.PlantOptions{})
	require.ErrorContains(t, err, "not sealed")
}

// breakAt spoils the plant's state, as a diverging run would.
type breakAt struct {
	plant *harness.Plant
	tick  uint32
}

func (b *breakAt) Record(f *harness.Frame) error {
	if f.Tick == b.tick {
		b.plant.Sim().State.V = math.Inf(1)
	}
	return nil
}

func TestDivergedRunSaysWhereAndKeepsItsTrace(t *testing.T) {
	b := clutchBench()
	plant, cal := b.plant(t)
	trace := harness.NewTrace(cal)
	_, err := harness.Run(context.Background(), plant, &harness.Reference{}, harness.Session{Calibration: cal}, trace, &breakAt{plant, 200})
	var stopped *harness.StoppedError
	require.ErrorAs(t, err, &stopped)
	var diverged *harness.DivergedError
	require.ErrorAs(t, err, &diverged)
	assert.NotEmpty(t, diverged.Fault.Parameter)
	assert.Contains(t, err.Error(), diverged.Fault.Parameter)
	assert.Equal(t, 201, trace.Ticks)
	var f harness.Frame
	assert.True(t, errors.As(plant.Next(&f), &diverged), "it does not go on")
}

func TestStalledEngineEndsTheRun(t *testing.T) {
	b := clutchBench()
	b.script = "clutch 0 % at 0 s" // in gear, clutch up, closed throttle, brakes on
	b.script += "; brake 100 % at 0 s"
	b.most = 20000
	r := b.run(t)
	assert.True(t, r.Stalled)
	assert.Equal(t, harness.LimitStall, r.Limit)
}

// agesSeen keeps the oldest sample of each channel.
type agesSeen [controller.NumChannels]uint16

func (a *agesSeen) Record(f *harness.Frame) error {
	for i := range a {
		a[i] = max(a[i], f.In.Channels[i].Age)
	}
	return nil
}

func TestSlowChannelsGrowOld(t *testing.T) {
	b := clutchBench()
	b.most = 600
	var ages agesSeen
	b.run(t, &ages)
	assert.Zero(t, ages[controller.EngineSpeed])
	assert.Zero(t, ages[controller.ManifoldPressure])
	assert.EqualValues(t, 4, ages[controller.RoadSpeedMain])
	assert.EqualValues(t, 9, ages[controller.Lambda])
	assert.EqualValues(t, 99, ages[controller.CoolantTemperature])
}

// BenchmarkLaunch is one closed-loop second: plant, controller, all truth.
func BenchmarkLaunch(b *testing.B) {
	for _, x := range []bench{clutchBench(), brakeBench()} {
		b.Run(x.car.Name, func(b *testing.B) {
			simulated := 0.0
			for b.Loop() {
				plant, cal := x.plant(b)
				truth := harness.NewTruthTrace(plant, 8000)
				drive(b, plant, cal, x.target, truth)
				simulated += float64(truth.Ticks) / 1000
			}
			b.ReportMetric(simulated/b.Elapsed().Seconds(), "x-real-time")
		})
	}
}
