package controller

// stageState is what one stage remembers. A stage is inactive, active, or kept:
// active beyond its condition because an input was lost or its guard expired
// while the launch device held the car.
type stageState struct {
	ceiling  Speed  // in force: after table, trim and slew
	fallen   Speed  // lowest ceiling of a table since it began to stay down
	heat     uint32 // guard budget used, in units of stageTicks
	integral uint16 // of regulate, a demand
	qualify  uint16 // ticks
	whole    uint16 // ticks of uninterrupted whole-engine cut
	fellAt   int16  // throttle at which it fell
	presence presence
	expired  bool // guard: until the budget is empty
	latched  bool // hard cut on; regulate engaged
	spent    bool // whole-engine limit reached: until the condition is false
}

// presence says whether a stage is in force.
type presence uint8

const (
	absent presence = iota
	active
	kept
)

// stageInput is what a stage step needs beside the view.
type stageInput struct {
	when    truth
	entry   StageInhibits // reasons of the launch sequence against entering
	trim    Speed
	ramp    int32 // rate-limited road speed, mm/s
	start   Speed // lowest ceiling in force at the tick before
	shutFor bool  // the throttle has been closed long enough to end a kept stage
}

// held reports whether the stage works while the launch device holds the car:
// losing an input then keeps it.
func (st *Stage) held() bool {
	switch st.Kind {
	case Burnout, Launch:
		return true
	case User:
		return !st.Moving
	}
	return false
}

// trimmed reports whether surface trim applies.
func (st *Stage) trimmed() bool { return st.Kind == Launch || st.Kind == AfterRelease }

// step decides whether the stage is active and what its ceiling is.
func (s *stageState) step(st *Stage, v *view, in stageInput) StageInhibits {
	why := s.place(st, v, in)
	if s.presence == absent {
		s.leave()
		return why
	}
	s.ceiling = s.nextCeiling(st, v, in)
	return why
}

// place moves the stage between inactive, active and kept.
func (s *stageState) place(st *Stage, v *view, in stageInput) StageInhibits {
	if st.Kind == Main {
		return s.enter(st, v, in)
	}
	lost := st.t.needs&v.lost != 0 || v.lostSwitch(st.t.needsSw)
	switch s.presence {
	case kept:
		return s.keep(in)
	case active:
		return s.stay(st, v, in, lost)
	}
	s.spent = s.spent && in.when == yes
	switch {
	case in.when == no:
		s.qualify = 0
		return StageCondition
	case in.when == unknown || lost:
		s.qualify = 0
		return StageInputLost
	case s.spent:
		return StageWholeLimit
	case in.entry != 0:
		s.qualify = 0
		return in.entry
	case s.expired && !st.held():
		return StageCooling
	}
	s.qualify = uint16(min(uint32(s.qualify)+v.dt, st.t.qualify))
	if uint32(s.qualify) < st.t.qualify {
		return StageQualifying
	}
	return s.enter(st, v, in)
}

// stay judges a stage that is active and not kept.
func (s *stageState) stay(st *Stage, v *view, in stageInput, lost bool) StageInhibits {
	if st.held() && (lost || in.when == unknown) {
		s.presence = kept
		return s.keep(in)
	}
	if in.when == no || in.entry&StageSequence != 0 {
		s.presence = absent
		return StageCondition
	}
	if s.expired && v.hold == yes && st.held() {
		s.presence = kept
		return s.keep(in)
	}
	if s.expired && !st.held() {
		s.presence = absent
		return StageCooling
	}
	return s.coolingMark()
}

// keep holds on to a kept stage until the throttle has been closed long enough.
func (s *stageState) keep(in stageInput) StageInhibits {
	if in.shutFor {
		s.presence = absent
		return StageCondition
	}
	if s.expired {
		return StageKept | StageGuard
	}
	return StageKept
}

func (s *stageState) coolingMark() StageInhibits {
	if s.expired {
		return StageCooling
	}
	return 0
}

// enter makes the stage active; its ceiling starts from the one in force where
// it may only rise slowly.
func (s *stageState) enter(st *Stage, v *view, in stageInput) StageInhibits {
	if s.presence == active {
		return 0
	}
	s.presence = active
	s.fallen, s.fellAt = maxSpeed, 0
	s.ceiling = s.target(st, v, in)
	if st.t.slewUp > 0 && in.start < s.ceiling {
		s.ceiling = in.start
	}
	return s.coolingMark()
}

// works reports whether the stage may do more than hold its ceiling: timing and
// mixture return to base after a loss, an expired guard or an aborted launch.
func (s *stageState) works(st *Stage, v *view) bool {
	return s.presence == active && !s.expired && !(st.Kind == Launch && v.seq == Aborted)
}

// leave clears everything but the guard's budget and the spent mark.
func (s *stageState) leave() {
	*s = stageState{heat: s.heat, expired: s.expired, qualify: s.qualify, spent: s.spent, ceiling: maxSpeed}
}

const maxSpeed Speed = 1 << 24

// target is the ceiling that the calibration asks for now: table or constant,
// staying down while held, then trim. A held stage whose table lost an axis
// takes its lowest cell, if that is lower than what it has; a moving one keeps
// what it has; main takes the lowest cell.
func (s *stageState) target(st *Stage, v *view, in stageInput) Speed {
	raw, ok := v.ceilingCurve(st, in.ramp)
	n := Speed(raw)
	if st.Kind == Main {
		if st.Ceiling.Table != 0 {
			n = min(n, Speed(st.Ceiling.Const))
		}
		return n
	}
	if st.trimmed() {
		n += in.trim
	}
	if !ok {
		if s.ceiling > 0 && (!st.held() || s.ceiling < n) {
			return s.ceiling
		}
		return n
	}
	return s.staysDown(st, v, n)
}

// staysDown keeps the lowest table ceiling of a hold until the throttle has come
// back by the comeback from where the ceiling fell; otherwise speed and pressure
// hunt each other over the table.
func (s *stageState) staysDown(st *Stage, v *view, n Speed) Speed {
	if !st.StaysDown || st.Ceiling.Table == 0 || v.hold != yes {
		s.fallen = maxSpeed
		return n
	}
	throttle, ok := v.value(Throttle)
	if ok && Ratio(throttle) <= Ratio(s.fellAt)-v.cal.Sequence.Comeback {
		s.fallen = maxSpeed
	}
	if n < s.fallen {
		s.fallen, s.fellAt = n, int16(clamp(throttle, 0, 1<<15-1))
	}
	return s.fallen
}

// nextCeiling applies loss and slew. While oxidiser flows a ceiling does not
// fall: the shot closes first, because the target already fell (A5).
func (s *stageState) nextCeiling(st *Stage, v *view, in stageInput) Speed {
	if s.presence == kept {
		return s.rest(st, v, in)
	}
	want := s.target(st, v, in)
	next := slew(int32(s.ceiling), int32(want), st.t.slewUp, st.t.slewDown, v.dt)
	if v.flowing && st.Kind != Main {
		return max(Speed(next), s.ceiling)
	}
	return Speed(next)
}

// rest is the ceiling of a kept stage: it never rises, takes the lowest cell of
// a table whose axis is lost, and goes down to the rest ceiling where a lost
// channel asks for that.
func (s *stageState) rest(st *Stage, v *view, in stageInput) Speed {
	n := s.ceiling
	if raw, ok := v.ceilingCurve(st, in.ramp); !ok {
		n = min(n, Speed(raw)+in.trim*Speed(b2i(st.trimmed())))
	}
	if st.RestTo == 0 || !v.wantsRest(st.t.needs) || st.RestTo >= n {
		return n
	}
	return Speed(slew(int32(n), int32(st.RestTo), 0, st.t.restSlew, v.dt))
}

// wantsRest reports whether any lost channel of the set asks for the rest
// ceiling.
func (v *view) wantsRest(needs ChannelSet) bool {
	for c := range NumChannels {
		if (needs & v.lost).Has(c) && v.cal.Channels[c].OnLoss == LossRest {
			return true
		}
	}
	return false
}

// lostSwitch reports whether any switch of the set is fitted and not known.
func (v *view) lostSwitch(needs SwitchSet) bool {
	return needs&v.cal.Switches&^v.in.Known != 0
}

// ceilingCurve looks the ceiling up; a road speed axis sees the rate-limited
// value where the stage limits it.
func (v *view) ceilingCurve(st *Stage, ramp int32) (int32, bool) {
	if st.RampLimit == 0 || st.Ceiling.Table == 0 {
		return v.curve(st.Ceiling)
	}
	t := &v.cal.Tables[(st.Ceiling.Table-1)%MaxTables]
	x, okX := v.rampValue(t.Columns.Channel, ramp)
	y, okY := v.rampValue(t.Rows.Channel, ramp)
	if !okX || t.Rows.N > 0 && !okY {
		return t.lowest, false
	}
	return t.at(x, y), true
}

func (v *view) rampValue(c Channel, ramp int32) (int32, bool) {
	x, ok := v.value(c)
	if c < NumChannels && v.cal.Channels[c].Driven {
		x = min(x, ramp)
	}
	return x, ok
}

// warm runs the guard's budget: it fills while the stage works hot and empties
// while it does not; full is expired until empty.
func (s *stageState) warm(st *Stage, hot bool, dt uint32) {
	if st.t.heatFull == 0 {
		return
	}
	if hot {
		s.heat = min(s.heat+st.t.heatUp*dt, st.t.heatFull)
		s.expired = s.expired || s.heat == st.t.heatFull
		return
	}
	s.heat -= min(s.heat, st.t.heatDown*dt)
	if s.heat == 0 {
		s.expired = false
	}
}

// limitWhole counts an uninterrupted whole-engine cut. At its longest time a
// moving stage is over; a held one goes on as if its guard had expired.
func (s *stageState) limitWhole(st *Stage, cutting bool, dt uint32) {
	if st.Cut.Style != WholeEngine || st.Kind == Main {
		return
	}
	if !cutting {
		s.whole = 0
		return
	}
	s.whole = uint16(min(uint32(s.whole)+dt, st.t.whole))
	if uint32(s.whole) < st.t.whole {
		return
	}
	if st.held() {
		s.presence = kept
		return
	}
	s.presence, s.spent = absent, true
}

// slew moves from toward to by at most up or down a tick; 0 is at once.
func slew(from, to, up, down int32, dt uint32) int32 {
	d := to - from
	switch {
	case d > 0 && up > 0:
		return from + min(d, stepOf(up, dt))
	case d < 0 && down > 0:
		return from - min(-d, stepOf(down, dt))
	}
	return to
}

// stepOf is perTick times dt; perTick is at most 2^20, dt at most MaxPeriods.
func stepOf(perTick int32, dt uint32) int32 {
	return int32(min(uint32(perTick)*dt, 1<<30))
}

func clamp(x, low, high int32) int32 { return max(low, min(x, high)) }

func b2i(b bool) int32 {
	if b {
		return 1
	}
	return 0
}
