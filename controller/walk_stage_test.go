package controller

import (
	"fmt"
	"hash/maphash"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// This walk goes over launch sequence, stages, arbitration, timing and the memory
// of commits as Tick wires them. Engine speed comes from the input as it is
// judged: its filter has continuous memory, and tests of its own.

// stageMove is one edge: a tick, or the commits of the next firing event.
type stageMove struct {
	commit bool
	in     Input
	mode   SpeedState
	speed  Speed
	hold   truth
	lossy  int // index of the move that is this one with nothing lost, or -1
}

// stageNode is one state of the product of controller, crank and monitor.
type stageNode struct {
	s     State
	m     stageMonitor
	event uint8 // of the crank: small, wrapping
	lag   uint8 // commits since the last tick, at most an engine cycle
}

// stageMonitor judges C1, C5, C6 and C7 from inputs and outputs.
type stageMonitor struct {
	ceiling Speed
	active  uint8
	medium  Medium
	demand  bool
	stood   uint8
	shut    uint8 // ticks of throttle seen closed, saturating
	mode    SpeedState
	cycles  [2][2]pairMonitor
}

// pairMonitor is what was seen of one cycle at its fuel commit.
type pairMonitor struct {
	seen, give bool
	under      Medium
}

// stageCar has two cylinders and timers of a few ticks.
func stageCar(t testing.TB, n int) *Calibration {
	c := testCar()
	c.Period = 10 * Millisecond
	c.Shots, c.Standing = [MaxShots]Shot{}, Standing{}
	e := &c.Engine
	e.Cylinders, e.Order, e.CommitLead = 2, [MaxCylinders]uint8{1, 2}, 1
	c.Channels[SurfaceTrim] = ChannelSpec{}
	launch, main := &c.Stages[1], &c.Stages[3]
	launch.Timing, launch.Boost, launch.RestTo = Timing{}, Curve{}, 0
	launch.Cut = Cut{Medium: Both, Style: Hard, Hysteresis: 100 * RPM, Depth: FullDemand}
	launch.Ceiling = Curve{Table: 1}
	c.Tables[0] = Table{
		Columns: Axis{Channel: Throttle, N: 2, Points: [8]int32{6000, 10000}},
		Cells:   [8][8]int32{{50000, 45000}},
	}
	c.Stages[2].Ceiling = Curve{Const: 60000}
	c.Stages[2].Cut = Cut{Medium: Fuel, Style: Soft, Band: 200 * RPM}
	main.Cut = Cut{Medium: Both, Style: Hard, Hysteresis: 100 * RPM, Depth: FullDemand}
	switch n {
	case 1: // a burnout stage that cuts spark for a short while, main cutting fuel
		main.Cut.Medium = Fuel
		c.Stages[0].Cut = Cut{Medium: Spark, Style: WholeEngine, Hysteresis: 100 * RPM, Depth: FullDemand}
		e.Fuel, e.CommitLead = FuelNotOurs, 0
		main.Cut.Medium, launch.Cut.Medium, c.Stages[2].Cut.Medium = Spark, Spark, Spark
		c.Stages[0].Guard = Guard{Longest: Second, CoolDown: Second}
	case 2: // half of the events, and media that join
		launch.Cut.Depth, launch.Cut.Medium = FullDemand/2, Both
		c.Stages[0].Cut.Medium = Fuel
	}
	cal := sealed(t, c)
	short(cal)
	return cal
}

// short replaces what Seal made of the times by a few ticks.
func short(cal *Calibration) {
	q := &cal.Sequence.t
	q.earn, q.abort, q.clear, q.loss, q.endLift, q.endAfter, q.ret = 2, 1, 1, 2, 1, 2, 0
	for i := range cal.Stages {
		x := &cal.Stages[i].t
		x.qualify = min(x.qualify, 1)
		x.whole = min(x.whole, 2)
		if x.heatFull > 0 {
			x.heatFull, x.heatUp, x.heatDown = 4, 1, 2
		}
	}
}

// stageMoves are the commits and the product of the representatives of inputs.
func stageMoves(whole bool) (list []stageMove) {
	list = append(list, stageMove{commit: true, lossy: -1})
	type judged struct {
		mode SpeedState
		n    Speed
	}
	speeds := []judged{{SpeedGood, 48000}, {SpeedGood, 90000}, {SpeedWithheld, 48000}}
	if whole {
		speeds = []judged{{SpeedGood, 30000}, {SpeedGood, 44500}, {SpeedGood, 48000}, {SpeedGood, 59000}, {SpeedGood, 90000}, {SpeedStanding, 48000}, {SpeedWithheld, 48000}, {SpeedCranking, 3000}}
	}
	throttles := []int32{0, int32(One)}
	buttons := []bool{false}
	if whole {
		throttles, buttons = []int32{0, 6000, int32(One)}, []bool{false, true}
	}
	for _, n := range speeds {
		for _, x := range throttles {
			for _, b := range buttons {
				for _, hold := range []bool{false, true} {
					list = addLosses(list, n.mode, n.n, x, b, hold)
				}
			}
		}
	}
	return list
}

// addLosses adds one move with everything known, and its variants with one input
// lost.
func addLosses(list []stageMove, mode SpeedState, n Speed, throttle int32, button, hold bool) []stageMove {
	in := calm()
	in.Set(EngineSpeed, int32(n))
	in.Set(Throttle, throttle)
	in.Put(BurnoutButton, button)
	in.Put(TransBrake, hold)
	good := stageMove{in: in, mode: mode, speed: n, hold: truthOf(hold), lossy: -1}
	at := len(list)
	list = append(list, good)
	lost := good
	lost.lossy = at
	lost.in.Channels[Throttle].Good = false
	list = append(list, lost)
	lost = good
	lost.lossy, lost.hold = at, unknown
	lost.in.Known = lost.in.Known.With(TransBrake, false)
	list = append(list, lost)
	lost = good
	lost.lossy = at
	lost.in.Channels[RoadSpeedMain].Good = false
	return append(list, lost)
}

// judgedTick is Tick with engine speed as the input judges it.
func judgedTick(s *State, cal *Calibration, mv *stageMove, out *Output) {
	*out = Output{}
	s.speed = speedState{mode: mv.mode, last: mv.speed}
	var v view
	v.begin(&mv.in, cal, 1)
	v.speed = mv.speed
	v.known = mv.mode == SpeedGood || mv.mode == SpeedCranking
	v.judge(v.known)
	v.hold = v.holdInput()
	v.throttle(&cal.Sequence)
	s.shutFor = uint16(countIf(v.shut == yes, uint32(s.shutFor), 1, cal.Sequence.t.loss))
	out.Marks = s.moveSequence(&v)
	s.moveStages(&v, out)
	s.arbitrate(&v, out)
	s.movePower(&v, out)
	s.command(&v, out)
	s.report(&v, out)
}

// stagePlant changes a state after a tick, or an output: a planted fault.
type stagePlant func(old, s *State, mv *stageMove, out *Output)

func (m *stageMonitor) tick(cal *Calibration, mv *stageMove, out *Output) string {
	main := cal.main
	throttle := mv.in.Channels[Throttle]
	m.shut = satIf(throttle.Good && throttle.Value <= int32(cal.Sequence.ThrottleShut), m.shut, cal.Sequence.t.loss)
	lowest := maxSpeed
	for i := range cal.Stages {
		if out.Active>>i&1 != 0 {
			lowest = min(lowest, out.StageCeiling[i])
		} else if cal.Stages[i].Kind != NoStage && out.StageInhibits[i].Name() == "" {
			return "C7: a stage is not active and nothing says why"
		}
	}
	switch {
	case out.Active>>main&1 == 0 || out.StageCeiling[main] != Speed(cal.Stages[main].Ceiling.Const):
		return "C1: main removed or moved"
	case out.Ceiling != lowest:
		return "C1: the lowest ceiling is not in force"
	case mv.mode == SpeedGood && mv.speed >= out.StageCeiling[main] && out.Demand != FullDemand:
		return "C1: main does not cut"
	case mv.mode == SpeedWithheld && (out.Demand != FullDemand || out.Medium != cal.Engine.safeMedium()):
		return "section 7: an unknown speed is not withheld"
	case out.Demand > 0 && out.Medium == NoMedium:
		return "C7: a demand without a medium"
	}
	m.ceiling, m.active, m.medium, m.demand, m.mode, m.stood = out.Ceiling, uint8(out.Active), out.Medium, out.Demand > 0, mv.mode, 0
	return ""
}

// under is the medium in force at a commit.
func (m *stageMonitor) under(e *Engine) Medium {
	if m.mode == SpeedStanding && m.stood >= e.Cylinders {
		return e.safeMedium()
	}
	if !m.demand {
		return NoMedium
	}
	return m.medium
}

// stand counts the cycles decided while the last demand stands.
func (m *stageMonitor) stand(e *Engine) {
	if m.mode == SpeedStanding && m.stood < e.Cylinders {
		m.stood++
	}
}

// commits asks for the fuel of a coming cycle and the spark of this one, twice
// each, and judges the pair (C5, C7).
func (n *stageNode) commits(cal *Calibration, plant func(*State)) string {
	e := &cal.Engine
	if e.Fuel != FuelNotOurs {
		if broken := n.fuel(cal, n.event+e.CommitLead); broken != "" {
			return broken
		}
	}
	if plant != nil {
		plant(&n.s)
	}
	if broken := n.spark(cal, n.event); broken != "" {
		return broken
	}
	n.event = (n.event + 1) % 8
	n.lag++
	n.s.speed.events, n.s.speed.idle = 0, 0 // the rate check is not walked
	return ""
}

func (n *stageNode) fuel(cal *Calibration, event uint8) string {
	cyl, cycle := event%2, Cycle(event/2%4)
	under := n.m.under(&cal.Engine)
	d := n.s.FuelCommit(cal, cal.Engine.Order[cyl], cycle)
	was := n.s
	if d != n.s.FuelCommit(cal, cal.Engine.Order[cyl], cycle) || was != n.s {
		return "section 4: asking for fuel twice is not the same"
	}
	switch {
	case !d.Give && under&Fuel == 0:
		return "C7: fuel withheld while no fuel cut is in force"
	case !d.Give && d.Why != WhyCut && d.Why != WhySpeedUnknown:
		return "C7: fuel withheld without a reason"
	}
	n.m.stand(&cal.Engine)
	n.m.cycles[cyl][cycle&1] = pairMonitor{seen: true, give: d.Give, under: under}
	return ""
}

func (n *stageNode) spark(cal *Calibration, event uint8) string {
	cyl, cycle := event%2, Cycle(event/2%4)
	p := &n.m.cycles[cyl][cycle&1]
	under := n.m.under(&cal.Engine)
	d := n.s.SparkCommit(cal, cal.Engine.Order[cyl], cycle)
	was := n.s
	if d != n.s.SparkCommit(cal, cal.Engine.Order[cyl], cycle) || was != n.s {
		return "section 4: asking for spark twice is not the same"
	}
	carb := cal.Engine.Fuel == FuelNotOurs
	switch {
	case !d.Fire && d.Why != WhyCut && d.Why != WhySpeedUnknown && d.Why != WhyPaired:
		return "C7: spark withheld without a reason"
	case !p.seen && !d.Fire && !carb:
		return "section 4: spark withheld, its fuel commit was not seen"
	case p.seen && !p.give && p.under == Both && d.Fire:
		return "C5: fuel withheld as a pair, spark given"
	case p.seen && !p.give && p.under == Fuel && !d.Fire:
		return "section 4: fuel withheld by a fuel cut, spark withheld"
	case p.seen && p.give && !carb && (p.under == Both || under == Both) && !d.Fire:
		return "C5: fuel given, spark withheld under a cut of both"
	case (p.seen && p.give || carb) && !d.Fire && under&Spark == 0:
		return "C7: spark withheld while no spark cut is in force"
	}
	if carb {
		n.m.stand(&cal.Engine)
	}
	*p = pairMonitor{}
	return ""
}

// stageWalk is what a walk has seen.
type stageWalk struct {
	states, edges, losses int
	released              int
	broken                string
	whole                 bool // every reachable state was visited
}

type stageKey [2]uint64

// walkStages visits reachable states breadth first, at most limit of them (0: all).
// States are remembered by 128 bits of hash: at 10^8 states two share one with a
// chance below 10^-22.
func walkStages(cal *Calibration, moves []stageMove, limit int, plant stagePlant, between func(*State)) (r stageWalk) {
	a, b := maphash.MakeSeed(), maphash.MakeSeed()
	key := func(n *stageNode) stageKey { return stageKey{maphash.Comparable(a, *n), maphash.Comparable(b, *n)} }
	var start stageNode
	if start.s.Reset(cal) != nil {
		return stageWalk{broken: "not sealed"}
	}
	start.m.ceiling = maxSpeed
	seen := map[stageKey]struct{}{key(&start): {}}
	for queue := []stageNode{start}; len(queue) > 0; {
		var next []stageNode
		for f := range queue {
			outs := make([]Output, len(moves))
			for k := range moves {
				to := queue[f]
				if r.broken = r.edge(cal, &to, &moves[k], outs, k, plant, between); r.broken != "" {
					return r
				}
				if to.lag > 2*2 {
					continue // ticks come at least once in two engine cycles here
				}
				h := key(&to)
				if _, ok := seen[h]; !ok && (limit == 0 || len(seen) < limit) {
					seen[h] = struct{}{}
					next = append(next, to)
				}
			}
		}
		queue = next
		r.states = len(seen)
	}
	r.whole = limit == 0 || r.states < limit
	return r
}

// edge makes one move and judges it.
func (r *stageWalk) edge(cal *Calibration, to *stageNode, mv *stageMove, outs []Output, k int, plant stagePlant, between func(*State)) string {
	r.edges++
	if mv.commit {
		return to.commits(cal, between)
	}
	old := to.s
	before, was := to.m.ceiling, to.m.active
	judgedTick(&to.s, cal, mv, &outs[k])
	if plant != nil {
		plant(&old, &to.s, mv, &outs[k])
	}
	to.lag = 0
	out := &outs[k]
	r.released += int(b2i(out.Sequence == Released))
	if broken := to.m.tick(cal, mv, out); broken != "" {
		return broken
	}
	if mv.lossy < 0 || mv.hold == no {
		return ""
	}
	if uint32(to.m.shut) >= cal.Sequence.t.loss {
		return "" // section 7: a throttle closed long enough ends what a loss has kept
	}
	// C6: the same tick with nothing lost is the yardstick, by the stages that were
	// active before it: one that was inactive may stay so (section 7).
	r.losses++
	if out.Ceiling > max(before, ceilingOf(&outs[mv.lossy], was)) {
		return fmt.Sprintf("C6: a loss raised the ceiling from %d to %d", before, out.Ceiling)
	}
	return ""
}

// ceilingOf is the lowest ceiling of the stages in a set that are active.
func ceilingOf(out *Output, set uint8) Speed {
	lowest := maxSpeed
	for i := range out.StageCeiling {
		if set&uint8(out.Active)>>i&1 != 0 {
			lowest = min(lowest, out.StageCeiling[i])
		}
	}
	return lowest
}

// The slice visits a bounded part, nearest the start first; HOLDLINE_LONG=1 visits
// every state under the coarse inputs, and a million under the fine ones.
func TestWalkStagesAndCutsC1C5C6C7(t *testing.T) {
	for n := range 3 {
		if long() {
			judgeStages(t, n, stageMoves(false), 0)
			judgeStages(t, n, stageMoves(true), 1000000)
			continue
		}
		judgeStages(t, n, stageMoves(false), 30000)
		judgeStages(t, n, stageMoves(true), 1000)
	}
}

func judgeStages(t *testing.T, n int, moves []stageMove, limit int) {
	r := walkStages(stageCar(t, n), moves, limit, nil, nil)
	t.Logf("car %d, %d moves: %d states, %d edges, %d with a loss while held, released on %d, all: %v", n, len(moves), r.states, r.edges, r.losses, r.released, r.whole)
	require.Empty(t, r.broken, "car %d", n)
	assert.Positive(t, r.losses)
	if limit == 0 || limit > 2000 {
		assert.Positive(t, r.released, "never released: the walk proves little")
	}
}

func TestStageWalkFindsPlantedFaults(t *testing.T) {
	for _, x := range []struct {
		what, rule string
		plant      stagePlant
		between    func(*State)
	}{
		{"main follows the stage", "C1", func(_, s *State, _ *stageMove, o *Output) {
			if o.Active&^(1<<3) != 0 {
				o.StageCeiling[3] += 10
			}
		}, nil},
		{"the highest ceiling is in force", "C1", func(_, _ *State, _ *stageMove, o *Output) {
			for i := range o.StageCeiling {
				o.Ceiling = max(o.Ceiling, o.StageCeiling[i])
			}
		}, nil},
		{"main does not cut on its own", "C1", func(_, s *State, mv *stageMove, o *Output) {
			if o.CutStage == 3 {
				o.Demand, s.cmd.demand = 0, 0
			}
		}, nil},
		{"a loss ends the held stage", "C6", func(_, s *State, mv *stageMove, o *Output) {
			if s.stages[1].presence == kept {
				s.stages[1].leave()
				o.Active &^= 1 << 1
				o.StageInhibits[1] = StageInputLost
				o.Ceiling, s.ceiling = 90000, 90000
			}
		}, nil},
		{"no reason for a stage", "C7", func(_, _ *State, _ *stageMove, o *Output) { o.StageInhibits[0] &^= StageCondition }, nil},
		{"pairs are forgotten", "C5", nil, func(s *State) {
			for i := range s.slots {
				s.slots[i][0].bits &^= slotPair | fuelCut
			}
		}},
		{"slots are forgotten", "", nil, func(s *State) { s.slots = [MaxCylinders][2]slot{} }},
	} {
		r := walkStages(stageCar(t, 0), stageMoves(false), 20000, x.plant, x.between)
		assert.Contains(t, r.broken, x.rule, x.what)
		assert.NotEmpty(t, r.broken, x.what)
	}
}
