package controller

// arbitrate puts the wishes of all active stages together: the lowest ceiling,
// the largest demand, the union of the media of all that cut, the pattern of the
// largest demand, the latest timing, the richest mixture and the lowest boost
// target.
func (s *State) arbitrate(v *view, out *Output) {
	cal := v.cal
	out.Base = v.base()
	out.Ceiling, out.Target = maxSpeed, maxSpeed
	w := wishes{boost: noBoost}
	s.considerStage(v, cal.main, out, &w)
	for i := range min(cal.stages, MaxStages) {
		switch {
		case i == cal.main:
		case s.stages[i].presence != absent:
			s.considerStage(v, i, out, &w)
		default:
			out.StageCeiling[i] = 0
			s.stages[i].warm(&cal.Stages[i], false, v.dt)
		}
	}
	s.timing.step(w.timing, v.dt)
	s.ceiling = out.Ceiling
	out.Mixture = w.mixtureOrBase()
	out.Boost = v.boost(w.boost)
}

// wishes is what active stages ask for beside their cuts.
type wishes struct {
	timing  timingWish
	rich    bool // a stage asks for a mixture
	mixture Ratio
	boost   Pressure
}

const noBoost Pressure = 1<<31 - 1

// mixtureOrBase is the richest wish, also where that is below 1; base where no
// stage has one.
func (w *wishes) mixtureOrBase() Ratio {
	if w.rich {
		return w.mixture
	}
	return One
}

// considerStage adds one active stage to the outcome. Main comes first, then the
// order of the file: that settles ties.
func (s *State) considerStage(v *view, i uint8, out *Output, w *wishes) {
	st, state := &v.cal.Stages[i], &s.stages[i]
	out.Active |= 1 << i
	want := out.StageCeiling[i]
	out.StageCeiling[i] = state.ceiling
	if state.ceiling < out.Ceiling {
		out.Ceiling, out.Stage = state.ceiling, i
	}
	out.Target = min(out.Target, state.ceiling, want)
	medium := state.medium(st, &v.cal.Engine)
	d := s.stageDemand(v, st, state, medium)
	if d > 0 {
		out.Medium |= medium
	}
	if d > out.Demand {
		out.Demand, out.CutStage = d, i
	}
	if st.Cut.Style == WholeEngine && st.Kind != Main {
		state.limitWhole(st, v, d == FullDemand)
	}
	late := false
	if state.works(st, v) {
		late = w.timing.consider(state, st, v, out.Base)
		if st.Mixture != (Curve{}) {
			w.richest(v, st.Mixture)
		}
	}
	state.warm(st, d > 0 || late || v.open != no && st.Kind != Main, v.dt)
	if st.Boost != (Curve{}) {
		w.lowestBoost(v, st)
	}
}

// medium is what a stage may withhold now: once its guard has expired, or an
// input is lost, no longer spark alone where fuel is ours.
func (s *stageState) medium(st *Stage, e *Engine) Medium {
	if st.Cut.Medium == Spark && (s.expired || s.presence == kept) && e.Fuel == FuelSequential {
		return Fuel
	}
	return st.Cut.Medium
}

// stageDemand is what one stage wants cut. Only a known speed is compared. While
// oxidiser flows all but main wait for the flush below the ceiling (A5).
func (s *State) stageDemand(v *view, st *Stage, state *stageState, m Medium) Demand {
	if s.speed.mode != SpeedGood {
		return 0
	}
	n := v.speed
	if st.Cut.Anticipate {
		n += s.rise(v, m)
	}
	d := state.demand(st, &s.mean, n, v.speed)
	if v.flowing && st.Kind != Main && v.speed < state.ceiling {
		state.latched = false
		return 0
	}
	return d
}

// rise is how far speed will rise within the delay of a medium: worked out once a
// tick, because it takes divisions.
func (s *State) rise(v *view, m Medium) Speed {
	if v.risen>>m&1 == 0 {
		v.rises[m&Both] = s.speed.ahead(v.cal.Engine.delay(m), &v.cal.Engine)
		v.risen |= 1 << m
	}
	return v.rises[m&Both]
}

// delay is the crank angle from a decision to its torque; of both media the
// longer one counts.
func (e *Engine) delay(m Medium) Angle {
	switch m {
	case Fuel:
		return e.FuelDelay
	case Spark:
		return e.SparkDelay
	}
	return max(e.FuelDelay, e.SparkDelay)
}

// richest keeps the richest mixture.
func (w *wishes) richest(v *view, mixture Curve) {
	if x, ok := v.curve(mixture, false); ok && (!w.rich || Ratio(x) > w.mixture) {
		w.rich, w.mixture = true, Ratio(x)
	}
}

func (w *wishes) lowestBoost(v *view, st *Stage) {
	x, ok := v.curve(st.Boost, st.RampLimit > 0)
	if !ok {
		x = int32(v.cal.Engine.BoostMin)
	}
	w.boost = min(w.boost, Pressure(x))
}

// boost is the target in force: the lowest wish, else the base; the minimum
// where manifold pressure is lost.
func (v *view) boost(wish Pressure) Pressure {
	e := &v.cal.Engine
	if v.lost.Has(ManifoldPressure) {
		return e.BoostMin
	}
	if wish != noBoost {
		return wish
	}
	x, ok := v.curve(e.BoostBase, false)
	if !ok {
		return e.BoostMin
	}
	return Pressure(x)
}

// base is the ignition angle without Holdline: from the channel where it is
// fitted, else from the calibration's curve.
func (v *view) base() Angle {
	x, ok := v.value(BaseTiming)
	if !ok {
		x, _ = v.curve(v.cal.Engine.BaseAngle, false)
	}
	return Angle(clamp(x, int32(LatestTiming), int32(EarliestTiming)))
}

// movePower gathers what added power looks at, steps it, and fills in the
// shots.
func (s *State) movePower(v *view, out *Output) {
	cal, p := v.cal, &s.power
	if cal.shots == 0 {
		return
	}
	p.cutAgo = min(p.cutAgo+v.dt, cal.Standing.t.cutMemory)
	if out.Demand > 0 {
		p.cutAgo = 0
	}
	in := powerInput{
		arm:        v.switchState(Arm),
		standing:   v.standing(&cal.Standing, p.cutAgo >= cal.Standing.t.mixtureWait),
		standstill: v.standstill(s.speed.mode),
		letGo:      v.hold == no,
	}
	if v.known {
		in.turning = v.speed >= cal.turning
		in.turned = min(cal.Engine.phaseOf(v.speed)*v.dt, cal.Engine.cyclePhase())
	}
	if s.speed.mode >= SpeedStanding {
		in.standing |= ShotRange
	}
	t := triggerInput{held: s.holds(v), target: out.Target, cutAgo: p.cutAgo}
	for i := range min(cal.shots, MaxShots) {
		sh := &cal.Shots[i]
		t.open = p.shots[i].phase == ShotOpen
		t.rise = s.speed.aheadFor(sh.t.slopeQ)
		in.trigger[i] = v.triggers(sh, s.sequence.since, &t)
		if sh.Feedback {
			in.feedback[i] = v.switchState(Feedback1 + Switch(i))
			if in.feedback[i] == unknown {
				in.trigger[i] |= ShotRange
			}
		}
	}
	var why [MaxShots]ShotInhibits
	p.step(cal, &in, v.dt, &why)
	out.Master = p.master(in.arm)
	for i := range min(cal.shots, MaxShots) {
		out.Shots[i].Inhibits = why[i]
		if cal.Shots[i].When != NoShot {
			p.shots[i].output(&cal.Shots[i], p.stuck>>i&1 != 0, in.turning, &out.Shots[i])
		}
	}
}

// holds reports whether the trans-brake holds the car with the launch stage in
// force and nothing lost.
func (s *State) holds(v *view) bool {
	return v.cal.launch < MaxStages && v.switchState(TransBrake) == yes && v.hold == yes &&
		s.stages[v.cal.launch].presence == active && !s.stages[v.cal.launch].expired &&
		s.sequence.state <= Held
}

// standstill is road speed near zero, or an engine that has stopped where road
// speed is not fitted.
func (v *view) standstill(mode SpeedState) bool {
	if !v.cal.Channels[RoadSpeedMain].Fitted {
		return mode <= SpeedCranking
	}
	x, ok := v.value(RoadSpeedMain)
	return ok && x < int32(MetrePerSecond)/2
}

// drawing reports whether any shot's oxidiser can still reach the intake. A cut
// does not wait for a stuck valve.
func (p *powerState) drawing(cal *Calibration) bool {
	for i := range min(cal.shots, MaxShots) {
		if p.stuck>>i&1 == 0 && p.shots[i].drawing(&cal.Shots[i]) {
			return true
		}
	}
	return false
}

// loaded reports whether any cylinder can hold oxidiser.
func (p *powerState) loaded(cal *Calibration) bool {
	for i := range min(cal.shots, MaxShots) {
		if p.shots[i].loaded() {
			return true
		}
	}
	return false
}

// richest is the most that stages and shots together may ask for before one more
// shot: beyond any engine, and its product with a shot's fits 32 bits.
const richest = 6 * One

// command leaves what the commits carry. With oxidiser in the engine a cut is
// of both media from the next fuel commit on, and far above main spark is
// withheld at once. A demand that speed can no longer renew stands as it is.
func (s *State) command(v *view, out *Output) {
	cal, c := v.cal, &s.cmd
	var retard Angle
	c.loaded = s.power.loaded(cal)
	if c.loaded {
		out.Mixture = max(out.Mixture, One) // oxidiser may outlast the stage that a shot was for
	}
	for i := range min(cal.shots, MaxShots) {
		retard += out.Shots[i].Retard
		if more := out.Shots[i].Enrich; more > One {
			out.Mixture = Ratio(mulRatio(int32(min(out.Mixture, richest)), more))
		}
	}
	out.Timing = s.timing.angle(out.Base, retard)
	c.timing, c.mixture = int16(out.Timing), out.Mixture
	c.overrun = c.loaded && v.known && v.speed > s.stages[cal.main].ceiling+cal.Engine.OverrunMargin
	if s.speed.mode >= SpeedStanding {
		out.Demand, out.Medium = c.demand, c.medium
	}
	if c.loaded && out.Demand > 0 {
		out.Medium = cal.Engine.safeMedium()
	}
	c.demand, c.medium = out.Demand, out.Medium
	if s.speed.mode >= SpeedStanding {
		out.Medium, out.Demand, _ = s.inForce(cal)
		return
	}
	st := &cal.Stages[out.CutStage]
	c.pattern, c.list = st.Cut.Pattern, st.Cut.Cylinders
	if out.Demand > 0 {
		c.refire, c.cycles = int16(st.Refire), st.RefireFor
	}
}
