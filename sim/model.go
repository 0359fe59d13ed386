package sim

import (
	"math"

	"github.com/holdline/holdline/sim/fmath"
)

// Model is a car made ready to run: geometry, tables and rates, all read-only.
// One Model serves any number of plants at the same time.
type Model struct {
	car Car
	n   int

	slot    [Cylinders]int // bin of each cylinder's firing dead centre
	number  [Cylinders]int // maker's number of each cylinder in firing order
	agenda  [bins][]due
	fuelBin int
	spkBin  int

	areaP, vClear, vCyl, vTotal float64 // piston area m2, volumes m3
	vIvc, vEvo, vIntake         float64
	vol                         [133]float64 // m3 each 2 degrees from IVC to EVO
	wall                        [133]float64 // m2
	motored                     [133]float64 // p over p_ivc without combustion
	unitWork                    [44]float64  // J per Pa of p_ivc in each bin
	blowMan, blowEvo            [8]float64   // J per Pa of manifold and EVO pressure
	recip                       [bins]float64
	once                        [60]float64 // sine over one turn

	eta      table // volumetric over rad/s
	friction table // N m over rad/s, warm
	burnRate table // duration factor over rad/s
	wiebe    table
	magic    table
	oxidise  table
	kFactor  table // converter, over speed ratio 0..1
	tRatio   table
	air      flowTable
	gas      flowTable
	p08      *power // x^0.8
	p055     *power // x^-0.55
	pBreath  *power // x^(1/1.35)
	pComp    *power // x^(2/7)
	pHead    *power // x^3.5
	pTurb    *power // x^2.3
	pExp     *power // x^(R/cp)
	pBlow    *power // x^0.21875
	pLoad    *power

	n2oP, n2oRl, n2oRv, n2oHv table
	shots                     int
	jet, shotFuel             [Shots]float64
	lineM3                    float64

	throttleM2, leakM2 float64
	eyeM2              float64 // compressor wheel as a plain opening
	plenumM3, pipeM3   float64
	manifoldM3         float64
	woschni            float64 // C_w 3.26 B^-0.2
	meanSpeed          float64 // piston speed over crank speed
	stepMax            float64 // s
	gears              [9]float64
}

const (
	dueEVO dueKind = iota
	dueTDC
	dueIVC
	dueFuel
	dueSpark
)

// Compile checks a car and builds its Model. When there are findings there is
// no Model.
func Compile(car Car) (*Model, []Finding) {
	if f := car.Validate(); len(f) > 0 {
		return nil, f
	}
	m := &Model{car: clone(car), n: len(car.Engine.Order)}
	m.crank()
	m.geometry()
	m.events()
	m.tables()
	m.nitrousTables()
	m.rates()
	return m, nil
}

// MustCompile is Compile for cars known to be right, such as the demo cars.
func MustCompile(car Car) *Model {
	m, f := Compile(car)
	if len(f) > 0 {
		panic("sim: " + f[0].String())
	}
	return m
}

// Car returns a copy of the parameters.
func (m *Model) Car() Car { return clone(m.car) }

func clone(c Car) Car {
	floats := []*[]float64{&c.Engine.IntervalsDeg, &c.Engine.EtaRPM, &c.Engine.Eta,
		&c.Nitrous.JetM2, &c.Launch.SR, &c.Launch.K, &c.Launch.TR, &c.Gearbox.Ratios}
	for _, f := range floats {
		*f = append([]float64(nil), *f...)
	}
	c.Engine.Order = append([]int(nil), c.Engine.Order...)
	return c
}

const topSpeed = 1400.0 // rad/s, end of the tables over crank speed

func (m *Model) tables() {
	e, c := &m.car.Engine, &m.car.Combustion
	eta := newCurve(e.EtaRPM, e.Eta)
	m.eta = newTable(0, topSpeed, 701, func(w float64) float64 { return eta.at(w * rpmPerRad) })
	m.friction = newTable(0, topSpeed, 701, func(w float64) float64 {
		return e.FrictionFac * MotoringBar(w*rpmPerRad) * 1e5 * m.vTotal / (4 * math.Pi)
	})
	m.burnRate = newTable(0, topSpeed, 701, func(w float64) float64 {
		return c.Burn3000Deg * fmath.Pow(max(w*rpmPerRad, 300)/3000, 0.25)
	})
	m.wiebe = newTable(0, 1.6, 2049, Wiebe)
	ty := &m.car.Tyre
	m.magic = newTable(-1.25, 1.25, 5001, func(s float64) float64 {
		return MagicFormula(ty.B, ty.C, 1, ty.E, s)
	})
	x := &m.car.Exhaust
	m.oxidise = newTable(300, 2400, 2101, func(t float64) float64 {
		return x.OxRate * fmath.Exp(-x.OxK*(1/t-1/873.0))
	})
	la := &m.car.Launch
	k, tr := newCurve(la.SR, la.K), newCurve(la.SR, la.TR)
	m.kFactor = newTable(0, 1, 1001, func(s float64) float64 { return la.K0 * k.at(s) })
	m.tRatio = newTable(0, 1, 1001, tr.at)
	m.air, m.gas = newFlowTable(gammaFresh), newFlowTable(gammaBurnt)
	m.powers()
}

func (m *Model) powers() {
	m.p08, m.p055 = newPower(0.8), newPower(-0.55)
	m.pBreath = newPower(1 / 1.35)
	m.pComp, m.pHead = newPower(2.0/7), newPower(3.5)
	m.pTurb = newPower(2.3)
	m.pExp = newPower(expansion)
	m.pBlow = newPower(0.28 / 1.28)
	m.pLoad = newPower(m.car.Tyre.LoadExp)
}

func (m *Model) nitrousTables() {
	n := &m.car.Nitrous
	m.n2oP = newTable(200, 309, 1091, n2oPressure)
	m.n2oRl = newTable(200, 309, 1091, n2oLiquid)
	m.n2oRv = newTable(200, 309, 1091, n2oVapour)
	m.n2oHv = newTable(200, 309, 1091, n2oEvaporation)
	if !n.Fitted {
		return
	}
	m.shots = copy(m.jet[:], n.JetM2)
	m.lineM3 = n.LineML * 1e-6
	for i := range m.shots {
		m.shotFuel[i] = m.RatedShot(i) * oxInN2O / oxPerFuel / n.FuelLambda
	}
}

// rates derives the sub-step: no longer than 0.2 ms, and short enough for the
// stiffest pair of orifice and volume.
func (m *Model) rates() {
	in, ex := &m.car.Intake, &m.car.Exhaust
	d := in.ThrottleMM * 1e-3
	m.throttleM2 = in.ThrottleCd * math.Pi / 4 * d * d
	m.leakM2 = in.LeakMM2 * 1e-6
	m.plenumM3, m.pipeM3 = in.PlenumL*1e-3, in.PipeL*1e-3
	m.manifoldM3 = float64(ex.VolumeL * 1e-3)
	eye := 0.7 * m.car.Turbo.CompRadiusM
	m.eyeM2 = 0.3 * math.Pi * eye * eye
	fill := gammaFresh * math.Sqrt(gasR*300) * m.throttleM2 * 11.5
	rate := fill / m.plenumM3
	if m.car.Turbo.Fitted {
		rate += fill / m.pipeM3
	} else {
		rate = max(rate, gammaBurnt*math.Sqrt(gasR*1000)*ex.OrificeM2*11.5/m.manifoldM3)
	}
	m.stepMax = min(2e-4, 1.2/rate)
	bore := m.car.Engine.BoreMM * 1e-3
	m.woschni = m.car.Combustion.WallCoef * 3.26 * fmath.Pow(bore, -0.2)
}
