package sim

import "math"

// Sensors are the samples that a car's instruments show at the end of a tick,
// after their lags, noise and resolution. Crank speed is not among them: it is
// for the decoder to find from tooth times.
type Sensors struct {
	MapPa    float64 // manifold pressure, 10 bit of 400 kPa
	Throttle float64 // 0 to 1
	CoolantK float64
	IntakeK  float64
	ExhaustK float64 // thermocouple behind the manifold
	Lambda   float64 // wideband: transport delay and lag; reads lean during cuts
	BottlePa float64
	BoostPa  float64 // charge pipe
	WheelMS  float64 // driven axle's speed sensor as car speed, 0 when too slow to see
	FreeMS   float64 // other axle
	ShaftRad float64 // driveshaft speed, rad/s, before the final drive
	VoltageV float64
	OilPa    float64
	FuelPa   float64
	mapPa    float64 // before noise
	lambda   float64
}

func (p *Plant) startSensors() {
	s := &p.State
	q := &s.Sensors
	q.mapPa, q.MapPa = s.now.plenumPa, s.now.plenumPa
	q.CoolantK, q.IntakeK = p.cond.CoolantK, s.now.plenumK
	q.ExhaustK = s.now.manK
	q.lambda, q.Lambda = 1, 1
	for i := range s.lambdaLog {
		s.lambdaLog[i] = 1
	}
	p.sense(0)
}

// sense samples every instrument.
func (p *Plant) sense(dt float64) {
	m, s := p.model, &p.State
	q, f, c := &s.Sensors, &s.now, &m.car.Sensing
	n := uint64(s.Tick)
	q.mapPa += float64((f.plenumPa - q.mapPa) * settle(dt/c.MapS))
	q.MapPa = grid(q.mapPa+p.noise(streamMap, n, c.MapNoiseKPa*1e3), 400e3/1023)
	q.Throttle += float64((p.act.Throttle - q.Throttle) * settle(dt/c.TpsS))
	q.CoolantK += float64((p.cond.CoolantK - q.CoolantK) * settle(dt/c.CltS))
	q.IntakeK += float64((f.plenumK - q.IntakeK) * settle(dt/c.IatS))
	q.ExhaustK += float64((f.manK - q.ExhaustK) * settle(dt/c.EgtS))
	q.BottlePa, q.BoostPa = s.BottlePa, f.pipePa
	p.wideband(dt)
	q.WheelMS = p.wheelSensor(s.Wheel * m.car.Tyre.RadiusM)
	q.FreeMS = p.wheelSensor(s.V)
	q.ShaftRad = s.Wheel * m.car.Gearbox.Final
	q.VoltageV = 12.3 + float64(1.5*clamp(s.Speed/100, 0, 1))
	q.OilPa = 450e3 * clamp(s.Speed/300, 0, 1)
	q.FuelPa = 300e3 * clamp(s.Speed/35, 0, 1)
}

func (p *Plant) noise(stream, index uint64, sd float64) float64 {
	if p.cond.SensorNoise == 0 || sd == 0 {
		return 0
	}
	return p.cond.SensorNoise * sd * normal(p.cond.Seed, stream, index)
}

func grid(x, step float64) float64 { return step * math.Floor(x/step+0.5) }

// wheelSensor counts teeth: below 1 m/s there is nothing to measure, above it
// one tooth in a tick of ten milliseconds limits the resolution.
func (p *Plant) wheelSensor(v float64) float64 {
	if v < 1 {
		return 0
	}
	return v * (1 + p.noise(streamWheel, uint64(p.State.Tick), 0.002))
}

// wideband delays the exhaust's oxygen balance and puts a lag on it.
func (p *Plant) wideband(dt float64) {
	s := &p.State
	c := &p.model.car.Sensing
	i := int(s.Tick & 127)
	s.lambdaLog[i] = p.exhaustLambda()
	back := min(int(c.LambdaDelay/p.cond.TickS+0.5), 127)
	s.Sensors.lambda += float64((s.lambdaLog[(i-back)&127] - s.Sensors.lambda) * settle(dt/c.LambdaS))
	s.Sensors.Lambda = clamp(s.Sensors.lambda, 0.6, 2)
}

// exhaustLambda is the mixture that the exhaust gas balances to: oxygen left
// makes it lean, fuel left rich.
func (p *Plant) exhaustLambda() float64 {
	s := &p.State
	air := s.ManKg * 0.93
	spare := (s.ManO2 - float64(oxPerFuel*s.ManFuel)) / (oxInAir * air)
	return clamp(1/(1-clamp(spare, -1, 0.5)), 0.5, 2)
}

const (
	toothRing = 64
	eventRing = 64
)

// Tooth is one edge from the crank or cam wheel.
type Tooth struct {
	TimeNs int64 // since the start, in steps of 1 us
	Cam    bool
	False  bool // injected by Conditions.ExtraTooth; truth, not for a decoder
}

// Event is what became of one engine cycle of a cylinder, reported when its
// exhaust valve opens.
type Event struct {
	Time       float64 // s
	Cylinder   int
	Cycle      uint8
	Fuel       bool // fuel was given
	Spark      bool // spark was given
	Fired      bool // it burnt
	Misfired   bool // spark given, but outside the limits of mixture, residual or angle
	AdvanceDeg float64
	CA50       float64 // deg after dead centre
	Burnt      float64 // share burnt when the exhaust valve opens
	Lambda     float64
	ImepPa     float64
	PeakPa     float64
	PeakDeg    float64
}

func (p *Plant) report(e Event) {
	s := &p.State
	s.event[s.eventHead%eventRing] = e
	s.eventHead++
	if s.eventHead-s.eventTail > eventRing {
		s.eventTail = s.eventHead - eventRing
	}
}

// Events appends the events since the last call to buf. Up to 64 are kept.
func (p *Plant) Events(buf []Event) []Event {
	s := &p.State
	for ; s.eventTail != s.eventHead; s.eventTail++ {
		buf = append(buf, s.event[s.eventTail%eventRing])
	}
	return buf
}

// Teeth appends the edges since the last call to buf. Up to 64 are kept, more
// than a 10 ms tick at 10,000 rpm with 60 teeth can bring.
func (p *Plant) Teeth(buf []Tooth) []Tooth {
	s := &p.State
	for ; s.toothTail != s.toothHead; s.toothTail++ {
		buf = append(buf, s.tooth[s.toothTail%toothRing])
	}
	return buf
}

func (p *Plant) pushTooth(t float64, cam, fake bool) {
	s := &p.State
	us := math.Floor(float64(t*1e6) + 0.5)
	s.tooth[s.toothHead%toothRing] = Tooth{TimeNs: int64(us) * 1000, Cam: cam, False: fake}
	s.toothHead++
	if s.toothHead-s.toothTail > toothRing {
		s.toothTail = s.toothHead - toothRing
		s.toothLost++
	}
}

// pitchPattern draws the fixed errors of the wheel: a random part per tooth
// and a run-out once per turn.
func (p *Plant) pitchPattern() {
	c := &p.model.car.Sensing
	for i := range p.pitch {
		z := normal(p.cond.Seed, streamTooth, uint64(i))
		p.pitch[i] = p.cond.SensorNoise * (float64(c.PitchDeg*z) + float64(c.RunoutDeg*p.model.once[i]))
	}
}

// edge records what the crank and cam sensors see on the bin edge just passed.
func (p *Plant) edge() {
	s := &p.State
	c := &p.model.car.Sensing
	t := p.Time() - s.BinRad/s.Speed
	if float64(s.Bin)*binDeg == c.CamDeg {
		p.pushTooth(t, true, false)
	}
	perTooth := 60 / c.Teeth
	at := s.Bin%60 - int(c.FirstDeg/binDeg)
	if at < 0 {
		at += 60
	}
	if at%perTooth != 0 || at/perTooth >= c.Teeth-c.Missing {
		return
	}
	s.toothSeq++
	degS := s.Speed * degPerRad
	err := p.pitch[at]
	if p.cond.JitterDeg > 0 {
		err += float64(p.cond.JitterDeg * normal(p.cond.Seed, streamJitter, s.toothSeq))
	}
	u := 1.0
	if p.cond.LoseTooth > 0 || p.cond.ExtraTooth > 0 {
		u = uniform(p.cond.Seed, streamDrop, s.toothSeq)
	}
	if u >= p.cond.LoseTooth {
		p.pushTooth(t+err/degS, false, false)
	}
	if 1-u < p.cond.ExtraTooth {
		half := 180 / float64(c.Teeth)
		p.pushTooth(t+half/degS, false, true)
	}
}
