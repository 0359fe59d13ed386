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
	when  truth
	entry StageInhibits // reasons of the launch sequence against entering
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

// step decides whether the stage is active and what its ceiling is. want is the
// ceiling that it goes towards.
func (s *stageState) step(st *Stage, v *view, in stageInput) (why StageInhibits, want Speed) {
	was := s.presence
	why = s.place(st, v, in)
	if s.presence == absent {
		if was != absent {
			s.leave()
		}
		return why, maxSpeed
	}
	return why, s.move(st, v)
}

// place moves the stage between inactive, active and kept.
func (s *stageState) place(st *Stage, v *view, in stageInput) StageInhibits {
	if st.Kind == Main {
		return s.enter(st, v)
	}
	lost := st.t.needs&v.lost != 0 || v.lostSwitch(st.t.needsSw)
	switch s.presence {
	case kept:
		return s.keep(v)
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
	return s.enter(st, v)
}

// stay judges a stage that is active and not kept. What is seen to end it ends
// it, whatever else is lost. An expired guard ends a moving stage, but not while
// the launch device holds: that would raise the ceiling.
func (s *stageState) stay(st *Stage, v *view, in stageInput, lost bool) StageInhibits {
	why := in.entry & StageSequence
	if in.when == no {
		why |= StageCondition
	}
	if why != 0 {
		s.presence = absent
		return why
	}
	if st.held() && (lost || in.when == unknown || s.expired && v.hold == yes) {
		s.presence = kept
		return s.keep(v)
	}
	if s.expired && !st.held() && v.hold == no {
		s.presence = absent
		return StageCooling
	}
	return s.coolingMark()
}

// keep holds on to a kept stage until the throttle has been closed long enough.
func (s *stageState) keep(v *view) StageInhibits {
	if v.shutFor {
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
// it may only rise slowly, and not below that while oxidiser flows (A5).
func (s *stageState) enter(st *Stage, v *view) StageInhibits {
	if s.presence == active {
		return 0
	}
	s.presence = active
	s.fallen, s.fellAt = maxSpeed, 0
	s.ceiling = s.target(st, v)
	if st.t.slewUp > 0 && v.start < s.ceiling {
		s.ceiling = v.start
	}
	if v.flowing && st.Kind != Main {
		s.ceiling = max(s.ceiling, v.start)
	}
	return s.coolingMark()
}

// works reports whether the stage may do more than hold its ceiling: timing and
// mixture return to base after a loss, an expired guard or an aborted launch.
func (s *stageState) works(st *Stage, v *view) bool {
	return s.presence == active && !s.expired && !(st.Kind == Launch && v.seq == Aborted)
}

// leave clears everything but the guard's budget and the spent mark: to come
// back, the stage has to qualify again.
func (s *stageState) leave() {
	*s = stageState{heat: s.heat, expired: s.expired, spent: s.spent, ceiling: maxSpeed}
}

const maxSpeed Speed = 1 << 24

// target is the ceiling that the calibration asks for now: table or constant,
// staying down while held, then trim. A moving stage whose table lost an axis
// keeps what it has; main takes the lowest cell; a held stage is kept.
func (s *stageState) target(st *Stage, v *view) Speed {
	raw, ok := v.curve(st.Ceiling, st.RampLimit > 0)
	n := Speed(raw)
	if st.Kind == Main {
		if st.Ceiling.Table != 0 {
			n = min(n, Speed(st.Ceiling.Const))
		}
		return n
	}
	if st.trimmed() {
		n += v.trim
	}
	if !ok {
		return s.ceiling
	}
	return s.staysDown(st, v, n)
}

// staysDown keeps the lowest table ceiling of a hold until the throttle has come
// back by the comeback from where the ceiling fell; otherwise speed and pressure
// hunt each other over the table. A hold input that is lost lifts nothing.
func (s *stageState) staysDown(st *Stage, v *view, n Speed) Speed {
	if !st.StaysDown || st.Ceiling.Table == 0 || v.hold == no {
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

// move takes the ceiling towards what is wanted, and returns that. While oxidiser
// flows a ceiling does not fall: the shot closes first, because what is wanted
// already fell (A5). Main never waits.
func (s *stageState) move(st *Stage, v *view) (want Speed) {
	var next Speed
	if s.presence == kept {
		next, want = s.rest(st, v)
	} else {
		want = s.target(st, v)
		next = Speed(slew(int32(s.ceiling), int32(want), st.t.slewUp, st.t.slewDown, v.dt))
	}
	if v.flowing && st.Kind != Main {
		next = max(next, s.ceiling)
	}
	s.ceiling = next
	return want
}

// rest is the ceiling of a kept stage: it never rises, takes the lowest cell of
// a table whose axis is lost, and goes down to the rest ceiling where a lost
// channel asks for that.
func (s *stageState) rest(st *Stage, v *view) (next, want Speed) {
	next = s.ceiling
	if raw, ok := v.curve(st.Ceiling, st.RampLimit > 0); !ok {
		next = min(next, Speed(raw)+v.trim*Speed(b2i(st.trimmed())))
	}
	if st.RestTo == 0 || st.RestTo >= next || !v.wantsRest(st.t.needs) {
		return next, next
	}
	return Speed(slew(int32(next), int32(st.RestTo), 0, st.t.restSlew, v.dt)), st.RestTo
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
	return needs&v.blind != 0
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
	s.heat -= uint32(min(uint64(s.heat), uint64(st.t.heatDown)*uint64(dt)))
	if s.heat == 0 {
		s.expired = false
	}
}

// limitWhole counts an uninterrupted whole-engine cut of a stage that is not main. At its longest time a
// moving stage is over, but not while the launch device holds: that would raise
// the ceiling. A held one goes on as if its guard had expired.
func (s *stageState) limitWhole(st *Stage, v *view, cutting bool) {
	if !cutting {
		s.whole = 0
		return
	}
	s.whole = uint16(min(uint32(s.whole)+v.dt, st.t.whole))
	switch {
	case uint32(s.whole) < st.t.whole:
	case st.held():
		s.presence = kept
	case v.hold == no:
		s.spent = true
		s.leave()
	}
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
