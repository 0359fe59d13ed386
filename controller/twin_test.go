package controller

import (
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// twin is limiter arbitration once more, written from the design's text for
// plainness: no saturation, no precomputed ticks, everything worked out anew in
// each tick. It takes the launch sequence and the trust in engine speed as given;
// those have tests of their own.
type twin struct {
	cal    *Calibration
	in     *Input
	dt     int
	seq    SequenceState
	speed  SpeedState
	ready  bool // the throttle was closed since the last launch
	shut   int  // ticks of closed throttle
	trim   int
	lowest int // ceiling in force at the tick before
	stages [MaxStages]twinStage
}

type twinStage struct {
	there, kept, latched, expired, spent bool
	ceiling, qualify, whole, heat        int
	fallen, fellAt                       int
}

type twinResult struct {
	active          uint8
	stage, cutStage uint8
	ceiling, demand int
	medium          Medium
	timing, mix     int
	boost           int
	ceilings        [MaxStages]int
}

const highest = 1 << 24

func (w *twin) ticks(d Duration) int {
	return int((int64(d) + int64(w.cal.Period) - 1) / int64(w.cal.Period))
}

func (w *twin) perTick(rate int64) int {
	return int((rate*int64(w.cal.Period) + 999999) / 1000000)
}

// channel gives a value that can be trusted.
func (w *twin) channel(c Channel) (int, bool) {
	spec, s := w.cal.Channels[c], w.in.Channels[c]
	if c == EngineSpeed {
		return int(s.Value), w.speed == SpeedGood || w.speed == SpeedCranking
	}
	young := int64(s.Age)*int64(w.cal.Period) <= int64(w.ticks(spec.LongestAge))*int64(w.cal.Period)
	return int(s.Value), spec.Fitted && s.Good && young && s.Value >= spec.Low && s.Value <= spec.High
}

func (w *twin) lost(c Channel) bool {
	_, ok := w.channel(c)
	return w.cal.Channels[c].Fitted && !ok
}

func (w *twin) sw(sw Switch) truth {
	switch {
	case w.cal.Switches>>sw&1 == 0:
		return no
	case w.in.Known>>sw&1 == 0:
		return unknown
	case w.in.On>>sw&1 == 1:
		return yes
	}
	return no
}

func (w *twin) term(t Term) truth {
	switch t.Kind {
	case SwitchOn:
		return w.sw(t.Switch)
	case SwitchOff:
		return [...]truth{yes, unknown, no}[w.sw(t.Switch)]
	case SequenceIn:
		return truthOf(t.States&(1<<w.seq) != 0)
	}
	x, ok := w.channel(t.Channel)
	if !ok {
		return unknown
	}
	return truthOf(x >= int(t.Low) && x <= int(t.High))
}

// condition counts its terms: all of All, and one of Any where there are any.
func (w *twin) condition(c *Condition) truth {
	var all, any [3]int
	terms := 0
	for _, t := range c.All {
		if t.Kind != NoTerm {
			all[w.term(t)]++
		}
	}
	for _, t := range c.Any {
		if t.Kind != NoTerm {
			any[w.term(t)]++
			terms++
		}
	}
	switch {
	case all[no] > 0 || terms > 0 && any[yes]+any[unknown] == 0:
		return no
	case all[unknown] > 0 || terms > 0 && any[yes] == 0:
		return unknown
	}
	return yes
}

func (w *twin) holdOn() truth {
	if w.cal.Sequence.Hold == HoldClutch {
		return w.sw(ClutchDown)
	}
	return w.sw(TransBrake)
}

func isHeld(st *Stage) bool {
	return st.Kind == Burnout || st.Kind == Launch || st.Kind == User && !st.Moving
}

// axes of the ceiling table, if there is one.
func (w *twin) axes(st *Stage) (list []Channel) {
	if st.Ceiling.Table == 0 {
		return nil
	}
	t := &w.cal.Tables[st.Ceiling.Table-1]
	for _, a := range []Axis{t.Columns, t.Rows} {
		if a.N > 0 {
			list = append(list, a.Channel)
		}
	}
	return list
}

// missing reports whether an input that a stage needs is lost.
func (w *twin) missing(st *Stage) bool {
	for _, c := range w.axes(st) {
		if w.lost(c) {
			return true
		}
	}
	for _, list := range [][MaxTerms]Term{st.When.All, st.When.Any} {
		for _, t := range list {
			if (t.Kind == SwitchOn || t.Kind == SwitchOff) && w.sw(t.Switch) == unknown || t.Kind == Within && w.lost(t.Channel) {
				return true
			}
		}
	}
	return st.Kind == Launch && (w.lost(Throttle) || w.holdOn() == unknown)
}

// raw looks a ceiling up; a lost axis gives the lowest cell.
func (w *twin) raw(st *Stage) (x int, ok bool) {
	if st.Ceiling.Table == 0 {
		return int(st.Ceiling.Const), true
	}
	t := &w.cal.Tables[st.Ceiling.Table-1]
	var at [2]int
	for i, c := range w.axes(st) {
		v, good := w.channel(c)
		if !good {
			return w.lowestCell(t), false
		}
		at[i] = v
	}
	return int(t.At(int32(at[0]), int32(at[1]))), true
}

func (w *twin) lowestCell(t *Table) int {
	low := highest
	for r := range max(int(t.Rows.N), 1) {
		for c := range int(t.Columns.N) {
			low = min(low, int(t.Cells[r][c]))
		}
	}
	return low
}

// mayEnter is what the launch sequence says.
func (w *twin) mayEnter(st *Stage) bool {
	switch st.Kind {
	case AfterRelease:
		return w.seq == Released
	case Launch:
		road, ok := w.channel(RoadSpeedMain)
		n, known := w.channel(EngineSpeed)
		ceiling, _ := w.raw(st)
		q := &w.cal.Sequence
		return (w.seq == Held || w.seq == Idle && w.ready) && ok && road <= int(q.EntrySpeed) &&
			known && n <= ceiling+w.trim+int(q.EntryAbove)
	}
	return true
}

// over reports whether the launch sequence ends a stage.
func (w *twin) over(st *Stage) bool {
	return st.Kind == AfterRelease && w.seq != Released || st.Kind == Launch && (w.seq == Released || w.seq == Ended)
}

// place decides whether a stage is there.
func (w *twin) place(st *Stage, s *twinStage) (entered bool) {
	when, hold := w.condition(&st.When), w.holdOn()
	gone := w.shut >= w.ticks(w.cal.Sequence.LossAfter)
	switch {
	case st.Kind == Main:
		entered, s.there = !s.there, true
	case s.kept:
		if gone {
			s.drop()
		}
	case s.there:
		switch {
		case when == no || w.over(st):
			s.drop()
		case isHeld(st) && (w.missing(st) || when == unknown || s.expired && hold == yes):
			s.kept = true
			if gone {
				s.drop()
			}
		case !isHeld(st) && s.expired && hold == no:
			s.drop()
		}
	default:
		s.spent = s.spent && when == yes
		waits := s.spent || s.expired && !isHeld(st)
		switch {
		case when != yes || w.missing(st):
			s.qualify = 0
		case s.spent:
		case !w.mayEnter(st):
			s.qualify = 0
		case !waits:
			s.qualify += w.dt
			if s.qualify >= w.ticks(st.When.Qualify) {
				entered, s.there = true, true
			}
		}
	}
	return entered
}

func (s *twinStage) drop() {
	*s = twinStage{expired: s.expired, heat: s.heat, spent: s.spent}
}

func approach(from, to, up, down, dt int) int {
	switch {
	case to > from && up > 0:
		return min(to, from+up*dt)
	case to < from && down > 0:
		return max(to, from-down*dt)
	}
	return to
}

// target is the ceiling before slew.
func (w *twin) target(st *Stage, s *twinStage) int {
	x, ok := w.raw(st)
	if st.Kind == Main {
		if st.Ceiling.Table > 0 {
			x = min(x, int(st.Ceiling.Const))
		}
		return x
	}
	if st.Kind == Launch || st.Kind == AfterRelease {
		x += w.trim
	}
	if !ok {
		return s.ceiling // moving: it keeps what it has
	}
	if !st.StaysDown || st.Ceiling.Table == 0 || w.holdOn() == no {
		s.fallen = highest
		return x
	}
	throttle, good := w.channel(Throttle)
	if good && throttle <= s.fellAt-int(w.cal.Sequence.Comeback) {
		s.fallen = highest
	}
	if x < s.fallen {
		s.fallen, s.fellAt = x, max(0, min(throttle, 32767))
	}
	return s.fallen
}

func (w *twin) move(st *Stage, s *twinStage, entered bool) {
	if s.kept {
		w.rest(st, s)
		return
	}
	if entered {
		s.fallen, s.fellAt = highest, 0
	}
	to := w.target(st, s)
	up := w.perTick(int64(st.SlewUp))
	if entered {
		s.ceiling = to
		if up > 0 {
			s.ceiling = min(to, w.lowest)
		}
	}
	s.ceiling = approach(s.ceiling, to, up, w.perTick(int64(st.SlewDown)), w.dt)
}

// rest never raises a ceiling.
func (w *twin) rest(st *Stage, s *twinStage) {
	if x, ok := w.raw(st); !ok {
		if st.Kind == Launch {
			x += w.trim
		}
		s.ceiling = min(s.ceiling, x)
	}
	asks := false
	for c := range NumChannels {
		needed := st.Kind == Launch && c == Throttle
		for _, a := range w.axes(st) {
			needed = needed || a == c
		}
		for _, list := range [][MaxTerms]Term{st.When.All, st.When.Any} {
			for _, t := range list {
				needed = needed || t.Kind == Within && t.Channel == c
			}
		}
		asks = asks || needed && w.lost(c) && w.cal.Channels[c].OnLoss == LossRest
	}
	if asks && st.RestTo > 0 && int(st.RestTo) < s.ceiling {
		s.ceiling = approach(s.ceiling, int(st.RestTo), 0, w.perTick(int64(st.RestSlew)), w.dt)
	}
}

func (w *twin) demand(st *Stage, s *twinStage) int {
	if w.speed != SpeedGood {
		return 0
	}
	n, _ := w.channel(EngineSpeed)
	c := &st.Cut
	if c.Style == Soft {
		over := n - (s.ceiling - int(c.Band))
		return max(0, min(int(FullDemand), over*int(FullDemand)/int(c.Band)))
	}
	if n >= s.ceiling {
		s.latched = true
	}
	if n < s.ceiling-int(c.Hysteresis) {
		s.latched = false
	}
	switch {
	case !s.latched:
		return 0
	case c.Style == WholeEngine:
		return int(FullDemand)
	}
	return int(c.Depth)
}

// step runs one tick. prev and the marks are the launch sequence's.
func (w *twin) step(in *Input, prev SequenceState, marks Marks, seq SequenceState, speed SpeedState) (r twinResult) {
	w.in, w.seq, w.speed, w.dt = in, seq, speed, max(int(in.Periods), 1)
	q := &w.cal.Sequence
	throttle, ok := w.channel(Throttle)
	closed := ok && throttle <= int(q.ThrottleShut)
	if closed && (prev == Idle || prev == Ended) || prev == Aborted && seq == Idle {
		w.ready = true
	}
	if marks&MarkReleased != 0 {
		w.ready = false
		for i := range w.stages {
			w.stages[i].latched = false
		}
	}
	if w.shut += w.dt; !closed {
		w.shut = 0
	}
	if w.holdOn() == no || seq == Released {
		w.trim = 0
		if x, ok := w.channel(SurfaceTrim); ok {
			e := &w.cal.Engine
			w.trim = max(-int(e.TrimMax), min(x*int(e.TrimStep), int(e.TrimMax)))
		}
	}
	for i := range w.stages {
		st, s := &w.cal.Stages[i], &w.stages[i]
		if st.Kind == NoStage || st.Kind != Main && speed >= SpeedStanding {
			continue
		}
		if entered := w.place(st, s); s.there {
			w.move(st, s, entered)
		}
	}
	return w.together()
}

// together is section 6, arbitration.
func (w *twin) together() (r twinResult) {
	order := []int{int(w.cal.main)}
	for i := range MaxStages {
		if i != int(w.cal.main) {
			order = append(order, i)
		}
	}
	e := &w.cal.Engine
	base := int(e.BaseAngle.Const)
	r.ceiling, r.timing, r.mix, r.boost = highest, 1000000, -1, highest
	for _, i := range order {
		st, s := &w.cal.Stages[i], &w.stages[i]
		if !s.there {
			w.warm(st, s, false)
			continue
		}
		r.active |= 1 << i
		r.ceilings[i] = s.ceiling
		if s.ceiling < r.ceiling {
			r.ceiling, r.stage = s.ceiling, uint8(i)
		}
		medium := st.Cut.Medium
		if medium == Spark && (s.expired || s.kept) && e.Fuel == FuelSequential {
			medium = Fuel
		}
		d := w.demand(st, s)
		if d > 0 {
			r.medium |= medium
		}
		if d > r.demand {
			r.demand, r.cutStage = d, uint8(i)
		}
		w.limit(st, s, d)
		works := s.there && !s.kept && !s.expired && !(st.Kind == Launch && w.seq == Aborted)
		late := w.wish(st, s, works, base, &r)
		w.warm(st, s, d > 0 || late || w.pressed() && st.Kind != Main)
		if works && st.Mixture.Const != 0 {
			r.mix = max(r.mix, int(st.Mixture.Const))
		}
		if st.Boost.Const != 0 {
			r.boost = min(r.boost, int(st.Boost.Const))
		}
	}
	w.lowest = r.ceiling
	if r.timing == 1000000 {
		r.timing = base
	}
	r.timing = max(int(LatestTiming), min(r.timing, int(EarliestTiming)))
	if r.mix < 0 {
		r.mix = int(One)
	}
	if r.boost == highest {
		r.boost = int(e.BoostBase.Const)
	}
	if w.lost(ManifoldPressure) {
		r.boost = int(e.BoostMin)
	}
	return r
}

// pressed reports whether the throttle is open as far as anyone knows.
func (w *twin) pressed() bool {
	x, ok := w.channel(Throttle)
	return !ok || x >= int(w.cal.Sequence.ThrottleMin)
}

func (w *twin) wish(st *Stage, s *twinStage, works bool, base int, r *twinResult) (late bool) {
	if st.Timing.Mode == TimingBase || !works {
		return false
	}
	n, known := w.channel(EngineSpeed)
	if st.Timing.NearBand > 0 && (!known || n < s.ceiling-int(st.Timing.NearBand)) {
		return false
	}
	angle := int(st.Timing.Angle.Const)
	if st.Timing.Mode == TimingOffset {
		angle += base
	}
	r.timing = min(r.timing, angle)
	return angle < 0
}

// limit ends a whole-engine cut that has lasted too long.
func (w *twin) limit(st *Stage, s *twinStage, d int) {
	if st.Cut.Style != WholeEngine || st.Kind == Main {
		return
	}
	if s.whole += w.dt; d < int(FullDemand) {
		s.whole = 0
	}
	longest := st.WholeLimit
	if longest == 0 {
		longest = Second / 2
	}
	if s.whole < w.ticks(longest) {
		return
	}
	if isHeld(st) {
		s.kept = true
	} else if w.holdOn() == no {
		s.spent = true
		s.drop()
	}
}

// warm fills the guard in its longest time and empties it in its cool-down.
func (w *twin) warm(st *Stage, s *twinStage, hot bool) {
	hold, cool := w.ticks(st.Guard.Longest), w.ticks(st.Guard.CoolDown)
	if hold == 0 {
		return
	}
	full := hold * cool
	if hot {
		s.heat = min(s.heat+cool*w.dt, full)
		s.expired = s.expired || s.heat == full
		return
	}
	s.heat = max(s.heat-hold*w.dt, 0)
	s.expired = s.expired && s.heat > 0
}

// twinCar has stages of every kind, short timers, and numbers drawn at random.
func twinCar(r *rand.Rand) Calibration {
	c := testCar()
	c.Period = 10 * Millisecond
	c.Shots = [MaxShots]Shot{}
	c.Switches = c.Switches.With(UserSwitch1, true)
	if r.IntN(2) == 0 {
		c.Sequence.Hold = HoldClutch
	}
	q := &c.Sequence
	q.Earn, q.AbortAfter, q.ClearAfter, q.LossAfter = 60*Millisecond, 30*Millisecond, 40*Millisecond, 30*Millisecond
	q.EndLift, q.EndAfter, q.ReturnTime = 50*Millisecond, 400*Millisecond, 0
	for i := range c.Channels {
		c.Channels[i].OnLoss = LossAction(r.IntN(2))
	}
	holdTerm := Term{Kind: SwitchOn, Switch: TransBrake}
	if q.Hold == HoldClutch {
		holdTerm.Switch = ClutchDown
	}
	c.Stages[4] = c.Stages[3] // main need not come last
	c.Stages[3] = Stage{Kind: Shift, When: Condition{All: [MaxTerms]Term{{Kind: SwitchOn, Switch: ShiftButton}}}}
	c.Stages[5] = Stage{Kind: User, When: Condition{Any: [MaxTerms]Term{{Kind: SwitchOff, Switch: FootBrake}, {Kind: Within, Channel: ManifoldPressure, Low: 90000, High: 150000}}}}
	c.Stages[6] = Stage{Kind: User, Moving: true, When: Condition{All: [MaxTerms]Term{{Kind: SwitchOn, Switch: UserSwitch1}, {Kind: Within, Channel: Throttle, Low: 600, High: 10000}}}}
	c.Stages[7] = Stage{Kind: User, Moving: true, When: Condition{All: [MaxTerms]Term{{Kind: SequenceIn, States: 1<<Released | 1<<Idle}}, Any: [MaxTerms]Term{holdTerm, {Kind: SwitchOn, Switch: BurnoutButton}}}}
	c.Stages[1].When = Condition{All: [MaxTerms]Term{holdTerm}}
	for i := range c.Stages {
		twinStageOf(r, &c.Stages[i])
	}
	return c
}

func twinStageOf(r *rand.Rand, st *Stage) {
	pick := func(x ...int) int { return x[r.IntN(len(x))] }
	st.Ceiling = Curve{Const: int32(pick(45000, 50000, 50010, 60000))}
	if st.Kind != AfterRelease && r.IntN(2) == 0 {
		st.Ceiling.Table = 1
	}
	st.When.Qualify = Duration(pick(0, 0, 10, 30)) * Millisecond
	st.SlewUp, st.SlewDown = Speed(pick(0, 0, 20000)), Speed(pick(0, 0, 30000))
	st.StaysDown, st.RestTo, st.RestSlew = r.IntN(2) == 0, Speed(pick(0, 30000, 44000)), Speed(pick(0, 20000))
	c := &st.Cut
	*c = Cut{Medium: Medium(pick(1, 2, 3, 3)), Style: Style(pick(0, 1, 1, 2)), Band: 2500, Hysteresis: Speed(pick(500, 1000)), Depth: Demand(pick(27720, 55440, 13860))}
	if c.Style == WholeEngine && c.Medium == Spark {
		c.Medium = Both
	}
	st.WholeLimit = Duration(pick(0, 40, 80)) * Millisecond
	st.Timing = Timing{}
	if r.IntN(2) == 0 {
		st.Timing = Timing{Mode: TimingMode(pick(1, 2)), Angle: Curve{Const: int32(pick(-1500, -500, 400))}, NearBand: Speed(pick(0, 3000))}
	}
	st.Mixture, st.Boost = Curve{Const: int32(pick(0, 9500, 9800, 10500))}, Curve{Const: int32(pick(0, 150000, 200000))}
	st.Guard = Guard{Longest: 80 * Millisecond, CoolDown: 160 * Millisecond}
	if st.Kind == Launch || r.IntN(2) == 0 {
		st.Guard = Guard{Longest: 640 * Millisecond, CoolDown: 1280 * Millisecond}
	}
	switch st.Kind {
	case Main:
		st.When, st.Ceiling, st.Guard = Condition{}, Curve{Const: int32(pick(52000, 70000)), Table: uint8(pick(0, 1))}, Guard{Longest: 80 * Millisecond, CoolDown: 160 * Millisecond}
		st.SlewUp, st.SlewDown, st.RestTo, st.Timing = 0, 0, 0, Timing{}
		c.Depth = FullDemand
	case AfterRelease:
		st.When.All, st.When.Any = [MaxTerms]Term{}, [MaxTerms]Term{}
	}
}

// nextInput moves one input in ten or so; values stand at thresholds and one
// unit to either side, or are lost, stale, extreme or repeated.
func nextInput(r *rand.Rand, cal *Calibration, in *Input, out *Output) {
	near := func(x int32) int32 { return x + int32(r.IntN(3)) - 1 }
	q := &cal.Sequence
	if r.IntN(12) == 0 {
		x := []int32{0, near(int32(q.ThrottleShut)), near(int32(q.ThrottleMin)), 7000, 9000, int32(One), int32(One) + 1, 600}[r.IntN(8)]
		in.Channels[Throttle] = Sample{Value: x, Good: r.IntN(12) > 0}
	}
	if r.IntN(4) == 0 {
		i := r.IntN(MaxStages)
		st := &cal.Stages[i].Cut
		c := int32(out.StageCeiling[i])
		if c == 0 {
			c = int32(out.Ceiling)
		}
		x := []int32{c, c - int32(st.Hysteresis), c - int32(st.Band), c + 5000, 36000, c - 3000, c + 1000}[r.IntN(7)]
		in.Channels[EngineSpeed] = Sample{Value: near(x), Good: r.IntN(40) > 0}
	} else {
		in.Channels[EngineSpeed].Age = 0
	}
	if r.IntN(20) == 0 {
		x := []int32{near(90000), near(150000), 100000, 200000, 60000, 1 << 30}[r.IntN(6)]
		in.Channels[ManifoldPressure] = Sample{Value: x, Good: r.IntN(8) > 0, Age: []uint16{0, 0, 5, 6, 65535}[r.IntN(5)]}
	}
	if r.IntN(40) == 0 {
		in.Channels[RoadSpeedMain] = Sample{Value: near([]int32{1, int32(q.EntrySpeed), 40000}[r.IntN(3)]), Good: r.IntN(8) > 0}
	}
	if r.IntN(60) == 0 {
		in.Channels[SurfaceTrim] = Sample{Value: int32(r.IntN(15)) - 7, Good: r.IntN(5) > 0}
	}
	for _, sw := range []Switch{ClutchDown, TransBrake, FootBrake, BurnoutButton, ShiftButton, UserSwitch1} {
		if r.IntN(30) == 0 {
			in.Put(sw, r.IntN(3) > 0)
			in.Known = in.Known.With(sw, r.IntN(12) > 0)
		}
	}
	if r.IntN(120) == 0 { // all that a launch needs
		in.Put(TransBrake, true)
		in.Put(ClutchDown, true)
		in.Set(Throttle, int32(One))
		in.Set(RoadSpeedMain, 0)
		in.Set(ManifoldPressure, 100000)
		in.Set(EngineSpeed, 44000)
	}
	in.Periods = uint16([]int{1, 1, 1, 1, 1, 0, 2, 3}[r.IntN(8)])
}

func (w *twin) agrees(out *Output, r *twinResult) bool {
	same := out.Active == r.active && out.Stage == r.stage && int(out.Ceiling) == r.ceiling &&
		int(out.Timing) == r.timing && int(out.Mixture) == r.mix && int(out.Boost) == r.boost
	for i := range r.ceilings {
		same = same && int(out.StageCeiling[i]) == r.ceilings[i]
	}
	if out.Speed < SpeedStanding {
		same = same && int(out.Demand) == r.demand && out.Medium == r.medium && out.CutStage == r.cutStage
	}
	return same
}

// raceCount says what a race has met.
type raceCount struct{ kept, expired, cuts, unions, released, aborted int }

// race runs both on the same inputs, the twin on a calibration of its own, and
// gives the first tick on which they differ, or -1.
func race(t testing.TB, seed uint64, ticks int, change func(*Calibration), seen *raceCount) (differ int, out Output, res twinResult) {
	r := rand.New(rand.NewPCG(seed, 55))
	cal := sealed(t, twinCar(r))
	other := *cal
	if change != nil {
		change(&other)
	}
	var s State
	require.NoError(t, s.Reset(cal))
	w := twin{cal: &other, lowest: highest}
	in := calm()
	for tick := range ticks {
		prev := out.Sequence
		nextInput(r, cal, &in, &out)
		s.Tick(cal, &in, &out)
		res = w.step(&in, prev, out.Marks, out.Sequence, out.Speed)
		if !w.agrees(&out, &res) {
			return tick, out, res
		}
		for i := range w.stages {
			seen.kept += int(b2i(w.stages[i].kept))
			seen.expired += int(b2i(w.stages[i].expired))
		}
		seen.cuts += int(b2i(out.Demand > 0))
		seen.unions += int(b2i(out.Medium == Both && cal.Stages[out.CutStage].Cut.Medium != Both))
		seen.released += int(b2i(out.Marks&MarkReleased != 0))
		seen.aborted += int(b2i(out.Marks&MarkAborted != 0))
	}
	return -1, out, res
}

func TestC1ArbitrationAgainstASimpleTwin(t *testing.T) {
	seeds, ticks := 500, 2000
	if long() {
		seeds *= 30
	}
	var seen raceCount
	for seed := range seeds {
		tick, out, res := race(t, uint64(seed), ticks, nil, &seen)
		require.Equal(t, -1, tick, "seed %d: the two disagree\nreal %+v\ntwin %+v", seed, out, res)
	}
	t.Logf("%d ticks agree: %+v", seeds*ticks, seen)
	for _, n := range []int{seen.kept, seen.expired, seen.cuts, seen.unions, seen.released, seen.aborted} {
		assert.Greater(t, n, 200)
	}
}

// One unit of difference in one number is found.
func TestTwinFindsPlantedFaults(t *testing.T) {
	for name, change := range map[string]func(c *Calibration){
		"hysteresis":  func(c *Calibration) { c.Stages[4].Cut.Hysteresis++ },
		"band":        func(c *Calibration) { c.Stages[4].Cut.Band++ },
		"ceiling":     func(c *Calibration) { c.Stages[0].Ceiling = Curve{Const: 44999} },
		"lift":        func(c *Calibration) { c.Sequence.LossAfter += c.Period },
		"closed":      func(c *Calibration) { c.Sequence.ThrottleShut++ },
		"comeback":    func(c *Calibration) { c.Sequence.Comeback += 100 },
		"trim":        func(c *Calibration) { c.Engine.TrimMax-- },
		"cool down":   func(c *Calibration) { c.Stages[0].Guard.CoolDown += c.Period },
		"entry speed": func(c *Calibration) { c.Sequence.EntrySpeed++ },
		"mixture":     func(c *Calibration) { c.Stages[6].Mixture = Curve{Const: 9499} },
	} {
		found := false
		var seen raceCount
		for seed := uint64(0); seed < 200 && !found; seed++ {
			tick, _, _ := race(t, seed, 2000, change, &seen)
			found = tick >= 0
		}
		assert.True(t, found, name)
	}
}
