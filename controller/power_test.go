package controller

import (
	"fmt"
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// run drives a whole controller tick by tick.
type run struct {
	cal *Calibration
	s   State
	in  Input
	out Output
}

func newRun(t testing.TB, c Calibration) *run {
	r := &run{cal: sealed(t, c), in: calm()}
	require.NoError(t, r.s.Reset(r.cal))
	return r
}

func (r *run) tick() *Output {
	r.s.Tick(r.cal, &r.in, &r.out)
	return &r.out
}

func (r *run) ms(n int) *Output {
	for range n {
		r.tick()
	}
	return &r.out
}

// until ticks until a condition holds, and gives how many ticks that took; -1
// if it does not within a limit.
func (r *run) until(limit int, cond func() bool) int {
	for n := range limit {
		r.tick()
		if cond() {
			return n + 1
		}
	}
	return -1
}

func (r *run) set(c Channel, x int32) { r.in.Set(c, x) }

func (r *run) opens(i int) func() bool { return func() bool { return r.out.Shots[i].Duty > 0 } }

func (r *run) phase(i int, p ShotPhase) func() bool {
	return func() bool { return r.out.Shots[i].Phase == p }
}

// arm shows the arm switch off, then on.
func (r *run) arm() {
	r.in.Put(Arm, false)
	r.ms(5)
	r.in.Put(Arm, true)
	r.ms(150)
}

// hold brings the test car up on the trans-brake at full throttle.
func (r *run) hold() {
	r.in.Put(TransBrake, true)
	r.set(Throttle, int32(One))
	r.set(EngineSpeed, int32(3600*RPM))
}

// ease moves speed to n by step a tick, and lets the slope settle.
func (r *run) ease(n, step Speed) {
	x := Speed(r.in.Channels[EngineSpeed].Value)
	for x != n {
		x += max(-step, min(step, n-x))
		r.set(EngineSpeed, int32(x))
		r.tick()
	}
	r.ms(60)
}

// release earns a hold near the launch ceiling and lets go at a speed.
func (r *run) release(t testing.TB, n Speed) {
	r.set(EngineSpeed, int32(3000*RPM))
	r.in.Put(TransBrake, true)
	r.set(Throttle, int32(One))
	r.ms(3)
	r.set(EngineSpeed, int32(4230*RPM))
	require.Positive(t, r.until(2000, func() bool { return r.out.Marks&MarkEarned != 0 }))
	r.in.Put(TransBrake, false)
	r.tick()
	require.Equal(t, Released, r.out.Sequence)
	r.set(EngineSpeed, int32(n))
}

// heldOpen gives a run with the first shot open on the trans-brake.
func heldOpen(t testing.TB, change func(*Calibration)) *run {
	c := testCar()
	if change != nil {
		change(&c)
	}
	r := newRun(t, c)
	r.arm()
	r.hold()
	require.Positive(t, r.until(1000, r.opens(0)), "%v", r.out.Shots[0].Inhibits.Name())
	return r
}

// releasedOpen gives a run with the second shot open after release.
func releasedOpen(t testing.TB, change func(*Calibration)) *run {
	c := testCar()
	if change != nil {
		change(&c)
	}
	r := newRun(t, c)
	r.arm()
	r.release(t, 5000*RPM)
	require.Positive(t, r.until(2000, r.opens(1)), "%v", r.out.Shots[1].Inhibits.Name())
	return r
}

func TestA1RestartInTheMiddleOfARun(t *testing.T) {
	r := releasedOpen(t, nil)
	require.NoError(t, r.s.Reset(r.cal))
	for range 3000 {
		r.tick()
		require.Zero(t, r.out.Shots[0].Duty+r.out.Shots[1].Duty)
		require.False(t, r.out.Master)
	}
	assert.NotZero(t, r.out.Shots[0].Inhibits&ShotArmCycle)
	r.set(Throttle, 0)
	r.ms(100)
	r.arm()
	assert.True(t, r.out.Master)
	r.hold()
	assert.Positive(t, r.until(1000, r.opens(0)))
}

func TestA2RefusedCalibrations(t *testing.T) {
	cases := map[string]func(c *Calibration){
		"held by a clutch": func(c *Calibration) { c.Sequence.Hold = HoldClutch },
		"held by the foot brake": func(c *Calibration) {
			c.Sequence.Hold = HoldFootBrake
			c.Shots[0].When = WhileEither
		},
		"no arm switch":       func(c *Calibration) { c.Switches = c.Switches.With(Arm, false) },
		"no throttle":         func(c *Calibration) { c.Channels[Throttle] = ChannelSpec{} },
		"no voltage":          func(c *Calibration) { c.Channels[SupplyVoltage] = ChannelSpec{} },
		"no voltage window":   func(c *Calibration) { c.Standing.Voltage = Window{} },
		"no speed window":     func(c *Calibration) { c.Shots[0].SpeedHigh = 0 },
		"no margin":           func(c *Calibration) { c.Shots[0].Margin = 0 },
		"no throttle minimum": func(c *Calibration) { c.Shots[1].ThrottleMin = 0 },
		"A5 grouped fuel":     func(c *Calibration) { c.Engine.Fuel = FuelGrouped },
		"A6 endless":          func(c *Calibration) { c.Shots[0].Longest = 0 },
		"A6 endless together": func(c *Calibration) { c.Standing.LongestAll = 0 },
		"A7 valve too slow":   func(c *Calibration) { c.Shots[1].ValveOpens = 35 * Millisecond },
		"A7 constant duty too short": func(c *Calibration) {
			c.Shots[0].EndDuty, c.Shots[0].ValvePeriod = 40*Percent, 50*Millisecond
		},
		"A8 dry without fuel":    func(c *Calibration) { c.Shots[0].Enrich = One },
		"lean stage with a shot": func(c *Calibration) { c.Stages[1].Mixture = Curve{Const: 9900} },
	}
	for name, change := range cases {
		c := testCar()
		change(&c)
		var p Problems
		assert.False(t, c.Seal(&p), name)
	}
}

// A2: an interlock whose channel is not fitted is a finding, not a silent pass.
func TestA2NotFittedIsAFinding(t *testing.T) {
	for _, ch := range []Channel{CoolantTemperature, FuelPressure, OilPressure, BottlePressure, Lambda} {
		c := testCar()
		c.Channels[ch] = ChannelSpec{}
		var p Problems
		require.True(t, c.Seal(&p))
		assert.Positive(t, p.Total, "channel %d", ch)
	}
}

// Common practice: a shot for trans-brake hold opens only with the trans-brake
// held, and below the launch ceiling.
func TestA2OpensOnlyOnTheTransBrakeBelowTheCeiling(t *testing.T) {
	r := newRun(t, testCar())
	r.arm()
	r.set(Throttle, int32(One))
	r.set(EngineSpeed, int32(3600*RPM))
	assert.Equal(t, -1, r.until(1000, r.opens(0)), "without the trans-brake")
	r.set(EngineSpeed, int32(3000*RPM))
	r.hold()
	r.set(EngineSpeed, int32(4200*RPM))
	assert.Equal(t, -1, r.until(400, r.opens(0)), "too close to 4500")
	assert.NotZero(t, r.out.Shots[0].Inhibits&ShotMargin)
	r.set(EngineSpeed, int32(3900*RPM))
	assert.Positive(t, r.until(400, r.opens(0)))
	r.in.Put(TransBrake, false)
	assert.Zero(t, r.tick().Shots[0].Duty)
}

// Common practice: about 2 degrees for every 37 kW, 1 to 2.5 accepted, so that
// more shot has more retard.
func TestMoreShotMoreRetard(t *testing.T) {
	for _, x := range []struct {
		kw   uint16
		deg  Angle
		warn bool
	}{{37, 2, false}, {74, 4, false}, {111, 6, false}, {37, 1, false}, {74, 5, false}, {74, 6, true}, {111, 2, true}, {148, 2, true}} {
		c := testCar()
		c.Shots[0].Power, c.Shots[0].Retard = x.kw, x.deg*Degree
		var p Problems
		require.True(t, c.Seal(&p))
		warned := slices.ContainsFunc(p.List[:p.N], func(x Problem) bool { return x.Part == PartShot })
		assert.Equal(t, x.warn, warned, "%d kW %d degrees", x.kw, x.deg)
	}
}

func TestA3EveryInterlockClosesInItsTick(t *testing.T) {
	bad := map[string]func(r *run){
		"arm":          func(r *run) { r.in.Put(Arm, false) },
		"arm unknown":  func(r *run) { r.in.Known = r.in.Known.With(Arm, false) },
		"coolant":      func(r *run) { r.set(CoolantTemperature, 499) },
		"fuel":         func(r *run) { r.set(FuelPressure, int32(3*Bar)-1) },
		"oil":          func(r *run) { r.set(OilPressure, int32(2*Bar)-1) },
		"bottle":       func(r *run) { r.set(BottlePressure, int32(72*Bar)+1) },
		"voltage":      func(r *run) { r.set(SupplyVoltage, 11499) },
		"mixture":      func(r *run) { r.set(Lambda, 9001) },
		"stale":        func(r *run) { r.in.Channels[OilPressure].Age = 51 },
		"bad sensor":   func(r *run) { r.in.Channels[FuelPressure].Good = false },
		"throttle":     func(r *run) { r.set(Throttle, 8999) },
		"speed low":    func(r *run) { r.set(EngineSpeed, int32(2500*RPM)-1) },
		"speed lost":   func(r *run) { r.in.Channels[EngineSpeed].Good = false },
		"ceiling":      func(r *run) { r.set(ManifoldPressure, 202000); r.set(EngineSpeed, 36001) },
		"let go":       func(r *run) { r.in.Put(TransBrake, false) },
		"hold unknown": func(r *run) { r.in.Known = r.in.Known.With(TransBrake, false) },
	}
	for name, f := range bad {
		r := heldOpen(t, nil)
		r.ms(300) // until mixture is judged
		good := r.in
		f(r)
		r.tick()
		require.Zero(t, r.out.Shots[0].Duty, name)
		require.NotZero(t, r.out.Shots[0].Inhibits, name)
		r.in = good
		for range 299 {
			require.Zero(t, r.tick().Shots[0].Duty, "%s: re-arm", name)
		}
	}
}

func TestA3RangeLatchesAfter20ms(t *testing.T) {
	for _, ch := range []Channel{EngineSpeed, Throttle, CoolantTemperature, FuelPressure, OilPressure, BottlePressure, SupplyVoltage, Lambda} {
		for _, ms := range []int{20, 21} {
			r := heldOpen(t, func(c *Calibration) { c.Shots[0].OncePerHold = false })
			good := r.in
			r.in.Channels[ch].Good = false
			assert.Zero(t, r.tick().Shots[0].Duty)
			r.ms(ms - 1)
			latched := r.out.Faults&FaultRange != 0
			r.in = good
			r.ms(30)
			if ch == EngineSpeed { // it is known again only after a cycle
				assert.True(t, ms == 20 || r.out.Faults&FaultRange != 0)
				continue
			}
			assert.Equal(t, ms > 20, latched, "channel %d for %d ms", ch, ms)
			assert.Equal(t, ms > 20, r.out.Faults&FaultRange != 0, "channel %d for %d ms", ch, ms)
			assert.Equal(t, ms <= 20, r.out.Master)
			if ms > 20 {
				r.arm()
				assert.True(t, r.out.Master, "cleared by the arm switch")
			}
		}
	}
}

func TestA3Persistence(t *testing.T) {
	r := heldOpen(t, func(c *Calibration) { c.Standing.Persistence = 100 * Millisecond })
	r.ms(10)
	r.set(OilPressure, int32(Bar))
	for range 100 {
		require.NotZero(t, r.tick().Shots[0].Duty)
	}
	assert.Zero(t, r.tick().Shots[0].Duty)
}

// A2: persistence keeps a shot open; it never opens one.
func TestA2PersistenceOpensNothing(t *testing.T) {
	c := testCar()
	c.Standing.Persistence = 200 * Millisecond
	r := newRun(t, c)
	r.arm()
	r.hold()
	for i := range 1000 {
		p := 5 * Bar
		if i%50 == 0 {
			p = Bar
		}
		r.set(OilPressure, int32(p))
		require.Zero(t, r.tick().Shots[0].Duty)
	}
}

func TestA3MixtureJudgedOnlyAfterACut(t *testing.T) {
	r := heldOpen(t, func(c *Calibration) {
		c.Shots[0].OncePerHold, c.Shots[0].QuietFor, c.Shots[0].ReArm = false, 50*Millisecond, 0
	})
	r.set(EngineSpeed, int32(4600*RPM)) // above the launch ceiling: cut
	r.ms(5)
	require.Positive(t, r.out.Demand)
	r.set(Lambda, 15000) // reads lean after the cut
	r.set(EngineSpeed, int32(3600*RPM))
	r.tick()
	assert.Zero(t, r.out.Shots[0].Inhibits&ShotMixture)
	n := r.until(1000, func() bool { return r.out.Shots[0].Inhibits&ShotMixture != 0 })
	assert.InDelta(t, 300, n, 3)
}

func stuckCar(c *Calibration) {
	c.Switches = c.Switches.With(Feedback1, true).With(Feedback2, true)
	c.Shots[0].Feedback, c.Shots[1].Feedback = true, true
}

func TestA3StuckValve(t *testing.T) {
	for shot := range 2 {
		var r *run
		if shot == 0 {
			r = heldOpen(t, stuckCar)
		} else {
			r = releasedOpen(t, stuckCar)
		}
		sh := &r.cal.Shots[shot]
		sw := Feedback1 + Switch(shot)
		r.in.Put(sw, true)
		r.ms(50)
		require.Positive(t, r.out.Shots[shot].Duty)
		r.set(Throttle, 8000)
		r.tick()
		require.Zero(t, r.out.Shots[shot].Duty)
		r.ms(14)
		check := func(what string) {
			o := &r.out.Shots[shot]
			assert.NotZero(t, r.out.Faults&FaultFeedback, what)
			assert.False(t, r.out.Master, what)
			assert.Equal(t, sh.Retard, o.Retard, what)
			assert.LessOrEqual(t, r.out.Timing, r.out.Base-sh.Retard, what)
			if sh.Wet {
				assert.Equal(t, One, o.FuelDuty, what)
			} else {
				assert.Equal(t, sh.Enrich, o.Enrich, what)
			}
		}
		check("stuck")
		r.ms(2000)
		check("stuck for long")
		r.in.Put(Arm, false)
		r.ms(10)
		check("arm off while it flows")
		r.in.Known = r.in.Known.With(sw, false)
		r.ms(500)
		check("feedback lost")
		r.in.Put(Arm, true)
		r.ms(10)
		r.in.Put(sw, false)
		r.ms(300)
		assert.False(t, r.out.Master, "latched until the arm switch is cycled")
		assert.Equal(t, ShotClosed, r.out.Shots[shot].Phase)
		r.arm()
		assert.True(t, r.out.Master)
	}
}

// A3: feedback that comes back late in the tail starts the tail anew.
func TestA3LateFeedbackKeepsRetard(t *testing.T) {
	r := heldOpen(t, stuckCar)
	r.set(Throttle, 8000)
	r.ms(1 + 32 + 20)
	require.Equal(t, ShotDraining, r.out.Shots[0].Phase)
	r.in.Put(Feedback1, true)
	r.tick()
	r.in.Put(Feedback1, false)
	for range 20 + 33 { // line, and one cycle at 3600 rpm
		require.Positive(t, r.tick().Shots[0].Retard)
	}
	r.in.Periods = MaxPeriods
	r.in.Put(Feedback1, true)
	assert.Equal(t, r.cal.Shots[0].Retard, r.tick().Shots[0].Retard, "a long step does not skip it")
}

// charges is a simple model of what each cylinder holds. Oxidiser enters while
// its intake is open and the shot flows: from the command on, at once, until
// valve and line are empty.
type charges struct {
	degree int
	flow   int // ticks left
	oxide  [8][4]bool
	spark  [8][4]SparkDecision
	fuel   [8][4]FuelDecision
	seen   int
}

const (
	intakeOpens  = 380
	intakeCloses = 120
	sparkBefore  = 230
)

// tick turns the engine for a millisecond and checks each charge at its top dead
// centre.
func (m *charges) tick(t *testing.T, r *run, shot int, rpm int) {
	sh, o := &r.cal.Shots[shot], &r.out.Shots[shot]
	if o.Duty > 0 {
		m.flow = int((sh.ValveCloses+sh.Flush)/Millisecond) + 1
	} else if m.flow > 0 {
		m.flow--
	}
	lead := int(r.cal.Engine.CommitLead) * 90
	for range rpm * 6 / 1000 {
		m.degree++
		for i := range 8 {
			m.turn(t, r, sh, i, m.degree+7200-90*i, lead)
		}
	}
}

func (m *charges) turn(t *testing.T, r *run, sh *Shot, i, at, lead int) {
	cyl := r.cal.Engine.Order[i]
	if x := at + lead; x%720 == 0 {
		m.fuel[i][x/720&3] = r.s.FuelCommit(r.cal, cyl, Cycle(x/720))
	}
	if x := at + intakeOpens; x%720 <= intakeOpens-intakeCloses && m.flow > 0 {
		m.oxide[i][x/720&3] = true
	}
	if x := at + sparkBefore; x%720 == 0 {
		m.spark[i][x/720&3] = r.s.SparkCommit(r.cal, cyl, Cycle(x/720))
	}
	k := at / 720 & 3
	if at%720 != 0 || !m.oxide[i][k] {
		return
	}
	m.oxide[i][k] = false
	m.seen++
	require.LessOrEqual(t, m.spark[i][k].Angle, 28*Degree-sh.Retard, "A4: cylinder %d", cyl)
	if !sh.Wet && m.fuel[i][k].Give {
		require.GreaterOrEqual(t, m.fuel[i][k].Mixture, sh.Enrich, "A8: cylinder %d", cyl)
	}
}

// A4, A8: every spark for a charge that can hold oxidiser carries the retard,
// and every such charge its fuel, at every speed and commit lead.
func TestA4EveryChargeWithOxidiserIsRetarded(t *testing.T) {
	for _, dry := range []bool{false, true} {
		for _, lead := range []uint8{3, 8, 12} {
			for rpm := 2500; rpm <= 9000; rpm += 500 {
				r, m := chargeRun(t, dry, lead, rpm), &charges{}
				for i := range 1500 {
					r.set(Throttle, int32(One))
					if i%500 > 370+rpm/100 {
						r.set(Throttle, 8000)
					}
					r.tick()
					m.tick(t, r, 1, rpm)
				}
				require.Greater(t, m.seen, 50, "%d rpm dry %v", rpm, dry)
			}
		}
	}
}

func chargeRun(t *testing.T, dry bool, lead uint8, rpm int) *run {
	c := testCar()
	c.Engine.CommitLead = lead
	c.Stages[3].Ceiling.Const = int32(11000 * RPM)
	c.Tables[1].Cells[0] = [8]int32{110000, 110000, 110000}
	sh := &c.Shots[1]
	sh.SpeedLow, sh.SpeedHigh, sh.ReArm, sh.Delay = 2500*RPM, 9500*RPM, 50*Millisecond, 0
	if dry {
		sh.Wet, sh.Enrich, sh.FuelLead, sh.FuelLag, sh.Ramp = false, 12500, 0, 0, 0
	}
	r := newRun(t, c)
	r.arm()
	r.release(t, Speed(rpm)*RPM)
	r.ms(200)
	return r
}

// A5: close, wait the flush, then cut: a ceiling table that falls through an
// open shot.
func TestA5FallingTableClosesFlushesThenCuts(t *testing.T) {
	r := heldOpen(t, nil)
	r.ease(3900*RPM, 1*RPM)
	require.Positive(t, r.out.Shots[0].Duty)
	r.set(ManifoldPressure, 200000) // the ceiling falls to 3800
	r.tick()
	assert.Zero(t, r.out.Shots[0].Duty)
	assert.Zero(t, r.out.Demand)
	flush := 0
	for r.out.Demand == 0 && flush < 200 {
		r.tick()
		flush++
	}
	assert.InDelta(t, 32, flush, 2)
	assert.Equal(t, Both, r.out.Medium)
	assert.Equal(t, 3800*RPM, r.out.Ceiling)
}

// A5: reopening needs the reopen distance below the closing line; one opening a
// hold where asked.
func TestA5ReopensFurtherBelow(t *testing.T) {
	r := heldOpen(t, func(c *Calibration) { c.Shots[0].OncePerHold = false })
	r.ease(4200*RPM, 1*RPM)
	r.ease(4290*RPM, 1)
	require.Positive(t, r.out.Shots[0].Duty, "4500 - 200")
	r.set(EngineSpeed, int32(4320*RPM))
	assert.Zero(t, r.tick().Shots[0].Duty)
	r.set(EngineSpeed, int32(4150*RPM))
	assert.Equal(t, -1, r.until(1000, r.opens(0)), "4500 - 200 - 200")
	r.set(EngineSpeed, int32(4090*RPM))
	assert.Positive(t, r.until(1000, r.opens(0)))

	r = heldOpen(t, nil)
	r.set(EngineSpeed, int32(4320*RPM))
	r.tick()
	r.set(EngineSpeed, int32(3800*RPM))
	assert.Equal(t, -1, r.until(1000, r.opens(0)), "one opening a hold")
	assert.NotZero(t, r.out.Shots[0].Inhibits&ShotUsed)
}

// A5: main never waits; a cut is of both media; above the overrun margin spark
// goes at once, else cycles already fuelled fire at shot retard.
func TestA5MainNeverWaitsAndOverrun(t *testing.T) {
	for _, x := range []struct {
		speed Speed
		fires bool
	}{{9050 * RPM, true}, {9350 * RPM, false}} {
		r := releasedOpen(t, func(c *Calibration) {
			c.Shots[1].SpeedHigh = 12000 * RPM
			c.Tables[1].Cells[0] = [8]int32{90000, 90000, 90000}
		})
		r.ms(100)
		require.True(t, r.s.FuelCommit(r.cal, 1, 7).Give)
		r.set(EngineSpeed, int32(x.speed))
		r.tick()
		assert.Zero(t, r.out.Shots[1].Duty)
		assert.Equal(t, FullDemand, r.out.Demand)
		assert.Equal(t, Both, r.out.Medium)
		d := r.s.SparkCommit(r.cal, 1, 7)
		assert.Equal(t, x.fires, d.Fire)
		if x.fires {
			assert.LessOrEqual(t, d.Angle, 28*Degree-r.cal.Shots[1].Retard)
		} else {
			assert.Equal(t, WhyOverrun, d.Why)
			assert.True(t, d.Unburnt)
		}
		f := r.s.FuelCommit(r.cal, 8, 7)
		s := r.s.SparkCommit(r.cal, 8, 7)
		assert.False(t, f.Give || s.Fire, "withheld together from the next fuel commit")
	}
}

// A5: a shot closes early by slope times valve closing and flush.
func TestA5SlopeClosesInTime(t *testing.T) {
	r := heldOpen(t, nil)
	n := int32(3600 * RPM)
	for r.out.Shots[0].Duty > 0 && n < int32(4500*RPM) {
		n += 100 // 10,000 rpm/s
		r.set(EngineSpeed, n)
		r.tick()
	}
	left := Speed(4500*int32(RPM) - n)
	assert.InDelta(t, float64(200*RPM+320*RPM), float64(left), float64(40*RPM))
}

func TestA6OpenTimeIsLimited(t *testing.T) {
	c := func(c *Calibration) {
		c.Shots[0].Longest, c.Shots[0].OncePerHold = Second, false
		c.Standing.CoolDown = 2 * Second
		c.Stages[1].Guard.Longest = 20 * Second
	}
	r := heldOpen(t, c)
	assert.Equal(t, 1000, r.until(2000, func() bool { return r.out.Shots[0].Duty == 0 }))
	assert.NotZero(t, r.out.Shots[0].Inhibits&ShotOpenTime)
	r.in.Put(Arm, false)
	r.set(RoadSpeedMain, 2000)
	r.ms(3000)
	r.in.Put(Arm, true)
	r.ms(200)
	assert.NotZero(t, r.out.Shots[0].Inhibits&ShotOpenTime, "not while it moves")
	r.set(RoadSpeedMain, 0)
	r.in.Put(Arm, false)
	r.tick()
	r.in.Put(Arm, true)
	assert.Positive(t, r.until(500, r.opens(0)))

	r = heldOpen(t, func(c *Calibration) { c.Standing.LongestAll = Second / 2 })
	assert.Equal(t, 500, r.until(2000, func() bool { return r.out.Shots[0].Duty == 0 }))
	assert.NotZero(t, r.out.Shots[0].Inhibits&ShotAllTime)
}

// A7, A9: a lift closes, the ramp restarts on return.
func TestA9LiftAndReturnRestartsTheRamp(t *testing.T) {
	r := releasedOpen(t, nil)
	assert.Equal(t, 40*Percent, r.out.Shots[1].Duty)
	r.ms(500)
	assert.InDelta(t, float64(70*Percent), float64(r.out.Shots[1].Duty), 2)
	r.set(Throttle, 8000)
	assert.Zero(t, r.tick().Shots[1].Duty)
	r.set(Throttle, int32(One))
	assert.GreaterOrEqual(t, r.until(1000, r.opens(1)), 300)
	assert.Equal(t, 40*Percent, r.out.Shots[1].Duty)
}

// A8: the first dry charge with oxidiser finds its fuel, at any ratio of lead
// and ramp; wet fuel has its lead and its lag.
func TestA8FuelAroundOxidiser(t *testing.T) {
	for _, ramp := range []Duration{0, 4 * Millisecond, 20 * Millisecond, Second} {
		c := testCar()
		sh := &c.Shots[0]
		sh.Ramp, sh.StartDuty, sh.ValvePeriod, sh.EndDuty = ramp, 5*Percent, Second, One
		r := newRun(t, c)
		r.arm()
		r.hold()
		for range 1200 {
			r.tick()
			if o := r.out.Shots[0]; o.Phase != ShotClosed {
				least := One + (r.cal.Shots[0].Enrich-One)*o.Duty/One
				require.GreaterOrEqual(t, o.Enrich, max(least, One+1), "ramp %d", ramp)
				require.LessOrEqual(t, o.Enrich, r.cal.Shots[0].Enrich)
			}
		}
		require.Positive(t, r.out.Shots[0].Duty)
	}
	r := newRun(t, testCar())
	r.arm()
	r.release(t, 5000*RPM)
	first := r.until(2000, func() bool { return r.out.Shots[1].FuelDuty > 0 })
	require.Positive(t, first)
	assert.Equal(t, 10, r.until(100, r.opens(1)))
	r.ms(20)
	r.set(Throttle, 8000)
	r.tick()
	assert.Equal(t, 10, r.until(100, func() bool { return r.out.Shots[1].FuelDuty == 0 }))
}

// A8: a fuel lag longer than valve and line is kept.
func TestA8LongFuelLagIsKept(t *testing.T) {
	r := releasedOpen(t, func(c *Calibration) { c.Shots[1].FuelLag = 200 * Millisecond })
	r.set(Throttle, 8000)
	r.tick()
	assert.Equal(t, 200, r.until(1000, func() bool { return r.out.Shots[1].FuelDuty == 0 }))
}

// A2: a launch device that holds again after release frees the engine.
func TestA2HoldAfterReleaseCloses(t *testing.T) {
	r := releasedOpen(t, nil)
	r.in.Put(TransBrake, true)
	assert.Zero(t, r.tick().Shots[1].Duty)
}

// A9: an opening that began in the hold does not go on into the delay after
// release.
func TestA9DelayHoldsAgainstALead(t *testing.T) {
	c := testCar()
	c.Shots[1] = c.Shots[0]
	c.Shots[1].When, c.Shots[1].Delay, c.Shots[1].RetardLead = WhileEither, 400*Millisecond, 100*Millisecond
	c.Shots[0].When, c.Shots[0].Delay = WhileReleased, 5*Second
	r := newRun(t, c)
	r.in.Put(Arm, false)
	r.ms(5)
	r.hold()
	r.set(EngineSpeed, int32(3000*RPM))
	r.ms(3)
	r.set(EngineSpeed, int32(4210*RPM))
	r.ms(600)
	require.Equal(t, Held, r.out.Sequence)
	r.set(EngineSpeed, int32(3900*RPM))
	r.in.Put(Arm, true)
	require.Positive(t, r.until(1000, r.phase(1, ShotLeading)))
	r.in.Put(TransBrake, false)
	assert.GreaterOrEqual(t, r.until(2000, r.opens(1)), 400)
}

// A3: ticks that stop while commits go on.
func TestA3HungTicks(t *testing.T) {
	r := releasedOpen(t, nil)
	r.ms(20)
	dropped := -1
	for k := range 16 {
		cyl := r.cal.Engine.Order[k%8]
		r.s.FuelCommit(r.cal, cyl, Cycle(k/8))
		if r.s.SparkCommit(r.cal, cyl, Cycle(k/8)).Drop && dropped < 0 {
			dropped = k
		}
	}
	assert.Equal(t, 8, dropped, "the first commit beyond one engine cycle")
	r.tick()
	assert.Zero(t, r.out.Shots[1].Duty)
	assert.False(t, r.out.Master)
	assert.NotZero(t, r.out.Faults&FaultHung)
	r.arm()
	assert.True(t, r.out.Master)
}

// A long step qualifies nothing by itself.
func TestA2SkippedTicksDoNotQualify(t *testing.T) {
	r := newRun(t, testCar())
	r.arm()
	r.set(Throttle, int32(One))
	r.set(EngineSpeed, int32(3600*RPM))
	r.ms(10)
	r.in.Put(TransBrake, true)
	r.in.Periods = MaxPeriods
	r.tick()
	assert.Equal(t, ShotClosed, r.out.Shots[0].Phase)
	assert.NotZero(t, r.out.Shots[0].Inhibits&ShotTrigger)
}

// Enrichments of several shots cannot overflow.
func TestMixtureOfFourDryShotsStaysPositive(t *testing.T) {
	r := newRun(t, testCar())
	out := Output{Mixture: 2 * One}
	r.cal.shots = 4
	for i := range out.Shots {
		out.Shots[i].Enrich = 3 * One
	}
	var v view
	v.begin(&r.in, r.cal, 0)
	r.s.command(&v, &out)
	assert.Greater(t, out.Mixture, 3*One)
	assert.Less(t, int64(out.Mixture), int64(math.MaxInt32)/int64(One))
}

// C3: no entry point allocates, with a shot open.
func TestNoAllocationsWithAShotOpen(t *testing.T) {
	r := releasedOpen(t, nil)
	cycle := Cycle(0)
	for name, f := range map[string]func(){
		"tick":  func() { r.s.Tick(r.cal, &r.in, &r.out) },
		"fuel":  func() { cycle++; r.s.FuelCommit(r.cal, 1, cycle) },
		"spark": func() { r.s.Tick(r.cal, &r.in, &r.out); cycle++; r.s.SparkCommit(r.cal, 1, cycle) },
	} {
		assert.Zero(t, testing.AllocsPerRun(200, f), name)
	}
	require.Positive(t, r.out.Shots[1].Duty, fmt.Sprint(r.out.Shots[1].Inhibits.Name()))
}

// A4: the tail lasts one engine cycle at whatever speed, and waits in a stopped
// engine.
func TestA4TailFollowsTheEngine(t *testing.T) {
	for _, x := range []struct{ rpm, ms int }{{3600, 34}, {900, 134}} {
		r := heldOpen(t, nil)
		r.set(Throttle, 0)
		r.set(EngineSpeed, int32(x.rpm)*int32(RPM))
		r.tick()
		assert.InDelta(t, 32+x.ms, r.until(1000, r.phase(0, ShotClosed)), 3, "%d rpm", x.rpm)
	}
	r := heldOpen(t, nil)
	r.set(Throttle, 0)
	r.set(EngineSpeed, 0)
	r.ms(5000)
	assert.Positive(t, r.out.Shots[0].Retard)
	r.set(EngineSpeed, int32(250*RPM))
	assert.Positive(t, r.until(600, r.phase(0, ShotClosed)))
}

// A4: nor does the finest tick of a slow single stretch or shorten it: one cycle
// at 500 rpm is 240 ms, 2,400 ticks behind those of valve and line.
func TestA4TailAtTheFinestTick(t *testing.T) {
	c := testCar()
	c.Period, c.Shots[1] = 100*Microsecond, Shot{}
	c.Engine.Cylinders, c.Engine.Order, c.Engine.CommitLead = 1, [MaxCylinders]uint8{1}, 0
	cal := sealed(t, c)
	sh := &cal.Shots[0]
	s, ticks := shotState{phase: ShotDraining}, 0
	for ; s.phase == ShotDraining && ticks < 10000; ticks++ {
		s.empty(sh, cal.Engine.phaseOf(500*RPM), false, 1)
	}
	tail := ticks - int(sh.t.drained())
	assert.GreaterOrEqual(t, tail, 2400, "never short")
	assert.LessOrEqual(t, tail, 2400*14/13, "a tick turns 13 counts and less than one more")
}

// A5: a cut below the ceiling waits for the flush, not for a stuck valve.
func TestA5StuckValveDelaysNoCut(t *testing.T) {
	r := heldOpen(t, stuckCar)
	r.in.Put(Feedback1, true)
	r.ease(3900*RPM, 1*RPM)
	r.set(ManifoldPressure, 200000)
	r.ms(100)
	assert.NotZero(t, r.out.Faults&FaultFeedback)
	assert.Equal(t, 3800*RPM, r.out.Ceiling)
	assert.Positive(t, r.out.Demand)
	assert.Equal(t, Both, r.out.Medium)
}

// A5: never fuel alone while oxidiser can be in the engine, whatever the stage
// asks for.
func TestA5FuelAloneNeverWhileFlowing(t *testing.T) {
	for _, m := range []Medium{Fuel, Spark} {
		r := releasedOpen(t, func(c *Calibration) {
			c.Stages[2].Cut.Medium = m
			c.Tables[1].Cells[0] = [8]int32{60000, 60000, 60000}
		})
		r.set(EngineSpeed, int32(6100*RPM))
		cut := 0
		for r.tick(); r.out.Shots[1].Phase == ShotDraining; r.tick() {
			require.Positive(t, r.out.Demand)
			require.Equal(t, Both, r.out.Medium)
			cut++
		}
		assert.Positive(t, cut)
		assert.Equal(t, m, r.out.Medium, "the stage's own once it is empty")
	}
}
