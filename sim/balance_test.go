package sim

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Tests V2 to V5, V15 and V20: balances and limits of the gas path.

func hold(car Car, c Conditions, rpm float64, set func(r *rig)) *rig {
	r := newRig(New(MustCompile(car), c))
	r.lim.ceiling = rpm
	r.in.Throttle = 1
	set(r)
	return r
}

// busy runs everything a car has: limiter, late spark, oxidiser, launch, shifts.
func busy(t *testing.T, car Car) (*Plant, float64, float64) {
	t.Helper()
	p := New(MustCompile(car), Standard())
	m0, e0 := p.MassHeld(), p.EnergyHeld()
	d := pass{holdS: 2, launch: 3000, shift: 6200, until: 200, maxS: 14, soft: true, retard: !car.Nitrous.Fitted}
	if car.Nitrous.Fitted {
		d.shot, d.shotFrom = 2, 0.5
	}
	drive(p, d)
	require.False(t, p.Fault().Bad(), "%+v", p.Fault())
	require.Greater(t, p.State.X, 150.0)
	return p, m0, e0
}

func TestV02_MassBalance(t *testing.T) {
	for _, car := range DemoCars() {
		p, m0, _ := busy(t, car)
		l := &p.State.Ledger
		err := l.MassError(p.MassHeld() - m0)
		t.Logf("%s: %.2e kg of %.2f kg (oxidiser %.0f g)", car.Name, err, l.AirKg, 1e3*l.OxidiserKg)
		assert.Less(t, math.Abs(err), 1e-9*l.AirKg)
		if car.Nitrous.Fitted {
			line := 0.0
			for i := range p.State.Shot {
				line += p.State.Shot[i].LineKg
			}
			gone := car.Nitrous.BottleKg - p.State.BottleKg
			assert.InDelta(t, gone, l.OxidiserKg+line+p.State.bottleOut, 1e-9)
		}
	}
}

func TestV03_EnergyBalance(t *testing.T) {
	for _, car := range DemoCars() {
		p, _, e0 := busy(t, car)
		l := &p.State.Ledger
		err := l.EnergyError(p.EnergyHeld() - e0)
		through := l.Released + l.EnthalpyIn
		t.Logf("%s: %.2e J of %.2e J; gas exchange books %.2f %% of the fuel", car.Name, err, through, 100*l.Exchange/l.Released)
		assert.Less(t, math.Abs(err), 1e-6*through)
		assert.Less(t, math.Abs(l.Exchange), 0.03*l.Released, "what gas exchange books stays small")
	}
}

func TestV04_ChokedOrifice(t *testing.T) {
	for _, c := range []struct{ gamma, want float64 }{{1.4, 0.040418}, {1.3, 0.039387}} {
		f := newFlowTable(c.gamma)
		got := f.flow(1, 3e5, 400, 1e5, 400) * math.Sqrt(400) / 3e5
		assert.InDelta(t, c.want, got, 1e-6)
		assert.Zero(t, f.flow(1, 1e5, 300, 1e5, 300))
		last := f.flow(1, 1e5, 300, 0.4e5, 300)
		for r := 0.4; r < 1; r += 1e-4 {
			q := f.flow(1, 1e5, 300, r*1e5, 300)
			assert.LessOrEqual(t, q, last+1e-9, "falls with pressure ratio")
			assert.Less(t, last-q, 0.02*240, "without a jump")
			last = q
		}
		assert.InDelta(t, -f.flow(1, 2e5, 350, 1e5, 300), f.flow(1, 1e5, 300, 2e5, 350), 1e-12, "both ways alike")
	}
}

func TestV05_AdiabaticFilling(t *testing.T) {
	car := PlainEight()
	m := MustCompile(car)
	m.car.Intake.WallWK = 0
	c := quiet(0)
	p := New(m, c)
	p.State.PlenumKg, p.State.PlenumJ = charge(500, 293.15, m.plenumM3, freshA)
	in := Actuators{Throttle: 1}
	for range 200 {
		p.Advance(&in)
	}
	f := &p.State.now
	assert.InEpsilon(t, c.AmbientPa, f.plenumPa, 0.005)
	gamma := 1 + gasR/(freshA+gasB*350) // of the gas at the mean temperature of the filling
	assert.InEpsilon(t, gamma*c.AmbientK, f.plenumK, 0.005)
}

func TestV15_TurboShaft(t *testing.T) {
	m := MustCompile(TurboFour())
	m.car.Turbo.MechEta, m.car.Turbo.Bearing = 1, 0
	p := New(m, quiet(0))
	p.State.TurboSpeed = 2000
	work := 0.0
	for range 2000 {
		w := p.State.TurboSpeed
		p.State.now.compW = 0
		p.shaft(5000/w, 1e-4)
		work += 5000 * 1e-4
	}
	w := p.State.TurboSpeed
	assert.InEpsilon(t, work, 0.5*m.car.Turbo.InertiaKgM2*(float64(w*w)-2000*2000), 1e-3)
}

func TestV15_TurboSteadyState(t *testing.T) {
	r := warm(t, TurboFour(), 4500, 10)
	p := r.p
	l0, w0 := p.State.Ledger, p.State.TurboSpeed
	require.True(t, r.run(4))
	l1, w1 := p.State.Ledger, p.State.TurboSpeed
	turbine, comp := l1.TurbineJ-l0.TurbineJ, l1.CompressorJ-l0.CompressorJ
	loss := l1.TurboLoss - l0.TurboLoss
	grown := 0.5 * p.model.car.Turbo.InertiaKgM2 * (float64(w1*w1) - float64(w0*w0))
	assert.InEpsilon(t, turbine, comp+loss+grown, 1e-9, "the shaft keeps what it is given")
	assert.InEpsilon(t, turbine, comp+loss, 1e-3, "steady")
}

func TestV20_SameSeedSameBytes(t *testing.T) {
	for _, car := range DemoCars() {
		a, b := New(MustCompile(car), Standard()), New(MustCompile(car), Standard())
		d := pass{holdS: 1, launch: 3500, shift: 6500, until: 60, maxS: 6, soft: true, shot: 1, shotFrom: 0.2}
		drive(a, d)
		drive(b, d)
		require.True(t, a.State == b.State)
		c := Standard()
		c.Seed = 2
		other := New(MustCompile(car), c)
		drive(other, d)
		assert.NotEqual(t, a.State.X, other.State.X, "another seed is another run")
	}
}

// Looking at a run, at any rate, does not change it.
func TestV20_TraceDoesNotDisturb(t *testing.T) {
	row := make([]float64, ChannelCount)
	run := func(watch bool) State {
		p := New(MustCompile(TurboFour()), Standard())
		p.TeethStop = watch
		r := newRig(p)
		r.in.Throttle = 1
		r.lim = limiter{ceiling: 4000, spark: true, hyst: 50, rpm: 1500}
		if watch {
			r.each = func(*rig) { p.Truth(row) }
		}
		r.run(2)
		return p.State
	}
	assert.True(t, run(false) == run(true))
}

func TestSnapshotRestores(t *testing.T) {
	p := New(MustCompile(TurboEight()), Standard())
	r := newRig(p)
	r.in.Throttle, r.in.TransBrake = 1, true
	r.lim = limiter{ceiling: 0, rpm: 1500}
	r.run(1.2345)
	saved, lim, n, ring := p.State, r.lim, r.ringN, r.ring
	r.run(0.7)
	first := p.State
	p.State, r.lim, r.ringN, r.ring = saved, lim, n, ring
	r.run(0.7)
	assert.True(t, first == p.State)
}

func TestParallelRunsAgree(t *testing.T) {
	m := MustCompile(TurboFour())
	out := make(chan State, 4)
	for range 4 {
		go func() {
			p := New(m, Standard())
			drive(p, pass{holdS: 0.5, launch: 4000, shift: 7000, until: 20, maxS: 5})
			out <- p.State
		}()
	}
	first := <-out
	for range 3 {
		assert.True(t, first == <-out)
	}
}

// An odd-firing twin and an even three: any count and spacing that fits the
// bins keeps its balances.
func TestOtherEngines(t *testing.T) {
	for _, c := range []struct {
		order     []int
		intervals []float64
	}{{[]int{1, 2}, []float64{270, 450}}, {[]int{1, 3, 2}, nil}, {[]int{1, 5, 3, 6, 2, 4}, []float64{90, 150, 90, 150, 90, 150}}} {
		car := TurboFour()
		car.Engine.Order, car.Engine.IntervalsDeg = c.order, c.intervals
		r := hold(car, quiet(2500), 5000, func(r *rig) { r.lim.spark, r.lim.hyst = true, 50 })
		m0, e0 := r.p.MassHeld(), r.p.EnergyHeld()
		require.True(t, r.run(2))
		l := &r.p.State.Ledger
		assert.Less(t, math.Abs(l.MassError(r.p.MassHeld()-m0)), 1e-9*l.AirKg)
		assert.Less(t, math.Abs(l.EnergyError(r.p.EnergyHeld()-e0)), 1e-6*l.EnthalpyIn)
		assert.InDelta(t, 5000, r.lim.rpm, 600)
	}
}
