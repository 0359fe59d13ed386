package sweep

import (
	"math"
	"math/rand/v2"
)

// Streams that are drawn from one seed without disturbing each other.
const (
	sampleStream  = 0x73616d706c65
	scatterStream = 0x73636174746572
)

// seedBits keeps a seed exact in every reader that takes numbers for floats.
const seedBits = 53

// LaunchSeed is the seed of one launch: it follows from the plan's seed and the
// launch's number alone. Mixing is that of SplitMix64 (Steele, Lea, Flood 2014).
func LaunchSeed(plan, launch uint64) uint64 {
	return mix(mix(plan+golden)+launch*golden) >> (64 - seedBits)
}

const golden = 0x9e3779b97f4a7c15

func mix(z uint64) uint64 {
	z = (z ^ z>>30) * 0xbf58476d1ce4e5b9
	z = (z ^ z>>27) * 0x94d049bb133111eb
	return z ^ z>>31
}

// cutAt is where normal scatter ends, in standard deviations.
const cutAt = 3

// deviations draws the scatter of one launch, each in units of its spread.
func deviations(seed uint64, scatter []Scatter) []float64 {
	if len(scatter) == 0 {
		return nil
	}
	r := rand.New(rand.NewPCG(seed, scatterStream))
	out := make([]float64, len(scatter))
	for i := range out {
		out[i] = deviation(r, scatter[i].Shape)
	}
	return out
}

func deviation(r *rand.Rand, shape Shape) float64 {
	if shape == Uniform {
		return 2*r.Float64() - 1 // exact, however it is rounded
	}
	for {
		if z := r.NormFloat64(); math.Abs(z) <= cutAt {
			return z
		}
	}
}

// scattered is the value that a deviation makes of one that is written.
func (s *Scatter) scattered(written string, z float64) (string, bool) {
	base, ok := number(written)
	if !ok {
		return "", false
	}
	size := s.Spread
	if s.Relative {
		size *= math.Abs(base)
	}
	return onLattice(base, s.Step, int64(math.RoundToEven(size*z/s.Step))), true
}
