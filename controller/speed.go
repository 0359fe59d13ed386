package controller

// speedState judges engine speed: whether it is known, how it rises, and
// whether it agrees with the rate at which commits are asked for.
//
//	unseen -> cranking -> good -> standing -> withheld -> good
//
// Phases are counted in 1/65536 of a firing event: fine enough for the tick of
// 100 us of a slow single.
type speedState struct {
	last    Speed  // last valid value
	slope   int32  // tenths of rpm per tick, Q8, smoothed over 8 ticks
	gap     uint16 // ticks since the value was last new
	mode    SpeedState
	rate    rateWindow
	since   uint32 // phase since it was lost (standing), or valid again (withheld)
	phase   uint32 // of the rate window, from speed
	window  uint16 // ticks of the rate window
	events  uint8  // commits of the rate window
	doubt   bool   // the last rate window disagreed
	decided uint8  // cycles decided since speed was lost
	commits uint8  // commits since the last tick
	idle    uint16 // ticks without any commit, saturating: a sensor at zero is not yet a stopped engine
}

// rateWindow says what the window of the rate check counts from.
type rateWindow uint8

const (
	rateOpen    rateWindow = iota // waits for an event to begin with
	rateRunning                   // began with an event while running
	rateSlow                      // and while cranking or said to stand
)

const (
	phaseOfEvent  = 1 << 16
	slopeShift    = 8
	slopeTicks    = 8
	maxPhase      = 1 << 28
	stoppedBelow  = 30 * RPM
	stoppedFor    = 12 // times 20 ms without a commit: longer than any gap between events at speed
	rateTolerance = 5  // one part in five: 20 %
	quietWindows  = 50
)

// phaseOf is the phase that one tick advances at a speed.
func (e *Engine) phaseOf(n Speed) uint32 {
	if n <= 0 {
		return 0
	}
	return uint32(uint64(n) * uint64(e.t.phaseGain) >> 20)
}

// cyclePhase is the phase of one engine cycle.
func (e *Engine) cyclePhase() uint32 { return uint32(e.Cylinders) * phaseOfEvent }

// stale reports whether a speed sample is older than 20 ms and two firing
// intervals. The phase of a tick, rounded down, is too coarse for that at low
// speed: over 80 ticks it is a tick late. So 12 more bits of it are kept.
func (s *speedState) stale(e *Engine, sample Sample) bool {
	age := uint32(sample.Age)
	if age <= e.t.staleMin || s.last <= 0 {
		return false
	}
	fine := uint64(s.last) * uint64(e.t.phaseGain) >> 8
	return uint64(age)*min(fine, 1<<44) > 2*phaseOfEvent<<12
}

// step takes this tick's sample; valid says that it is fitted, good and in its
// electrical range. ceiling is the one in force at the tick before.
func (s *speedState) step(e *Engine, sample Sample, valid bool, dt uint32, ceiling Speed) {
	valid = valid && !s.stale(e, sample)
	s.idle = uint16(min(uint32(s.idle)+dt, stoppedFor*e.t.staleMin))
	s.judgeRate(e, dt, valid)
	s.commits = 0
	if valid {
		s.follow(Speed(sample.Value), sample.Age == 0, dt)
	} else {
		s.slope = 0
	}
	s.move(e, valid && !s.doubt, dt, ceiling)
}

// follow takes a valid value and keeps the smoothed slope.
func (s *speedState) follow(n Speed, fresh bool, dt uint32) {
	s.gap = addSat16(s.gap, dt)
	if !fresh && n == s.last {
		return
	}
	gap := int32(s.gap)
	s.gap = 0
	if s.mode < SpeedCranking || s.mode > SpeedGood {
		s.last, s.slope = n, 0
		return
	}
	raw := int32(n-s.last) << slopeShift
	if gap > 1 {
		raw /= gap
	}
	s.slope += (raw - s.slope) * min(gap, slopeTicks) / slopeTicks
	s.last = n
}

// move steps the mode.
func (s *speedState) move(e *Engine, valid bool, dt uint32, ceiling Speed) {
	switch {
	case valid && s.last < e.CrankingBelow:
		s.mode = SpeedCranking
	case valid && s.mode != SpeedWithheld:
		s.mode = SpeedGood
	case valid:
		s.pass(e, dt)
		if s.since >= e.cyclePhase() && s.last < ceiling {
			s.mode = SpeedGood
		}
		return
	case s.mode == SpeedGood || s.mode == SpeedCranking && s.doubt:
		s.mode, s.since, s.decided = SpeedStanding, 0, 0
	case s.mode == SpeedCranking:
		s.mode = SpeedUnseen
	case s.mode == SpeedStanding:
		s.pass(e, dt)
		if s.since >= e.cyclePhase() || s.decided >= e.Cylinders {
			s.mode, s.since = SpeedWithheld, 0
		}
	case s.mode == SpeedWithheld:
		s.since = 0
	}
}

// pass lets the phase since the last change go on at the last speed.
func (s *speedState) pass(e *Engine, dt uint32) {
	s.since = min(s.since+min(e.phaseOf(s.last)*dt, maxPhase), maxPhase)
}

// judgeRate closes a window of at least two events and 10 ms (whole cycles if
// the engine fires unevenly) and compares the events that speed promised with
// those that were asked for. A window begins and ends with an event; a tick's
// worth either way is not held against it: events are counted by the tick. While
// cranking only a rate far beyond cranking is doubted: a sensor that fell to zero
// at speed must not pass for a slow engine. A tick without a valid speed ends the
// window: what the engine did unseen is not held against the speed that comes back.
func (s *speedState) judgeRate(e *Engine, dt uint32, valid bool) {
	if !e.RateCheck || s.mode < SpeedCranking {
		s.openRate()
		s.doubt = false
		return
	}
	if !valid {
		s.openRate()
		return
	}
	perTick := e.phaseOf(s.last)
	kind := rateRunning
	if s.mode == SpeedCranking || perTick == 0 {
		kind = rateSlow
	}
	if s.mode == SpeedCranking {
		perTick = e.phaseOf(e.CrankingBelow)
	}
	if s.rate != rateOpen && s.rate != kind {
		s.openRate()
	}
	s.phase = min(s.phase+perTick*dt, maxPhase)
	s.window = addSat16(s.window, dt)
	if s.rate == rateOpen && s.events > 0 {
		s.openRate()
		s.rate = kind
		return
	}
	s.closeRate(e, perTick*dt, kind == rateSlow)
}

// openRate forgets the window; the next event begins one.
func (s *speedState) openRate() { s.phase, s.window, s.events, s.rate = 0, 0, 0, rateOpen }

// closeRate judges the window where it is full, where events fail to come, and
// where it has lasted too long. tick is the phase of this tick.
func (s *speedState) closeRate(e *Engine, tick uint32, slow bool) {
	want, slack := uint8(2), 2*tick
	if !e.t.evenFire {
		want, slack = 2*e.Cylinders, slack+phaseOfEvent
	}
	missing := !slow && s.phase > uint32(want)*phaseOfEvent*2+slack+e.cyclePhase()
	full := s.commits > 0 && s.events >= want && uint32(s.window) >= e.t.windowMin
	over := uint32(s.window) > quietWindows*e.t.windowMin
	if !missing && !full && !over {
		return
	}
	s.doubt = s.disagrees(slack, slow)
	rate := s.rate
	s.openRate()
	if full {
		s.rate = rate
	}
}

// disagrees compares a closed window; slowOnly accepts any rate below the one
// that speed promised.
func (s *speedState) disagrees(slack uint32, slowOnly bool) bool {
	seen := uint32(s.events) * phaseOfEvent
	if slowOnly && seen <= s.phase {
		return false
	}
	return distance(seen, s.phase) > seen/rateTolerance+slack
}

// committed counts one spark commit that was new, and reports whether the
// ticks have stopped: more than one engine cycle of commits since the last.
func (s *speedState) committed(e *Engine) (hung bool) {
	if s.events < 255 {
		s.events++
	}
	if s.commits < 255 {
		s.commits++
	}
	if s.commits <= e.Cylinders {
		return false
	}
	if s.mode == SpeedGood {
		s.mode, s.since, s.decided = SpeedStanding, 0, 0
	}
	return true
}

// outlive counts one decided cycle while the last demand stands.
func (s *speedState) outlive(e *Engine) {
	if s.mode == SpeedStanding && s.decided < e.Cylinders {
		s.decided++
	}
}

// outlived reports whether the last demand has stood for its engine cycle.
func (s *speedState) outlived(e *Engine) bool {
	return s.mode == SpeedWithheld || s.mode == SpeedStanding && s.decided >= e.Cylinders
}

// ahead predicts how far speed rises over a crank angle at the present speed
// and slope; a falling speed predicts nothing.
func (s *speedState) ahead(angle Angle, e *Engine) Speed {
	if s.slope <= 0 || s.last < 100*RPM {
		return 0
	}
	// Hundredths of a degree over tenths of rpm: t = angle/(6 N), here in us.
	us := uint32(angle) * 16667 / uint32(s.last)
	return s.aheadFor(uint32(uint64(us) * uint64(e.t.microQ) >> 22))
}

// aheadFor predicts the rise over a time in ticks, Q8.
func (s *speedState) aheadFor(ticks uint32) Speed {
	if s.slope <= 0 {
		return 0
	}
	return Speed(min(uint64(s.slope)*uint64(ticks)>>(2*slopeShift), uint64(maxSpeed)))
}

func distance(a, b uint32) uint32 {
	if a > b {
		return a - b
	}
	return b - a
}

func addSat16(a uint16, d uint32) uint16 {
	return uint16(min(uint32(a)+d, 1<<16-1))
}
