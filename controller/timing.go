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

// consider adds what a stage asks for now, and reports whether that is after top
// dead centre. The latest of all wishes stays. A stage asks near its ceiling only,
// where it says so, and for nothing where an axis of its table is lost.
func (w *timingWish) consider(s *stageState, st *Stage, v *view, base Angle) (late bool) {
	t := &st.Timing
	if t.Mode == TimingBase {
		return false
	}
	if t.NearBand > 0 && (!v.known || v.speed < s.ceiling-t.NearBand) {
		return false
	}
	x, ok := v.curve(t.Angle, st.RampLimit > 0)
	if !ok {
		return false
	}
	dev, absolute := Angle(x), t.Mode == TimingAbsolute
	if absolute {
		dev -= base
	}
	if !w.set || dev < w.dev {
		w.set, w.absolute, w.dev = true, absolute, dev
		w.in, w.out = st.t.slewIn, st.t.slewOut
	}
	return base+dev < 0
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
