package controller

// powerState is added power: arming, persistence, faults and the shots. Each
// shot opens through one gate, shotState.step. It sees only powerInput, so that
// the whole of it can be walked state by state.
type powerState struct {
	offSeen bool // the arm switch was seen off since power-up or a fault
	faults  Faults
	stuck   uint8     // bit n: shot n flows while closed is commanded
	steady  uint16    // ticks of standing interlocks without a break
	persist [4]uint16 // ticks that mixture and each pressure have been out
	outFor  uint16    // ticks that any channel has been out of its range
	cutAgo  uint32    // ticks since the last cut, saturating
	openAll uint32    // open ticks of all shots
	closed  uint32    // ticks since the last open one, saturating
	shots   [MaxShots]shotState
}

// powerInput is what added power looks at.
type powerInput struct {
	arm        truth
	standing   ShotInhibits
	trigger    [MaxShots]ShotInhibits
	feedback   [MaxShots]truth // no where not fitted
	standstill bool
	letGo      bool   // the launch device does not hold
	turning    bool   // the engine turns fast enough to burn what a shot brings
	turned     uint32 // phase that the engine turned since the tick before; 0: not known
}

// persistent pairs the reasons that may stand for a while with their counters.
var persistent = [4]ShotInhibits{ShotMixture, ShotFuelPressure, ShotOilPressure, ShotBottlePressure}

const persistentGroup = ShotMixture | ShotFuelPressure | ShotOilPressure | ShotBottlePressure

// step arms, latches and steps every shot in order. It gives the reasons of each
// shot in why.
func (p *powerState) step(cal *Calibration, in *powerInput, dt uint32, why *[MaxShots]ShotInhibits) {
	t := &cal.Standing.t
	standing := p.persisting(in.standing, t.persistence, dt)
	p.latch(cal, in, dt)
	arming := p.arming(in.arm)
	standing |= arming
	if p.settle(in.standing|arming, t.qualify, dt) {
		standing |= ShotStanding
	}
	p.count(cal, in, dt)
	if t.longest > 0 && p.openAll >= t.longest {
		standing |= ShotAllTime
	}
	for i := range min(cal.shots, MaxShots) {
		sh := &cal.Shots[i]
		if sh.When == NoShot {
			continue
		}
		reasons := standing | in.trigger[i]
		if sh.After > 0 && p.shots[(sh.After-1)%MaxShots].phase != ShotOpen {
			reasons |= ShotOrder
		}
		why[i] = p.shots[i].step(sh, reasons, in, p.flows(in, i), dt)
	}
}

// flows reports whether a shot is seen to flow. Once it was seen while closed is
// commanded, only a feedback that reads off ends that.
func (p *powerState) flows(in *powerInput, i uint8) bool {
	return in.feedback[i] == yes || p.stuck>>i&1 != 0
}

// settle counts how long the standing interlocks have held, and reports whether
// that is still too short to open. Persistence lets an open shot stay open; it
// opens none.
func (p *powerState) settle(why ShotInhibits, qualify, dt uint32) (wait bool) {
	lost := why&shotStandingGroup != 0
	p.steady = uint16(heldFor(!lost, uint32(p.steady), dt, qualify))
	return lost || uint32(p.steady) < qualify
}

// heldFor counts how long a condition has held, up to a limit. Of the periods
// before it was first seen to hold only the last one counts: what it was during
// skipped ticks is not known.
func heldFor(cond bool, n, dt, limit uint32) uint32 {
	if n == 0 {
		dt = 1
	}
	return countIf(cond, n, dt, limit)
}

// persisting lets mixture and pressures stand for their persistence. A channel
// out of its range has none.
func (p *powerState) persisting(why ShotInhibits, limit uint32, dt uint32) ShotInhibits {
	if why&persistentGroup == 0 {
		p.persist = [len(persistent)]uint16{}
		return why
	}
	for k, bit := range persistent {
		if why&bit == 0 {
			p.persist[k] = 0
			continue
		}
		if uint32(p.persist[k]) < limit && why&ShotRange == 0 {
			why &^= bit
		}
		p.persist[k] = uint16(min(uint32(p.persist[k])+dt, limit))
	}
	return why
}

// latch notices faults: a channel that stays out of its range, and a shot that
// is seen to flow while closed is commanded. Faults clear when the arm switch is
// seen off, a stuck valve not before it has stopped flowing.
func (p *powerState) latch(cal *Calibration, in *powerInput, dt uint32) {
	out := in.standing
	for i := range min(cal.shots, MaxShots) {
		if cal.Shots[i].When == NoShot {
			continue
		}
		out |= in.trigger[i]
		switch {
		case in.feedback[i] == no:
			p.stuck &^= 1 << i
		case in.feedback[i] == yes && p.shots[i].shouldNotFlow(&cal.Shots[i]):
			p.stuck |= 1 << i
		}
	}
	if in.arm == no {
		p.faults = 0
	}
	limit := cal.Standing.t.latch
	if out&ShotRange == 0 {
		p.outFor = 0
	} else {
		p.outFor = uint16(min(uint32(p.outFor)+dt, limit+1))
		if uint32(p.outFor) > limit && in.arm != no {
			p.faults |= FaultRange
		}
	}
	if p.stuck != 0 {
		p.faults |= FaultFeedback
	}
}

// arming wants the switch seen off, then on, and known; a fault wants it anew.
func (p *powerState) arming(arm truth) (why ShotInhibits) {
	switch {
	case arm == no:
		p.offSeen = true
		why = ShotArm
	case arm == unknown:
		p.offSeen = false
		why = ShotArm
	}
	if p.faults != 0 {
		p.offSeen = p.offSeen && arm == no
		why |= ShotFault
	}
	if !p.offSeen {
		why |= ShotArmCycle
	}
	return why
}

// master reports whether the master valve may be open.
func (p *powerState) master(arm truth) bool {
	return arm == yes && p.offSeen && p.faults == 0
}

// count keeps the totals. They reset only by arm off at standstill, after the
// cool-down.
func (p *powerState) count(cal *Calibration, in *powerInput, dt uint32) {
	open := false
	for i := range min(cal.shots, MaxShots) {
		if p.shots[i].phase == ShotOpen {
			open = true
			p.shots[i].open = min(p.shots[i].open+dt, maxCount)
		}
	}
	t := &cal.Standing.t
	if open {
		p.openAll = min(p.openAll+dt, max(t.longest, 1))
		p.closed = 0
		return
	}
	p.closed = min(p.closed+dt, t.coolDown)
	if in.arm == no && in.standstill && p.closed >= t.coolDown {
		p.openAll = 0
		for i := range p.shots {
			p.shots[i].open = 0
		}
	}
}

const maxCount = 1 << 30

// shotState is one shot:
//
//	closed -> leading -> open -> draining -> closed
type shotState struct {
	phase   ShotPhase
	used    bool   // opened in this hold
	timer   uint16 // ticks in leading or draining
	trigger uint16 // ticks of trigger interlocks without a break
	ramp    uint16 // ticks of the duty ramp
	rearm   uint32 // ticks since it closed, saturating
	open    uint32 // open ticks in all
}

// step is the gate. reasons are all that stand against the shot but its own
// qualification; the result adds that.
func (s *shotState) step(sh *Shot, reasons ShotInhibits, in *powerInput, flows bool, dt uint32) ShotInhibits {
	why := s.qualify(sh, reasons, in, dt)
	switch s.phase {
	case ShotClosed:
		switch {
		case flows:
			s.drain()
		case why == 0 && sh.t.lead == 0:
			s.openNow()
		case why == 0:
			s.phase, s.timer = ShotLeading, 0
		}
	case ShotLeading:
		s.lead(sh, why != 0, flows, dt)
	case ShotOpen:
		if why&^shotOpeningOnly != 0 {
			s.drain()
			break
		}
		s.ramp = uint16(min(uint32(s.ramp)+dt, sh.t.ramp))
	case ShotDraining:
		s.empty(sh, in.turned, flows, dt)
	}
	return why
}

// qualify counts the trigger interlocks and the time closed.
func (s *shotState) qualify(sh *Shot, why ShotInhibits, in *powerInput, dt uint32) ShotInhibits {
	if sh.t.longest > 0 {
		s.open = min(s.open, sh.t.longest)
		if s.open >= sh.t.longest {
			why |= ShotOpenTime
		}
	}
	s.trigger = uint16(heldFor(why&shotTriggerGroup == 0, uint32(s.trigger), dt, sh.t.trigger))
	if uint32(s.trigger) < sh.t.trigger {
		why |= ShotTrigger
	}
	if s.phase == ShotClosed || s.phase == ShotDraining {
		s.rearm = min(s.rearm+dt, sh.t.rearm)
		if s.rearm < sh.t.rearm || s.phase == ShotDraining {
			why |= ShotReArm
		}
	}
	if in.letGo {
		s.used = false
	}
	if s.used && sh.OncePerHold && s.phase != ShotOpen {
		why |= ShotUsed
	}
	return why
}

// lead waits with retard and fuel in force and the valve shut. Any reason ends
// it: a shot that may not open does not go on to.
func (s *shotState) lead(sh *Shot, barred, flows bool, dt uint32) {
	switch {
	case flows:
		s.drain()
	case barred:
		*s = shotState{used: s.used, open: s.open, trigger: s.trigger}
	default:
		s.timer = uint16(min(uint32(s.timer)+dt, sh.t.lead))
		if uint32(s.timer) >= sh.t.lead {
			s.openNow()
		}
	}
}

func (s *shotState) openNow() {
	s.phase, s.timer, s.ramp, s.used = ShotOpen, 0, 0, true
}

func (s *shotState) drain() {
	s.phase, s.timer, s.rearm = ShotDraining, 0, 0
}

// empty holds retard and enrichment until valve and line have emptied, which
// takes time, and the last charge has burnt, which takes one engine cycle at
// whatever speed. What is still seen to flow when its valve should have closed
// starts that anew.
func (s *shotState) empty(sh *Shot, turned uint32, flows bool, dt uint32) {
	at, drained := uint32(s.timer), sh.t.drained()
	switch {
	case flows:
		at = min(at+dt, sh.t.closes)
	case at < drained:
		at = min(at+dt, drained)
	default:
		at = min(at+turned>>sh.t.tailShift, sh.t.tail)
	}
	s.timer = uint16(at)
	if at >= sh.t.tail {
		s.phase, s.timer, s.ramp = ShotClosed, 0, 0
	}
}

// drained is when valve and line have emptied, in ticks after closing: the fuel
// of a wet shot counts too.
func (t *shotTicks) drained() uint32 { return max(t.flow, t.fuelLag) }

// shouldNotFlow reports whether closed has been commanded for longer than the
// valve needs.
func (s *shotState) shouldNotFlow(sh *Shot) bool {
	switch s.phase {
	case ShotOpen:
		return false
	case ShotDraining:
		return uint32(s.timer) >= sh.t.closes
	}
	return true
}

// drawing reports whether the oxidiser of a valve that obeys can still reach the
// intake.
func (s *shotState) drawing(sh *Shot) bool {
	return s.phase == ShotOpen || s.phase == ShotDraining && uint32(s.timer) < sh.t.flow
}

// loaded reports whether a cylinder can hold oxidiser.
func (s *shotState) loaded() bool { return s.phase == ShotOpen || s.phase == ShotDraining }

// duty is the command of the oxidiser valve if it were open, ahead ticks from
// now.
func (s *shotState) duty(sh *Shot, ahead uint32) Ratio {
	if sh.t.ramp == 0 {
		return sh.EndDuty
	}
	up := min(uint32(s.ramp)+ahead, sh.t.ramp) * sh.t.rampStep >> 16
	return min(sh.StartDuty+Ratio(up), sh.EndDuty)
}

// output fills in what the valves and the engine need of one shot. A stuck one
// gets all of its retard and fuel, whatever its duty was; a wet one its fuel only
// while the engine can burn it.
func (s *shotState) output(sh *Shot, stuck, turning bool, out *ShotOutput) {
	out.Phase = s.phase
	out.Enrich = One
	if s.phase == ShotClosed {
		return
	}
	if s.phase == ShotOpen {
		out.Duty = s.duty(sh, 0)
	}
	out.Retard = sh.Retard
	if sh.RetardByDuty && !stuck {
		out.Retard = Angle(mulRatio(int32(sh.Retard), s.duty(sh, 1))) + 1
		out.Retard = min(out.Retard, sh.Retard)
	}
	switch {
	case sh.Wet && stuck && turning:
		out.FuelDuty = One
	case sh.Wet:
		out.FuelDuty = s.fuelDuty(sh)
	default:
		out.Enrich = s.enrich(sh, stuck)
	}
}

// enrich of a dry shot follows the duty that its valve will have when the fuel
// committed now meets it, rounded up.
func (s *shotState) enrich(sh *Shot, stuck bool) Ratio {
	if stuck {
		return sh.Enrich
	}
	more := mulRatio(int32(sh.Enrich-One), s.duty(sh, sh.t.lead))
	return min(One+Ratio(more)+1, sh.Enrich)
}

// fuelDuty of a wet shot follows the oxidiser's, from its lead before opening to
// its lag after closing.
func (s *shotState) fuelDuty(sh *Shot) Ratio {
	switch s.phase {
	case ShotOpen:
	case ShotLeading:
		if uint32(s.timer)+sh.t.fuelLead < sh.t.lead {
			return 0
		}
	default:
		if uint32(s.timer) >= sh.t.fuelLag {
			return 0
		}
	}
	return s.duty(sh, 0)
}

// mulRatio is x times r, rounded down, for |x| up to 2^17.
func mulRatio(x int32, r Ratio) int32 { return x * int32(r) / int32(One) }
