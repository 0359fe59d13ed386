package sweep

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
	"gonum.org/v1/gonum/stat"
	"pgregory.net/rapid"
)

// NIST StRD univariate, as whole numbers of millionths: no set has more decimals.
func TestMomentsAgainstCertifiedValues(t *testing.T) {
	sums := map[string]*moments{}
	f, err := os.Open("../stats/testdata/nist-strd-univariate.csv")
	require.NoError(t, err)
	defer f.Close()
	for s := bufio.NewScanner(f); s.Scan(); {
		cells := strings.Split(s.Text(), ",")
		if x, err := strconv.ParseFloat(cells[len(cells)-1], 64); err == nil && len(cells) == 3 {
			if sums[cells[0]] == nil {
				sums[cells[0]] = &moments{}
			}
			sums[cells[0]].add(int64(math.Round(x * 1e6)))
		}
	}
	for set, x := range map[string][3]float64{"NumAcc2": {1.2, 1.1, 1.3}, "NumAcc3": {1000000.2, 1000000.1, 1000000.3}, "NumAcc4": {10000000.2, 10000000.1, 10000000.3}} {
		m := &moments{}
		m.add(int64(math.Round(x[0] * 1e6)))
		for range 500 { // as NIST describes them
			m.add(int64(math.Round(x[1] * 1e6)))
			m.add(int64(math.Round(x[2] * 1e6)))
		}
		sums[set] = m
	}
	for set, want := range map[string][2]float64{
		"Lew": {-177.435000000000, 277.332168044316}, "Lottery": {518.958715596330, 291.699727470969},
		"Mavro": {2.00185600000000, 0.000429123454003053}, "Michelso": {299.852400000000, 0.0790105478190518},
		"NumAcc1": {10000002, 1}, "NumAcc2": {1.2, 0.1}, "NumAcc3": {1000000.2, 0.1}, "NumAcc4": {10000000.2, 0.1},
	} {
		require.NotNil(t, sums[set], set)
		assert.InEpsilon(t, want[0], sums[set].mean()/1e6, 1e-14, set)
		assert.InEpsilon(t, want[1], sums[set].sd()/1e6, 1e-13, set)
	}
}

// Exact sums against gonum's two passes, whatever the numbers and the order.
func TestMomentsAgainstGonum(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		values := rapid.SliceOfN(rapid.Int64Range(-1e9, 1e9), 2, 60).Draw(t, "values")
		a, b := &moments{}, &moments{}
		list := make([]float64, len(values))
		for i, v := range values {
			list[i] = float64(v)
			if i%3 == 0 {
				a.add(v)
			} else {
				b.add(v)
			}
		}
		a.merge(b)
		mean, sd := stat.MeanStdDev(list, nil)
		assert.InDelta(t, mean, a.mean(), 1e-6)
		assert.InDelta(t, sd, a.sd(), 1e-5*max(1, sd))
		assert.Equal(t, slices.Min(values), a.least)
		assert.Equal(t, slices.Max(values), a.most)
	})
}

func TestCountsKeepOrderStatistics(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		values := rapid.SliceOfN(rapid.Int64Range(-20, 20), 1, 60).Draw(t, "values")
		c := counts{}
		for _, v := range values {
			c[v]++
		}
		slices.Sort(values)
		n, at := c.ordered()
		require.Equal(t, len(values), n)
		for i, v := range values {
			require.Equal(t, float64(v), at(i+1))
		}
	})
}
