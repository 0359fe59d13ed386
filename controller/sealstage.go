package controller

// stages checks every stage and what they are together.
func (s *sealer) stages() {
	c := s.cal
	c.launch, c.main, c.stages = MaxStages, MaxStages, 0
	c.rampStep, c.rampChannel = 0, 0
	for i := range c.Stages {
		st := &c.Stages[i]
		s.at(PartStage, i)
		st.t = stageTicks{}
		switch st.Kind {
		case NoStage:
			continue
		case Main:
			s.failIf(c.main < MaxStages, "kind", "there is a main stage already")
			c.main = uint8(i)
		case Launch:
			s.failIf(c.launch < MaxStages, "kind", "there is a launch stage already")
			c.launch = uint8(i)
		}
		c.stages = uint8(i) + 1
		s.stage(st)
	}
	s.at(PartCalibration, 0)
	s.failIf(c.main == MaxStages, "stage", "there is no main stage: one is always needed")
	s.failIf(c.Sequence.Hold != HoldNone && c.launch == MaxStages, "stage", "a launch sequence needs a launch stage")
	if c.main < MaxStages {
		s.ceilingsBelowMain()
	}
}

// ceilingsBelowMain notes stages that main hides.
func (s *sealer) ceilingsBelowMain() {
	main := s.cal.Stages[s.cal.main].Ceiling.Const
	for i := range s.cal.Stages {
		st := &s.cal.Stages[i]
		if st.Kind == NoStage || st.Kind == Main {
			continue
		}
		s.at(PartStage, i)
		s.warnIf(s.cal.lowest(st.Ceiling) >= main, "ceiling", "is nowhere below the main ceiling: this stage never limits")
	}
}

func (s *sealer) stage(st *Stage) {
	s.failIf(st.Kind >= numStageKinds, "kind", "no such kind of stage")
	s.failIf(st.Moving && st.Kind != User, "moving", "only a user stage says whether it moves; the others know")
	s.condition(st, &st.When)
	s.curve("ceiling", st.Ceiling, 300*int32(RPM), 20000*int32(RPM))
	st.t.qualify = s.ticks("qualify", st.When.Qualify, shortTicks)
	st.t.slewUp = s.perTick("slew_up", int32(st.SlewUp), 100000*int32(RPM))
	st.t.slewDown = s.perTick("slew_down", int32(st.SlewDown), 100000*int32(RPM))
	st.t.restSlew = s.perTick("rest_slew", int32(st.RestSlew), 100000*int32(RPM))
	s.failIf(st.RestTo < 0 || st.RestTo > 0 && st.RestTo < 300*RPM, "rest_to", "must be 0 or a ceiling from 300 rpm up")
	s.curve("mixture", st.Mixture, 0, 2*int32(One))
	s.between("refire", int32(st.Refire), 0, int32(One))
	s.between("refire_for", int32(st.RefireFor), 0, 100)
	s.curve("boost", st.Boost, 0, 10*int32(Bar))
	s.needs(st)
	s.cut(st)
	s.timing(st)
	s.guard(st)
	s.ramp(st)
	switch st.Kind {
	case Main:
		s.mainStage(st)
	case Launch, AfterRelease:
		s.failIf(s.cal.Sequence.Hold == HoldNone, "kind", "needs a launch sequence: declare the hold input")
	}
}

// mainStage: nothing may remove or raise it, and it must be able to stop the
// engine.
func (s *sealer) mainStage(st *Stage) {
	s.failIf(st.When != Condition{}, "when", "the main stage is always in force")
	s.between("ceiling", st.Ceiling.Const, 300*int32(RPM), 20000*int32(RPM))
	s.failIf(st.SlewUp != 0 || st.SlewDown != 0 || st.RestTo != 0, "slew_up", "the main ceiling does not slew")
	s.failIf(st.Cut.Style == Regulate, "style", "the main stage cuts soft, hard or whole-engine")
	s.failIf(st.Cut.Style == Hard && st.Cut.Depth != FullDemand, "depth", "the main stage must be able to cut everything: depth 1")
	s.failIf(st.Timing.Mode != TimingBase, "timing", "the main stage leaves timing alone")
}

func (s *sealer) condition(st *Stage, c *Condition) {
	s.terms("all", &c.All)
	s.terms("any", &c.Any)
	st.t.sort(c)
	s.failIf(st.Kind != Main && c.All[0].Kind == NoTerm && c.Any[0].Kind == NoTerm && st.Kind != AfterRelease,
		"when", "has no condition: the stage would always be in force")
}

// sort puts the switches of a condition that looks at nothing else into sets:
// most do, and two sets are judged at once.
func (t *stageTicks) sort(c *Condition) {
	t.plain = c.Any[0].Kind == NoTerm
	for i := range c.All {
		switch x := &c.All[i]; x.Kind {
		case NoTerm:
		case SwitchOn:
			t.on = t.on.With(x.Switch, true)
		case SwitchOff:
			t.off = t.off.With(x.Switch, true)
		default:
			t.plain = false
		}
	}
}

func (s *sealer) terms(field string, list *[MaxTerms]Term) {
	ended := false
	for i := range list {
		t := &list[i]
		if t.Kind == NoTerm {
			ended = true
			continue
		}
		s.failIf(ended, field, "terms must follow each other without a gap")
		switch t.Kind {
		case SwitchOn, SwitchOff:
			s.failIf(t.Switch >= NumSwitches || !s.cal.Switches.Has(t.Switch), field, "names a switch that is not fitted")
		case Within:
			s.failIf(t.Channel > SinceRelease || !s.fitted(t.Channel), field, "names a channel that is not fitted")
			s.failIf(t.Low > t.High, field, "the lower end lies above the upper")
		case SequenceIn:
			s.failIf(t.States == 0 || t.States>>numSequenceStates != 0, field, "names no state of the launch sequence, or one that there is not")
			s.failIf(s.cal.Sequence.Hold == HoldNone, field, "there is no launch sequence: declare the hold input")
		default:
			s.fail(field, "no such kind of term")
		}
	}
}

// needs collects the inputs whose loss concerns a stage.
func (s *sealer) needs(st *Stage) {
	t := &st.t
	for _, list := range [...]*[MaxTerms]Term{&st.When.All, &st.When.Any} {
		for i := range list {
			switch x := &list[i]; x.Kind {
			case SwitchOn, SwitchOff:
				t.needsSw = t.needsSw.With(x.Switch, true)
			case Within:
				t.need(x.Channel)
			}
		}
	}
	if st.Ceiling.Table > 0 && st.Ceiling.Table <= MaxTables {
		table := &s.cal.Tables[st.Ceiling.Table-1]
		t.need(table.Columns.Channel)
		if table.Rows.N > 0 {
			t.need(table.Rows.Channel)
		}
	}
	if st.Kind == Launch {
		t.need(Throttle)
		s.needHold(t)
	}
}

func (t *stageTicks) need(c Channel) {
	if c < NumChannels {
		t.needs |= 1 << c
	}
}

func (s *sealer) needHold(t *stageTicks) {
	switch s.cal.Sequence.Hold {
	case HoldClutch:
		t.needsSw = t.needsSw.With(ClutchDown, true)
	case HoldTransBrake:
		t.needsSw = t.needsSw.With(TransBrake, true)
	case HoldFootBrake:
		t.needsSw = t.needsSw.With(FootBrake, true)
	case HoldBrakePressure:
		t.need(BrakePressure)
	}
}

func (s *sealer) cut(st *Stage) {
	c := &st.Cut
	s.hardware(c)
	s.failIf(c.Pattern >= numPatterns, "pattern", "no such pattern")
	if c.Pattern == Fixed {
		n := s.cal.Engine.Cylinders
		s.failIf(c.Cylinders == 0 || c.Cylinders>>min(n, 15) != 0, "cylinders", "a fixed pattern lists cylinders that the engine has")
	}
	switch c.Style {
	case Soft:
		if s.between("band", int32(c.Band), 20*int32(RPM), 3000*int32(RPM)) {
			s.warnIf(c.Band < 150*RPM || c.Band > 500*RPM, "band", "150 to 500 rpm is usual for a soft cut (common practice)")
		}
	case Hard, WholeEngine:
		s.hysteresis(c)
		if c.Style == Hard {
			s.between("depth", int32(c.Depth), 1, int32(FullDemand))
		}
	case Regulate:
		s.hysteresis(c)
		s.between("band", int32(c.Band), 20*int32(RPM), 3000*int32(RPM))
		s.between("gain", c.Gain, 0, 20000)
		s.between("integral", c.Integral, 0, 20000)
		s.between("preset", int32(c.Preset), 0, int32(FullDemand))
	default:
		s.fail("style", "no such style")
	}
	limit := st.WholeLimit
	if limit == 0 {
		limit = Second / 2
	}
	st.t.whole = max(s.ticks("whole_limit", limit, shortTicks), 1)
	s.warnIf(c.Style == WholeEngine && limit > 2*Second, "whole_limit", "a whole-engine cut of more than 2 s stops most engines")
}

func (s *sealer) hysteresis(c *Cut) {
	if s.between("hysteresis", int32(c.Hysteresis), 5*int32(RPM), 2000*int32(RPM)) {
		s.warnIf(c.Hysteresis < 50*RPM || c.Hysteresis > 200*RPM, "hysteresis", "50 to 200 rpm is usual for a hard cut (common practice)")
	}
}

// hardware refuses a medium that coils and injectors cannot cut.
func (s *sealer) hardware(c *Cut) {
	e := &s.cal.Engine
	s.failIf(c.Medium == NoMedium || c.Medium > Both, "medium", "must be fuel, spark or both")
	switch e.Fuel {
	case FuelNotOurs:
		s.failIf(c.Medium&Fuel != 0, "medium", "fuel is not ours to cut: use spark")
	case FuelGrouped:
		s.failIf(c.Medium == Both, "medium", "grouped injectors cannot withhold fuel and spark of the same cycle: use fuel or spark")
		whole := c.Style == WholeEngine || c.Style == Hard && c.Depth == FullDemand
		s.failIf(c.Medium == Fuel && !whole, "medium", "grouped injectors can only cut the whole engine: style whole-engine, or hard with depth 1")
	}
	s.warnIf(c.Medium == Spark && e.Ignition == IgnitionPaired, "medium",
		"with paired coils the partner's spark can light a withheld charge in the exhaust")
	s.failIf(c.Medium == Spark && c.Style == WholeEngine && e.Fuel != FuelNotOurs, "style", "a whole-engine cut is never spark-only while fuel can be cut")
	s.failIf(c.Medium == Spark && e.Catalyst, "medium", "a spark-only cut destroys a catalyst")
}

func (s *sealer) timing(st *Stage) {
	t := &st.Timing
	base := s.cal.lowest(s.cal.Engine.BaseAngle)
	low := s.cal.lowest(t.Angle)
	switch t.Mode {
	case TimingBase:
		return
	case TimingOffset:
		s.curve("timing", t.Angle, -60*int32(Degree), 60*int32(Degree))
		low += base
	case TimingAbsolute:
		s.curve("timing", t.Angle, int32(LatestTiming), int32(EarliestTiming))
	default:
		s.fail("timing_mode", "no such mode")
		return
	}
	s.between("near_band", int32(t.NearBand), 0, 3000*int32(RPM))
	st.t.slewIn = s.perTick("slew_in", int32(t.SlewIn), 20000*int32(Degree))
	st.t.slewOut = s.perTick("slew_out", int32(t.SlewOut), 20000*int32(Degree))
	st.t.late = low < 0
	s.warnIf(t.Mode == TimingOffset && s.fitted(BaseTiming) && s.cal.lowest(t.Angle) < 0 && st.Guard.Longest == 0, "longest",
		"base timing comes from a channel: whether this offset passes top dead centre is not known; give the stage a guard")
	s.failIf(st.t.late && s.cal.Engine.Catalyst, "timing", "ignition after top dead centre destroys a catalyst")
	s.warnIf(low < -20*int32(Degree), "timing", "later than 20 degrees after top dead centre is exceptional (common practice)")
	converter := s.cal.Sequence.Hold != HoldClutch && s.cal.Sequence.Hold != HoldNone
	s.warnIf(converter && st.Kind == Launch && low < base && t.NearBand == 0, "near_band",
		"retard while coming up lowers a converter's stall speed: apply it near the ceiling only")
	s.timingReturn(st, base-low)
}

// timingReturn notes a slew that the return time overrides, and a step.
func (s *sealer) timingReturn(st *Stage, deviation int32) {
	if deviation <= 0 || st.Kind != Launch {
		return
	}
	back := s.cal.Sequence.ReturnTime
	s.warnIf(back > 200*Millisecond, "timing", "more than 200 ms back to base after release costs the launch (common practice)")
	if back == 0 {
		s.warnIf(st.Timing.SlewOut == 0, "slew_out", "an instant step of timing at release shocks tyre and driveline: 100 to 200 ms is usual")
		return
	}
	if st.Timing.SlewOut > 0 && uint64(deviation)*uint64(Second) > uint64(back)*uint64(st.Timing.SlewOut) {
		s.warn("slew_out", "is slower than the return time after release, which wins")
	}
}

// guard is required wherever a stage can burn in the exhaust.
func (s *sealer) guard(st *Stage) {
	g := &st.Guard
	spark := st.Cut.Medium == Spark
	hot := st.t.late || spark && !(st.Kind == Main && s.cal.Engine.Fuel == FuelNotOurs)
	s.failIf(hot && g.Longest == 0, "longest", "a guard is required where timing is after top dead centre or a cut is spark-only")
	if g.Longest == 0 {
		s.failIf(g.CoolDown != 0, "cool_down", "has no meaning without a longest time")
		return
	}
	hold := s.ticks("longest", g.Longest, shortTicks)
	cool := s.ticks("cool_down", g.CoolDown, longTicks)
	if cool == 0 || hold == 0 {
		s.fail("cool_down", "a guard needs a cool-down")
		return
	}
	s.warnIf(g.Longest > 5*Second, "longest", "more than 5 s of hot working is exceptional: up to 3 s is usual (common practice)")
	s.failIf(spark && st.Cut.Pattern == Fixed && g.Longest > Second, "longest", "spark-only on fixed cylinders may last 1 s at most")
	st.t.heatFull, st.t.heatUp = hold*heatScale, heatScale
	st.t.heatDown = max(hold*heatScale/cool, 1)
}

const heatScale = 4096

// ramp wants a greatest acceleration where a ramp follows a driven wheel.
func (s *sealer) ramp(st *Stage) {
	if st.Kind != AfterRelease {
		s.failIf(st.RampLimit != 0, "ramp_limit", "only an after-release stage ramps")
		return
	}
	if !s.between("ramp_limit", st.RampLimit, 0, 50000) {
		return
	}
	for _, c := range [...]Curve{st.Ceiling, st.Timing.Angle, st.Boost} {
		if c.Table > 0 && c.Table <= MaxTables {
			t := &s.cal.Tables[c.Table-1]
			s.rampAxis(st, &t.Columns)
			s.rampAxis(st, &t.Rows)
		}
	}
}

func (s *sealer) rampAxis(st *Stage, a *Axis) {
	c := s.cal
	if a.N == 0 || a.Channel >= NumChannels || !c.Channels[a.Channel].Driven {
		return
	}
	if st.RampLimit == 0 {
		s.fail("ramp_limit", "a ramp over a driven wheel needs a greatest acceleration: wheelspin would run it out")
		return
	}
	s.failIf(c.rampStep != 0 && c.rampChannel != a.Channel, "ramp_limit", "all ramps must follow the same road speed")
	step := s.perTick("ramp_limit", st.RampLimit, 50000)
	if c.rampStep == 0 || step < c.rampStep {
		c.rampChannel, c.rampStep = a.Channel, step
	}
}
