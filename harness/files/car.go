package files

import (
	"fmt"
	"reflect"
	"strconv"
	"strings"

	"github.com/holdline/holdline/harness"
	"github.com/holdline/holdline/sim"
)

// Car is the file kind of simulated cars. Its keys, units and ranges are those
// of sim.Car's struct tags.
var Car = Kind[sim.Car]{
	Name: "car", Format: "holdline-car-1",
	Doc: "A simulated car. The demo cars are inventions: their names, numbers and stories belong to no one, " +
		"and no real car was measured for them. The equations behind each number are in the package doc of sim.",
	Fields: carFields,
}

// LoadCar reads a car file. It returns everything that is wrong with it at once,
// each with its place; the car is nil if any of that is an error.
func LoadCar(path string, changes ...Change) (*sim.Car, harness.Findings) {
	car, doc, findings := Car.Read(path, changes...)
	return checkCar(car, doc, findings)
}

// DecodeCar is LoadCar for a text; name is used in findings.
func DecodeCar(name string, text []byte, changes ...Change) (*sim.Car, harness.Findings) {
	car, doc, findings := Car.Decode(name, text, changes...)
	return checkCar(car, doc, findings)
}

// checkCar adds what only the car as a whole shows, but for fields that have a
// finding already.
func checkCar(car *sim.Car, doc *Document, findings harness.Findings) (*sim.Car, harness.Findings) {
	told, inTable := map[string]bool{}, map[string]bool{}
	for _, f := range findings {
		key := wholeKey(f.Field)
		table, _, _ := strings.Cut(key, ".")
		told[key], inTable[table] = true, true
	}
	if told[""] || told[formatKey] { // not a car at all
		return nil, findings
	}
	for _, f := range car.Validate() {
		key := wholeKey(f.Field)
		table, _, _ := strings.Cut(key, ".")
		// The length of a list that could not be read says nothing.
		counted := inTable[table] && strings.Contains(f.Value, "entries")
		if told[key] || told[table] || counted {
			continue
		}
		pos, _ := doc.Locate(key)
		findings = append(findings, doc.finding(pos, harness.Finding{
			Severity: harness.Error, Field: f.Field, Value: f.Value, Allowed: f.Allowed, Reason: f.Reason,
		}))
	}
	if findings.Failed() {
		return nil, findings.Sorted()
	}
	return car, findings
}

// wholeKey cuts the index of a list item off a path.
func wholeKey(path string) string {
	key, _, _ := strings.Cut(path, "[")
	return key
}

// carDocs says what each part is.
var carDocs = map[string]string{
	"engine":     "Crank train and fixed angles of the cycle, in degrees after a cylinder's own firing dead centre. Inertia: crank, flywheel, impeller or clutch cover.",
	"combustion": "Single-zone closed cycle: burn duration, wall heat, limits of misfire, scatter, and where the stock timing map puts half-burnt.",
	"intake":     "Throttle, plenum and, with a turbo, the charge pipe. Idle area: effective opening with the plate shut.",
	"exhaust":    "Manifold, its wall and after-burning; the orifice is the way out without a turbo. Sweep afterburn_mix_share and afterburn_mix_rate: nobody's measurement was found.",
	"turbo":      "Compressor, turbine, shaft, wastegate, intercooler and down-pipe. Leave the table out where there is none.",
	"fuel":       "Port injection: base mixture, wall film, injectors.",
	"nitrous":    "One bottle with up to four jets. Leave the table out where there is none.",
	"launch":     "What stands between engine and gearbox. k_factor: K over stall_k at each speed_ratio.",
	"gearbox":    "Ratios and shafts. interrupter: a switch on the lever stops the ignition while an upshift lasts.",
	"tyre":       "The driven axle's pair.",
	"body":       "Mass with driver, balance, drag and pitch.",
	"sensing":    "Crank wheel, and lags and noise of the sensors.",
}

func carFields(b *Block, c *sim.Car) {
	carStruct(b, reflect.ValueOf(c).Elem())
}

// carStruct visits the fields of one part by their tags.
func carStruct(b *Block, v reflect.Value) {
	t := v.Type()
	for i := range t.NumField() {
		tag, field := t.Field(i).Tag, v.Field(i)
		key := tag.Get("toml")
		switch {
		case field.Kind() != reflect.Struct:
			if key != "fitted" { // the table's being there says it
				carField(b, field.Addr().Interface(), key, tag)
			}
		case tag.Get("optional") != "":
			OptionalTable(b, field.FieldByName("Fitted").Addr().Interface().(*bool), key,
				func(b *Block) { carStruct(b, field) }, Doc(carDocs[key]))
		default:
			Table(b, key, func(b *Block) { carStruct(b, field) }, Doc(carDocs[key]))
		}
	}
}

// carField visits one value. A list that may be empty may be left out.
func carField(b *Block, p any, key string, tag reflect.StructTag) {
	unit := tag.Get("unit")
	if unit == "-" {
		unit = ""
	}
	switch p := p.(type) {
	case *float64:
		Float(b, p, key, unit, tagOptions(tag)...)
	case *int:
		Int(b, p, key, Scale{Unit: unit}, tagOptions(tag)...)
	case *[]float64:
		Floats(b, Slice(p), key, unit, tagOptions(tag)...)
	case *[]int:
		Ints(b, Slice(p), key, Scale{Unit: unit}, tagOptions(tag)...)
	case *bool:
		Bool(b, p, key, Default(false))
	case *string:
		carText(b, p, key, tag.Get("values"))
	default:
		b.fault(key, "a car cannot have a %T", p)
	}
}

func carText(b *Block, p *string, key, values string) {
	if values == "" {
		Text(b, p, key, Len(1, 400))
		return
	}
	var words Words[string]
	for _, w := range strings.Split(values, ",") {
		words = append(words, Means(w, w, ""))
	}
	Enum(b, p, key, words)
}

func tagOptions(tag reflect.StructTag) (opts []Option) {
	lo, errLo := strconv.ParseFloat(tag.Get("min"), 64)
	hi, errHi := strconv.ParseFloat(tag.Get("max"), 64)
	if errLo == nil && errHi == nil {
		opts = append(opts, Range(lo, hi))
	}
	if least, most, ok := strings.Cut(tag.Get("len"), "-"); ok {
		a, _ := strconv.Atoi(least)
		z, _ := strconv.Atoi(most)
		opts = append(opts, Len(a, z))
		if a == 0 {
			opts = append(opts, Optional())
		}
	}
	if tag.Get("rise") != "" {
		opts = append(opts, Rising())
	}
	if s := tag.Get("step"); s != "" {
		opts = append(opts, Doc(fmt.Sprintf("a multiple of %s", s)))
	}
	return opts
}
