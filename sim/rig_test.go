package sim

// The rig drives a plant in tests: a small built-in limiter and driver, so that
// the plant can be exercised without the project's controller.

// limiter withholds fuel or spark above a ceiling.
type limiter struct {
	ceiling  float64 // rpm, 0: none
	hyst     float64 // rpm
	fuel     bool
	spark    bool
	pattern  bool    // proportional-integral share, spread by error diffusion
	retard   bool    // late spark instead of the base map
	advance  float64 // deg BTDC when retard
	cutting  bool
	integral float64
	debt     float64
	rpm      float64 // mean over the last firing interval
	cuts     int
	events   int
}

type rig struct {
	p     *Plant
	in    Actuators
	lim   limiter
	buf   []Commit
	ev    []Event
	each  func(r *rig)
	fired int
	done  int
	ring  [256]float64
	ringN int
}

func newRig(p *Plant) *rig {
	r := &rig{p: p, buf: make([]Commit, 0, 64), ev: make([]Event, 0, 64)}
	r.in.Gear = 1
	r.lim.rpm = p.RPM()
	return r
}

func (r *rig) decide(c Commit) {
	l := &r.lim
	adv := r.p.model.BaseSpark(r.p.RPM(), r.p.ManifoldPa())
	if l.retard {
		adv = l.advance
	}
	give := true
	lead := l.fuel && c.Kind == FuelCommit || !l.fuel && l.spark && c.Kind == SparkCommit
	if lead && l.ceiling > 0 {
		give = !l.want()
		l.events++
		if !give {
			l.cuts++
		}
	}
	if !r.p.Decide(c.Cylinder, c.Cycle, c.Kind, give, adv) {
		panic("rig: commit refused")
	}
}

func (l *limiter) want() bool {
	over := l.rpm - l.ceiling
	if !l.pattern {
		if over > 0 {
			l.cutting = true
		} else if over < -l.hyst {
			l.cutting = false
		}
		return l.cutting
	}
	l.integral += float64(4e-5 * over)
	if l.integral > 1 {
		l.integral = 1
	}
	if l.integral < 0 {
		l.integral = 0
	}
	share := l.integral + float64(over*0.003)
	if share > 1 {
		share = 1
	}
	if share < 0 {
		share = 0
	}
	l.debt += share
	if l.debt >= 1 {
		l.debt--
		return true
	}
	return false
}

// tick runs one tick with every commit decided, and reports divergence.
func (r *rig) tick() bool {
	r.segment()
	r.buf = r.p.Upcoming(r.buf[:0], r.p.cond.TickS)
	for _, c := range r.buf {
		r.decide(c)
	}
	for {
		st := r.p.Advance(&r.in)
		switch st.Why {
		case NeedDecision:
			r.decide(st.Commit)
			continue
		case ToothEdge:
			continue
		case Diverged:
			return false
		}
		break
	}
	r.ev = r.p.Events(r.ev[:0])
	for _, e := range r.ev {
		r.done++
		if e.Fired {
			r.fired++
		}
	}
	if r.each != nil {
		r.each(r)
	}
	return true
}

// segment updates the limiter's speed: the mean over about one firing interval.
func (r *rig) segment() {
	p := r.p
	r.ring[r.ringN&255] = p.RPM()
	r.ringN++
	n := int(120/(p.RPM()+1)/float64(p.model.n)/p.cond.TickS + 0.5)
	if n < 1 {
		n = 1
	}
	if n > r.ringN {
		n = r.ringN
	}
	if n > 255 {
		n = 255
	}
	sum := 0.0
	for i := range n {
		sum += r.ring[(r.ringN-1-i)&255]
	}
	r.lim.rpm = sum / float64(n)
}

// run advances for s seconds of simulated time.
func (r *rig) run(s float64) bool {
	n := int(s/r.p.cond.TickS + 0.5)
	for range n {
		if !r.tick() {
			return false
		}
	}
	return true
}

// dyno returns a model whose crank speed hardly changes: an engine brake.
func dyno(c Car) *Model {
	m := MustCompile(c)
	m.car.Engine.InertiaKgM2 = 1e7
	return m
}

func quiet(rpm float64) Conditions {
	c := Standard()
	c.CycleNoise, c.SensorNoise = 0, 0
	c.StartRPM = rpm
	return c
}

// pass describes one run down the strip by the test driver.
type pass struct {
	holdS    float64 // s on the limiter before release
	launch   float64 // rpm
	soft     bool    // clutch: 55 % in 0.12 s then to 100 % over 0.8 s; else 95 % in 0.12 s
	retard   bool    // 20 degrees after dead centre while held
	shift    float64 // rpm
	shot     int     // 1-based nitrous shot while held and below the ceiling; 0 none
	shotFrom float64 // s
	until    float64 // m
	maxS     float64
}

type result struct {
	s60, s330, s660, s1320 float64
	trap                   float64
	mapAt                  float64 // bar at release
	stalled                bool
	rpmAt                  float64
}

// drive stages the car, holds it on the limiter and launches it.
func drive(p *Plant, d pass) (result, *rig) {
	r := newRig(p)
	conv := p.model.car.Launch.Kind == "converter"
	r.in.Throttle, r.in.TransBrake = 1, conv
	r.lim = limiter{ceiling: d.launch, hyst: 50, spark: true, pattern: true, retard: d.retard, advance: -20, rpm: p.RPM()}
	for t := 0.0; t < d.holdS; t += p.cond.TickS {
		if d.shot > 0 {
			on := t >= d.shotFrom && r.lim.rpm < d.launch-150
			r.shot(d.shot-1, on)
		}
		if !r.tick() {
			return result{stalled: true}, r
		}
	}
	res := result{mapAt: p.ManifoldPa() / 1e5, rpmAt: r.lim.rpm}
	r.shot(0, false)
	r.shot(1, false)
	r.in.TransBrake = false
	r.lim.ceiling, r.lim.retard = d.shift+400, false
	t0 := p.Time()
	for p.State.X < d.until+0.6 {
		t := p.Time() - t0
		if t > d.maxS || p.State.Stalled || !r.tick() {
			res.stalled = true
			return res, r
		}
		r.in.Clutch = clutchAt(t, d.soft)
		r.shiftUp(d.shift)
	}
	st := &p.State.Strip
	res.s60, res.s330, res.s660, res.s1320 = st.Elapsed(0), st.Elapsed(1), st.Elapsed(3), st.Elapsed(6)
	res.trap = st.Trap(true)
	return res, r
}

func (r *rig) shot(i int, on bool) {
	r.in.NitrousDuty[i], r.in.NitrousFuel[i] = 0, 0
	if on {
		r.in.NitrousDuty[i], r.in.NitrousFuel[i] = 1, 1
	}
}

func clutchAt(t float64, soft bool) float64 {
	full, ramp := 0.95, 0.12
	if !soft {
		return min(full, full*t/ramp)
	}
	if t < ramp {
		return 0.55 * t / ramp
	}
	return min(1, 0.55+0.45*(t-ramp)/0.8)
}

// shiftUp asks for the next gear when engine and road speed both say so.
func (r *rig) shiftUp(at float64) {
	p := r.p
	s := &p.State
	if s.ShiftLeft > 0 || s.Gear >= len(p.model.car.Gearbox.Ratios) || s.Gear == 0 {
		return
	}
	road := s.V / p.model.car.Tyre.RadiusM * p.model.gears[s.Gear] * p.model.car.Gearbox.Final * rpmPerRad
	if p.RPM() > at && road > 0.8*at {
		r.in.Gear = s.Gear + 1
	}
}
