package controller

import (
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// cycleRecord is what a monitor outside the controller saw of one engine cycle
// of one cylinder. It knows answers and what was in force, nothing of slots.
type cycleRecord struct {
	fuel, spark         bool // commits seen
	give, fire          bool
	fuelUnder, fireIn   Medium // in force at the first commit of each kind
	overrun, sparkFirst bool
	angle               Angle
}

// commitRig drives commits of one engine in a random order and judges them.
type commitRig struct {
	t       require.TestingT
	plant   func(*State) // a fault, put in between commits
	r       *rand.Rand
	cal     *Calibration
	s       State
	seen    map[[2]int]*cycleRecord // by cylinder and unwrapped cycle
	overran int
	judged  int
	pairs   int
}

// underOf is what must be obeyed now, worked out from the rule and not from the
// code: an unknown speed withholds what the hardware can withhold together.
func (g *commitRig) underOf() Medium {
	e, sp := &g.cal.Engine, &g.s.speed
	if sp.mode == SpeedWithheld || sp.mode == SpeedStanding && sp.decided >= e.Cylinders {
		switch {
		case e.KeepFiring:
			return NoMedium
		case e.Fuel == FuelNotOurs:
			return Spark
		}
		return Both
	}
	return g.s.cmd.medium
}

// shake changes what the next commits obey, as ticks would.
func (g *commitRig) shake() {
	r, s := g.r, &g.s
	if g.plant != nil {
		g.plant(s)
	}
	if r.IntN(3) > 0 {
		return
	}
	media := []Medium{NoMedium, Fuel, Spark, Both, Both}
	if g.cal.Engine.Fuel == FuelNotOurs {
		media = []Medium{NoMedium, Spark}
	}
	c := &s.cmd
	c.medium = media[r.IntN(len(media))]
	c.demand = 0
	if c.medium != NoMedium {
		c.demand = []Demand{1, FullDemand / 2, FullDemand - 1, FullDemand, Demand(1 + r.IntN(int(FullDemand)))}[r.IntN(5)]
	}
	c.pattern, c.list = Pattern(r.IntN(3)), uint16(r.IntN(1<<12))
	c.timing = int16(r.IntN(10001) - 4000)
	c.loaded = r.IntN(4) == 0
	c.overrun = c.loaded && r.IntN(4) == 0
	s.speed.commits = 0
	if r.IntN(6) == 0 {
		s.speed.mode, s.speed.decided = SpeedState(r.IntN(int(numSpeedStates))), uint8(r.IntN(3))
	}
}

func (g *commitRig) record(cyl, cycle int) *cycleRecord {
	k := [2]int{cyl, cycle}
	if g.seen[k] == nil {
		g.seen[k] = &cycleRecord{}
	}
	return g.seen[k]
}

func (g *commitRig) commitFuel(cyl, cycle int) {
	rec := g.record(cyl, cycle)
	under := g.underOf()
	before := g.s
	d := g.s.FuelCommit(g.cal, uint8(cyl), Cycle(cycle))
	if rec.fuel {
		require.Equal(g.t, rec.give, d.Give, "asked twice")
		require.True(g.t, before == g.s, "asking twice moves nothing")
	} else {
		rec.fuel, rec.give, rec.fuelUnder = true, d.Give, under
	}
	withheld := d.Why == WhyCut || d.Why == WhyPaired || d.Why == WhySpeedUnknown
	require.Equal(g.t, !d.Give, withheld, "C7: reason %v", d.Why)
}

func (g *commitRig) commitSpark(cyl, cycle int) {
	rec := g.record(cyl, cycle)
	under := g.underOf()
	before := g.s
	d := g.s.SparkCommit(g.cal, uint8(cyl), Cycle(cycle))
	if rec.spark {
		require.Equal(g.t, rec.fire, d.Fire, "asked twice")
		require.Equal(g.t, rec.angle, d.Angle, "asked twice")
		require.True(g.t, before == g.s, "asking twice moves nothing")
	} else {
		*rec = cycleRecord{
			fuel: rec.fuel, give: rec.give, fuelUnder: rec.fuelUnder,
			spark: true, fire: d.Fire, fireIn: under, angle: d.Angle,
			overrun: before.cmd.overrun && d.Why == WhyOverrun, sparkFirst: !rec.fuel,
		}
		require.EqualValues(g.t, before.cmd.timing, d.Angle, "the last tick's timing")
	}
	withheld := d.Why == WhyCut || d.Why == WhyPaired || d.Why == WhySpeedUnknown || d.Why == WhyOverrun
	require.Equal(g.t, !d.Fire, withheld, "C7: reason %v", d.Why)
}

// judge holds one finished cycle against C5.
func (g *commitRig) judge(k [2]int) {
	rec := g.seen[k]
	delete(g.seen, k)
	g.judged++
	switch {
	case !rec.spark:
		return
	case rec.overrun:
		g.overran++
		if rec.sparkFirst && rec.fuel && g.cal.Engine.Fuel == FuelSequential {
			require.False(g.t, rec.give, "overrun came first: no raw charge %+v", *rec)
		}
		return
	case !rec.fuel:
		if g.cal.Engine.CommitLead > 0 && g.cal.Engine.Fuel != FuelNotOurs {
			require.True(g.t, rec.fire, "fuel commit not seen: fuel counts as given")
		}
		return
	case rec.give == rec.fire:
		first := rec.fuelUnder
		if rec.sparkFirst {
			first = rec.fireIn
		}
		if !rec.give {
			g.pairs++
			require.Equal(g.t, Both, first, "withheld as a pair without both: %+v", *rec)
		}
	case rec.fire:
		require.Equal(g.t, Fuel, rec.fuelUnder, "C5: fuel withheld alone: %+v", *rec)
	default:
		require.Equal(g.t, Spark, rec.fireIn, "C5: spark withheld alone: %+v", *rec)
	}
}

// run goes through some engine cycles from a random cycle count on, so that the
// tag wraps.
func (g *commitRig) run(cycles int) {
	e, r := &g.cal.Engine, g.r
	n, lead, start := int(e.Cylinders), int(e.CommitLead), r.IntN(512)
	late := [][2]int{} // fuel commits that come after their spark
	for k := range cycles*n + lead {
		g.shake()
		fuelFirst := lead > 0 || r.IntN(2) == 0
		fuel := func() {
			id := [2]int{int(e.Order[k%n]), start + k/n}
			switch p := r.IntN(64); {
			case k >= cycles*n || p == 0: // missed
			case p == 1 && lead < n:
				late = append(late, id)
			default:
				g.commitFuel(id[0], id[1])
				if p < 12 {
					g.shake()
					g.commitFuel(id[0], id[1])
				}
			}
		}
		if fuelFirst {
			fuel()
		}
		if j := k - lead; j >= 0 {
			g.sparkOf([2]int{int(e.Order[j%n]), start + j/n})
		}
		if !fuelFirst {
			fuel()
		}
		for _, id := range late {
			if g.seen[id] != nil && g.seen[id].spark {
				g.commitFuel(id[0], id[1])
			}
		}
		g.finish(start, k, n, lead)
		if r.IntN(400) == 0 {
			g.s.LostSync()
			clear(g.seen)
			late = late[:0]
		}
	}
	for k := range g.seen {
		g.judge(k)
	}
}

func (g *commitRig) sparkOf(id [2]int) {
	p := g.r.IntN(64)
	if p == 0 {
		return
	}
	g.commitSpark(id[0], id[1])
	if p < 12 {
		g.shake()
		if rec := g.seen[id]; p < 6 && rec.fuel {
			g.commitFuel(id[0], id[1])
		}
		g.commitSpark(id[0], id[1])
	}
}

// finish judges the cycle whose spark lies a while back.
func (g *commitRig) finish(start, k, n, lead int) {
	j := k - lead - 1
	if j < 0 {
		return
	}
	id := [2]int{int(g.cal.Engine.Order[j%n]), start + j/n}
	if g.seen[id] != nil {
		g.judge(id)
	}
}

func randomEngine(r *rand.Rand) Engine {
	n := 1 + r.IntN(MaxCylinders)
	e := testCar().Engine
	e.Cylinders, e.Order = uint8(n), [MaxCylinders]uint8{}
	for i, c := range r.Perm(n) {
		e.Order[i] = uint8(c + 1)
	}
	e.CommitLead = uint8(r.IntN(min(2*n, n+3)))
	if r.IntN(4) == 0 {
		e.CommitLead = 0
	}
	e.Ignition = Ignition(r.IntN(int(numIgnitions)))
	e.KeepFiring = r.IntN(8) == 0
	return e
}

func TestC5CommitsInEveryOrder(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 1))
	rigs, cycles := 1500, 40
	if long() {
		rigs *= 50
	}
	judged, pairs, overran := 0, 0, 0
	for range rigs {
		c := testCar()
		c.Shots = [MaxShots]Shot{}
		c.Engine = randomEngine(r)
		g := commitRig{t: t, r: r, cal: sealed(t, c), seen: map[[2]int]*cycleRecord{}}
		require.NoError(t, g.s.Reset(g.cal))
		for range 5 {
			g.run(cycles)
			g.s.LostSync()
		}
		judged, pairs, overran = judged+g.judged, pairs+g.pairs, overran+g.overran
	}
	t.Logf("%d cycles judged, %d withheld as pairs, %d withheld by overrun", judged, pairs, overran)
	assert.Greater(t, judged, 1000000)
	assert.Greater(t, pairs, judged/20)
	assert.Positive(t, overran)
}

// A carburettor: there is no fuel commit to wait for.
func TestSparkAloneWhereFuelIsNotOurs(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 2))
	c := testCar()
	c.Shots = [MaxShots]Shot{}
	c.Engine.Fuel = FuelNotOurs
	for i := range c.Stages {
		if c.Stages[i].Kind != NoStage {
			c.Stages[i].Cut.Medium = Spark
			c.Stages[i].Guard = Guard{Longest: 3 * Second, CoolDown: 20 * Second}
		}
	}
	g := commitRig{t: t, r: r, cal: sealed(t, c), seen: map[[2]int]*cycleRecord{}}
	require.NoError(t, g.s.Reset(g.cal))
	g.s.cmd.medium, g.s.cmd.demand = Spark, FullDemand
	assert.False(t, g.s.SparkCommit(g.cal, 1, 0).Fire)
	assert.True(t, g.s.FuelCommit(g.cal, 1, 0).Give)
	g.s.cmd.medium, g.s.cmd.demand = NoMedium, 0
	d := g.s.SparkCommit(g.cal, 2, 0)
	assert.True(t, d.Fire)
	assert.Equal(t, WhyGiven, d.Why)
}

// complaint stands for a test that may fail.
type complaint struct{ said bool }

func (c *complaint) Errorf(string, ...any) { c.said = true }
func (c *complaint) FailNow()              { panic(c) }

// Planted faults: a cut of both that withholds "now" instead of a cycle, and
// slots that serve a cylinder only once. The monitor must speak.
func TestC5TheMonitorFindsBrokenPairs(t *testing.T) {
	faults := map[string]func(*State){
		"withholds now": func(s *State) {
			for i := range s.slots {
				s.slots[i][0].bits &^= slotPair | slotDecided
				s.slots[i][1].bits &^= slotPair | slotDecided
			}
		},
		"forgets": func(s *State) {
			for i := range s.slots {
				s.slots[i][0] = slot{}
			}
		},
	}
	for name, plant := range faults {
		c := testCar()
		c.Shots = [MaxShots]Shot{}
		said := &complaint{}
		g := commitRig{t: said, plant: plant, r: rand.New(rand.NewPCG(5, 3)), cal: sealed(t, c), seen: map[[2]int]*cycleRecord{}}
		require.NoError(t, g.s.Reset(g.cal))
		func() {
			defer func() { _ = recover() }()
			g.run(200)
		}()
		assert.True(t, said.said, name)
	}
}

func TestCommitsOfAnUnknownCylinderOrCalibration(t *testing.T) {
	cal := sealed(t, testCar())
	var s, zero State
	require.NoError(t, s.Reset(cal))
	before := s
	for _, cyl := range []uint8{0, 9, 12, 13, 255} {
		assert.Zero(t, s.FuelCommit(cal, cyl, 0))
		assert.Zero(t, s.SparkCommit(cal, cyl, 0))
	}
	assert.True(t, before == s)
	assert.Zero(t, zero.FuelCommit(nil, 1, 0))
	assert.Zero(t, zero.SparkCommit(&Calibration{}, 1, 0))
	assert.ErrorIs(t, zero.Reset(nil), ErrNotSealed)
	assert.ErrorIs(t, zero.Reset(&Calibration{}), ErrNotSealed)
	out := Output{Ceiling: 1}
	in := calm()
	zero.Tick(&Calibration{}, &in, &out)
	assert.Zero(t, out)
}

func TestRefireEnrichesTheFirstCyclesAfterACut(t *testing.T) {
	cal := sealed(t, testCar())
	var s State
	require.NoError(t, s.Reset(cal))
	s.cmd = command{medium: Fuel, demand: FullDemand, mixture: One, refire: 500, cycles: 2}
	require.False(t, s.FuelCommit(cal, 1, 0).Give)
	s.cmd.medium, s.cmd.demand = NoMedium, 0
	var got []Ratio
	for c := 1; c < 5; c++ {
		got = append(got, s.FuelCommit(cal, 1, Cycle(c)).Mixture, s.FuelCommit(cal, 1, Cycle(c)).Mixture)
	}
	assert.Equal(t, []Ratio{10500, 10500, 10500, 10500, One, One, One, One}, got)
	assert.Equal(t, One, s.FuelCommit(cal, 2, 0).Mixture, "a cylinder that was not cut")
}
