package controller

// Tick runs one period: it judges the inputs, moves the launch sequence and the
// stages, puts the stages' wishes together, gates added power, and leaves the
// commands that commits will carry. It allocates nothing. A calibration that is
// not sealed gives the zero output.
func (s *State) Tick(cal *Calibration, in *Input, out *Output) {
	if cal == nil || !cal.sealed {
		*out = Output{}
		return
	}
	out.clear()
	var v view
	v.begin(in, cal, min(max(uint32(in.Periods), 1), MaxPeriods))
	s.judge(&v)
	out.Marks = s.moveSequence(&v)
	s.moveStages(&v, out)
	s.arbitrate(&v, out)
	s.movePower(&v, out)
	s.command(&v, out)
	s.report(&v, out)
}

// judge fills in the view: what can be trusted, and the facts that several
// parts read.
func (s *State) judge(v *view) {
	cal := v.cal
	spec := &cal.Channels[EngineSpeed]
	sample := v.in.Channels[EngineSpeed]
	valid := sample.Good && sample.Value >= spec.Low && sample.Value <= spec.High
	s.speed.step(&cal.Engine, sample, valid, v.dt, s.ceiling)
	if valid && s.speed.last < stoppedBelow && uint32(s.speed.idle) >= stoppedFor*cal.Engine.t.staleMin {
		s.LostSync()
	}
	v.known = s.speed.mode == SpeedGood || s.speed.mode == SpeedCranking
	v.speed = s.speed.last
	v.judge(v.known)
	s.mean.step(&cal.Engine, v.speed, v.dt)
	v.hold = v.holdInput()
	v.throttle(&cal.Sequence)
	s.shutFor = uint16(countIf(v.shut == yes, uint32(s.shutFor), v.dt, cal.Sequence.t.loss))
	v.flowing = s.power.drawing(cal)
}

// byFoot reports whether the foot brake holds the car: its switch then may read
// on for a moment after the let-go, and ends the launch only when that is over.
func (h HoldInput) byFoot() bool { return h == HoldFootBrake || h == HoldBrakePressure }

// holdInput reads the input that says whether the launch device holds the car.
func (v *view) holdInput() truth {
	switch v.cal.Sequence.Hold {
	case HoldClutch:
		return v.switchState(ClutchDown)
	case HoldTransBrake:
		return v.switchState(TransBrake)
	case HoldFootBrake:
		return v.switchState(FootBrake)
	case HoldBrakePressure:
		p, ok := v.value(BrakePressure)
		if !ok {
			return unknown
		}
		return truthOf(Pressure(p) >= v.cal.Sequence.HoldPressure)
	}
	return no
}

func (v *view) throttle(q *Sequence) {
	v.open, v.shut = unknown, unknown
	if x, ok := v.value(Throttle); ok {
		v.open, v.shut = truthOf(Ratio(x) >= q.ThrottleMin), truthOf(Ratio(x) <= q.ThrottleShut)
	}
}

// moveSequence steps the launch sequence against the launch stage as it stood at
// the tick before.
func (s *State) moveSequence(v *view) Marks {
	cal := v.cal
	if cal.Sequence.Hold == HoldNone {
		return 0
	}
	in := sequenceInput{hold: v.hold, open: v.open, shut: v.shut}
	settled := !cal.Sequence.Hold.byFoot() || s.sequence.since >= cal.Sequence.t.reapply
	in.brake = settled && v.switchState(FootBrake) == yes
	in.fail = s.speed.mode != SpeedGood
	if cal.launch < MaxStages {
		launch := &s.stages[cal.launch]
		in.fail = in.fail || launch.presence == kept || launch.expired && launch.presence == active
		in.entry = s.sequence.state == Idle && (launch.presence == active || s.entry(v, &cal.Stages[cal.launch], launch) == 0)
		in.near = v.known && s.nearLaunch(v)
	}
	marks := s.sequence.step(&cal.Sequence, in, v.dt)
	v.seq = s.sequence.state
	v.since = s.sinceMillis(cal)
	if marks&MarkReleased != 0 {
		s.onRelease(cal)
	}
	return marks
}

// nearLaunch reports whether speed is within the distance of the launch ceiling
// that earns a hold.
func (s *State) nearLaunch(v *view) bool {
	launch := &s.stages[v.cal.launch]
	return launch.presence == active && v.speed >= launch.ceiling-v.cal.Sequence.EarnWithin
}

// sinceMillis is the time since release as a table axis.
func (s *State) sinceMillis(cal *Calibration) int32 {
	if s.sequence.state == Idle {
		return 0
	}
	return int32(uint64(s.sequence.since) * uint64(cal.Sequence.t.millisQ) >> 16)
}

// onRelease clears every cut latch, so that demand drops at the next commit,
// and starts the return of timing to base.
func (s *State) onRelease(cal *Calibration) {
	for i := range s.stages {
		s.stages[i].latched = false
	}
	s.timing.release(cal.Sequence.t.ret)
	s.ramp = 0
}

// entry gives what the launch sequence holds against entering a stage.
func (s *State) entry(v *view, st *Stage, state *stageState) (why StageInhibits) {
	if st.Kind == Launch {
		return s.launchEntry(v, st, state.presence)
	}
	if st.Kind == AfterRelease && s.sequence.state != Released {
		return StageSequence
	}
	return 0
}

// launchEntry keeps a clutch pressed at high speed from becoming a launch.
func (s *State) launchEntry(v *view, st *Stage, at presence) (why StageInhibits) {
	q := &v.cal.Sequence
	switch s.sequence.state {
	case Released, Ended:
		return StageSequence
	case Aborted:
		if at == absent {
			return StageSequence
		}
	case Idle:
		if !s.sequence.ready {
			why |= StageReentry
		}
	}
	if at == active {
		return 0 // entered before: the rest is about entering
	}
	road, ok := v.value(RoadSpeedMain)
	if !ok || RoadSpeed(road) > q.EntrySpeed {
		why |= StageRoadSpeed
	}
	if ceiling, _ := v.curve(st.Ceiling, false); !v.known || v.speed > Speed(ceiling)+s.trim+q.EntryAbove {
		why |= StageTooFast
	}
	return why
}

// moveStages steps every stage, and leaves the ceiling that each goes towards in
// StageCeiling, for arbitration. While speed is unknown all but main stand
// still.
func (s *State) moveStages(v *view, out *Output) {
	cal := v.cal
	s.moveTrim(v)
	s.moveRamp(v)
	v.trim, v.ramp, v.start = s.trim, s.ramp, s.ceiling
	v.shutFor = uint32(s.shutFor) >= cal.Sequence.t.loss
	frozen := s.speed.mode >= SpeedStanding
	for i := range min(cal.stages, MaxStages) {
		st := &cal.Stages[i]
		if st.Kind == NoStage {
			continue
		}
		state := &s.stages[i]
		if frozen && st.Kind != Main {
			out.StageInhibits[i], out.StageCeiling[i] = StageSpeed, state.ceiling
			continue
		}
		in := stageInput{when: v.condition(st)}
		if state.presence == active || state.presence == absent && in.when != no {
			in.entry = s.entry(v, st, state)
		}
		out.StageInhibits[i], out.StageCeiling[i] = state.step(st, v, in)
	}
}

// moveTrim follows the trim knob; while the device holds the car it is frozen,
// so that losing it raises nothing. The first tick takes it as it stands: a
// controller that restarts under a hold must not forget a trim for a slippery
// surface.
func (s *State) moveTrim(v *view) {
	first := s.ceiling == maxSpeed
	if !first && v.hold != no && v.cal.Sequence.Hold != HoldNone && s.sequence.state != Released {
		return
	}
	e := &v.cal.Engine
	x, ok := v.value(SurfaceTrim)
	if !ok {
		s.trim = 0
		return
	}
	s.trim = Speed(clamp(clamp(x, -1000, 1000)*int32(e.TrimStep), -int32(e.TrimMax), int32(e.TrimMax)))
}

// moveRamp lets a road speed taken from driven wheels rise no faster than the
// greatest acceleration that a ramp believes; it never falls within a launch.
func (s *State) moveRamp(v *view) {
	if s.sequence.state != Released || v.cal.rampStep == 0 {
		return
	}
	x, ok := v.value(v.cal.rampChannel)
	if !ok {
		return
	}
	s.ramp = max(s.ramp, min(x, s.ramp+stepOf(v.cal.rampStep, v.dt)))
}

// clear empties what a tick only adds to; all else it sets in any case. (Clearing
// the whole took a tenth of a tick on a microcontroller.)
func (out *Output) clear() {
	out.Active, out.Stage, out.CutStage, out.Medium = 0, 0, 0, 0
	out.Demand, out.Master = 0, false
	for i := range out.Shots {
		out.Shots[i] = ShotOutput{}
	}
	for i := range out.StageCeiling {
		out.StageInhibits[i], out.StageCeiling[i] = 0, 0
	}
}

// report fills in what a reader wants and nothing acts on.
func (s *State) report(v *view, out *Output) {
	out.Sequence = s.sequence.state
	out.Speed = s.speed.mode
	out.Faults = s.power.faults
	out.SinceRelease = s.sequence.since
	out.LastWithheld = s.sequence.lastWith
	out.Trim = s.trim
	out.Lost = v.lost
	out.Slope = int32(int64(s.speed.slope) * int64(v.cal.Engine.t.slopeQ) >> 16)
}
