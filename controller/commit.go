package controller

// slot remembers what was decided for one engine cycle of one cylinder.
type slot struct {
	spark sparkMemory
	bits  slotBits
	cycle Cycle
}

type slotBits uint8

const (
	fuelSeen    slotBits = 1 << iota // a fuel commit was answered
	sparkSeen                        // a spark commit was answered
	fuelCut                          // fuel is withheld
	sparkCut                         // spark is withheld
	slotPair                         // decided as a pair: the second commit obeys
	slotDecided                      // the pattern was asked for this cycle
	slotBlind                        // withheld because speed was unknown
	sparkLed                         // the spark commit came first
)

// sparkMemory is the angle of a spark commit, counted from the latest one, and
// two facts of its moment in the bits that this leaves free.
type sparkMemory uint16

const (
	sparkOverrun sparkMemory = 1 << 14 // withheld far above main with oxidiser in the engine
	sparkLoaded  sparkMemory = 1 << 15 // the charge could hold oxidiser
	sparkAngle   sparkMemory = 1<<14 - 1
)

func (m sparkMemory) angle() Angle { return Angle(m&sparkAngle) + LatestTiming }

func (b slotBits) has(x slotBits) bool { return b&x != 0 }

// command is what the last tick left for the commits.
type command struct {
	demand  Demand
	mixture Ratio
	timing  int16  // Angle
	refire  int16  // Ratio: extra fuel on re-fire
	list    uint16 // Fixed: cylinders
	cycles  uint8  // of re-fire
	medium  Medium
	pattern Pattern
	loaded  bool // a charge can hold oxidiser
	overrun bool // far above main while loaded: spark is withheld at once
}

// slotOf finds the memory of a cycle, cleared if it last served another one.
// Two slots a cylinder serve two cycles in a row, whatever the lead between
// fuel and spark.
func (s *State) slotOf(cyl uint8, cycle Cycle) *slot {
	sl := &s.slots[cyl-1][cycle&1]
	if sl.cycle != cycle {
		*sl = slot{cycle: cycle}
	}
	return sl
}

// knows reports whether a call names a cylinder of a sealed calibration.
func (s *State) knows(cal *Calibration, cyl uint8) bool {
	// Cylinder 0 is not below any number here, because this wraps.
	return cal != nil && cal.sealed && cyl-1 < cal.Engine.Cylinders && cyl-1 < MaxCylinders
}

// FuelCommit decides, at injection start, whether a cycle of the maker's
// cylinder cyl gets fuel. Asking again for the same cycle gives the same answer
// and moves nothing: split injection and retries are free. Only the multiplier
// follows the last tick. Steps allocate nothing; an unknown cylinder gives the
// zero value.
func (s *State) FuelCommit(cal *Calibration, cyl uint8, cycle Cycle) FuelDecision {
	if !s.knows(cal, cyl) {
		return FuelDecision{}
	}
	sl := s.slotOf(cyl, cycle)
	if sl.bits.has(fuelSeen) {
		return s.fuelAnswer(sl, cyl)
	}
	s.fuelled |= 1 << (cyl - 1)
	s.speed.idle = 0
	switch {
	case sl.spark&sparkOverrun != 0 && cal.Engine.Fuel == FuelSequential:
		// Overrun withheld the spark before its fuel was asked for: no raw charge.
		sl.bits |= fuelCut | slotPair
	case sl.bits.has(sparkSeen) && sl.bits.has(slotPair):
		if sl.bits.has(sparkCut) {
			sl.bits |= fuelCut
		}
	case sl.bits.has(sparkSeen) && (sl.bits.has(sparkCut|slotDecided) || s.pairsNow(cal)):
		// The spark of this cycle went its way alone: fuel follows it.
	default:
		s.decide(cal, sl, cyl, Fuel)
	}
	sl.bits |= fuelSeen
	if sl.bits.has(fuelCut) {
		s.noteCut()
	}
	s.speed.outlive(&cal.Engine)
	s.countRefire(sl, cyl)
	return s.fuelAnswer(sl, cyl)
}

// inForce is what commits obey now: the last tick's demand, or, once that has
// stood for an engine cycle without a known speed, everything (blind), or
// nothing where the calibration keeps firing.
func (s *State) inForce(cal *Calibration) (m Medium, d Demand, blind bool) {
	if !s.speed.outlived(&cal.Engine) {
		return s.cmd.medium, s.cmd.demand, false
	}
	if cal.Engine.KeepFiring {
		return NoMedium, 0, false
	}
	return cal.Engine.safeMedium(), FullDemand, true
}

// decide asks for a cut of one medium and remembers the answer; under both it
// is remembered as a pair.
func (s *State) decide(cal *Calibration, sl *slot, cyl uint8, m Medium) {
	medium, demand, blind := s.inForce(cal)
	if medium&m == 0 || demand <= 0 {
		return
	}
	bits := slotDecided
	if medium == Both {
		bits |= slotPair
	}
	if blind { // everything is withheld: no pattern spares a cycle then
		bits |= slotBlind
	}
	position := cal.Engine.position[cyl-1]
	if s.pattern.decide(s.cmd.pattern, &cal.Engine, s.cmd.list, position, demand) {
		bits |= cutOf(m)
	}
	sl.bits |= bits
}

// cutOf is the bit of a cut of one medium: they stand in the order of the media.
func cutOf(m Medium) slotBits { return slotBits(m) << 2 }

// safeMedium is what an unknown speed withholds.
func (e *Engine) safeMedium() Medium {
	switch e.Fuel {
	case FuelNotOurs:
		return Spark
	case FuelGrouped:
		return Fuel
	}
	return Both
}

func (s *State) noteCut() {
	s.power.cutAgo = 0
	if s.sequence.state == Released {
		s.sequence.lastWith = s.sequence.since
	}
}

// countRefire keeps how many re-fired cycles still get extra fuel.
func (s *State) countRefire(sl *slot, cyl uint8) {
	left := &s.refire[cyl-1]
	switch {
	case sl.bits.has(fuelCut):
		*left = s.cmd.cycles + 1
	case *left > 0:
		*left--
	}
}

func (s *State) fuelAnswer(sl *slot, cyl uint8) FuelDecision {
	d := FuelDecision{Give: !sl.bits.has(fuelCut), Why: sl.bits.why(fuelCut)}
	if !d.Give {
		return d
	}
	d.Mixture = s.cmd.mixture
	if s.refire[cyl-1] > 0 && s.cmd.refire > 0 {
		d.Mixture += Ratio(mulRatio(int32(d.Mixture), Ratio(s.cmd.refire)))
	}
	return d
}

// why reads a reason off the bits.
func (b slotBits) why(cut slotBits) Reason {
	switch {
	case b.has(cut) && b.has(slotBlind):
		return WhySpeedUnknown
	case b.has(cut) && b.has(slotPair) && b.has(sparkLed) == (cut == fuelCut):
		return WhyPaired
	case b.has(cut):
		return WhyCut
	case b.has(slotDecided):
		return WhySpared
	}
	return WhyGiven
}

// SparkCommit decides, at dwell start for the most advanced angle allowed,
// whether the same cycle fires, and at what angle: that of the last tick.
// Asking again gives the same answer.
func (s *State) SparkCommit(cal *Calibration, cyl uint8, cycle Cycle) (d SparkDecision) {
	if !s.knows(cal, cyl) {
		return d
	}
	sl := s.slotOf(cyl, cycle)
	if !sl.bits.has(sparkSeen) {
		s.decideSpark(cal, sl, cyl)
		sl.bits |= sparkSeen
		s.speed.idle = 0
		if sl.bits.has(fuelCut | sparkCut) {
			s.noteCut()
		}
		if cal.Engine.Fuel == FuelNotOurs {
			s.speed.outlive(&cal.Engine)
		}
		sl.spark |= sparkMemory(Angle(s.cmd.timing)-LatestTiming) & sparkAngle
		if s.cmd.loaded {
			sl.spark |= sparkLoaded
		}
		if s.speed.committed(&cal.Engine) {
			s.power.faults |= FaultHung
		}
	}
	s.sparkAnswer(cal, sl, &d)
	return d
}

// decideSpark follows what the fuel commit of the cycle did; overrun is the
// sole exception.
func (s *State) decideSpark(cal *Calibration, sl *slot, cyl uint8) {
	seen := sl.bits.has(fuelSeen)
	if !seen {
		sl.bits |= sparkLed
	}
	switch {
	case sl.bits.has(slotPair):
		if sl.bits.has(fuelCut) {
			sl.bits |= sparkCut
		}
	case seen && sl.bits.has(fuelCut|slotDecided):
		// A fuel cut fires on; a cycle that a pattern spared stays spared.
	case seen && s.pairsNow(cal):
		// Fuel was given before the cut of both began.
	case seen || cal.Engine.Fuel == FuelNotOurs || s.sparkMayLead(cal, cyl):
		s.decide(cal, sl, cyl, Spark)
	}
	if s.cmd.overrun && !sl.bits.has(sparkCut) {
		sl.bits |= sparkCut
		sl.spark |= sparkOverrun
		sl.bits &^= slotPair
	}
}

// pairsNow reports whether a cut in force now is of both media.
func (s *State) pairsNow(cal *Calibration) bool {
	m, _, _ := s.inForce(cal)
	return m == Both
}

// sparkMayLead reports whether a spark commit without a fuel commit may decide:
// where the two come in either order, and this cylinder has seen fuel commits
// since the start. Otherwise fuel counts as given, and the cycle fires.
func (s *State) sparkMayLead(cal *Calibration, cyl uint8) bool {
	return cal.Engine.CommitLead == 0 && s.fuelled>>(cyl-1)&1 != 0
}

// sparkAnswer fills in d in place: a copy of so many small fields costs more than
// all the rest of a commit.
func (s *State) sparkAnswer(cal *Calibration, sl *slot, d *SparkDecision) {
	b := sl.bits
	d.Fire = !b.has(sparkCut)
	d.Angle = sl.spark.angle()
	d.Why = b.why(sparkCut)
	d.Drop = s.power.faults&FaultHung != 0
	switch {
	case d.Fire && b.has(sparkLed) && !b.has(slotDecided) && cal.Engine.Fuel != FuelNotOurs:
		d.Why = WhyNotSeen
	case !d.Fire:
		fuelled := !b.has(fuelCut) && !(b.has(slotPair) && b.has(sparkLed))
		d.Unburnt = fuelled || sl.spark&sparkLoaded != 0
		if sl.spark&sparkOverrun != 0 {
			d.Why = WhyOverrun
		}
	}
}

// LostSync forgets every cycle: call it when the crank decoder loses its place,
// and when the engine stops. The next cycles start from fuel given.
func (s *State) LostSync() {
	s.slots = [MaxCylinders][2]slot{}
	s.fuelled = 0
}
