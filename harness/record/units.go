package record

import (
	"fmt"
	"math"
	"strings"
)

// Quantity is what a unit measures. Each has one base unit.
type Quantity string

const (
	Pressure    Quantity = "pressure"     // Pa, absolute
	Temperature Quantity = "temperature"  // K
	Velocity    Quantity = "speed"        // m/s
	Ratio       Quantity = "ratio"        // 1
	Voltage     Quantity = "voltage"      // V
	Duration    Quantity = "time"         // s
	Rotation    Quantity = "engine speed" // 1/min, as the trade counts it
	Angle       Quantity = "angle"        // degrees
	Lambda      Quantity = "lambda"       // air-fuel ratio over the stoichiometric one
)

// Reference says from which zero a pressure counts.
type Reference uint8

const (
	// Unstated is no answer: a pressure cannot be converted without one.
	Unstated Reference = iota
	// Absolute counts from vacuum.
	Absolute
	// Gauge counts from the air around.
	Gauge
)

// String returns "unstated", "absolute" or "gauge".
func (r Reference) String() string {
	switch r {
	case Absolute:
		return "absolute"
	case Gauge:
		return "gauge"
	}
	return "unstated"
}

// Line is a straight line: y = Scale*x + Offset.
type Line struct{ Scale, Offset float64 }

// At returns the line's value at x. The product is rounded by itself, so that
// every processor gives the same bits.
func (l Line) At(x float64) float64 { return float64(l.Scale*x) + l.Offset }

// Then returns the line that applies l first and next to its result.
func (l Line) Then(next Line) Line {
	return Line{l.Scale * next.Scale, next.At(l.Offset)}
}

// TwoPoint returns the line through (x1, y1) and (x2, y2), for instance from
// the volts of a sensor to what it measures.
func TwoPoint(x1, y1, x2, y2 float64) (Line, error) {
	for _, v := range [...]float64{x1, y1, x2, y2} {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return Line{}, fmt.Errorf("a point of the line is not a finite number: (%v, %v), (%v, %v)", x1, y1, x2, y2)
		}
	}
	scale := (y2 - y1) / (x2 - x1)
	offset := y1 - float64(scale*x1)
	if x1 == x2 || math.IsInf(scale, 0) || math.IsInf(offset, 0) || math.IsNaN(offset) {
		return Line{}, fmt.Errorf("points (%v, %v) and (%v, %v) make no line: state two different inputs", x1, y1, x2, y2)
	}
	return Line{scale, offset}, nil
}

// Unit is a unit as a logger may write it.
type Unit struct {
	Name      string // plain spelling
	Quantity  Quantity
	Reference Reference // of a pressure, where the spelling says it
	line      Line      // to the base unit
}

// Constants, exact or by definition: 1 mph 0.44704 m/s (international yard and
// pound agreement, 1959); 1 psi 6894.757293 Pa (pound-force over square inch,
// from 0.45359237 kg, 9.80665 m/s2 and 0.0254 m); 1 inHg 3386.389 Pa
// (conventional, mercury at 0 degC); bar and the Celsius zero: BIPM, "The
// International System of Units", 9th edition. Fahrenheit by definition.
const (
	paPerPsi   = 6894.757293
	paPerInHg  = 3386.389
	msPerMph   = 0.44704
	kAtZeroC   = 273.15
	rpmPerRads = 30 / math.Pi
)

var knownUnits = []struct {
	unit      Unit
	spellings string // lower case, without spaces
}{
	{Unit{"Pa", Pressure, 0, Line{1, 0}}, "pa pascal"},
	{Unit{"hPa", Pressure, 0, Line{100, 0}}, "hpa"},
	{Unit{"mbar", Pressure, 0, Line{100, 0}}, "mbar mb millibar"},
	{Unit{"kPa", Pressure, 0, Line{1000, 0}}, "kpa"},
	{Unit{"bar", Pressure, 0, Line{100000, 0}}, "bar"},
	{Unit{"psi", Pressure, 0, Line{paPerPsi, 0}}, "psi lbf/in2 lb/in2"},
	{Unit{"inHg", Pressure, 0, Line{paPerInHg, 0}}, "inhg \"hg in.hg"},
	{Unit{"C", Temperature, 0, Line{1, kAtZeroC}}, "c °c ºc degc deg.c celsius degreesc degreec ℃"},
	{Unit{"F", Temperature, 0, Line{5.0 / 9, kAtZeroC - 32*5.0/9}}, "f °f ºf degf deg.f fahrenheit degreesf degreef ℉"},
	{Unit{"K", Temperature, 0, Line{1, 0}}, "k kelvin"},
	{Unit{"km/h", Velocity, 0, Line{1 / 3.6, 0}}, "km/h kmh kph kmph km/hr"},
	{Unit{"mph", Velocity, 0, Line{msPerMph, 0}}, "mph mi/h miles/h"},
	{Unit{"m/s", Velocity, 0, Line{1, 0}}, "m/s mps"},
	{Unit{"%", Ratio, 0, Line{0.01, 0}}, "% percent pct"},
	{Unit{"ratio", Ratio, 0, Line{1, 0}}, "ratio"},
	{Unit{"V", Voltage, 0, Line{1, 0}}, "v volt volts vdc"},
	{Unit{"mV", Voltage, 0, Line{0.001, 0}}, "mv millivolt millivolts"},
	{Unit{"s", Duration, 0, Line{1, 0}}, "s sec second seconds"},
	{Unit{"ms", Duration, 0, Line{0.001, 0}}, "ms msec millisecond milliseconds"},
	{Unit{"us", Duration, 0, Line{0.000001, 0}}, "us µs μs usec microsecond microseconds"},
	{Unit{"rpm", Rotation, 0, Line{1, 0}}, "rpm 1/min min-1 min^-1 /min r/min rev/min revs/min u/min"},
	{Unit{"1/s", Rotation, 0, Line{60, 0}}, "1/s rps rev/s hz"},
	{Unit{"rad/s", Rotation, 0, Line{rpmPerRads, 0}}, "rad/s"},
	{Unit{"deg", Angle, 0, Line{1, 0}}, "deg ° º degree degrees degca °ca"},
	{Unit{"lambda", Lambda, 0, Line{1, 0}}, "lambda λ la"},
}

// unitBySpelling is knownUnits turned round.
var unitBySpelling = func() map[string]Unit {
	out := map[string]Unit{}
	for _, k := range knownUnits {
		for _, s := range strings.Fields(k.spellings) {
			out[s] = k.unit
		}
	}
	return out
}()

// ParseUnit reads a unit as loggers spell it: "°C", "degC", "kph", "RPM",
// "1/min", "bar(a)", "psig", "kPa abs". The letter case does not count, but for
// "mV" against "MV" and the like: prefixes that would change the size are not
// guessed. It reports false for a unit it does not know, and for "".
func ParseUnit(s string) (Unit, bool) {
	text := strings.TrimSpace(s)
	if strings.HasPrefix(text, "MV") || strings.HasPrefix(text, "MPa") || strings.HasPrefix(text, "Mbar") || text == "MS" {
		return Unit{}, false
	}
	low := strings.ReplaceAll(strings.ToLower(text), " ", "")
	if u, ok := unitBySpelling[low]; ok {
		return u, true
	}
	for _, r := range referenceEnds {
		stem, found := strings.CutSuffix(low, r.end)
		if u, ok := unitBySpelling[stem]; found && ok && u.Quantity == Pressure {
			u.Reference = r.ref
			return u, true
		}
	}
	return Unit{}, false
}

// referenceEnds are what follows a pressure unit, longest first.
var referenceEnds = []struct {
	end string
	ref Reference
}{
	{"absolute", Absolute}, {"(abs)", Absolute}, {"abs", Absolute}, {"(a)", Absolute}, {"a", Absolute},
	{"gauge", Gauge}, {"(gauge)", Gauge}, {"gage", Gauge}, {"(g)", Gauge}, {"g", Gauge},
}

// ToBase returns the line from this unit to the base unit of its quantity. A
// pressure needs to know its zero: from the unit's spelling or as stated, and
// the two must agree. Gauge pressure needs the barometric pressure, 50,000 to
// 110,000 Pa. For other quantities both arguments are left 0.
func (u Unit) ToBase(stated Reference, barometricPa float64) (Line, error) {
	if u.Quantity == "" {
		return Line{}, fmt.Errorf("unit is not known; use ParseUnit")
	}
	if u.Quantity != Pressure {
		if stated != Unstated {
			return Line{}, fmt.Errorf("unit %s is a %s and is neither absolute nor gauge: remove that statement", u.Name, u.Quantity)
		}
		return u.line, nil
	}
	ref := u.Reference
	switch {
	case ref == Unstated:
		ref = stated
	case stated != Unstated && stated != ref:
		return Line{}, fmt.Errorf("pressure in %s is written as %s and stated as %s: correct one of them", u.Name, ref, stated)
	}
	switch ref {
	case Absolute:
		return u.line, nil
	case Gauge:
		if !(barometricPa >= 50_000 && barometricPa <= 110_000) {
			return Line{}, fmt.Errorf("gauge pressure in %s needs the barometric pressure (got %v Pa; allowed 50000 to 110000 Pa)", u.Name, barometricPa)
		}
		return Line{u.line.Scale, barometricPa}, nil
	}
	return Line{}, fmt.Errorf("pressure in %s: state whether it is absolute or gauge", u.Name)
}

// UnitNames lists the known units' plain spellings, for messages.
func UnitNames() []string {
	out := make([]string, len(knownUnits))
	for i, k := range knownUnits {
		out[i] = k.unit.Name
	}
	return out
}
