package controller

import "fmt"

// walked is what the monitor sees of added power in one tick.
type walked struct {
	shots  [MaxShots]ShotOutput
	master bool
	faults Faults
}

// walkStep moves added power by one tick. Planted faults wrap realStep; extra is
// a byte of memory for those that need one.
type walkStep func(p *powerState, extra *uint8, cal *Calibration, in *powerInput) walked

func realStep(p *powerState, _ *uint8, cal *Calibration, in *powerInput) walked {
	var why [MaxShots]ShotInhibits
	p.step(cal, in, 1, &why)
	return see(p, cal, in, &why)
}

func see(p *powerState, cal *Calibration, in *powerInput, why *[MaxShots]ShotInhibits) (w walked) {
	for i := range cal.shots {
		p.shots[i].output(&cal.Shots[i], p.stuck>>i&1 != 0, in.turning, &w.shots[i])
		w.shots[i].Inhibits = why[i]
	}
	w.master, w.faults = p.master(in.arm), p.faults
	return w
}

// monitor judges added power by rules A1 to A9 alone: it sees inputs and
// outputs, never the state.
type monitor struct {
	offSeen  bool  // arm seen off since power-up, loss or fault
	standing uint8 // ticks of raw standing interlocks, saturating
	out      uint8 // ticks of mixture out of its limit, saturating
	range_   uint8 // ticks of any channel out of its range, saturating
	all      uint8 // open ticks of all shots
	closed   uint8 // ticks with all shots shut, saturating
	shots    [MaxShots]shotMonitor
}

type shotMonitor struct {
	open    bool  // duty was above 0
	loaded  bool  // a charge can hold oxidiser
	stuck   bool  // seen to flow while it should not
	used    bool  // opened in this hold
	trigger uint8 // ticks of trigger interlocks, saturating
	since   uint8 // ticks since it shut, saturating
	drained uint8 // ticks since it last could flow from the valve, saturating
	turned  uint8 // phase of the engine after that, saturating
	ramp    uint8 // ticks open, saturating
	total   uint8 // open ticks in all
	retard  uint8 // ticks of retard in force, saturating
	enrich  uint8 // ticks of enrichment in force, saturating
	fuel    uint8 // ticks of fuel valve in force, saturating
}

func sat(n uint8, limit uint32) uint8 { return uint8(min(uint32(n)+1, limit)) }

func satIf(cond bool, n uint8, limit uint32) uint8 {
	if !cond {
		return 0
	}
	return sat(n, limit)
}

// check moves the monitor by one tick and names the rule that is broken, or "".
func (m *monitor) check(cal *Calibration, in *powerInput, w *walked) string {
	if broken := m.common(cal, in, w); broken != "" {
		return broken
	}
	wasOpen := m.shots
	for i := range int(cal.shots) {
		reasons := in.trigger[i]
		if after := cal.Shots[i].After; after > 0 && w.shots[after-1].Duty == 0 {
			reasons |= ShotOrder
		}
		m.notice(&cal.Shots[i], i, reasons, in)
		if broken := m.shot(cal, i, reasons, in, w); broken != "" {
			return fmt.Sprintf("%s (shot %d)", broken, i+1)
		}
	}
	return m.totals(cal, in, w, &wasOpen)
}

// common checks arming, faults and the master valve (A1, A3).
func (m *monitor) common(cal *Calibration, in *powerInput, w *walked) string {
	t := &cal.Standing.t
	m.offSeen = (m.offSeen || in.arm == no) && in.arm != unknown
	out, stuck := in.standing, false
	for i := range int(cal.shots) {
		out |= in.trigger[i]
		sh, s := &cal.Shots[i], &m.shots[i]
		late := !s.open && uint32(s.drained) >= sh.t.closes
		stuck = stuck || in.feedback[i] == yes && late || in.feedback[i] != no && s.stuck
	}
	m.range_ = satIf(out&ShotRange != 0, m.range_, t.latch+1)
	if uint32(m.range_) > t.latch && in.arm != no && w.faults&FaultRange == 0 {
		return "A3: a channel out of its range does not latch"
	}
	if stuck && (w.faults&FaultFeedback == 0 || w.master) {
		return "A3: a stuck valve does not latch and drop the master"
	}
	if w.faults != 0 && in.arm != no {
		m.offSeen = false
	}
	if w.master && !(in.arm == yes && m.offSeen && w.faults == 0) {
		return "A1: master open while not armed"
	}
	lost := in.standing&shotStandingGroup != 0 || in.arm != yes || !m.offSeen || w.faults != 0
	m.standing = satIf(!lost, m.standing, t.qualify)
	m.out = satIf(in.standing&ShotMixture != 0, m.out, t.persistence+1)
	return ""
}

// notice follows what can be in line and cylinders.
func (m *monitor) notice(sh *Shot, i int, reasons ShotInhibits, in *powerInput) {
	s := &m.shots[i]
	late := !s.open && uint32(s.drained) >= sh.t.closes
	s.stuck = in.feedback[i] == yes && late || in.feedback[i] != no && s.stuck
	s.trigger = satIf(reasons&shotTriggerGroup == 0, s.trigger, sh.t.trigger)
	s.used = s.used && !in.letGo
	if s.open {
		return
	}
	s.since = sat(s.since, sh.t.rearm)
	switch {
	case s.stuck || in.feedback[i] == yes:
		s.drained = uint8(min(uint32(s.drained)+1, sh.t.closes))
		s.turned, s.loaded = 0, s.loaded || s.stuck
	case uint32(s.drained) < sh.t.drained():
		s.drained++
	default:
		s.turned = uint8(min(uint32(s.turned)+in.turned, sh.t.tail-sh.t.drained()))
	}
	if s.drained == uint8(sh.t.drained()) && uint32(s.turned) == sh.t.tail-sh.t.drained() {
		s.loaded = false
	}
}

// shot checks one shot's valves, retard and fuel.
func (m *monitor) shot(cal *Calibration, i int, reasons ShotInhibits, in *powerInput, w *walked) string {
	sh, s, o := &cal.Shots[i], &m.shots[i], &w.shots[i]
	if o.Duty > 0 && o.Phase != ShotOpen {
		return "A7: duty while shut"
	}
	if o.Duty > 0 {
		if broken := m.mayBeOpen(cal, i, reasons, in, w); broken != "" {
			return broken
		}
	}
	shut := s.open && o.Duty == 0
	if shut {
		s.since, s.drained, s.turned = 0, 0, 0
	}
	if o.Duty > 0 {
		s.loaded, s.used = true, s.used || !s.open
		s.drained, s.turned = 0, 0
		s.ramp = satIf(s.open, s.ramp, sh.t.ramp)
		if !s.open {
			s.ramp = 0
		}
	}
	s.open = o.Duty > 0
	if broken := s.duty(sh, o); broken != "" {
		return broken
	}
	if s.loaded && o.Retard < leastRetard(sh, s, o) {
		return "A4: a charge that can hold oxidiser lacks retard"
	}
	if broken := s.fuelled(sh, in, o); broken != "" {
		return broken
	}
	s.retard = satIf(o.Retard > 0, s.retard, sh.t.lead+1)
	s.enrich = satIf(o.Enrich > One, s.enrich, sh.t.lead+1)
	s.fuel = satIf(o.FuelDuty > 0, s.fuel, sh.t.fuelLead+1)
	return ""
}

func leastRetard(sh *Shot, s *shotMonitor, o *ShotOutput) Angle {
	if sh.RetardByDuty && !s.stuck {
		return Angle(int32(sh.Retard) * int32(o.Duty) / int32(One))
	}
	return sh.Retard
}

// mayBeOpen lists what stands against an open valve, and against opening.
func (m *monitor) mayBeOpen(cal *Calibration, i int, reasons ShotInhibits, in *powerInput, w *walked) string {
	sh, s := &cal.Shots[i], &m.shots[i]
	switch {
	case in.arm != yes || !m.offSeen:
		return "A1: open while not armed off and on"
	case !w.master:
		return "A1: open with the master shut"
	case in.standing&^ShotMixture != 0 || uint32(m.out) > cal.Standing.t.persistence:
		return "A3: open without a standing interlock"
	case w.faults != 0:
		return "A3: open with a fault"
	case reasons&ShotOrder != 0:
		return "A9: open while the shot before it is shut"
	case reasons&ShotThrottle != 0:
		return "A9: open on a lift"
	case reasons&^shotOpeningOnly != 0:
		return "A3: open without a trigger interlock"
	case s.open:
		return ""
	case uint32(m.standing) < cal.Standing.t.qualify || in.standing != 0:
		return "A2: opened before standing interlocks have held"
	case uint32(s.trigger) < sh.t.trigger || reasons != 0:
		return "A2: opened before trigger interlocks have held"
	case uint32(s.since) < sh.t.rearm:
		return "A3: opened before the re-arm time"
	case sh.OncePerHold && s.used:
		return "A5: opened twice in one hold"
	case uint32(s.retard) < sh.t.lead:
		return "A4: opened before retard was in force for its lead"
	case !sh.Wet && uint32(s.enrich) < sh.t.lead:
		return "A8: opened before its enrichment"
	case sh.Wet && uint32(s.fuel) < sh.t.fuelLead:
		return "A8: opened before its fuel valve's lead"
	}
	return ""
}

// duty checks the ramp (A7).
func (s *shotMonitor) duty(sh *Shot, o *ShotOutput) string {
	if !s.open {
		return ""
	}
	want := sh.EndDuty
	if sh.t.ramp > 0 {
		want = sh.StartDuty + (sh.EndDuty-sh.StartDuty)*Ratio(s.ramp)/Ratio(sh.t.ramp)
	}
	if distance(uint32(o.Duty), uint32(want)) > 1 {
		return "A7: duty does not follow its ramp from the start"
	}
	return ""
}

// fuelled checks oxidiser against its fuel (A8).
func (s *shotMonitor) fuelled(sh *Shot, in *powerInput, o *ShotOutput) string {
	switch {
	case !sh.Wet && s.loaded && s.stuck && o.Enrich < sh.Enrich:
		return "A3: a stuck valve lacks full enrichment"
	case !sh.Wet && s.loaded && int32(o.Enrich-One) < int32(sh.Enrich-One)*int32(max(o.Duty, 1))/int32(One):
		return "A8: oxidiser without its enrichment"
	case !sh.Wet && s.loaded && o.Enrich <= One:
		return "A8: enrichment ends before the last charge"
	case sh.Wet && o.FuelDuty < o.Duty:
		return "A8: wet fuel ends before or starts after its oxidiser"
	case sh.Wet && s.stuck && s.loaded && in.turning && o.FuelDuty == 0:
		return "A8: a stuck wet shot without its fuel"
	case sh.Wet && !s.open && s.loaded && uint32(s.drained) < sh.t.fuelLag && o.FuelDuty == 0:
		return "A8: the fuel valve's lag is cut short"
	}
	return ""
}

// totals checks open time (A6). A tick counts as open if the valve was open in
// the tick before.
func (m *monitor) totals(cal *Calibration, in *powerInput, w *walked, was *[MaxShots]shotMonitor) string {
	t, anyWas := &cal.Standing.t, false
	for i := range int(cal.shots) {
		if was[i].open {
			anyWas = true
			m.shots[i].total = sat(m.shots[i].total, cal.Shots[i].t.longest)
		}
	}
	m.closed = sat(m.closed, t.coolDown)
	if anyWas {
		m.all, m.closed = sat(m.all, t.longest), 0
	}
	if !anyWas && in.arm == no && in.standstill && uint32(m.closed) >= t.coolDown {
		m.all = 0
		for i := range m.shots {
			m.shots[i].total = 0
		}
	}
	for i := range int(cal.shots) {
		if w.shots[i].Duty == 0 {
			continue
		}
		if uint32(m.shots[i].total) >= cal.Shots[i].t.longest || uint32(m.all) >= t.longest {
			return "A6: open longer than its open time"
		}
	}
	return ""
}

// newMonitor starts as at power-up: no re-arm to wait for is assumed done, and
// nothing is in the engine.
func newMonitor(cal *Calibration) (m monitor) {
	for i := range int(cal.shots) {
		t := &cal.Shots[i].t
		m.shots[i].drained, m.shots[i].turned = uint8(t.drained()), uint8(t.tail-t.drained())
	}
	return m
}

// node is one state of the product of added power and monitor.
type node struct {
	p     powerState
	m     monitor
	extra uint8
}

// walkResult says what a walk has seen.
type walkResult struct {
	states, edges int
	opened        int // edges on which all shots are open
	broken        string
}

// walk visits every reachable state, breadth first, under every input. It ends
// at the first broken rule.
func walk(cal *Calibration, inputs []powerInput, step walkStep) (r walkResult) {
	start := node{m: newMonitor(cal)}
	seen := map[node]struct{}{start: {}}
	for queue := []node{start}; len(queue) > 0; {
		var next []node
		for _, from := range queue {
			for k := range inputs {
				to := from
				w := step(&to.p, &to.extra, cal, &inputs[k])
				r.edges++
				if r.broken = to.m.check(cal, &inputs[k], &w); r.broken != "" {
					return r
				}
				if allOpen(cal, &w) {
					r.opened++
				}
				if _, ok := seen[to]; !ok {
					seen[to] = struct{}{}
					next = append(next, to)
				}
			}
		}
		queue = next
		r.states = len(seen)
	}
	return r
}

func allOpen(cal *Calibration, w *walked) bool {
	for i := range cal.shots {
		if w.shots[i].Duty == 0 {
			return false
		}
	}
	return true
}
