package files

import (
	"math"
	"math/big"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func TestScaleIsExact(t *testing.T) {
	for _, c := range []struct {
		s    Scale
		text string
		want int64
	}{
		{RPM, "5000", 5000}, {RPM, "5_000", 5000}, {RPM, "5e3", 5000}, {RPM, "5000.0", 5000}, {RPM, "+5000", 5000},
		{RPMTenths, "0.1", 1}, {RPMTenths, "-12.5", -125}, {RPMTenths, "1.25e1", 125}, {RPMTenths, "0", 0}, {RPMTenths, "-0.0", 0},
		{KilopascalInPa, "180.001", 180001}, {SecondsInUs, "0.000001", 1}, {PercentInPct2, "33.33", 3333},
		{KmhInMmPerS, "60", 16667}, {KmhInMmPerS, "-60", -16667}, {KmhInMmPerS, "36", 10000},
		{Scale{Mul: 55440, Rounded: true}, "0.5", 27720}, {Number, "9223372036854775807", 0},
		{SecondsInUs, "0.000000000000000000000000000", 0},
	} {
		got, err := c.s.Parse(c.text)
		if c.want == 0 && err != nil {
			assert.ErrorIs(t, err, errTooLong, c.text)
			continue
		}
		require.NoError(t, err, c.text)
		assert.Equal(t, c.want, got, c.text)
	}
}

func TestScaleNamesTheTwoNeighbours(t *testing.T) {
	for _, c := range []struct {
		s            Scale
		text         string
		below, above string
	}{
		{RPMTenths, "0.05", "0", "0.1"}, {RPMTenths, "-0.05", "-0.1", "0"}, {RPMTenths, "12.34", "12.3", "12.4"},
		{RPM, "4999.5", "4999", "5000"}, {SecondsInUs, "1e-7", "0", "0.000001"},
	} {
		_, err := c.s.Parse(c.text)
		var e errBetween
		require.ErrorAs(t, err, &e, c.text)
		assert.Equal(t, errBetween{c.below, c.above}, e, c.text)
	}
}

func TestScaleRefusesWhatIsNoPlainNumber(t *testing.T) {
	for _, text := range []string{"", "-", ".", "1.", ".5", "inf", "nan", "0x10", "0b1", "1e", "1e+", "1,5", "1e99", "1e-99", "1e99999999999999999999", "12345678901234567890123", "5 rpm"} {
		_, err := RPM.Parse(text)
		assert.Error(t, err, text)
	}
	_, err := SecondsInUs.Parse("100000000000000")
	assert.ErrorIs(t, err, errTooBig)
}

var allScales = []Scale{
	Number, RPM, RPMTenths, DegreesTenths, KilopascalInPa, SecondsInMs, SecondsInUs, MillisInUs, PercentInPct2, MetresInMm,
	KmhInMmPerS, VoltsInMv, CelsiusTenths, {Mul: 55440, Rounded: true}, {Mul: 1, Div: 4}, {Mul: 3, Rounded: true},
}

func TestScaleRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := rapid.SampledFrom(allScales).Draw(t, "scale")
		v := int64(rapid.Int32().Draw(t, "value"))
		text := s.Format(v)
		got, err := s.Parse(text)
		if err != nil || got != v {
			t.Fatalf("%d -> %s -> %d, %v", v, text, got, err)
		}
	})
}

// The oracle is the standard library's own exact parser of decimals.
func TestDecimalAgainstBigRat(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		text := rapid.StringMatching(`[-+]?(0|[1-9][0-9]{0,8})(\.[0-9]{1,8})?([eE][-+]?[0-9])?`).Draw(t, "text")
		d, err := parseDecimal(text)
		want, ok := new(big.Rat).SetString(text)
		if err != nil || !ok || d.rat().Cmp(want) != 0 {
			t.Fatalf("%s: got %s, %v; want %v", text, d, err, want)
		}
		if back, err := parseDecimal(d.String()); err != nil || back != d {
			t.Fatalf("%s printed as %s reads as %v, %v", text, d, back, err)
		}
	})
}

func TestTypeLimits(t *testing.T) {
	type tenths int16
	check := func(lo, hi, wantLo, wantHi int64) { assert.Equal(t, [2]int64{wantLo, wantHi}, [2]int64{lo, hi}) }
	lo, hi := typeLimits[int8]()
	check(lo, hi, math.MinInt8, math.MaxInt8)
	lo, hi = typeLimits[tenths]()
	check(lo, hi, math.MinInt16, math.MaxInt16)
	lo, hi = typeLimits[int32]()
	check(lo, hi, math.MinInt32, math.MaxInt32)
	lo, hi = typeLimits[int64]()
	check(lo, hi, math.MinInt64, math.MaxInt64)
	lo, hi = typeLimits[uint8]()
	check(lo, hi, 0, math.MaxUint8)
	lo, hi = typeLimits[uint32]()
	check(lo, hi, 0, math.MaxUint32)
	lo, hi = typeLimits[uint64]()
	check(lo, hi, 0, math.MaxInt64)
}
