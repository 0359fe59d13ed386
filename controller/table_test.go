package controller

import (
	"math/bits"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// sealedTable gives a table ready for use, through the same path as Seal.
func sealedTable(t testing.TB, x Table) *Table {
	t.Helper()
	c := testCar()
	for ch := range c.Channels {
		c.Channels[ch].Fitted = true
	}
	var p Problems
	s := sealer{cal: &c, p: &p}
	s.table(&x)
	require.Zero(t, p.Fatal, "%+v", p.List[:p.N])
	return &x
}

// within is the resolution that a lookup promises: a fraction of a segment is
// known to 1/32768, and each blend rounds to the nearest unit.
func within(spans ...float64) float64 {
	tol := 0.5
	for _, s := range spans {
		tol += max(s, -s)/32768 + 0.5
	}
	return tol
}

// The values come from scipy 1.10.1 with numpy 1.24.2 (Debian python3-scipy
// 1.10.1-2), points from its default generator with seed 8:
//
//	f = scipy.interpolate.RegularGridInterpolator((map, throttle), cells)
//	f((m, t))
func TestTableAgainstBilinearInterpolationOfScipy(t *testing.T) {
	cal := sealed(t, testCar())
	table := &cal.Tables[0]
	for _, x := range []struct {
		throttle, pressure int32
		want               float64
	}{
		{3001, 100001, 59999.299978},
		{9999, 199999, 38001.850019},
		{4500, 130000, 57000.000000},
		{6000, 160000, 52000.000000},
		{7777, 111111, 51360.453087},
		{8037, 132697, 48942.597363},
		{4641, 198728, 48379.194600},
		{4232, 131871, 57243.742844},
		{7499, 178855, 45482.818344},
		{7478, 186990, 44329.710375},
		{3338, 139108, 58177.322133},
		{7016, 143788, 50875.307600},
		{5720, 137275, 54691.100000},
		{3281, 110695, 59389.382333},
		{6799, 147897, 51091.921288},
		{9708, 124135, 44654.157250},
		{8943, 125714, 46809.803775},
		{4000, 118473, 58307.055556},
		{5785, 119386, 56297.355333},
		{9270, 181383, 41394.020187},
		{8632, 142298, 46607.804200},
		{3212, 125592, 58885.033244},
		{6119, 159090, 51792.146375},
		{6149, 160427, 51553.967931},
		{5650, 164686, 51893.617500},
		{3191, 191136, 52898.041867},
		{6752, 115020, 54195.188000},
		{8708, 137139, 46742.255150},
		{9130, 128462, 46094.875750},
		{9253, 101678, 47328.181675},
		{6031, 118155, 56090.785062},
		{6053, 139467, 53907.196888},
	} {
		assert.InDelta(t, x.want, table.At(x.throttle, x.pressure), within(13000, 14000), "%+v", x)
	}
}

// Extreme spans, negative points and values: numpy 1.24.2, numpy.interp(q, x, y).
func TestTableAgainstLinearInterpolationOfNumpy(t *testing.T) {
	table := sealedTable(t, Table{
		Columns: Axis{Channel: UserA, N: 8, Points: [8]int32{-2147483648, -40000, -7, -1, 0, 3, 90000, 2147483646}},
		Cells:   [8][8]int32{{-2000000000, 5000, -4000, 6000, -6000, 1, 2, 2000000000}},
	})
	for _, x := range []struct {
		at   int32
		want float64
		span float64 // of the segment's values
	}{
		{-2147483647, -1999999999.068658, 2e9},
		{-1500000000, -1396971122.094730, 2e9},
		{-1000000000, -931299996.833146, 2e9},
		{-40001, 4999.068658, 2e9},
		{-40000, 5000.000000, 0},
		{-39999, 4999.774961, 9000},
		{-20003, 499.887480, 9000},
		{-8, -3999.774961, 9000},
		{-7, -4000.000000, 0},
		{-5, -666.666667, 10000},
		{-2, 4333.333333, 10000},
		{-1, 6000.000000, 0},
		{0, -6000.000000, 0},
		{1, -3999.666667, 6001},
		{2, -1999.333333, 6001},
		{3, 1.000000, 0},
		{4, 1.000011, 1},
		{45001, 1.499994, 1},
		{89999, 1.999989, 1},
		{90001, 2.931362, 2e9},
		{1000000, 847541.062794, 2e9},
		{1073741823, 999958089.727664, 2e9},
		{2000000000, 1862639394.386551, 2e9},
		{2147483645, 1999999999.068638, 2e9},
	} {
		assert.InDelta(t, x.want, table.At(x.at, 0), within(x.span), "at %d", x.at)
	}
}

// randomTable has points and cells anywhere in 32 bits.
func randomTable(r *rand.Rand, rows bool) (x Table) {
	axis := func(a *Axis, ch Channel) {
		a.Channel, a.N = ch, uint8(2+r.IntN(7))
		shift := r.IntN(29)
		p := int64(int32(r.Uint32())) >> r.IntN(12)
		for i := range int(a.N) {
			p += 1 + int64(r.Uint32()>>3>>shift)
			p = min(p, 1<<31-1-int64(int(a.N)-1-i))
			a.Points[i] = int32(p)
		}
	}
	axis(&x.Columns, UserA)
	if rows {
		axis(&x.Rows, UserB)
	}
	shift := r.IntN(31)
	for i := range x.Cells {
		for j := range x.Cells[i] {
			x.Cells[i][j] = int32(r.Uint32()) >> shift
		}
	}
	return x
}

// Exact at the points, held beyond the edges, monotone and continuous between.
func TestTableProperties(t *testing.T) {
	r := rand.New(rand.NewPCG(6, 1))
	for range 2000 {
		x := sealedTable(t, randomTable(r, r.IntN(2) == 0))
		rows := max(int(x.Rows.N), 1)
		for i := range rows {
			for j := range int(x.Columns.N) {
				require.Equal(t, x.Cells[i][j], x.At(x.Columns.Points[j], x.Rows.Points[i]))
			}
		}
		last := int(x.Columns.N) - 1
		require.Equal(t, x.At(x.Columns.Points[0], 5), x.At(-1<<31, 5))
		require.Equal(t, x.At(x.Columns.Points[last], 5), x.At(1<<31-1, 5))
		between(t, r, x)
	}
}

// between looks at rising values inside one segment: they stay between its ends
// and never turn back.
func between(t *testing.T, r *rand.Rand, x *Table) {
	row := x.Rows.Points[r.IntN(max(int(x.Rows.N), 1))]
	j := r.IntN(int(x.Columns.N) - 1)
	low, high := int64(x.Columns.Points[j]), int64(x.Columns.Points[j+1])
	from, to := x.At(int32(low), row), x.At(int32(high), row)
	before, at := from, low
	for range 50 {
		at = min(at+1+r.Int64N(max((high-low)/25, 1)), high)
		now := x.At(int32(at), row)
		if from <= to {
			require.True(t, before <= now && now <= to, "falls at %d", at)
		} else {
			require.True(t, before >= now && now >= to, "rises at %d", at)
		}
		before = now
	}
}

func TestReciprocalsHoldAndAreRechecked(t *testing.T) {
	r := rand.New(rand.NewPCG(6, 2))
	check := func(span uint32) {
		recip := reciprocal(span)
		require.True(t, reciprocalHolds(recip, span), "span %d", span)
		require.False(t, reciprocalHolds(recip+1, span), "span %d", span)
		require.False(t, reciprocalHolds(recip-1, span), "span %d", span)
		// The fraction is below 1 everywhere inside the segment.
		frac := uint64(span-1) * uint64(recip) >> (16 + bits.Len32(span))
		require.Less(t, frac, uint64(1<<15), "span %d", span)
	}
	for _, span := range []uint32{1, 2, 3, 4, 5, 7, 8, 9, 1<<16 - 1, 1 << 16, 1<<16 + 1, 1<<31 - 1, 1 << 31, 1<<31 + 1, 1<<32 - 2, 1<<32 - 1} {
		check(span)
	}
	for range 200000 {
		check(max(r.Uint32()>>r.IntN(32), 1))
	}
	assert.Equal(t, uint32(1<<32-1), quotient(5, 0))
	assert.Equal(t, uint32(1<<32-1), quotient(1<<40, 2))
	assert.Zero(t, new(Table).At(5, 5))
}

// Event rates and intervals of four-stroke engines, n N/120 (Heywood 1988,
// chapter 2): the phase that one tick advances, in whole 1/65536 of an event.
func TestEventRatesOfTheHandbook(t *testing.T) {
	for _, x := range []struct {
		cylinders uint8
		n         Speed
		hz        float64
		degrees   int
	}{{4, 6000, 200, 180}, {8, 9000, 600, 90}, {6, 3000, 150, 120}, {5, 1000, 41.6667, 144}, {3, 6000, 150, 240}} {
		c := testCar()
		c.Engine.Cylinders, c.Engine.Order, c.Engine.CommitLead = x.cylinders, [MaxCylinders]uint8{}, 0
		for i := range x.cylinders {
			c.Engine.Order[i] = i + 1
		}
		cal := sealed(t, c)
		const resolution = 1000.0 / phaseOfEvent // Hz, at a tick of 1 ms
		perSecond := float64(cal.Engine.phaseOf(x.n*RPM)) * resolution
		assert.InDelta(t, x.hz, perSecond, resolution, "%d cylinders at %d rpm", x.cylinders, x.n)
		assert.Equal(t, x.degrees*int(x.cylinders), 720)
		// One engine cycle lasts two turns.
		ms := float64(cal.Engine.cyclePhase()) / float64(cal.Engine.phaseOf(x.n*RPM))
		assert.InEpsilon(t, 120000/float64(x.n), ms, resolution/x.hz)
	}
}

// Firing orders: Auto Engine Repair, Goodheart-Willcox 2021, fig. 6-2 (inline
// six, V6, first V8); an encyclopaedia's list of 2010 (three, four, five); the
// other V8s from memory. Each is accepted, and takes every cylinder once.
func TestFiringOrdersOfHandbooks(t *testing.T) {
	for _, order := range [][]uint8{
		{1, 5, 3, 6, 2, 4}, {1, 6, 5, 4, 3, 2}, {1, 8, 4, 3, 6, 5, 7, 2},
		{1, 2, 3}, {1, 3, 4, 2}, {1, 2, 4, 3}, {1, 2, 4, 5, 3},
		{1, 5, 4, 2, 6, 3, 7, 8}, {1, 3, 7, 2, 6, 5, 4, 8},
		{1, 8, 7, 3, 6, 5, 4, 2}, {1, 8, 7, 2, 6, 5, 4, 3},
	} {
		c := testCar()
		c.Engine.Cylinders, c.Engine.Order = uint8(len(order)), [MaxCylinders]uint8{}
		copy(c.Engine.Order[:], order)
		cal := sealed(t, c)
		for j, cyl := range order {
			assert.Equal(t, uint8(j), cal.Engine.position[cyl-1], "fires %d degrees after the first", 720*j/len(order))
		}
	}
}
