package controller

// criticalBottle is the critical pressure of nitrous oxide (Lemmon & Span 2006:
// 7245 kPa): above it a bottle holds no liquid.
const criticalBottle = 7245 * Kilopascal

// shots checks added power as a whole, then each shot.
func (s *sealer) shots() {
	c := s.cal
	c.shots, c.turning = 0, 0
	for i := range c.Shots {
		c.Shots[i].t = shotTicks{}
		if c.Shots[i].When == NoShot {
			continue
		}
		c.shots = uint8(i) + 1
		s.at(PartShot, i)
		s.shot(&c.Shots[i], i)
		s.softMain(&c.Shots[i])
		c.turning = max(c.turning, c.Shots[i].SpeedLow/2)
	}
	if c.shots > 0 {
		s.standing(&c.Standing)
		s.leanStages()
	}
}

// standing checks the common interlocks. A channel that is not fitted is a
// finding, never a silent pass.
func (s *sealer) standing(c *Standing) {
	s.at(PartStanding, 0)
	s.needSwitch("arm", Arm)
	s.failIf(s.cal.Engine.Fuel == FuelGrouped, "fuel",
		"added power needs fuel that can be withheld together with the spark of the same cycle: grouped injectors cannot")
	s.failIf(!s.fitted(Throttle), "throttle_min", "added power needs the throttle channel")
	s.failIf(!s.fitted(SupplyVoltage), "voltage", "supply voltage cannot be waived: fit the channel")
	s.window("voltage", SupplyVoltage, c.Voltage)
	s.window("coolant", CoolantTemperature, c.Coolant)
	s.window("fuel_pressure", FuelPressure, c.Fuel)
	s.window("oil_pressure", OilPressure, c.Oil)
	s.window("bottle_pressure", BottlePressure, c.Bottle)
	s.warnIf(!s.fitted(Lambda), "lambda", "mixture is not fitted: a lean engine will not close a shot")
	s.failIf(s.fitted(Lambda) && c.LeanLimit == 0, "lean_limit", "mixture is fitted but has no limit")
	s.between("lean_limit", int32(c.LeanLimit), 0, 2*int32(One))
	s.warnIf(!s.cal.Switches.Has(FootBrake), "foot_brake", "the foot brake is not fitted: it will not close a shot after release")
	s.warnIf(s.fitted(BottlePressure) && Pressure(c.Bottle.High) > criticalBottle, "bottle_pressure",
		"above the critical pressure of nitrous oxide (72.45 bar) the bottle holds no liquid")
	s.failIf(c.LongestAll == 0, "longest_all", "open time must be limited")
	s.failIf(c.CoolDown == 0, "cool_down", "open time needs a cool-down")
	s.failIf(c.LatchAfter == 0, "latch_after", "must be above 0")
	c.t = standingTicks{
		mixtureWait: s.ticks("mixture_wait", c.MixtureWait, shortTicks),
		persistence: s.ticks("persistence", c.Persistence, shortTicks),
		qualify:     s.ticks("standing_qualify", c.Qualify, shortTicks),
		latch:       s.ticks("latch_after", c.LatchAfter, shortTicks),
		longest:     s.ticks("longest_all", c.LongestAll, longTicks),
		coolDown:    s.ticks("cool_down", c.CoolDown, longTicks),
	}
	c.t.cutMemory = c.t.mixtureWait
	for i := range s.cal.Shots {
		c.t.cutMemory = max(c.t.cutMemory, s.cal.Shots[i].t.quiet)
	}
	s.between("persistence", int32(c.Persistence), 0, int32(200*Millisecond))
	s.between("latch_after", int32(c.LatchAfter), 0, int32(100*Millisecond))
}

func (s *sealer) window(field string, c Channel, w Window) {
	if !s.cal.Channels[c].Fitted {
		s.warnIf(c != SupplyVoltage, field, "is not fitted: it will not close a shot")
		return
	}
	s.failIf(w == Window{}, field, "is fitted but has no window")
	s.failIf(w.Low > w.High, field, "the lower end of the window lies above the upper")
}

func (s *sealer) shot(sh *Shot, index int) {
	s.shotStage(sh, index)
	s.shotTriggers(sh)
	s.shotValve(sh)
	s.shotFuel(sh)
	s.shotRetard(sh)
	s.shotTimers(sh)
}

// shotStage: a free engine gains 12,000 rpm per second and more on a shot, so
// only a trans-brake may hold the car while one is open.
func (s *sealer) shotStage(sh *Shot, index int) {
	s.failIf(sh.When >= numShotWhens, "when", "no such part of the launch")
	held := sh.When == WhileHeld || sh.When == WhileEither
	s.failIf(held && s.cal.Sequence.Hold != HoldTransBrake, "when",
		"a shot may be permitted while held only where a trans-brake holds the car: a free engine gains 12,000 rpm per second and more")
	s.failIf(s.cal.Sequence.Hold == HoldNone, "when", "a shot needs the launch sequence: declare the hold input")
	s.failIf(int(sh.After) > index, "after", "a shot can only follow one that stands before it in the list")
	if sh.After > 0 && int(sh.After) <= index {
		s.failIf(s.cal.Shots[sh.After-1].When == NoShot, "after", "names a shot that does not exist")
	}
}

// softMain: main never waits for a flush, and a soft one cuts below its ceiling.
func (s *sealer) softMain(sh *Shot) {
	if s.cal.main == MaxStages {
		return
	}
	c := &s.cal.Stages[s.cal.main].Cut
	s.warnIf(c.Style == Soft && c.Band > sh.Margin, "margin",
		"is less than the band of the main stage's soft cut: main begins to cut before this shot closes")
}

func (s *sealer) shotTriggers(sh *Shot) {
	if s.between("throttle_min", int32(sh.ThrottleMin), int32(50*Percent), int32(One)) {
		s.warnIf(sh.ThrottleMin < 90*Percent, "throttle_min", "at least 90 % throttle is usual for a shot (common practice)")
	}
	s.between("speed_low", int32(sh.SpeedLow), 1000*int32(RPM), 15000*int32(RPM))
	s.warnIf(sh.SpeedLow < 2500*RPM, "speed_low", "below 2,500 rpm a shot breaks engines (common practice)")
	s.failIf(sh.SpeedHigh <= sh.SpeedLow, "speed_high", "must lie above speed_low")
	if s.between("margin", int32(sh.Margin), 1, 2000*int32(RPM)) {
		s.warnIf(sh.Margin < 150*RPM, "margin", "150 to 300 rpm below the ceiling is usual (common practice)")
	}
	s.between("reopen", int32(sh.Reopen), 0, 2000*int32(RPM))
	s.warnIf(sh.Reopen < 200*RPM, "reopen", "below 200 rpm a shot can open and close against the ceiling")
	s.failIf(sh.Gears != 0 && !s.fitted(Gear), "gears", "the gear channel is not fitted")
	s.warnIf(!sh.ClutchUp && s.cal.Sequence.Hold == HoldClutch, "clutch_up", "is not asked for: a clutch half way down will not close a shot")
	s.failIf(sh.ClutchUp && !s.cal.Switches.Has(ClutchUp), "clutch_up", "the clutch-up switch is not fitted")
	s.failIf(sh.Feedback && !s.cal.Switches.Has(Feedback1+Switch(s.index)), "feedback", "the feedback switch of this shot is not fitted")
	s.failIf(sh.Longest == 0, "longest", "open time must be limited")
}

// shotValve checks that progressive drive can move the valve at all.
func (s *sealer) shotValve(sh *Shot) {
	if !s.between("end_duty", int32(sh.EndDuty), 1, int32(One)) {
		return
	}
	least, field := sh.StartDuty, "start_duty"
	if sh.Ramp == 0 {
		least, field = sh.EndDuty, "end_duty"
	}
	if least == One ||
		!s.between(field, int32(least), 1, int32(sh.EndDuty)) ||
		!s.between("valve_period", int32(sh.ValvePeriod), 1, int32(Second)) {
		return
	}
	on := uint64(least) * uint64(sh.ValvePeriod)
	need := uint64(sh.ValveOpens+5*Millisecond) * uint64(One)
	s.failIf(on <= need, field, "the lowest duty times period must exceed the slowest valve opening plus 5 ms: the valve would not open")
}

// shotFuel: oxidiser never without its fuel.
func (s *sealer) shotFuel(sh *Shot) {
	if sh.Wet {
		s.failIf(sh.Enrich != 0 && sh.Enrich != One, "enrich", "a wet shot brings its fuel itself")
		return
	}
	s.failIf(s.cal.Engine.Fuel == FuelNotOurs, "wet", "a dry shot needs fuel that is ours to enrich")
	s.failIf(sh.Enrich <= One || sh.Enrich > 3*One, "enrich", "a dry shot needs a fuel multiplier above 1, at most 3")
	s.failIf(sh.FuelLead != 0 || sh.FuelLag != 0, "fuel_lead", "a dry shot has no fuel valve")
}

// shotRetard compares the retard with the trade's rule of about 2 degrees for
// every 37 kW (50 hp); 1 to 2.5 are accepted (common practice).
func (s *sealer) shotRetard(sh *Shot) {
	if !s.between("retard", int32(sh.Retard), 0, 40*int32(Degree)) || sh.Power == 0 {
		return
	}
	per37 := int32(sh.Retard) * 37 / int32(sh.Power)
	s.warnIf(per37 < int32(Degree), "retard", "less than 1 degree for every 37 kW (50 hp): about 2 is usual (common practice)")
	s.warnIf(per37 > 25*int32(Degree)/10, "retard", "more than 2.5 degrees for every 37 kW (50 hp): about 2 is usual (common practice)")
}

// shotTimers converts times. The lead covers retard and fuel: a dry shot's fuel
// is committed up to an engine cycle before the charge it belongs to, or more
// where the commit lead is more. The tail covers valve and line in ticks, then
// the phase of one engine cycle.
func (s *sealer) shotTimers(sh *Shot) {
	t := &sh.t
	t.quiet = max(s.ticks("quiet_for", sh.QuietFor, shortTicks), 1) // never together with a cut
	t.delay = s.ticks("delay", sh.Delay, shortTicks)
	t.trigger = s.ticks("trigger", sh.Trigger, shortTicks)
	t.rearm = s.ticks("rearm", sh.ReArm, longTicks)
	t.longest = s.ticks("longest", sh.Longest, longTicks)
	t.ramp = s.ticks("ramp", sh.Ramp, shortTicks)
	t.closes = s.ticks("valve_closes", sh.ValveCloses, 2000)
	s.ticks("valve_opens", sh.ValveOpens, 2000)
	t.flow = t.closes + s.ticks("flush", sh.Flush, 5000)
	t.fuelLag = s.ticks("fuel_lag", sh.FuelLag, 2000)
	t.fuelLead = s.ticks("fuel_lead", sh.FuelLead, 2000)
	t.lead = max(s.ticks("retard_lead", sh.RetardLead, 5000), t.fuelLead)
	if !sh.Wet && sh.SpeedLow >= 1000*RPM {
		t.lead = max(t.lead, s.ticks("enrich_lead", sh.EnrichLead, 5000), s.commitTicks(sh.SpeedLow))
	}
	// One count of ticks, then of phase, in 16 bits: as fine as there is room for.
	for t.tail = 1 << 16; t.tail >= 1<<16; t.tailShift++ {
		t.tail = t.drained() + (s.cal.Engine.cyclePhase()-1)>>t.tailShift + 1
	}
	t.tailShift--
	t.slopeQ = t.flow << slopeShift
	if t.ramp > 0 && sh.EndDuty >= sh.StartDuty {
		t.rampStep = (uint32(sh.EndDuty-sh.StartDuty)<<16 + t.ramp - 1) / t.ramp
	}
}

// cycleTicks is one engine cycle at a speed, rounded up.
func (s *sealer) cycleTicks(n Speed) uint32 {
	return quotient(1200000000+uint64(n)*uint64(s.cal.Period)-1, uint32(n)*uint32(s.cal.Period))
}

// commitTicks is how long before the end of its intake the fuel of a charge may
// have been committed: an engine cycle, or the commit lead if that is longer.
func (s *sealer) commitTicks(n Speed) uint32 {
	e := &s.cal.Engine
	cylinders := max(uint32(e.Cylinders), 1)
	return (s.cycleTicks(n)*max(cylinders, uint32(e.CommitLead)) + cylinders - 1) / cylinders
}

// leanStages: a mixture below 1 where a shot is permitted is an error.
func (s *sealer) leanStages() {
	for i := range s.cal.Stages {
		st := &s.cal.Stages[i]
		if st.Kind == NoStage || st.Mixture == (Curve{}) {
			continue
		}
		s.at(PartStage, i)
		s.failIf(s.cal.lowest(st.Mixture) < int32(One) && s.shotIn(st.Kind), "mixture", "below 1 in a stage that permits a shot: lean with added power breaks engines")
	}
}

// shotIn reports whether any shot may be open in a stage of a kind.
func (s *sealer) shotIn(k StageKind) bool {
	for i := range s.cal.Shots {
		when := s.cal.Shots[i].When
		switch {
		case when == NoShot:
		case when == WhileEither, k != Launch && k != AfterRelease:
			return true
		case (k == Launch) == (when == WhileHeld):
			return true
		}
	}
	return false
}
