package sim

import "math"

// Conditions are the circumstances of one run: weather, surface, seed, start
// and the size of the random effects. Start from Standard.
type Conditions struct {
	Seed      uint64
	TickS     float64 // s between two returns of Advance; 0.0001 to 0.01
	StepS     float64 // s, longest sub-step; the model may need a shorter one
	StartS    float64 // s, time at the start
	AmbientPa float64
	AmbientK  float64
	CoolantK  float64
	BottleK   float64
	Grip      float64 // factor on the tyre's friction
	GripPerM  float64 // its change per metre along the track
	StartRPM  float64 // 0: engine at rest, declared stalled
	Gear      int     // engaged at the start
	Rollout   float64 // m the car moves before the stage beam clears
	MarkFrom  float64 // m from the start to the line that Marks count from

	CycleNoise  float64 // factor on combustion and injector scatter; 0 none, 1 as in the car
	SensorNoise float64 // factor on sensor noise and tooth errors
	LoseTooth   float64 // probability that an edge is not seen
	ExtraTooth  float64 // probability of a false edge in the middle of a pitch
	JitterDeg   float64 // standard deviation of each edge, degrees
}

// Standard is a calm day: 20 C, 101.3 kPa, warm engine at 1500 rpm in first
// gear, nominal grip, the usual roll-out, noise as in the car.
func Standard() Conditions {
	return Conditions{
		Seed: 1, TickS: 1e-3, StepS: 2e-4,
		AmbientPa: 101300, AmbientK: 293.15, CoolantK: 363, BottleK: 293.15,
		Grip: 1, StartRPM: 1500, Gear: 1, Rollout: 0.28, MarkFrom: 0.28,
		CycleNoise: 1, SensorNoise: 1,
	}
}

// Spread is how much the circumstances vary from run to run: standard
// deviations, all illustrative. Driver scatter belongs to the driver.
type Spread struct {
	Grip     float64 // relative
	AmbientK float64
	BottleK  float64
}

// Drawn returns the conditions of the run with this seed.
func (c Conditions) Drawn(seed uint64, s Spread) Conditions {
	c.Seed = seed
	c.Grip *= 1 + float64(s.Grip*normal(seed, streamGrip, 0))
	c.AmbientK += float64(s.AmbientK * normal(seed, streamAir, 0))
	c.BottleK += float64(s.BottleK * normal(seed, streamBottle, 0))
	return c.sane()
}

// sane forces every value into the range that the equations accept, so that
// no input can panic.
func (c Conditions) sane() Conditions {
	c.TickS = clamp(c.TickS, 1e-4, 1e-2)
	c.StepS = clamp(c.StepS, 1e-6, 2e-4)
	c.AmbientPa = clamp(c.AmbientPa, 4e4, 1.2e5)
	c.AmbientK = clamp(c.AmbientK, 230, 330)
	c.CoolantK = clamp(c.CoolantK, 230, 400)
	c.BottleK = clamp(c.BottleK, 230, 308)
	c.Grip = clamp(c.Grip, 0.01, 5)
	c.GripPerM = clamp(c.GripPerM, -0.1, 0.1)
	c.StartRPM = clamp(c.StartRPM, 0, 10000)
	c.Rollout = clamp(c.Rollout, 0, 2)
	c.MarkFrom = clamp(c.MarkFrom, 0, 5)
	c.CycleNoise, c.SensorNoise = clamp(c.CycleNoise, 0, 10), clamp(c.SensorNoise, 0, 10)
	c.LoseTooth, c.ExtraTooth = clamp(c.LoseTooth, 0, 1), clamp(c.ExtraTooth, 0, 1)
	c.JitterDeg = clamp(c.JitterDeg, 0, 2)
	if c.StartS != c.StartS || math.IsInf(c.StartS, 0) {
		c.StartS = 0
	}
	return c
}

// Conditions returns the conditions in force, after limiting.
func (p *Plant) Conditions() Conditions { return p.cond }
