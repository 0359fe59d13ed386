package sim

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Tests V8 to V14 and V17, V18 of the validation list: launch device,
// driveline, tyre, car, step size, delays.

// stallPoint puts the converter car on the trans-brake, no ceiling, at the boost
// limit and returns mean crank speed and torque of the last second.
func stallPoint(t *testing.T, advance float64, late bool) (rpm, nm float64) {
	t.Helper()
	c := quiet(2500)
	r := hold(TurboEight(), c, 0, func(r *rig) {
		r.in.TransBrake = true
		r.lim.retard, r.lim.advance = late, advance
	})
	require.True(t, r.run(7))
	n := 0.0
	r.each = func(r *rig) {
		f := &r.p.State.now
		rpm += r.p.RPM()
		nm += f.gasNm - f.pumpNm - f.fricNm
		n++
	}
	r.run(1)
	return rpm / n, nm / n
}

func TestV08_ConverterStall(t *testing.T) {
	for _, c := range []struct {
		late bool
		adv  float64
	}{{false, 0}, {true, 0}, {true, -10}, {true, -20}} {
		n, nm := stallPoint(t, c.adv, c.late)
		want := StallRPM(13.5, nm)
		t.Logf("late %v %v: %.0f rpm, K0 sqrt(T) %.0f", c.late, c.adv, n, want)
		assert.InEpsilon(t, want, n, 0.01)
	}
}

func TestV09_Converter(t *testing.T) {
	p := New(MustCompile(TurboEight()), quiet(1500))
	for sr := 0.0; sr <= 1; sr += 0.01 {
		ti, tt := p.converter(200, 200*sr)
		t2, u2 := p.converter(400, 400*sr)
		assert.InEpsilon(t, 4*ti, t2, 1e-12, "torque goes with speed squared")
		assert.InEpsilon(t, 4*tt, u2, 1e-12)
		assert.LessOrEqual(t, tt*sr, ti*(1+1e-12), "no more power out than in, SR %v", sr)
	}
	ti, tt := p.converter(200, 260)
	assert.Less(t, ti, 0.0, "past lock-up the wheels drive")
	assert.Equal(t, ti, tt)
}

// Constant acceleration against the closed form, with and without roll-out.
// Values: t = sqrt(2(d+r)/a) - sqrt(2r/a), validation list and check-values 7.3.
func TestV10_ConstantAcceleration(t *testing.T) {
	for _, c := range []struct{ g, roll, from, want float64 }{
		{0.5, 0.28, 0.28, 2.4141}, {1, 0.28, 0.28, 1.7070}, {1.5, 0.28, 0.28, 1.3938},
		{2, 0.28, 0.28, 1.2070}, {2.5, 0.28, 0.28, 1.0796},
		{0.5, 0, 0, 2.7312}, {1, 0, 0, 1.9312}, {1.5, 0, 0, 1.5769}, {2, 0, 0, 1.3656}, {2.5, 0, 0, 1.2214},
		{0.5, 0.2921, 0, 2.38602}, {1, 0.2921, 0, 1.68717}, {2, 0.2921, 0, 1.19301}, // stage line, 11.5 in
		{0.5, 0.2921, 0.339725, 2.41127}, {0.8, 0.2921, 0.339725, 1.90628}, {1.5, 0.2921, 0.339725, 1.39215}, // guard line, 13.375 in
	} {
		cond := quiet(0)
		cond.Rollout, cond.MarkFrom = c.roll, c.from
		p := New(MustCompile(PlainEight()), cond)
		s := &p.State
		dt, a := 2e-4, c.g*gravity
		for i := 0; s.Strip.At[0] == 0; i++ {
			v0, x0 := s.V, s.X
			s.V += float64(a * dt)
			s.X += float64(0.5 * (v0 + s.V) * dt)
			p.clocks(x0, dt)
			s.Tick, s.Within = 0, float64(i+1)*dt
		}
		if c.roll == 0 {
			s.Strip.Left = 0
		}
		assert.InDelta(t, c.want, s.Strip.Elapsed(0), 2e-4, "%v g", c.g)
	}
}

func TestV11_CoastDown(t *testing.T) {
	car := PlainEight()
	p := New(MustCompile(car), quiet(0))
	s := &p.State
	s.V, s.Wheel, s.Gear = 50, 50/car.Tyre.RadiusM, 0
	mass := car.Body.MassKg + car.Body.RotKg + car.Tyre.Inertia/(car.Tyre.RadiusM*car.Tyre.RadiusM)
	rho := p.cond.AmbientPa / (gasR * p.cond.AmbientK)
	A := car.Tyre.Rolling * car.Body.MassKg * gravity / mass
	C := 0.5 * rho * car.Body.CdA / mass
	in := Actuators{}
	for range 20000 {
		p.Advance(&in)
	}
	want := math.Sqrt(A/C) * math.Tan(math.Atan(50*math.Sqrt(C/A))-float64(20*math.Sqrt(A*C)))
	assert.InEpsilon(t, want, s.V, 1e-3)
}

func TestV12_RestUnderBrake(t *testing.T) {
	c := quiet(1000)
	r := newRig(New(MustCompile(TurboEight()), c))
	r.in.Throttle, r.in.FootBrake = 0.04, 1
	require.True(t, r.run(10))
	assert.False(t, r.p.State.Stalled)
	assert.Less(t, math.Abs(r.p.State.X), 1e-3)
}

// a <= mu g w_d/(1 - mu h/L), Gillespie ch. 2; the tyre held at its best slip.
func TestV12_TractionLimit(t *testing.T) {
	for _, drive := range []string{"rear", "front", "all"} {
		car := PlainEight()
		car.Body.Drive = drive
		car.Tyre.LoadExp, car.Tyre.SpeedMS, car.Body.CdA, car.Tyre.Rolling = 0, 1e6, 0, 0
		car.Body.RotKg = 0
		p := New(MustCompile(car), quiet(0))
		best := 0.0
		for s := 0.05; s < 0.4; s += 1e-4 {
			if p.model.magic.at(s) > p.model.magic.at(best) {
				best = s
			}
		}
		s := &p.State
		s.V = 2
		for range 20000 {
			s.Slip = best
			p.tyreForce()
			p.car(2e-4)
			s.V = 2
		}
		b, mu := &car.Body, car.Tyre.Mu0
		want := mu * gravity * b.DrivenPart / (1 - mu*b.HeightM/b.BaseM)
		switch drive {
		case "front":
			want = mu * gravity * b.DrivenPart / (1 + mu*b.HeightM/b.BaseM)
		case "all":
			want = mu * gravity
		}
		assert.InEpsilon(t, want, s.A, 0.01, drive)
	}
}

// Two inertias on a slipping clutch: t = I1 I2 dw/(T(I1+I2)), E = I1 I2 dw^2/(2(I1+I2));
// .25 and 2.0 kg m2, 300 rad/s, 400 N m: 0.166667 s, 10000 J (Shigley ch. 16, from memory).
func TestV13_Clutch(t *testing.T) {
	const ja, jb, dt, most = 0.25, 2.0, 1e-5, 400.0
	wa, wb, heat, when := 300.0, 0.0, 0.0, 0.0
	for i := range 30000 {
		a0, b0 := wa, wb
		nm := Impulse(wa, wb, ja, jb, dt, most)
		require.LessOrEqual(t, math.Abs(nm), most)
		wa -= dt * nm / ja
		wb += dt * nm / jb
		heat += float64(nm * 0.5 * (a0 - b0 + wa - wb) * dt)
		if when == 0 && math.Abs(wa-wb) < 1e-9 {
			when = float64(i+1) * dt
		}
	}
	assert.InDelta(t, 0.166667, when, 2e-5)
	assert.InEpsilon(t, 10000, heat, 1e-9)
	assert.InDelta(t, wa, wb, 1e-9, "no drift once locked")
	// locked under a load on one side: the torque is the inertia split
	a, b := wa+dt*100/ja, wb
	nm := Impulse(a, b, ja, jb, dt, most)
	assert.InEpsilon(t, 100*jb/(ja+jb), nm, 1e-9)
}

func TestV13_ClutchInPlant(t *testing.T) {
	p := New(MustCompile(TurboFour()), Standard())
	_, r := drive(p, pass{holdS: 0.3, launch: 4500, shift: 9000, until: 20, maxS: 4, soft: true})
	worst := 0.0
	for range 200 {
		r.tick()
		f := &p.State.now
		require.LessOrEqual(t, math.Abs(f.loadNm), p.clutchCapacity()*(1+1e-12))
		worst = max(worst, math.Abs(f.slipSpeed))
	}
	assert.Less(t, worst, 1e-9, "locked, no drift")
}

func TestV14_DrivelineFrequency(t *testing.T) {
	car := PlainEight()
	car.Gearbox.ShaftNms = 0
	car.Tyre.Rolling, car.Tyre.DampNsM = 0, 0
	c := quiet(0)
	c.Grip = 0.01
	p := New(MustCompile(car), c)
	p.model.car.Tyre.Mu0 = 1e-9
	p.model.car.Gearbox.Efficiency = 1
	s := &p.State
	s.Twist = 0.01
	i := p.ratio()
	w := math.Sqrt(car.Gearbox.ShaftNmRad * (1/(car.Launch.InertiaKgM2*i*i) + 1/car.Tyre.Inertia))
	crossings, first, last, prev := 0, 0.0, 0.0, s.Twist
	for k := range 20000 {
		p.step(1e-4)
		s.Within = 0
		if prev < 0 && s.Twist >= 0 {
			last = float64(k) * 1e-4
			if crossings == 0 {
				first = last
			}
			crossings++
		}
		prev = s.Twist
	}
	require.Greater(t, crossings, 3)
	got := 2 * math.Pi * float64(crossings-1) / (last - first)
	assert.InEpsilon(t, w, got, 0.02)
}

func TestV17_StepSize(t *testing.T) {
	launch := func(car Car, step float64) float64 {
		c := quiet(5500)
		c.StepS = step
		car.Tyre.Mu0 = 1.7
		p := New(MustCompile(car), c)
		res, _ := drive(p, pass{launch: 0, shift: 9000, until: 20, maxS: 6, soft: true})
		return res.s60
	}
	for _, car := range DemoCars() {
		a, b, half := launch(car, 2e-4), launch(car, 5e-5), launch(car, 1e-4)
		t.Logf("%s: 60 ft %.4f s, half step %+.4f ms, quarter step %+.4f ms", car.Name, a, 1e3*(half-a), 1e3*(b-a))
		require.Greater(t, a, 1.0, "the car must get away")
		assert.InDelta(t, a, b, 2e-3)
		assert.InDelta(t, a, half, 2e-3)
	}
	stall := func(step float64) float64 {
		c := quiet(2500)
		c.StepS = step
		r := hold(TurboEight(), c, 0, func(r *rig) { r.in.TransBrake = true })
		r.run(6)
		sum := 0.0
		r.each = func(r *rig) { sum += r.p.RPM() }
		r.run(1)
		return sum / 1000
	}
	assert.InEpsilon(t, stall(2e-4), stall(5e-5), 3e-3)
}

// A rest of rounding at the end of a tick is no sub-step of its own: over it the
// engine would seem not to accelerate.
func TestV17_NoSubStepOfRounding(t *testing.T) {
	c := quiet(5500)
	c.TickS = 1e-4
	p := New(MustCompile(TurboFour()), c)
	_, r := drive(p, pass{shift: 9000, until: 5, maxS: 6, soft: true})
	still := 0
	r.each = func(r *rig) {
		if r.p.State.Accel == 0 {
			still++
		}
	}
	r.run(0.5)
	require.Greater(t, p.State.V, 1.0)
	assert.Zero(t, still)
}

// Decision to torque: from the moment every coming decision withholds to the
// loss of half the mean torque. The wait for the next commit is up to one
// firing interval, the burn takes up to 130 degrees after dead centre.
func TestV18_DecisionToTorque(t *testing.T) {
	for _, car := range DemoCars() {
		for _, rpm := range []float64{2500, 4000, 6000} {
			n := float64(len(car.Engine.Order))
			fuel := delay(t, car, rpm, true)
			spark := delay(t, car, rpm, false)
			t.Logf("%s %v: fuel %.0f deg, spark %.0f deg", car.Name, rpm, fuel, spark)
			lo, hi := 516.0, 516+720/n+130
			assert.True(t, fuel >= lo-binDeg && fuel <= hi+binDeg, "fuel %v in %v..%v", fuel, lo, hi)
			lo, hi = 96.0, 96+720/n+130
			assert.True(t, spark >= lo-binDeg && spark <= hi+binDeg, "spark %v in %v..%v", spark, lo, hi)
		}
	}
}

func delay(t *testing.T, car Car, rpm float64, fuel bool) float64 {
	t.Helper()
	m := dyno(car)
	m.car.Fuel.FilmShare = 0
	p := New(m, quiet(rpm))
	p.TeethStop = true
	r := newRig(p)
	r.in.Throttle = 1
	r.lim = limiter{fuel: fuel, spark: !fuel, rpm: rpm}
	interval := int(720 / binDeg / float64(m.n))
	var ring [bins]float64
	step := func() float64 { // one bin on, mean torque over the last interval
		for {
			st := p.Advance(&r.in)
			if st.Why == NeedDecision {
				r.decide(st.Commit)
			}
			if st.Why == ToothEdge {
				break
			}
		}
		copy(ring[1:], ring[:bins-1])
		ring[0] = p.State.binWork
		sum := 0.0
		for i := range interval {
			sum += ring[i]
		}
		return sum
	}
	before := 0.0
	for range 1200 {
		before = step()
	}
	r.lim.ceiling, r.lim.cutting, r.lim.hyst = 1, true, 1e9
	for n := 1; n < 300; n++ {
		if step() < 0.5*before {
			return binDeg * float64(n)
		}
	}
	t.Fatal("torque never fell")
	return 0
}
