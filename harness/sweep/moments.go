package sweep

import (
	"math"
	"math/big"
	"math/bits"
	"sort"
)

// moments sums whole numbers exactly: the order in which values come, and how
// they were cut into shards, does not show in any digit.
type moments struct {
	n, sum int64
	square [2]uint64 // low, high
	least  int64
	most   int64
}

func (m *moments) add(v int64) {
	if m.n == 0 || v < m.least {
		m.least = v
	}
	if m.n == 0 || v > m.most {
		m.most = v
	}
	m.n++
	m.sum += v
	high, low := bits.Mul64(magnitude(v), magnitude(v))
	m.addSquare([2]uint64{low, high})
}

func magnitude(v int64) uint64 {
	if v < 0 {
		return uint64(-v)
	}
	return uint64(v)
}

func (m *moments) addSquare(s [2]uint64) {
	var carry uint64
	m.square[0], carry = bits.Add64(m.square[0], s[0], 0)
	m.square[1], _ = bits.Add64(m.square[1], s[1], carry)
}

func (m *moments) merge(o *moments) {
	if o.n == 0 {
		return
	}
	if m.n == 0 {
		*m = *o
		return
	}
	m.n, m.sum, m.least, m.most = m.n+o.n, m.sum+o.sum, min(m.least, o.least), max(m.most, o.most)
	m.addSquare(o.square)
}

// mean and sd are in the unit of the values; sd with n-1, NaN below two.
func (m *moments) mean() float64 { return float64(m.sum) / float64(m.n) }

func (m *moments) sd() float64 {
	if m.n < 2 {
		return math.NaN()
	}
	n, sum := big.NewInt(m.n), big.NewInt(m.sum)
	q := new(big.Int).SetUint64(m.square[1])
	q.Lsh(q, 64).Add(q, new(big.Int).SetUint64(m.square[0]))
	q.Mul(q, n).Sub(q, sum.Mul(sum, sum))
	v, _ := new(big.Rat).SetFrac(q, n.Mul(n, big.NewInt(m.n-1))).Float64()
	return math.Sqrt(v)
}

// counts is a sample of whole numbers as how often each came.
type counts map[int64]int64

func (c counts) merge(o counts) {
	for v, n := range o {
		c[v] += n
	}
}

// ordered gives access to the order statistics, from 1.
func (c counts) ordered() (n int, at func(i int) float64) {
	values := make([]int64, 0, len(c))
	for v := range c {
		values = append(values, v)
	}
	sort.Slice(values, func(i, j int) bool { return values[i] < values[j] })
	upTo := make([]int64, len(values))
	var all int64
	for i, v := range values {
		all += c[v]
		upTo[i] = all
	}
	return int(all), func(i int) float64 {
		k := sort.Search(len(upTo), func(k int) bool { return upTo[k] >= int64(i) })
		return float64(values[k])
	}
}
