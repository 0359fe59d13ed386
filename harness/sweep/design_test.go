package sweep

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// Every combination comes once, the last parameter changes fastest but for
// samples and repeats, and groups move together.
func TestLaunchNumbersCountEveryCombination(t *testing.T) {
	p := &PlanFile{Scenarios: []string{"a", "b"}, Repeats: 2, Parameters: []Parameter{
		{Path: "x", Values: []string{"1", "2", "3"}},
		{Path: "g1", Group: "g", Values: []string{"10", "20"}},
		{Path: "y", HasFrom: true, From: 0.1, To: 0.3, Step: 0.1},
		{Path: "g2", Group: "g", Values: []string{`"ten"`, `"twenty"`}},
	}}
	d := newDesign(p)
	n, ok := d.size(p)
	require.True(t, ok)
	require.Equal(t, int64(2*3*2*3*2), n)
	seen := map[string]bool{}
	for i := range n {
		pt := d.at(p, i)
		key := string(rune('a'+pt.scenario)) + pt.values[0] + " " + pt.values[1] + " " + pt.values[2] + " " + string(rune('0'+pt.repeat))
		assert.False(t, seen[key], key)
		seen[key] = true
		assert.Equal(t, map[string]string{"10": "ten", "20": "twenty"}[pt.values[1]], pt.values[3])
	}
	assert.Equal(t, []string{"1", "10", "0.1", "ten"}, d.at(p, 0).values)
	assert.Equal(t, []string{"1", "10", "0.2", "ten"}, d.at(p, 2).values)
	assert.Equal(t, []string{"3", "20", "0.3", "twenty"}, d.at(p, n-1).values)
}

// Decimal steps are exact: no 0.30000000000000004.
func TestLatticeIsExact(t *testing.T) {
	p := Parameter{HasFrom: true, From: 0.1, To: 0.7, Step: 0.1}
	assert.Equal(t, []string{"0.1", "0.2", "0.3", "0.4", "0.5", "0.6", "0.7"}, p.levels())
	assert.Equal(t, int64(5), latticeSize(&Parameter{From: -1, To: 1.1, Step: 0.5}), "up to, not beyond")
	assert.Equal(t, "-1000000", onLattice(-1e6, 1, 0))
	rapid.Check(t, func(t *rapid.T) {
		step := math.Pow10(rapid.IntRange(-6, 3).Draw(t, "power")) * float64(rapid.IntRange(1, 9).Draw(t, "digit"))
		from := float64(rapid.IntRange(-1000, 1000).Draw(t, "from"))
		k := rapid.Int64Range(0, 10000).Draw(t, "k")
		x, ok := number(onLattice(from, step, k))
		require.True(t, ok)
		assert.InDelta(t, from+step*float64(k), x, 1e-9*max(1, math.Abs(x)))
	})
}

func sampledPlan(m Method, n int64) *PlanFile {
	range01 := func(path string) Parameter {
		return Parameter{Path: path, HasFrom: true, From: 0, To: 0.999999, Step: 0.000001, Sampled: true}
	}
	return &PlanFile{Seed: 3, Repeats: 1, Parameters: []Parameter{range01("a"), range01("b"), range01("c")}, Samples: Samples{n, m}}
}

// A Latin hypercube has one sample in each of n even slices of every axis
// (McKay, Beckman, Conover 1979).
func TestLatinHypercubeFillsEverySlice(t *testing.T) {
	const n = 100
	p := sampledPlan(LatinHypercube, n)
	d := newDesign(p)
	d.spread(p)
	for j := range p.Parameters {
		seen := make([]int, n)
		for i := range int64(n) {
			x, _ := number(d.at(p, i).values[j])
			seen[int(x*n+1e-9)]++
		}
		for slice, c := range seen {
			assert.Equal(t, 1, c, "axis %d, slice %d", j, slice)
		}
	}
}

// Scrambled Halton points keep each axis as even as its base allows: of b^k
// points in a row, one in each of b^k slices (Owen 2017).
func TestHaltonPointsAreEven(t *testing.T) {
	for j, bases := range []int{2, 3, 5} {
		n := 1
		for n*bases <= 128 {
			n *= bases
		}
		p := sampledPlan(Halton, int64(n))
		d := newDesign(p)
		d.spread(p)
		seen := make([]int, n)
		for i := range int64(n) {
			x, _ := number(d.at(p, i).values[j])
			seen[min(int(x*float64(n)+1e-4), n-1)]++
		}
		for slice, c := range seen {
			assert.Equal(t, 1, c, "base %d, slice %d of %d", bases, slice, n)
		}
	}
}

// A launch's samples do not depend on how many are asked for next to it in a
// shard: they come of the plan's seed alone.
func TestSamplesFollowFromTheSeed(t *testing.T) {
	at := func(seed int64) []string {
		p := sampledPlan(Halton, 50)
		p.Seed = seed
		d := newDesign(p)
		d.spread(p)
		return d.at(p, 17).values
	}
	assert.Equal(t, at(3), at(3))
	assert.NotEqual(t, at(3), at(4))
}

func TestTooManyLaunches(t *testing.T) {
	p := &PlanFile{Repeats: 1000000, Parameters: []Parameter{{HasFrom: true, From: 0, To: 9999, Step: 1}}}
	_, ok := newDesign(p).size(p)
	assert.False(t, ok)
}

// Published first outputs of SplitMix64 from the state 1234567 (as on the pages
// of several generators' test suites; from memory), which mix and golden make.
func TestSeedMixing(t *testing.T) {
	state := uint64(1234567)
	for _, want := range []uint64{6457827717110365317, 3203168211198807973, 9817491932198370423} {
		state += golden
		assert.Equal(t, want, mix(state))
	}
}

func TestLaunchSeeds(t *testing.T) {
	seen := map[uint64]bool{}
	for plan := range uint64(10) {
		for n := range uint64(20_000) {
			s := LaunchSeed(plan, n)
			assert.Less(t, s, uint64(1)<<seedBits)
			seen[s] = true
		}
	}
	assert.Len(t, seen, 200_000, "no two launches share a seed")
	assert.Equal(t, LaunchSeed(7, 9), LaunchSeed(7, 9))
}

func TestScatterIsCutAndRounded(t *testing.T) {
	s := []Scatter{{Spread: 0.1, Step: 0.01}, {Spread: 0.1, Relative: true, Step: 0.001}, {Spread: 2, Shape: Uniform, Step: 0.5}}
	var sum, square float64
	const n = 4000
	for seed := range uint64(n) {
		z := deviations(seed, s)
		assert.LessOrEqual(t, math.Abs(z[0]), float64(cutAt))
		assert.LessOrEqual(t, math.Abs(z[2]), 1.0)
		sum, square = sum+z[0], square+z[0]*z[0]
	}
	assert.InDelta(t, 0, sum/n, 4/math.Sqrt(n))
	// A standard normal cut at three has the variance 1 - 6 phi(3)/(2 Phi(3)-1) = 0.9733.
	assert.InDelta(t, 0.9733, square/n, 0.08)
	text, ok := s[0].scattered("1.6", 1.234)
	require.True(t, ok)
	assert.Equal(t, "1.72", text)
	text, _ = s[1].scattered("-2", 0.5)
	assert.Equal(t, "-1.9", text)
	text, _ = s[2].scattered("10", -0.4)
	assert.Equal(t, "9", text)
	_, ok = s[0].scattered("soft", 1)
	assert.False(t, ok)
}
