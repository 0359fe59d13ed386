package stats

import (
	"bufio"
	"math"
	"os"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// strd reads the NIST StRD univariate sets; NumAcc2 to NumAcc4 are made as NIST
// describes them.
func strd(t *testing.T) map[string][]float64 {
	f, err := os.Open("testdata/nist-strd-univariate.csv")
	require.NoError(t, err)
	defer f.Close()
	sets := map[string][]float64{}
	for s := bufio.NewScanner(f); s.Scan(); {
		cells := strings.Split(s.Text(), ",")
		if x, err := strconv.ParseFloat(cells[len(cells)-1], 64); err == nil && len(cells) == 3 {
			sets[cells[0]] = append(sets[cells[0]], x)
		}
	}
	for name, x := range map[string][3]float64{"NumAcc2": {1.2, 1.1, 1.3}, "NumAcc3": {1000000.2, 1000000.1, 1000000.3}, "NumAcc4": {10000000.2, 10000000.1, 10000000.3}} {
		list := []float64{x[0]}
		for range 500 {
			list = append(list, x[1], x[2])
		}
		sets[name] = list
	}
	return sets
}

// NIST StRD univariate: certified values and the tolerances of
// reference/check-values.md 12.
func TestMeanAndSpreadAgainstCertifiedValues(t *testing.T) {
	sets := strd(t)
	for _, x := range []struct {
		set      string
		n        int
		mean, sd float64
		tol      float64
	}{
		{"Lew", 200, -177.435000000000, 277.332168044316, 1e-13},
		{"Lottery", 218, 518.958715596330, 291.699727470969, 1e-13},
		{"Mavro", 50, 2.00185600000000, 0.000429123454003053, 1e-13},
		{"Michelso", 100, 299.852400000000, 0.0790105478190518, 1e-13},
		{"NumAcc1", 3, 10000002, 1, 1e-13},
		{"NumAcc2", 1001, 1.2, 0.1, 1e-13},
		{"NumAcc3", 1001, 1000000.2, 0.1, 1e-9},
		{"NumAcc4", 1001, 10000000.2, 0.1, 1e-7},
	} {
		sample := slices.Clone(sets[x.set])
		require.Len(t, sample, x.n, x.set)
		slices.Sort(sample)
		d := Describe(sample)
		assert.InEpsilon(t, x.mean, d.Mean, 1e-14, x.set)
		assert.InEpsilon(t, x.sd, d.SD, x.tol, x.set)
	}
}

// NIST/SEMATECH e-Handbook 7.2.6.2: the ninetieth percentile of twelve gauge
// readings is 95.1981.
func TestQuantileOfTheHandbook(t *testing.T) {
	x := []float64{95.1772, 95.1567, 95.1937, 95.1959, 95.1442, 95.0610, 95.1591, 95.1195, 95.1065, 95.0925, 95.1990, 95.1682}
	slices.Sort(x)
	at := func(i int) float64 { return x[i-1] }
	assert.InDelta(t, 95.1981, Quantile(12, 0.9, at), 0.00005)
	assert.Equal(t, x[0], Quantile(12, 0.01, at))
	assert.Equal(t, x[11], Quantile(12, 0.99, at))
	assert.True(t, math.IsNaN(Quantile(0, 0.5, at)))
}

// Nair 1940 and a textbook's table A.7, as in reference/check-values.md 12.
func TestMedianIntervalRanks(t *testing.T) {
	for _, x := range [][3]int{{10, 2, 9}, {12, 3, 10}, {15, 4, 12}, {20, 6, 15}, {25, 8, 18}, {30, 10, 21}, {50, 18, 33}, {100, 40, 61}} {
		low, high, ok := MedianRanks(x[0])
		require.True(t, ok)
		assert.Equal(t, [2]int{x[1], x[2]}, [2]int{low, high}, "n = %d", x[0])
	}
	for n := range 6 {
		_, _, ok := MedianRanks(n)
		assert.False(t, ok, "n = %d", n)
	}
	_, _, ok := MedianRanks(6)
	assert.True(t, ok, "1 - 2/64 is above 0.95")
}

// Wilks 1941, as in reference/check-values.md 12.
func TestPercentileRank(t *testing.T) {
	for _, x := range []struct {
		n    int
		p    float64
		rank int
	}{{59, .95, 59}, {93, .95, 92}, {100, .95, 99}, {100, .90, 96}, {299, .99, 299}, {500, .99, 499}} {
		rank, ok := PercentileRank(x.n, x.p)
		require.True(t, ok)
		assert.Equal(t, x.rank, rank, "n = %d, p = %g", x.n, x.p)
	}
	_, ok := PercentileRank(58, .95)
	assert.False(t, ok)
	_, ok = PercentileRank(298, .99)
	assert.False(t, ok)
}

// Student's t and the chi-square factors of reference/check-values.md 12.
func TestIntervalsOfMeanAndSpread(t *testing.T) {
	for df, want := range map[int]float64{4: 2.77645, 9: 2.26216, 19: 2.09302, 29: 2.04523} {
		i := MeanInterval(df+1, 10, 2)
		half := want * 2 / math.Sqrt(float64(df+1))
		assert.InDelta(t, 10-half, i.Low, 1e-5)
		assert.InDelta(t, 10+half, i.High, 1e-5)
	}
	for n, want := range map[int][2]float64{5: {.5991, 2.8736}, 10: {.6878, 1.8256}, 20: {.7605, 1.4606}, 30: {.7964, 1.3443}} {
		i := SDInterval(n, 1)
		assert.InDelta(t, want[0], i.Low, 6e-5)
		assert.InDelta(t, want[1], i.High, 6e-5)
	}
}

func TestSmallSamplesPromiseNothing(t *testing.T) {
	none := Describe(nil)
	assert.Zero(t, none.N)
	assert.True(t, math.IsNaN(none.Mean) && math.IsNaN(none.MeanIn.Low))
	one := Describe([]float64{3})
	assert.Equal(t, 3.0, one.Median)
	assert.True(t, math.IsNaN(one.SD) && math.IsNaN(one.SDIn.High))
}

// Hollander and Wolfe 1973, p. 29, as in the help of R's wilcox.test (from
// check values): the shift is 0.46. And by hand: of 1, 2, 3, 4, 10 it is 3.
func TestHodgesLehmann(t *testing.T) {
	x := []float64{1.83, .50, 1.62, 2.48, 1.68, 1.88, 1.55, 3.06, 1.30}
	y := []float64{.878, .647, .598, 2.05, 1.06, 1.29, 1.06, 3.14, 1.29}
	for i := range x {
		x[i] -= y[i]
	}
	assert.InDelta(t, 0.46, HodgesLehmann(x), 1e-12)
	assert.InDelta(t, 3, HodgesLehmann([]float64{1, 2, 3, 4, 10}), 1e-12)
}

// 0.6745 (10-3)/1 is 4.7: above 3.5 (by hand).
func TestOutliers(t *testing.T) {
	assert.Equal(t, []int{4}, Outliers([]float64{1, 2, 3, 4, 10}))
	assert.Empty(t, Outliers([]float64{1, 2, 3, 4, 8}))
	assert.Empty(t, Outliers([]float64{1, 2, 3, 90}), "too few to tell")
	assert.Empty(t, Outliers([]float64{2, 2, 2, 2, 9}), "no deviation to measure by")
}

// Marks stand at 1, 2 or 5 times a power of ten, as few as asked for.
func TestStepsAreWhole(t *testing.T) {
	for _, c := range []struct{ span, most, want float64 }{
		{1, 5, 0.2}, {0.98, 5, 0.2}, {1.01, 5, 0.5}, {5, 5, 1}, {2476, 5, 500}, {0.0035, 5, 0.001}, {9, 10, 1}, {10, 1, 10}, {10.5, 1, 20},
		{0, 5, 1}, {-3, 5, 1}, {math.Inf(1), 5, 1}, {math.NaN(), 5, 1},
	} {
		assert.Equal(t, c.want, Step(c.span, c.most), "%+v", c)
	}
}
