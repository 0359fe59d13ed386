package controller

import (
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// stateFuzz drives a whole controller through its public calls and judges what
// holds for every calibration that seals. It knows inputs, answers and outputs.
type stateFuzz struct {
	t       require.TestingT
	cal     *Calibration
	s       State
	in      Input
	out     Output
	offSeen bool
	cycle   [MaxCylinders]Cycle
	tamper  func(*Output)
	spoil   func(*SparkDecision)
	pairs   int
	open    int
	cuts    int
}

// fuzzedCar is a calibration from a seed: one of ours, changed at random, that
// seals; nil where it does not.
func fuzzedCar(seed byte) *Calibration {
	r := rand.New(rand.NewPCG(uint64(seed), 91))
	var c Calibration
	switch seed % 4 {
	case 0:
		c = variant(r)
	case 1:
		c = twinCar(r)
	case 2:
		c = clutchCar()
		c.Engine.Fuel = FuelSystem(r.IntN(3))
		c.Engine.RateCheck = seed%8 == 2
	default:
		c = testCar()
		c.Period = 10 * Millisecond
		c.Standing.Qualify, c.Standing.MixtureWait, c.Sequence.Earn = 20*Millisecond, 30*Millisecond, 50*Millisecond
		for i := range 2 {
			sh := &c.Shots[i]
			sh.ReArm, sh.Longest, sh.Delay, sh.QuietFor = 50*Millisecond, 200*Millisecond, 0, 20*Millisecond
			sh.OncePerHold, sh.Feedback = r.IntN(2) == 0, i == 0
		}
		c.Switches = c.Switches.With(Feedback1, true)
	}
	var p Problems
	if !c.Seal(&p) {
		return nil
	}
	return &c
}

func (f *stateFuzz) reset() {
	require.NoError(f.t, f.s.Reset(f.cal))
	f.offSeen, f.out = false, Output{}
}

func (f *stateFuzz) tick() {
	f.s.Tick(f.cal, &f.in, &f.out)
	if f.tamper != nil {
		f.tamper(&f.out)
	}
	f.stages()
	f.power()
	f.cuts += int(b2i(f.out.Demand > 0))
}

// stages judges C1 and C7.
func (f *stateFuzz) stages() {
	o, lowest := &f.out, maxSpeed
	require.NotZero(f.t, o.Active>>f.cal.main&1, "C1: main removed")
	main := f.cal.Stages[f.cal.main].Ceiling
	if main.Table == 0 {
		require.Equal(f.t, Speed(main.Const), o.StageCeiling[f.cal.main], "C1: main moved")
	}
	require.LessOrEqual(f.t, o.StageCeiling[f.cal.main], Speed(main.Const), "C1: main raised")
	for i := range f.cal.Stages {
		if o.Active>>i&1 != 0 {
			lowest = min(lowest, o.StageCeiling[i])
		} else if f.cal.Stages[i].Kind != NoStage {
			require.NotEmpty(f.t, o.StageInhibits[i].Name(), "C7: stage %d", i)
		}
	}
	require.Equal(f.t, lowest, o.Ceiling, "C1: the lowest")
	require.Equal(f.t, o.Demand > 0, o.Medium != NoMedium, "C7: demand and medium")
	require.True(f.t, o.Demand >= 0 && o.Demand <= FullDemand)
	if o.Speed == SpeedGood && f.in.Channels[EngineSpeed].Value >= int32(main.Const) {
		require.Equal(f.t, FullDemand, o.Demand, "C1: main cuts")
	}
}

// power judges what of A1 to A9 every shot keeps.
func (f *stateFuzz) power() {
	o, retard := &f.out, Angle(0)
	known, on := f.in.Known.Has(Arm) && f.cal.Switches.Has(Arm), f.in.On.Has(Arm)
	f.offSeen = (f.offSeen || known && !on) && known
	if o.Faults != 0 && on {
		f.offSeen = false
	}
	if o.Master {
		require.True(f.t, known && on && f.offSeen && o.Faults == 0, "A1: master")
	}
	for i := range f.cal.Shots {
		sh, x := &f.cal.Shots[i], &o.Shots[i]
		retard += x.Retard
		if x.Duty == 0 {
			continue
		}
		f.open++
		require.Equal(f.t, ShotOpen, x.Phase, "A7")
		require.True(f.t, o.Master, "A1: open with the master shut")
		require.Zero(f.t, x.Inhibits&^shotOpeningOnly, "A3")
		require.GreaterOrEqual(f.t, f.in.Channels[Throttle].Value, int32(sh.ThrottleMin), "A9")
		require.True(f.t, x.Retard > 0 || sh.Retard == 0, "A4")
		require.True(f.t, sh.Wet && x.FuelDuty >= x.Duty || !sh.Wet && x.Enrich > One, "A8")
	}
	if retard > 0 {
		require.LessOrEqual(f.t, o.Timing, max(o.Base-retard, LatestTiming), "A4: timing")
	}
}

// pair asks for a new cycle of one cylinder, with ticks between its commits.
func (f *stateFuzz) pair(cyl uint8, between int) {
	at := (cyl - 1) % MaxCylinders
	f.cycle[at]++
	n := f.cycle[at]
	medium, demand, _ := f.s.inForce(f.cal)
	fuel := f.s.FuelCommit(f.cal, cyl, n)
	require.Equal(f.t, fuel, f.s.FuelCommit(f.cal, cyl, n), "asked twice")
	f.in.Periods = 1 // a stopped engine forgets its cycles
	for range between {
		f.tick()
	}
	spark := f.s.SparkCommit(f.cal, cyl, n)
	if f.spoil != nil {
		f.spoil(&spark)
	} else {
		require.Equal(f.t, spark, f.s.SparkCommit(f.cal, cyl, n), "asked twice")
	}
	if cyl == 0 || cyl > f.cal.Engine.Cylinders {
		require.Equal(f.t, SparkDecision{}, spark, "no such cylinder")
		return
	}
	require.True(f.t, fuel.Give || fuel.Why == WhyCut || fuel.Why == WhySpeedUnknown, "C7: fuel %v", fuel.Why)
	require.True(f.t, spark.Fire || spark.Why == WhyCut || spark.Why == WhyPaired || spark.Why == WhySpeedUnknown || spark.Why == WhyOverrun, "C7: spark %v", spark.Why)
	if medium == Both && demand > 0 && spark.Why != WhyOverrun {
		f.pairs++
		require.Equal(f.t, fuel.Give, spark.Fire, "C5")
	}
}

// run reads calls from bytes until they run out.
func (f *stateFuzz) run(data []byte) {
	f.in = calm()
	f.reset()
	src := stream{data}
	for len(src.data) > 0 {
		b := src.next()
		switch b & 7 {
		case 0, 1:
			shake(&f.in, &src)
		case 2:
			f.pair(b>>3&15, int(src.next()&3)) // 0 and 13 to 15 name no cylinder
		case 3:
			f.s.SparkCommit(f.cal, b>>3&15, Cycle(src.next()))
		case 4:
			if b>>3 == 0 {
				f.reset()
			} else {
				f.s.LostSync()
			}
		default:
			f.in.Periods = 1
			if b == 255 {
				f.in.Periods = uint16(src.next()) * 7
			}
			for range b>>3&15 + 1 {
				f.tick()
			}
		}
	}
}

func stateFuzzSeeds() [][]byte {
	held := []byte{1, 0x00, 0x7d, 0, 0x10, 0x7d, 0, 0x0f, 0x7d, 0x7d, 0x0a, 1, 0x7d, 0, 0xf3, 0x7d, 0x0a, 1, 0x12, 0}
	over := []byte{0, 0x04, 240, 0x7d, 0x0a, 0, 0x12, 1, 0, 0x04, 90, 0x7d, 0x0a, 2, 4, 0x0a, 1, 0x0c, 0x12, 0}
	return [][]byte{append([]byte{3}, held...), append([]byte{0}, over...), append([]byte{1}, over...), append([]byte{2}, held...)}
}

// C1, C5, C7, A1, A3, A4, A7, A8 and A9 for any calls in any order, under any of a
// family of calibrations.
func FuzzState(f *testing.F) {
	for _, seed := range stateFuzzSeeds() {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		if len(data) == 0 {
			return
		}
		if cal := fuzzedCar(data[0]); cal != nil {
			(&stateFuzz{t: t, cal: cal}).run(data[1:])
		}
	})
}

// randomCalls begins with a seed and goes on at random, mostly with ticks and
// commits.
func randomCalls(r *rand.Rand) []byte {
	data := append([]byte{}, stateFuzzSeeds()[r.IntN(4)]...)
	data[0] = byte(r.IntN(256))
	for range 80 {
		switch r.IntN(5) {
		case 0:
			data = append(data, 0, 0x0f, 0, 0x04, byte(80+r.IntN(160)))
		case 1:
			data = append(data, byte(r.IntN(13)<<3|2), byte(r.IntN(4)))
		case 2:
			data = append(data, byte(r.IntN(16)<<3|5))
		default:
			data = append(data, byte(r.IntN(256)), byte(r.IntN(256)))
		}
	}
	return data
}

func TestRandomCallsKeepTheInvariants(t *testing.T) {
	runs, pairs, open, cuts := 1500, 0, 0, 0
	if long() {
		runs *= 100
	}
	for seed := range runs {
		data := randomCalls(rand.New(rand.NewPCG(uint64(seed), 17)))
		if cal := fuzzedCar(data[0]); cal != nil {
			f := stateFuzz{t: t, cal: cal}
			f.run(data[1:])
			pairs, open, cuts = pairs+f.pairs, open+f.open, cuts+f.cuts
		}
	}
	t.Logf("%d runs: %d pairs under a cut of both, %d ticks with a cut, %d with a shot open", runs, pairs, cuts, open)
	for _, n := range []int{pairs, open, cuts} {
		assert.Greater(t, n, 100)
	}
}

func TestStateFuzzFindsPlantedFaults(t *testing.T) {
	for _, x := range []struct {
		what   string
		tamper func(*Output)
		spoil  func(*SparkDecision)
	}{
		{"C1 the ceiling is higher", func(o *Output) { o.Ceiling++ }, nil},
		{"C1 main is removed", func(o *Output) { o.Active = 0 }, nil},
		{"C5 spark always fires", nil, func(d *SparkDecision) { d.Fire, d.Why = true, WhyGiven }},
		{"C7 no reason", nil, func(d *SparkDecision) {
			if !d.Fire {
				d.Why = WhyGiven
			}
		}},
		{"C7 a stage without a reason", func(o *Output) { o.StageInhibits = [MaxStages]StageInhibits{} }, nil},
		{"A1 master always", func(o *Output) { o.Master = true }, nil},
		{"A4 timing at base", func(o *Output) { o.Timing = o.Base }, nil},
		{"A8 no enrichment", func(o *Output) { o.Shots[0].Enrich = One }, nil},
	} {
		found := false
		for seed := uint64(0); seed < 400 && !found; seed++ {
			found = stateFuzzFinds(randomCalls(rand.New(rand.NewPCG(seed, 17))), x.tamper, x.spoil)
		}
		assert.True(t, found, x.what)
	}
}

func stateFuzzFinds(data []byte, tamper func(*Output), spoil func(*SparkDecision)) (found bool) {
	cal := fuzzedCar(data[0])
	if cal == nil {
		return false
	}
	r := &recorder{}
	defer func() {
		if x := recover(); x != nil && x != any(r) {
			panic(x)
		}
		found = r.failed
	}()
	(&stateFuzz{t: r, cal: cal, tamper: tamper, spoil: spoil}).run(data[1:])
	return r.failed
}
