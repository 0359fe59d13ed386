package require

import (
	"math"
	"sort"
	"strings"
)

// dimension holds the exponents of length, mass, time, current, temperature
// and angle.
type dimension [6]int8

func (d dimension) plus(o dimension, sign int8) dimension {
	for i := range d {
		d[i] += sign * o[i]
	}
	return d
}

// unit is a named multiple of a dimension's base: millimetre, kilogram,
// microsecond, ampere, kelvin (differences only), degree of angle. The small
// bases keep the usual factors whole.
type unit struct {
	name   string
	dim    dimension
	factor float64
	scale  float64 // the margin in this unit that ranks as 1
}

var (
	dimLength  = dimension{1}
	dimTime    = dimension{0, 0, 1}
	dimCurrent = dimension{0, 0, 0, 1}
	dimTemp    = dimension{0, 0, 0, 0, 1}
	dimAngle   = dimension{0, 0, 0, 0, 0, 1}
	dimSpeed   = dimension{1, 0, -1}
	dimAccel   = dimension{1, 0, -2}
	dimRotary  = dimension{0, 0, -1, 0, 0, 1}
	dimMass    = dimension{0, 1}
	dimForce   = dimension{1, 1, -2}
	dimPress   = dimension{-1, 1, -2}
	dimTorque  = dimension{2, 1, -2}
	dimPower   = dimension{2, 1, -3}
	dimVolt    = dimension{2, 1, -3, -1}
	dimFreq    = dimension{0, 0, -1}
)

// unitless is the unit of a bare number.
var unitless = unit{factor: 1, scale: 1}

// The default margin scales are our own choice: about what a careful tuner
// would call one step of that quantity. A column or a requirement overrides.
var unitList = []unit{
	{"percent", dimension{}, 0.01, 1},
	{"us", dimTime, 1, 10000},
	{"ms", dimTime, 1e3, 10},
	{"s", dimTime, 1e6, 0.01},
	{"min", dimTime, 60e6, 0.01 / 60},
	{"Hz", dimFreq, 1e-6, 1},
	{"rpm", dimRotary, 6e-6, 100},
	{"deg", dimAngle, 1, 1},
	{"rev", dimAngle, 360, 1.0 / 360},
	{"mm", dimLength, 1, 10},
	{"m", dimLength, 1e3, 0.01},
	{"km", dimLength, 1e6, 0.00001},
	{"km/h", dimSpeed, 1e6 / 3600e6, 1},
	{"m/s", dimSpeed, 1e-3, 1 / 3.6},
	{"m/s2", dimAccel, 1e-9, 0.1},
	{"kg", dimMass, 1, 1},
	{"g", dimMass, 1e-3, 1000},
	{"N", dimForce, 1e-9, 100},
	{"Nm", dimTorque, 1e-6, 10},
	{"W", dimPower, 1e-12, 1000},
	{"kW", dimPower, 1e-9, 1},
	{"Pa", dimPress, 1e-15, 5000},
	{"kPa", dimPress, 1e-12, 5},
	{"bar", dimPress, 1e-10, 0.05},
	{"degC", dimTemp, 1, 10},
	{"mA", dimCurrent, 1e-3, 100},
	{"A", dimCurrent, 1, 0.1},
	{"mV", dimVolt, 1e-15, 100},
	{"V", dimVolt, 1e-12, 0.1},
}

var unitByName = func() map[string]unit {
	m := map[string]unit{"%": unitList[0]}
	for _, u := range unitList {
		m[u.name] = u
	}
	return m
}()

// Units lists the unit names that formulas and columns may use. Two of them
// joined by a stroke, as in rpm/s, are a unit too.
func Units() []string {
	names := make([]string, 0, len(unitList))
	for _, u := range unitList {
		names = append(names, u.name)
	}
	sort.Strings(names)
	return names
}

// lookupUnit finds a unit or a quotient of two.
func lookupUnit(name string) (unit, bool) {
	if name == "" {
		return unitless, true
	}
	if u, ok := unitByName[name]; ok {
		return u, true
	}
	over, under, found := strings.Cut(name, "/")
	a, okA := unitByName[over]
	b, okB := unitByName[under]
	if !found || !okA || !okB {
		return unit{}, false
	}
	return a.over(b), true
}

func (u unit) times(o unit) unit {
	return unit{joinUnits(u.name, "*", o.name), u.dim.plus(o.dim, 1), u.factor * o.factor, 0}.ranked(u)
}

func (u unit) over(o unit) unit {
	return unit{joinUnits(u.name, "/", o.name), u.dim.plus(o.dim, -1), u.factor / o.factor, 0}.ranked(u)
}

// ranked gives a composed unit a scale: that of a listed unit of the same
// dimension, or else of its first part.
func (u unit) ranked(first unit) unit {
	for _, l := range unitList {
		if l.dim == u.dim && l.dim != (dimension{}) {
			u.scale = l.scale * l.factor / u.factor
			return u
		}
	}
	u.scale = first.scale
	if u.scale == 0 {
		u.scale = 1
	}
	return u
}

func joinUnits(a, op, b string) string {
	switch {
	case b == "":
		return a
	case a == "" && op == "*":
		return b
	case a == "":
		return "1/" + b
	}
	return a + op + b
}

// simple reports whether the unit is one that a person would write.
func (u unit) simple() bool { return !strings.Contains(u.name, "*") }

// convert takes a value from one unit to another of the same dimension. A
// ratio that is whole but for rounding is taken as whole, so that 62 bar is
// 6200 kPa to the last bit.
func convert(v float64, from, to unit) float64 {
	if from.factor == to.factor {
		return v
	}
	if r, ok := whole(from.factor / to.factor); ok {
		return float64(v * r)
	}
	if r, ok := whole(to.factor / from.factor); ok {
		return v / r
	}
	return float64(v * (from.factor / to.factor))
}

func whole(r float64) (float64, bool) {
	w := math.Round(r)
	return w, w >= 1 && math.Abs(r-w) < 1e-12*w
}

// label names a unit in messages.
func (u unit) label() string {
	if u.name == "" {
		return "a bare number"
	}
	return u.name
}

// validScale reports whether a declared margin scale can be divided by.
func validScale(s float64) bool { return s > 0 && !math.IsInf(s, 0) }
