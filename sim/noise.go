package sim

// Noise is a function of (seed, stream, index) and not of a generator's
// history: drawing in one place never shifts the numbers of another, and a
// restored state repeats them.

const (
	streamPhase   = 1 + iota // CA50 scatter, per combustion
	streamInject             // injector error, per shot
	streamTooth              // fixed pitch pattern
	streamJitter             // per tooth edge
	streamDrop               // teeth lost or added
	streamRelease            // trans-brake dead time
	streamGrip               // per run
	streamAir
	streamBottle
	streamMap
	streamWheel
)

func mix(x uint64) uint64 {
	x ^= x >> 30
	x *= 0xbf58476d1ce4e5b9
	x ^= x >> 27
	x *= 0x94d049bb133111eb
	return x ^ x>>31
}

func bitsOf(seed uint64, stream, index uint64) uint64 {
	return mix(mix(seed+0x9e3779b97f4a7c15*stream) + 0x9e3779b97f4a7c15*(index+1))
}

// uniform is in [0, 1).
func uniform(seed, stream, index uint64) float64 {
	return float64(bitsOf(seed, stream, index)>>11) * 0x1p-53
}

// normal has mean 0 and standard deviation 1: the sum of twelve 16-bit
// uniforms, so its tails end at 6.
func normal(seed, stream, index uint64) float64 {
	var sum uint64
	for i := range uint64(3) {
		b := bitsOf(seed, stream, 3*index+i)
		sum += b&0xffff + b>>16&0xffff + b>>32&0xffff + b>>48
	}
	return float64(float64(sum+6)*0x1p-16) - 6
}
