package files

import (
	"errors"
	"fmt"
	"math/big"
)

// Scale ties a decimal in a text to an integer in a value:
//
//	integer = decimal * Mul / Div
//
// A zero Mul or Div counts as 1. Without Rounded the product must be a whole
// number, so {Unit: "rpm", Mul: 10} takes steps of 0.1 rpm and refuses 0.05.
// With Rounded the nearest integer is taken, halves away from zero, and an
// integer is written as the shortest decimal that reads back to it; use it
// where the two units have no common decimal step (km/h and mm/s).
type Scale struct {
	Unit     string // as a reader sees it, e.g. "rpm"; empty for a bare number
	Mul, Div int64
	Rounded  bool
}

// The scales most fields use. The name says text unit, then integer unit
// where it differs.
var (
	Number         = Scale{}
	RPM            = Scale{Unit: "rpm"}
	RPMTenths      = Scale{Unit: "rpm", Mul: 10}
	DegreesTenths  = Scale{Unit: "deg", Mul: 10}
	KilopascalInPa = Scale{Unit: "kPa", Mul: 1000}
	SecondsInMs    = Scale{Unit: "s", Mul: 1000}
	SecondsInUs    = Scale{Unit: "s", Mul: 1_000_000}
	MillisInUs     = Scale{Unit: "ms", Mul: 1000}
	PercentInPct2  = Scale{Unit: "%", Mul: 100}
	MetresInMm     = Scale{Unit: "m/s", Mul: 1000}
	KmhInMmPerS    = Scale{Unit: "km/h", Mul: 2500, Div: 9, Rounded: true}
	VoltsInMv      = Scale{Unit: "V", Mul: 1000}
	CelsiusTenths  = Scale{Unit: "degC", Mul: 10}
)

// errBetween says that a decimal falls between two integers of a scale.
type errBetween struct{ below, above string }

func (e errBetween) Error() string { return "does not fit the resolution" }

var errTooBig = errors.New("is too large")

func (s Scale) factor() *big.Rat {
	return big.NewRat(max(s.Mul, 1), max(s.Div, 1))
}

// Parse converts decimal text to the scaled integer. A value that needs
// rounding is an error naming its two neighbours.
func (s Scale) Parse(text string) (int64, error) {
	d, err := parseDecimal(text)
	if err != nil {
		return 0, err
	}
	r := new(big.Rat).Mul(d.rat(), s.factor())
	if r.IsInt() || s.Rounded {
		n := roundRat(r)
		if !n.IsInt64() {
			return 0, errTooBig
		}
		return n.Int64(), nil
	}
	below := floorRat(r)
	if !below.IsInt64() {
		return 0, errTooBig
	}
	return 0, errBetween{s.Format(below.Int64()), s.Format(below.Int64() + 1)}
}

// maxPlaces is the longest fraction that Format tries.
const maxPlaces = 12

// Format writes the scaled integer as the shortest decimal that Parse turns
// back into it.
func (s Scale) Format(v int64) string {
	r := new(big.Rat).Quo(new(big.Rat).SetInt64(v), s.factor())
	for places := 0; places <= maxPlaces; places++ {
		d, exact := decimalOf(r, places)
		if exact {
			return d.String()
		}
		if s.Rounded && roundRat(new(big.Rat).Mul(d.rat(), s.factor())).Cmp(big.NewInt(v)) == 0 {
			return d.String()
		}
	}
	return r.FloatString(maxPlaces)
}

// reversible reports whether Parse gives back what Format wrote. It is enough
// to look at the smallest steps: the others are multiples of them.
func (s Scale) reversible() bool {
	for _, v := range []int64{1, 7, 101} {
		if got, err := s.Parse(s.Format(v)); err != nil || got != v {
			return false
		}
	}
	return true
}

// Shown writes the integer with its unit, for messages.
func (s Scale) Shown(v int64) string {
	if s.Unit == "" {
		return s.Format(v)
	}
	return s.Format(v) + " " + s.Unit
}

func (s Scale) between(lo, hi int64) string {
	if s.Unit == "" {
		return fmt.Sprintf("%s to %s", s.Format(lo), s.Format(hi))
	}
	return fmt.Sprintf("%s to %s %s", s.Format(lo), s.Format(hi), s.Unit)
}
