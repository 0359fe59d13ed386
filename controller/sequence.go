package controller

// sequenceState is the launch sequence:
//
//	idle -> held -> released -> ended -> idle
//	        held -> aborted -> idle
//
// Each edge is in one function. It sees only the few facts of sequenceInput, so
// that it can be walked state by state.
type sequenceState struct {
	state    SequenceState
	ready    bool   // the throttle has been closed since the last launch
	near     bool   // speed was seen near the launch ceiling in this hold
	holding  bool   // a hold is being earned
	earn     uint16 // ticks of this hold
	low      uint16 // ticks of low throttle (held, released) or of a cleared abort
	since    uint32 // ticks since release, saturating at end-after
	lastWith uint32 // since at the last withheld cycle
}

// sequenceInput is what the launch sequence looks at.
type sequenceInput struct {
	hold  truth // hold input on, off or lost
	open  truth // throttle at least the launch minimum
	shut  truth // throttle closed
	near  bool  // engine speed known and within the distance of the launch ceiling
	entry bool  // launch stage may be entered: road speed and engine speed allow it
	fail  bool  // guard of the held stage expired, or an input that it needs is lost
	brake bool  // foot brake on; where it was the hold input, on again
}

// step moves the sequence by dt ticks and says what happened.
func (s *sequenceState) step(q *Sequence, in sequenceInput, dt uint32) Marks {
	if in.shut == yes {
		s.ready = s.ready || s.state == Idle
	}
	switch s.state {
	case Idle:
		return s.idle(q, in, dt)
	case Held:
		return s.held(q, in, dt)
	case Released:
		return s.released(q, in, dt)
	case Ended:
		if in.shut == yes {
			s.enterIdle()
		}
	case Aborted:
		s.lowIf(in.hold == no && in.shut == yes, dt, q.t.clear)
		if uint32(s.low) >= q.t.clear {
			s.enterIdle()
		}
	}
	return 0
}

// idle earns a hold, or reports the let-go of one that was not earned.
func (s *sequenceState) idle(q *Sequence, in sequenceInput, dt uint32) Marks {
	if in.hold != yes || !s.ready {
		bump := s.holding && in.hold == no
		s.dropHold()
		if bump {
			return MarkBump
		}
		return 0
	}
	if !s.holding && !in.entry {
		return 0
	}
	if s.holding {
		s.earn = uint16(min(uint32(s.earn)+dt, q.t.earn))
	}
	s.holding = true
	s.near = s.near || in.near
	if uint32(s.earn) < q.t.earn || !s.near || in.open != yes || in.fail {
		return 0
	}
	s.dropHold()
	s.state, s.low = Held, 0
	return MarkEarned
}

// held waits for the let-go. There is no debounce: its first tick is release.
func (s *sequenceState) held(q *Sequence, in sequenceInput, dt uint32) Marks {
	if in.hold == no && !in.fail {
		*s = sequenceState{state: Released}
		return MarkReleased
	}
	s.lowIf(in.open != yes, dt, q.t.abort)
	if in.fail || in.hold == unknown || in.open == unknown || uint32(s.low) >= q.t.abort {
		s.state, s.low = Aborted, 0
		return MarkAborted
	}
	return 0
}

// released counts time since release, and ends by a lift, a brake or in time.
func (s *sequenceState) released(q *Sequence, in sequenceInput, dt uint32) Marks {
	s.since = min(s.since+dt, q.t.endAfter)
	s.lowIf(in.open == no, dt, q.t.endLift)
	if uint32(s.low) < q.t.endLift && !in.brake && s.since < q.t.endAfter {
		return 0
	}
	s.state, s.low = Ended, 0
	return MarkEnded
}

func (s *sequenceState) enterIdle() {
	*s = sequenceState{state: Idle, ready: true}
}

func (s *sequenceState) dropHold() {
	s.holding, s.near, s.earn = false, false, 0
}

func (s *sequenceState) lowIf(cond bool, dt, limit uint32) {
	s.low = uint16(countIf(cond, uint32(s.low), dt, limit))
}

// countIf counts while a condition holds, up to a limit, and starts anew when
// it does not.
func countIf(cond bool, n, dt, limit uint32) uint32 {
	if !cond {
		return 0
	}
	return min(n+dt, limit)
}
