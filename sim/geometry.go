package sim

import (
	"math"

	"github.com/holdline/holdline/sim/fmath"
)

type dueKind uint8

// due is one event of one cylinder on one bin edge.
type due struct {
	cyl  int
	kind dueKind
}

func (m *Model) crank() {
	e := &m.car.Engine
	at := 0.0
	for k, num := range e.Order {
		m.slot[k] = int(at/binDeg + 0.5)
		m.number[k] = num
		if len(e.IntervalsDeg) > 0 {
			at += e.IntervalsDeg[k]
		} else {
			at += cycleDeg / float64(m.n)
		}
	}
	copy(m.gears[1:], m.car.Gearbox.Ratios)
	for i := range m.once {
		m.once[i] = fmath.Sin(float64(i) * binRad)
	}
	for b := range m.recip {
		m.recip[b] = m.recipTorque(float64(b) * binRad)
	}
}

// recipTorque is the mean over one bin of -f m r^2 sin(o x), per w^2.
func (m *Model) recipTorque(a float64) float64 {
	e := &m.car.Engine
	o := float64(e.RecipOrder)
	if o == 0 {
		return 0
	}
	r := e.StrokeMM * 0.5e-3
	span := fmath.Cos(o*(a+binRad)) - fmath.Cos(o*a)
	return e.RecipFactor * e.RecipKg * r * r * span / (o * binRad)
}

// volume is the cylinder volume at alpha degrees after dead centre [1, ch. 2].
func (m *Model) volume(alpha float64) float64 {
	e := &m.car.Engine
	r, l := float64(e.StrokeMM*0.5e-3), float64(e.RodMM*1e-3)
	s := float64(r * fmath.Sin(alpha*radPerDeg))
	x := float64(r*(1-fmath.Cos(alpha*radPerDeg))) + l - math.Sqrt(float64(l*l)-float64(s*s))
	return m.vClear + float64(m.areaP*x)
}

func (m *Model) geometry() {
	e := &m.car.Engine
	bore := e.BoreMM * 1e-3
	m.areaP = math.Pi / 4 * bore * bore
	m.vCyl = m.areaP * e.StrokeMM * 1e-3
	m.vTotal = m.vCyl * float64(m.n)
	m.vClear = m.vCyl / (e.Compression - 1)
	m.vIvc, m.vEvo = m.volume(ivcDeg-cycleDeg), m.volume(evoDeg)
	m.vIntake = (m.vIvc - m.vClear) * float64(m.n)
	m.meanSpeed = e.StrokeMM * 1e-3 / math.Pi
	for i := range m.vol {
		v := m.volume(float64(2*i) - 132)
		m.vol[i] = v
		m.wall[i] = float64(2*m.areaP) + math.Pi*bore*v/m.areaP
	}
	m.polytropes()
	m.blowDown()
}

// polytropes fills the motored pressure ratios and the work of each bin: a
// polytrope up to dead centre, another after it.
func (m *Model) polytropes() {
	c := &m.car.Combustion
	top := fmath.Pow(m.vIvc/m.vol[66], c.PolyComp)
	for i, v := range m.vol {
		m.motored[i] = fmath.Pow(m.vIvc/v, c.PolyComp)
		if i > 66 {
			m.motored[i] = top * fmath.Pow(m.vol[66]/v, c.PolyExp)
		}
	}
	for j := range m.unitWork {
		n := c.PolyComp
		if j >= 22 {
			n = c.PolyExp
		}
		a, b := 3*j, 3*j+3
		m.unitWork[j] = (float64(m.motored[a]*m.vol[a]) - float64(m.motored[b]*m.vol[b])) / (n - 1)
	}
}

// blowDown integrates p dV from EVO to dead centre in twelve strips a bin, for
// the pressure p_em + (p_evo (V_evo/V)^1.28 - p_em) g with g falling from 1 by
// 1/60 a degree.
func (m *Model) blowDown() {
	for j := range m.blowMan {
		for i := range 12 {
			a := evoDeg + float64(binDeg*float64(j)) + float64(0.5*float64(i))
			dv := m.volume(a+0.5) - m.volume(a)
			mid := a + 0.25
			g := 1 - (mid-evoDeg)/60
			m.blowMan[j] += float64((1 - g) * dv)
			m.blowEvo[j] += float64(g * dv * fmath.Pow(m.vEvo/m.volume(mid), 1.28))
		}
	}
}

func (m *Model) events() {
	e := &m.car.Engine
	m.fuelBin, m.spkBin = e.FuelDeg/binDeg, e.SparkDeg/binDeg
	order := []struct {
		bin  int
		kind dueKind
	}{{evoDeg / binDeg, dueEVO}, {0, dueTDC}, {ivcDeg / binDeg, dueIVC}, {m.fuelBin, dueFuel}, {m.spkBin, dueSpark}}
	for _, o := range order {
		for k := range m.n {
			b := (m.slot[k] + o.bin) % bins
			m.agenda[b] = append(m.agenda[b], due{k, o.kind})
		}
	}
}
