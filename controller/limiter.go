package controller

// cycleMean is the mean engine speed over the last whole 720 degrees.
type cycleMean struct {
	phase uint32 // of this cycle
	sum   uint32 // speed times ticks of this cycle
	ticks uint16
	fresh bool // a cycle ended in this tick
	mean  Speed
}

func (m *cycleMean) step(e *Engine, n Speed, dt uint32) {
	m.phase = min(m.phase+e.phaseOf(n)*dt, maxPhase)
	m.sum += uint32(n) * dt
	m.ticks = addSat16(m.ticks, dt)
	m.fresh = m.phase >= e.cyclePhase() || m.ticks > 20000
	if m.fresh {
		*m = cycleMean{mean: Speed(m.sum / uint32(m.ticks)), fresh: true}
	}
}

// restart begins a cycle whose predecessor counts as n: a regulator that takes
// over must not see the run-up.
func (m *cycleMean) restart(n Speed) { *m = cycleMean{mean: n} }

// demand is what one active stage wants cut at speed n (with anticipation added)
// and measured speed now.
func (s *stageState) demand(st *Stage, m *cycleMean, n, now Speed) Demand {
	c := &st.Cut
	switch c.Style {
	case Soft:
		return softDemand(n, s.ceiling, c.Band)
	case Hard:
		if s.latch(n, c.Hysteresis) {
			return c.Depth
		}
	case WholeEngine:
		if s.latch(n, c.Hysteresis) {
			return FullDemand
		}
	case Regulate:
		return s.regulate(c, m, n, now)
	}
	return 0
}

// softDemand rises over the band below the ceiling and is full at it.
func softDemand(n, ceiling, band Speed) Demand {
	switch over := n - (ceiling - band); {
	case over <= 0:
		return 0
	case over >= band:
		return FullDemand
	default:
		return Demand(int32(over) * int32(FullDemand) / int32(band))
	}
}

// latch switches on at the ceiling and off below it by the hysteresis; between
// the two the last state is kept.
func (s *stageState) latch(n, hysteresis Speed) bool {
	switch {
	case n >= s.ceiling:
		s.latched = true
	case n < s.ceiling-hysteresis:
		s.latched = false
	}
	return s.latched
}

// regulate is proportional and integral on the mean speed of a cycle. The
// integral part is preset when it takes over, stops where the demand saturates,
// and is forgotten when it lets go. Band above the ceiling everything is cut.
func (s *stageState) regulate(c *Cut, m *cycleMean, n, now Speed) Demand {
	was := s.latched
	if !s.latch(n, c.Hysteresis) {
		s.integral = 0
		return 0
	}
	if !was {
		s.integral = uint16(c.Preset)
		m.restart(s.ceiling)
	}
	if now >= s.ceiling+c.Band {
		return FullDemand
	}
	err := clamp(int32(m.mean-s.ceiling), -maxError, maxError)
	p := c.Gain * err / int32(RPM)
	if m.fresh && was {
		s.integrate(c.Integral*err/int32(RPM), p)
	}
	return Demand(clamp(int32(s.integral)+p, 0, int32(FullDemand)))
}

const maxError = 5000 * int32(RPM)

// integrate adds a step unless the demand is already at the end that the step
// goes towards.
func (s *stageState) integrate(step, p int32) {
	sum := int32(s.integral) + p
	if step > 0 && sum >= int32(FullDemand) || step < 0 && sum <= 0 {
		return
	}
	s.integral = uint16(clamp(int32(s.integral)+step, 0, int32(FullDemand)))
}
