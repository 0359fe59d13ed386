package record

import (
	"fmt"
	"slices"
	"strings"
)

// Guess says that a column may feed an input, why, and how sure that is.
type Guess struct {
	Input      string // one of Inputs
	Channel    int    // index in Recording.Channels
	Title      string
	Unit       string // as written; "": not stated
	Confidence int    // percent; never 100, since nobody asked the logger
	Reason     string
	Needs      []string // what a person must still state before it can be used
}

// rule says how the title and unit of a column that feeds an input look. The
// words are those of the trade and, for abbreviations, of SAE J1930.
type rule struct {
	input      string
	quantities []Quantity
	phrases    []phrase
	not        []string // words of another thing
	low, high  float64  // plausible, in the base unit of quantities[0]
	tries      []string // units that loggers use for it, for one that is not stated
}

type phrase struct {
	percent int
	words   string
}

var rules = []rule{
	{"engine_speed", []Quantity{Rotation},
		[]phrase{{65, "engine rpm"}, {65, "engine speed"}, {60, "rpm"}, {55, "revs"}, {50, "crank speed"}, {55, "drehzahl"}},
		[]string{"wheel", "fan", "turbo", "turbine", "shaft", "target", "limit", "input", "output", "cam", "max", "ceiling"}, 0, 20000, []string{"rpm"}},
	{"throttle", []Quantity{Ratio, Voltage, Angle},
		[]phrase{{65, "throttle position"}, {65, "throttle"}, {60, "tps"}, {35, "pedal"}, {35, "accelerator"}, {50, "drosselklappe"}},
		[]string{"target", "commanded", "command", "actuator", "brake", "clutch", "error"}, -0.05, 1.1, []string{"%", "ratio"}},
	{"manifold_pressure", []Quantity{Pressure},
		[]phrase{{70, "intake manifold pressure"}, {70, "manifold pressure"}, {60, "map"}, {50, "boost pressure"}, {40, "boost"}, {40, "intake pressure"}, {50, "saugrohrdruck"}},
		[]string{"target", "barometric", "exhaust", "duty", "temp", "temperature", "fuel", "oil"}, 5e3, 6e5, []string{"kPa", "bar", "psi"}},
	{"road_speed", []Quantity{Velocity},
		[]phrase{{65, "vehicle speed"}, {65, "road speed"}, {60, "ground speed"}, {60, "vss"}, {55, "gps speed"}, {50, "wheel speed"}, {40, "speed"}, {50, "geschwindigkeit"}},
		[]string{"engine", "fan", "turbo", "turbine", "shaft", "target", "crank", "limit", "wind", "rpm"}, -1, 150, []string{"km/h", "mph", "m/s"}},
	{"gear", nil,
		[]phrase{{65, "gear"}, {65, "gear position"}, {50, "gang"}},
		[]string{"ratio", "oil", "temp", "temperature", "target", "pressure", "voltage", "volts", "shift"}, -1, 12, nil},
	{"coolant_temperature", []Quantity{Temperature},
		[]phrase{{70, "coolant temperature"}, {65, "coolant temp"}, {60, "water temp"}, {60, "water temperature"}, {60, "ect"}, {40, "coolant"}, {50, "engine temp"}, {50, "engine temperature"}},
		[]string{"oil", "pressure", "intake", "level", "fan"}, 230, 420, []string{"C", "F", "K"}},
	{"supply_voltage", []Quantity{Voltage},
		[]phrase{{65, "battery voltage"}, {60, "supply voltage"}, {55, "module voltage"}, {55, "system voltage"}, {50, "battery"}, {45, "batt"}, {45, "supply"}},
		[]string{"temp", "temperature", "current", "sensor", "pressure", "fuel"}, 5, 19, []string{"V"}},
	{"lambda", []Quantity{Lambda, Ratio},
		[]phrase{{70, "lambda"}},
		[]string{"target", "voltage", "volts", "trim", "correction", "error", "commanded", "temp", "heater"}, 0.4, 5, []string{"lambda"}},
	{"fuel_pressure", []Quantity{Pressure},
		[]phrase{{70, "fuel pressure"}, {65, "fuel press"}, {65, "fuel rail pressure"}},
		[]string{"target", "temp", "temperature", "oil"}, 0, 4e7, []string{"kPa", "bar", "psi"}},
	{"oil_pressure", []Quantity{Pressure},
		[]phrase{{70, "oil pressure"}, {65, "oil press"}},
		[]string{"target", "temp", "temperature", "gearbox", "fuel", "gear"}, 0, 1.5e6, []string{"kPa", "bar", "psi"}},
	{"bottle_pressure", []Quantity{Pressure},
		[]phrase{{70, "bottle pressure"}, {65, "bottle press"}, {60, "nitrous pressure"}},
		[]string{"target", "temp", "temperature", "fuel", "oil"}, 0, 1.5e7, []string{"bar", "psi", "kPa"}},
	{"intake_temperature", []Quantity{Temperature},
		[]phrase{{70, "intake air temperature"}, {70, "intake air temp"}, {65, "intake temperature"}, {65, "intake temp"}, {60, "iat"}, {60, "air temp"}, {60, "air temperature"}, {60, "charge temp"}},
		[]string{"ambient", "outside", "pressure", "cabin", "coolant", "exhaust"}, 220, 450, []string{"C", "F", "K"}},
}

// neutralWords say nothing about what a column is.
var neutralWords = []string{"sensor", "value", "actual", "measured", "signal", "current", "avg", "average", "filtered", "absolute", "abs", "the", "of", "1"}

// Inputs lists the inputs that Suggest looks for, in its order.
func Inputs() []string {
	out := make([]string, len(rules))
	for i := range rules {
		out[i] = rules[i].input
	}
	return out
}

// Suggest guesses which channel feeds which input from titles, units and the
// range of values. It returns up to three guesses an input, best first, in the
// order of Inputs. A guess is a start for a columns file, to be read by a
// person: it never states a unit or a reference pressure that the recording
// does not.
func Suggest(r *Recording) []Guess {
	const most, least = 3, 20
	var out []Guess
	spans := make([]span, len(r.Channels))
	for i := range r.Channels {
		spans[i] = spanOf(r.Channels[i].Value)
	}
	for k := range rules {
		var found []Guess
		for i := range r.Channels {
			if len(r.Channels[i].Text) > 0 && r.Channels[i].Present == 0 {
				continue // a column of words
			}
			if g, ok := rules[k].judge(&r.Channels[i], spans[i]); ok && g.Confidence >= least {
				g.Channel = i
				found = append(found, g)
			}
		}
		slices.SortStableFunc(found, func(a, b Guess) int { return b.Confidence - a.Confidence })
		out = append(out, found[:min(len(found), most)]...)
	}
	return out
}

// span is the range of a channel's values.
type span struct {
	low, high float64
	any       bool
}

func spanOf(values []float64) span {
	var s span
	for _, v := range values {
		switch {
		case v != v:
		case !s.any:
			s = span{v, v, true}
		default:
			s.low, s.high = min(s.low, v), max(s.high, v)
		}
	}
	return s
}

// judge weighs one channel for one input.
func (r *rule) judge(c *Channel, s span) (Guess, bool) {
	g := Guess{Input: r.input, Title: c.Title, Unit: c.Unit}
	unit, known := ParseUnit(c.Unit)
	if known && len(r.quantities) > 0 && !slices.Contains(r.quantities, unit.Quantity) {
		return g, false
	}
	title := words(c.Name)
	if slices.ContainsFunc(title, func(w string) bool { return slices.Contains(r.not, w) }) {
		return g, false
	}
	var why []string
	g.Confidence, why = r.matchWords(title)
	if g.Confidence == 0 && (!known || unit.Quantity != Rotation || r.input != "engine_speed") {
		return g, false
	}
	if known && len(r.quantities) > 0 {
		g.Confidence += 25
		why = append(why, "unit "+unit.Name+" fits")
	}
	why = append(why, r.matchValues(&g, unit, known, s)...)
	if len(r.quantities) > 0 && r.quantities[0] == Pressure && unit.Reference == Unstated {
		g.Needs = append(g.Needs, "state whether the pressure is absolute or gauge")
	}
	g.Confidence = min(max(g.Confidence, 1), 95)
	g.Reason = strings.Join(why, "; ")
	return g, true
}

// matchWords gives the best phrase whose words are all in the title, less a
// little for each word that it leaves unexplained.
func (r *rule) matchWords(title []string) (percent int, why []string) {
	for _, p := range r.phrases {
		want := strings.Fields(p.words)
		if !containsAll(title, want) {
			continue
		}
		extra := 0
		for _, w := range title {
			if !slices.Contains(want, w) && !slices.Contains(neutralWords, w) {
				extra++
			}
		}
		if n := p.percent - 8*min(extra, 4); n > percent {
			percent, why = n, []string{fmt.Sprintf("title says %q", p.words)}
		}
	}
	return percent, why
}

func containsAll(have, want []string) bool {
	for _, w := range want {
		if !slices.Contains(have, w) {
			return false
		}
	}
	return true
}

// matchValues compares the values with what is plausible, and names units that
// would fit where none is stated.
func (r *rule) matchValues(g *Guess, unit Unit, known bool, s span) (why []string) {
	switch {
	case !s.any:
		g.Confidence -= 40
		return []string{"no values"}
	case s.low == s.high:
		g.Confidence -= 15
		why = append(why, "value never changes")
	}
	if len(r.quantities) == 0 {
		return append(why, r.inRange(g, s, Line{1, 0})...)
	}
	if known {
		if unit.Quantity == r.quantities[0] {
			why = append(why, r.inRange(g, s, unit.line)...)
		} else {
			g.Needs = append(g.Needs, fmt.Sprintf("state how %s turns into %s, for instance with a two-point line", unit.Name, r.quantities[0]))
		}
		return why
	}
	need := "state the unit"
	if g.Unit != "" {
		need = fmt.Sprintf("unit %q is not known; state the unit", clip(g.Unit))
	}
	if fit := r.fitting(s); len(fit) > 0 {
		need += fmt.Sprintf("; values of %s to %s would fit %s", formatFloat(s.low), formatFloat(s.high), strings.Join(fit, " or "))
	} else {
		g.Confidence -= 20
		why = append(why, "values fit none of the usual units")
	}
	g.Needs = append(g.Needs, need)
	return why
}

func (r *rule) inRange(g *Guess, s span, l Line) []string {
	if l.At(s.low) >= r.low && l.At(s.high) <= r.high {
		g.Confidence += 10
		return []string{"values are plausible"}
	}
	g.Confidence -= 30
	return []string{fmt.Sprintf("values of %s to %s are not plausible", formatFloat(s.low), formatFloat(s.high))}
}

func (r *rule) fitting(s span) []string {
	var out []string
	for _, name := range r.tries {
		u, _ := ParseUnit(name)
		if u.line.At(s.low) >= r.low && u.line.At(s.high) <= r.high {
			out = append(out, name)
		}
	}
	return out
}
