package controller

// timingState is the deviation of the ignition angle from base. Slews work on
// the deviation, so that a base that moves by itself is not slowed.
type timingState struct {
	dev      int16  // Angle
	back     uint16 // step per tick while returning to base after release
	out      uint16 // slew back of the stage that last set it, 0: at once
	absolute bool   // the deviation came from an absolute angle
}

// timingWish is the latest angle that any active stage asks for.
type timingWish struct {
	set      bool
	absolute bool
	dev      Angle
	in, out  int32
}

// latest keeps the later of two wishes.
func (w *timingWish) latest(x timingWish) {
	if !w.set || x.dev < w.dev {
		*w = x
	}
}

// wish gives the angle that a stage asks for now. Near the ceiling only, where
// the stage says so; nothing where an axis of its table is lost.
func (s *stageState) wish(st *Stage, v *view, base Angle) timingWish {
	t := &st.Timing
	if t.Mode == TimingBase || !s.works(st, v) {
		return timingWish{}
	}
	if t.NearBand > 0 && (!v.known || v.speed < s.ceiling-t.NearBand) {
		return timingWish{}
	}
	x, ok := v.curve(t.Angle)
	if !ok {
		return timingWish{}
	}
	w := timingWish{set: true, dev: Angle(x), in: st.t.slewIn, out: st.t.slewOut}
	if t.Mode == TimingAbsolute {
		w.absolute = true
		w.dev -= base
	}
	return w
}

// release fixes the step that brings the deviation back to base within the
// return time; from then on it wins over the slew.
func (s *timingState) release(ticks uint32) {
	s.back = 0
	if ticks > 0 {
		s.back = uint16((uint32(abs(int32(s.dev))) + ticks - 1) / ticks)
	}
}

// step slews towards the wish, or back to base. A deviation that came from an
// absolute angle counts as one until it is gone: the later of it and a shot's
// retard wins, where an offset and a retard add.
func (s *timingState) step(w timingWish, dt uint32) {
	from, to := int32(s.dev), int32(w.dev)
	rate := int32(s.out)
	if w.set {
		s.absolute, s.out = w.absolute, uint16(min(w.out, maxAngleStep))
		rate = w.in
		if towardsZero(from, to) {
			rate = w.out
		}
	}
	if s.back > 0 && towardsZero(from, to) {
		rate = int32(s.back)
	}
	s.dev = int16(slew(from, to, rate, rate, dt))
	if int32(s.dev) == to {
		s.back = 0
		s.absolute = s.absolute && w.set
	}
}

const maxAngleStep = 1<<15 - 1

func towardsZero(from, to int32) bool { return abs(from) > abs(to) }

func abs(x int32) int32 { return max(x, -x) }

// angle puts base, deviation and the retard of shots together. While a shot's
// retard is in force nothing is earlier than base less that retard.
func (s *timingState) angle(base, retard Angle) Angle {
	dev := Angle(s.dev)
	a := base + dev
	if retard > 0 {
		if s.absolute {
			a = min(a, base-retard)
		} else {
			a = base + min(dev, 0) - retard
		}
	}
	return max(LatestTiming, min(a, EarliestTiming))
}
