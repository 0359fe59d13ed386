// Package stats says what a sample of launches says of what it was drawn from:
// means, spreads, medians and their intervals at 95 %, outliers, and the middle of
// paired differences, by published methods that each function names. Distributions
// are gonum's.
package stats

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"
)

// Description is what a sample says of what it was drawn from. Intervals are at
// 95 %; they are empty (both ends NaN) where the sample is too small.
type Description struct {
	N        int
	Mean, SD float64 // SD with n-1
	MeanIn   Interval
	SDIn     Interval
	Median   float64
	MedianIn Interval
	Lowest   float64
	Highest  float64
}

// Interval is a stretch of numbers, both ends in it.
type Interval struct{ Low, High float64 }

func noInterval() Interval { return Interval{math.NaN(), math.NaN()} }

const confidence = 0.95

// Describe describes a sample, which must be sorted. Mean and standard deviation
// are gonum's (two passes); the interval of the mean is Student's, that of the
// standard deviation takes the sample for normal (chi-square), that of the median
// is between order statistics and takes it for nothing.
func Describe(sorted []float64) Description {
	n := len(sorted)
	d := Description{N: n, MeanIn: noInterval(), SDIn: noInterval(), MedianIn: noInterval(), SD: math.NaN(), Mean: math.NaN(), Median: math.NaN()}
	if n == 0 {
		return d
	}
	at := func(i int) float64 { return sorted[i-1] }
	d.Mean, d.Median, d.Lowest, d.Highest = stat.Mean(sorted, nil), Quantile(n, 0.5, at), sorted[0], sorted[n-1]
	if n < 2 {
		return d
	}
	d.Mean, d.SD = stat.MeanStdDev(sorted, nil)
	d.MeanIn, d.SDIn = MeanInterval(n, d.Mean, d.SD), SDInterval(n, d.SD)
	if low, high, ok := MedianRanks(n); ok {
		d.MedianIn = Interval{at(low), at(high)}
	}
	return d
}

// Quantile is the value that a share p of what was sampled lies below, from n
// order statistics at(1) to at(n): the value at p(n+1), between two of them in a
// straight line (NIST/SEMATECH e-Handbook 7.2.6.2; form 6 of Hyndman and Fan
// 1996).
func Quantile(n int, p float64, at func(i int) float64) float64 {
	if n < 1 {
		return math.NaN()
	}
	where := p * float64(n+1)
	i := int(where)
	switch {
	case i < 1:
		return at(1)
	case i >= n:
		return at(n)
	}
	a, b := at(i), at(i+1)
	return a + float64((where-float64(i))*(b-a))
}

// MeanInterval is Student's interval of a mean, from a sample's mean and
// standard deviation; n is at least 2.
func MeanInterval(n int, mean, sd float64) Interval {
	if n < 2 {
		return noInterval()
	}
	t := distuv.StudentsT{Sigma: 1, Nu: float64(n - 1)}.Quantile((1 + confidence) / 2)
	half := t * sd / math.Sqrt(float64(n))
	return Interval{mean - half, mean + half}
}

// SDInterval is the chi-square interval of the standard deviation of a normal
// population; n is at least 2.
func SDInterval(n int, sd float64) Interval {
	if n < 2 {
		return noInterval()
	}
	chi := distuv.ChiSquared{K: float64(n - 1)}
	of := func(p float64) float64 { return sd * math.Sqrt(float64(n-1)/chi.Quantile(p)) }
	return Interval{of((1 + confidence) / 2), of((1 - confidence) / 2)}
}

// MedianRanks gives the two order statistics, from 1, between which the median
// lies with at least 95 % (Nair 1940): the narrowest that lie even. ok is false
// below six values.
func MedianRanks(n int) (low, high int, ok bool) {
	b := distuv.Binomial{N: float64(n), P: 0.5}
	for low = n / 2; low >= 1; low-- {
		if 1-2*b.CDF(float64(low-1)) >= confidence {
			return low, n + 1 - low, true
		}
	}
	return 0, 0, false
}

// PercentileRank is the smallest order statistic, from 1, that is above the
// p-quantile with at least 95 % (Wilks 1941). ok is false where n is too small.
func PercentileRank(n int, p float64) (rank int, ok bool) {
	b := distuv.Binomial{N: float64(n), P: p}
	for rank = max(1, int(p*float64(n))); rank <= n; rank++ {
		if b.CDF(float64(rank-1)) >= confidence {
			return rank, true
		}
	}
	return 0, false
}

// Outliers gives the places of values that lie further than 3.5 scaled median
// absolute deviations from the median (Iglewicz and Hoaglin 1993). Fewer than five
// values have none.
func Outliers(values []float64) (list []int) {
	if len(values) < 5 {
		return nil
	}
	mid := median(values)
	off := make([]float64, len(values))
	for i, x := range values {
		off[i] = math.Abs(x - mid)
	}
	mad := median(off)
	for i := range values {
		if mad > 0 && 0.6745*off[i]/mad > 3.5 {
			list = append(list, i)
		}
	}
	return list
}

func median(values []float64) float64 {
	s := slices.Sorted(slices.Values(values))
	return Quantile(len(s), 0.5, func(i int) float64 { return s[i-1] })
}

// HodgesLehmann is the median of all means of two values, each with itself too: an
// estimate of the middle that outliers hardly move (Hodges and Lehmann 1963).
func HodgesLehmann(values []float64) float64 {
	var walsh []float64
	for i, a := range values {
		for _, b := range values[i:] {
			walsh = append(walsh, (a+b)/2)
		}
	}
	return median(walsh)
}

// Step is 1, 2 or 5 times a power of ten that cuts a span into at most so many: the
// marks of a picture's axis. A span that is none gets 1.
func Step(span, most float64) float64 {
	if !(span > 0) || math.IsInf(span, 0) {
		return 1
	}
	unit := math.Pow10(int(math.Floor(math.Log10(span / most))))
	for _, m := range []float64{1, 2, 5} {
		if span <= m*unit*most*(1+1e-9) {
			return m * unit
		}
	}
	return 10 * unit
}
