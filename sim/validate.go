package sim

import (
	"fmt"
	"math"
	"reflect"
	"strconv"
	"strings"
)

// Finding is one thing that is wrong with a car.
type Finding struct {
	Field   string // dotted file key, such as "engine.bore_mm"
	Value   string // as found
	Allowed string // range or set
	Reason  string // what is wrong and what to do
}

func (f Finding) String() string {
	return fmt.Sprintf("%s = %s: %s (allowed: %s)", f.Field, f.Value, f.Reason, f.Allowed)
}

// Validate reports everything that is wrong with a car, in file order: each
// field against its range first, then the rules that tie fields together. A
// part that is not fitted is not checked.
func (c Car) Validate() []Finding {
	var out []Finding
	walk(reflect.ValueOf(c), "", &out)
	return append(out, c.rules()...)
}

func walk(v reflect.Value, prefix string, out *[]Finding) {
	t := v.Type()
	for i := range t.NumField() {
		f := t.Field(i)
		key := prefix + f.Tag.Get("toml")
		switch {
		case f.Type.Kind() != reflect.Struct:
			checkField(v.Field(i), f.Tag, key, out)
		case f.Tag.Get("optional") != "" && !v.Field(i).FieldByName("Fitted").Bool():
		default:
			walk(v.Field(i), key+".", out)
		}
	}
}

func checkField(v reflect.Value, tag reflect.StructTag, key string, out *[]Finding) {
	switch v.Kind() {
	case reflect.Float64:
		checkNumber(v.Float(), tag, key, out)
	case reflect.Int:
		checkNumber(float64(v.Int()), tag, key, out)
	case reflect.String:
		checkWord(v.String(), tag, key, out)
	case reflect.Slice:
		checkList(v, tag, key, out)
	}
}

func checkNumber(x float64, tag reflect.StructTag, key string, out *[]Finding) {
	lo, hi := tagNumber(tag, "min"), tagNumber(tag, "max")
	if !(x >= lo && x <= hi) {
		add(out, key, num(x), fmt.Sprintf("%s to %s %s", num(lo), num(hi), tag.Get("unit")), "out of range")
		return
	}
	if s := tagNumber(tag, "step"); s == s && math.Mod(x, s) != 0 {
		add(out, key, num(x), "multiples of "+num(s)+" "+tag.Get("unit"), "does not lie on a 6 degree bin edge")
	}
	if d := tagNumber(tag, "divides"); d == d && math.Mod(d, x) != 0 {
		add(out, key, num(x), "divisors of "+num(d), "tooth pitch is not a multiple of 6 degrees")
	}
}

func checkWord(s string, tag reflect.StructTag, key string, out *[]Finding) {
	set := tag.Get("values")
	if set == "" {
		return
	}
	for _, w := range strings.Split(set, ",") {
		if s == w {
			return
		}
	}
	add(out, key, strconv.Quote(s), strings.ReplaceAll(set, ",", ", "), "unknown word")
}

func checkList(v reflect.Value, tag reflect.StructTag, key string, out *[]Finding) {
	lo, hi, _ := strings.Cut(tag.Get("len"), "-")
	a, _ := strconv.Atoi(lo)
	b, _ := strconv.Atoi(hi)
	if v.Len() < a || v.Len() > b {
		add(out, key, fmt.Sprintf("%d entries", v.Len()), fmt.Sprintf("%d to %d entries", a, b), "wrong number of entries")
	}
	for i := range v.Len() {
		at := fmt.Sprintf("%s[%d]", key, i)
		checkField(v.Index(i), tag, at, out)
		if tag.Get("rise") != "" && i > 0 && !(v.Index(i).Float() > v.Index(i-1).Float()) {
			add(out, at, num(v.Index(i).Float()), "more than "+num(v.Index(i-1).Float()), "points must rise")
		}
	}
}

func tagNumber(tag reflect.StructTag, name string) float64 {
	x, err := strconv.ParseFloat(tag.Get(name), 64)
	if err != nil {
		return math.NaN()
	}
	return x
}

func num(x float64) string { return strconv.FormatFloat(x, 'g', -1, 64) }

func add(out *[]Finding, field, value, allowed, reason string) {
	*out = append(*out, Finding{field, value, allowed, reason})
}

// rules are the checks that need more than one field.
func (c Car) rules() []Finding {
	var out []Finding
	c.engineRules(&out)
	c.breathRules(&out)
	c.launchRules(&out)
	if c.Sensing.Missing >= c.Sensing.Teeth {
		add(&out, "sensing.missing", strconv.Itoa(c.Sensing.Missing), "less than sensing.teeth", "no tooth is left")
	}
	if c.Combustion.LambdaRich >= c.Combustion.LambdaLean {
		add(&out, "combustion.misfire_rich", num(c.Combustion.LambdaRich), "less than combustion.misfire_lean", "no mixture would burn")
	}
	return out
}

func (c Car) engineRules(out *[]Finding) {
	e := &c.Engine
	seen := map[int]bool{}
	for _, n := range e.Order {
		if n > len(e.Order) || seen[n] {
			add(out, "engine.firing_order", fmt.Sprint(e.Order), fmt.Sprintf("each of 1 to %d once", len(e.Order)), "a cylinder is missing or named twice")
			break
		}
		seen[n] = true
	}
	c.intervalRules(out)
	if len(e.Eta) != len(e.EtaRPM) {
		add(out, "engine.volumetric", fmt.Sprintf("%d entries", len(e.Eta)), fmt.Sprintf("%d entries", len(e.EtaRPM)), "needs one value for each engine.volumetric_rpm")
	}
	if e.RodMM < 0.55*e.StrokeMM {
		add(out, "engine.rod_mm", num(e.RodMM), "at least 0.55 stroke", "rod is too short to turn")
	}
	if lead := float64(cycleDeg - e.SparkDeg); lead < e.MaxAdvance+30 {
		add(out, "engine.spark_commit_deg", strconv.Itoa(e.SparkDeg), "at least max_advance_deg + 30 before dead centre", "no room for dwell before the most advanced spark")
	}
}

func (c Car) intervalRules(out *[]Finding) {
	e := &c.Engine
	n := len(e.Order)
	if len(e.IntervalsDeg) == 0 {
		if n > 0 && cycleDeg%n != 0 || n > 0 && (cycleDeg/n)%binDeg != 0 {
			add(out, "engine.firing_intervals_deg", "none", "one for each cylinder", "even intervals of this many cylinders are not multiples of 6 degrees")
		}
		return
	}
	sum := 0.0
	for i, d := range e.IntervalsDeg {
		sum += d
		if math.Mod(d, binDeg) != 0 {
			add(out, fmt.Sprintf("engine.firing_intervals_deg[%d]", i), num(d), "multiples of 6 deg", "does not lie on a 6 degree bin edge")
		}
	}
	if len(e.IntervalsDeg) != n || sum != cycleDeg {
		add(out, "engine.firing_intervals_deg", fmt.Sprintf("%d entries, sum %s", len(e.IntervalsDeg), num(sum)), fmt.Sprintf("%d entries, sum 720 deg", n), "intervals must make one cycle")
	}
}

func (c Car) breathRules(out *[]Finding) {
	if c.Turbo.Fitted && c.Intake.PipeL < 0.5 {
		add(out, "intake.charge_pipe_l", num(c.Intake.PipeL), "0.5 to 60 L", "a turbo needs a charge pipe")
	}
	if !c.Turbo.Fitted && c.Exhaust.OrificeM2 < 1e-4 {
		add(out, "exhaust.orifice_m2", num(c.Exhaust.OrificeM2), "0.0001 to 0.05 m2", "without a turbo the exhaust needs a way out")
	}
}

func (c Car) launchRules(out *[]Finding) {
	l := &c.Launch
	switch l.Kind {
	case "clutch":
		if l.ClutchNm <= 0 {
			add(out, "launch.clutch_nm", num(l.ClutchNm), "above 0 N m", "a clutch needs a capacity")
		}
	case "converter":
		c.converterRules(out)
	}
}

func (c Car) converterRules(out *[]Finding) {
	l := &c.Launch
	if l.K0 <= 0 {
		add(out, "launch.stall_k", num(l.K0), "above 0", "a converter needs its stall K")
	}
	n := len(l.SR)
	if n < 3 || len(l.K) != n || len(l.TR) != n {
		add(out, "launch.speed_ratio", fmt.Sprintf("%d, %d and %d entries", n, len(l.K), len(l.TR)), "3 to 16 of each, equally many", "speed_ratio, k_factor and torque_ratio go together")
		return
	}
	if l.SR[0] != 0 || l.SR[n-1] != 1 {
		add(out, "launch.speed_ratio", fmt.Sprint(l.SR), "from 0 to 1", "the table must span stall to lock-up")
	}
	for i := range l.SR {
		if eff := l.SR[i] * l.TR[i]; eff > 1 {
			add(out, fmt.Sprintf("launch.torque_ratio[%d]", i), num(l.TR[i]), "at most "+num(1/l.SR[i]), fmt.Sprintf("efficiency would be %.0f %%", 100*eff))
		}
	}
}
