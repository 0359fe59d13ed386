package record

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestUnitValues checks conversions against values from outside. Sources:
// standard atmosphere 101325 Pa = 14.6959 psi = 29.921 inHg = 1.01325 bar (US
// Standard Atmosphere 1976); water boils at 212 F = 100 C = 373.15 K and
// freezes at 32 F; the two scales meet at -40 (definitions); 60 mph = 26.8224
// m/s and 100 km/h = 62.1371 mph (international mile of 1609.344 m).
func TestUnitValues(t *testing.T) {
	cases := []struct {
		unit  string
		x, y  float64
		delta float64
	}{
		{"Pa", 101325, 101325, 0}, {"hPa", 1013.25, 101325, 1e-9}, {"mbar", 1013.25, 101325, 1e-9}, {"kPa", 101.325, 101325, 1e-9},
		{"bar", 1.01325, 101325, 1e-9}, {"psi", 14.6959, 101325, 1}, {"inHg", 29.921, 101325, 3},
		{"C", 100, 373.15, 1e-12}, {"C", -273.15, 0, 1e-12}, {"F", 212, 373.15, 1e-9}, {"F", 32, 273.15, 1e-9}, {"F", -40, 233.15, 1e-9}, {"K", 300, 300, 0},
		{"mph", 60, 26.8224, 1e-9}, {"km/h", 100, 62.1371 * 0.44704, 1e-5}, {"km/h", 36, 10, 1e-9}, {"m/s", 5, 5, 0},
		{"%", 50, 0.5, 1e-15}, {"ratio", 0.5, 0.5, 0}, {"V", 12.5, 12.5, 0}, {"mV", 450, 0.45, 1e-15},
		{"s", 2, 2, 0}, {"ms", 20, 0.02, 1e-15}, {"us", 20, 0.00002, 1e-18},
		{"rpm", 6000, 6000, 0}, {"1/s", 100, 6000, 0}, {"rad/s", 628.3185307179587, 6000, 1e-9}, {"deg", 20, 20, 0}, {"lambda", 0.85, 0.85, 0},
	}
	for _, c := range cases {
		u, ok := ParseUnit(c.unit)
		require.True(t, ok, c.unit)
		ref := Unstated
		if u.Quantity == Pressure {
			ref = Absolute
		}
		l, err := u.ToBase(ref, 0)
		require.NoError(t, err, c.unit)
		assert.InDelta(t, c.y, l.At(c.x), c.delta, c.unit)
	}
}

func TestUnitSpellings(t *testing.T) {
	cases := map[string][]string{
		"C": {"C", "°C", "degC", "deg C", "celsius", "º C"}, "F": {"F", "°F", "degF"}, "K": {"K", "kelvin"},
		"km/h": {"km/h", "kph", "KPH", "kmh", "Km/h"}, "mph": {"mph", "MPH"}, "m/s": {"m/s"},
		"rpm": {"rpm", "RPM", "1/min", "min-1", "r/min"}, "kPa": {"kPa", "KPA", "kpa"}, "psi": {"psi", "PSI"}, "inHg": {"inHg", "in Hg", "\"Hg"},
		"%": {"%", "percent", "pct"}, "V": {"V", "Volts", "v"}, "mV": {"mV"}, "deg": {"deg", "°"}, "lambda": {"lambda", "Lambda", "λ"}, "ms": {"ms"}, "us": {"us", "µs"},
	}
	for want, all := range cases {
		for _, s := range all {
			u, ok := ParseUnit(s)
			assert.True(t, ok, s)
			assert.Equal(t, want, u.Name, s)
			assert.Equal(t, Unstated, u.Reference, s)
		}
	}
	for s, ref := range map[string]Reference{"bar(a)": Absolute, "bara": Absolute, "psia": Absolute, "kPa abs": Absolute, "kPa (abs)": Absolute, "kPa absolute": Absolute,
		"bar(g)": Gauge, "barg": Gauge, "psig": Gauge, "PSI g": Gauge, "kPa gauge": Gauge, "kPa (gauge)": Gauge, "bar (g)": Gauge} {
		u, ok := ParseUnit(s)
		assert.True(t, ok, s)
		assert.Equal(t, ref, u.Reference, s)
	}
	for _, s := range []string{"", "-", "furlong", "MPa", "MV", "degCa b", "Ca", "Vg", "kPaa b", "gauge", "a"} {
		_, ok := ParseUnit(s)
		assert.False(t, ok, s)
	}
}

func TestPressureNeedsItsZero(t *testing.T) {
	u, _ := ParseUnit("kPa")
	_, err := u.ToBase(Unstated, 101325)
	assert.ErrorContains(t, err, "state whether it is absolute or gauge")
	_, err = u.ToBase(Gauge, 0)
	assert.ErrorContains(t, err, "needs the barometric pressure (got 0 Pa; allowed 50000 to 110000 Pa)")
	_, err = u.ToBase(Gauge, nan)
	assert.Error(t, err)
	l, err := u.ToBase(Gauge, 100_000)
	require.NoError(t, err)
	assert.InDelta(t, 150_000, l.At(50), 1e-9)

	g, _ := ParseUnit("psig")
	_, err = g.ToBase(Absolute, 100_000)
	assert.ErrorContains(t, err, "written as gauge and stated as absolute")
	l, err = g.ToBase(Unstated, 101325)
	require.NoError(t, err)
	assert.InDelta(t, 101325, l.At(0), 1e-9)

	c, _ := ParseUnit("C")
	_, err = c.ToBase(Gauge, 100_000)
	assert.ErrorContains(t, err, "neither absolute nor gauge")
	_, err = Unit{}.ToBase(0, 0)
	assert.Error(t, err)
}

func TestTwoPoint(t *testing.T) {
	l, err := TwoPoint(0.5, 0, 4.5, 10) // a sensor of 0.5 to 4.5 V for 0 to 10 bar
	require.NoError(t, err)
	assert.InDelta(t, 5, l.At(2.5), 1e-12)
	bar, _ := ParseUnit("bar")
	toPa, err := bar.ToBase(Absolute, 0)
	require.NoError(t, err)
	assert.InDelta(t, 500_000, l.Then(toPa).At(2.5), 1e-6)

	for _, p := range [][4]float64{{1, 0, 1, 5}, {nan, 0, 1, 1}, {0, 0, 5e-324, 1e308}} {
		_, err = TwoPoint(p[0], p[1], p[2], p[3])
		assert.Error(t, err, "%v", p)
	}
}

func TestUnitNamesAreUnits(t *testing.T) {
	for _, n := range UnitNames() {
		u, ok := ParseUnit(n)
		assert.True(t, ok, n)
		assert.Equal(t, n, u.Name)
	}
}
