package advise

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"github.com/holdline/holdline/controller"
	"github.com/holdline/holdline/harness"
	"github.com/holdline/holdline/harness/files"
	"github.com/holdline/holdline/harness/scenario"
)

// Knob is one thing that may be changed.
type Knob struct {
	Name      string
	Unit      string
	Now       float64 // in the calibration as it is
	Step      float64 // largest change in a pass
	Grid      float64 // values are multiples of it
	Low, High float64
	Words     []string // of a knob that has words for values: Now, Low and High count them
	put       func(float64) []files.Change
}

// Steps of a pass (a cautious calibrator's; common practice).
const (
	ceilingStep = 300 // rpm
	timingStep  = 2   // deg
	boostStep   = 10  // kPa
	dutyStep    = 10  // %
	slewShare   = 0.25
	stallShare  = 0.05
)

// Say spells a value of the knob.
func (k *Knob) Say(x float64) string {
	if len(k.Words) > 0 {
		return k.Words[int(x)]
	}
	return strings.TrimSpace(strconv.FormatFloat(x, 'f', -1, 64) + " " + k.Unit)
}

// Changes puts a value into its place.
func (k *Knob) Changes(x float64) []files.Change { return k.put(x) }

// near gives the values one step of a size to either side.
func (k *Knob) near(at, size float64) (list []float64) {
	if len(k.Words) > 0 {
		for i := range k.Words {
			if float64(i) != at && size == 1 {
				list = append(list, float64(i))
			}
		}
		return list
	}
	for _, x := range []float64{at - k.Step*size, at + k.Step*size} {
		x = k.clip(x)
		if math.Abs(x-at) > k.Step*size/4 {
			list = append(list, x)
		}
	}
	return list
}

func (k *Knob) clip(x float64) float64 {
	return math.Min(math.Max(math.Round(x/k.Grid)*k.Grid, k.Low), k.High)
}

// knobs lists what the question lets move, in the order in which they are told.
func (q *Question) knobs(l *scenario.Loaded) ([]*Knob, error) {
	var all []*Knob
	var errs []error
	add := func(k *Knob, more ...error) {
		errs = append(errs, more...)
		if k != nil && (len(k.Words) > 1 || k.Low < k.High) {
			all = append(all, k)
		}
	}
	for i := range l.Cal.Stages {
		st := &l.Cal.Stages[i]
		path := "calibration.stage." + harness.StageName(l.Cal, i) + "."
		switch st.Kind {
		case controller.Launch:
			k, err := q.ceiling(l, "launch ceiling", path, &st.Ceiling)
			add(k, err)
			k, err = q.timing(l.Cal, path, st)
			add(k, err)
			k, err = q.boost(l.Cal, path, st)
			add(k, err)
			add(medium(path, st, q.Rules))
			add(style(path, st))
		case controller.AfterRelease:
			k, err := q.ceiling(l, "after-release ceiling", path, &st.Ceiling)
			add(k, err)
			add(slew(path, st))
		}
	}
	for i := range l.Cal.Shots {
		k, err := duty(&q.Limits, i, &l.Cal.Shots[i])
		add(k, err)
	}
	add(q.trim(l))
	add(converter(l))
	if err := errors.Join(errs...); err != nil {
		return nil, err
	}
	return q.chosen(all)
}

func (q *Question) chosen(all []*Knob) (list []*Knob, err error) {
	for _, k := range all {
		if len(q.Knobs) == 0 && k.Name != converterName || slices.Contains(q.Knobs, k.Name) {
			list = append(list, k)
		}
	}
	for _, name := range q.Knobs {
		if !slices.ContainsFunc(all, func(k *Knob) bool { return k.Name == name }) {
			return nil, fmt.Errorf("no knob is called %q here; there are: %s", name, strings.Join(names(all), ", "))
		}
	}
	return list, nil
}

func names(list []*Knob) (out []string) {
	for _, k := range list {
		out = append(out, k.Name)
	}
	return out
}

func number(x float64) string { return strconv.FormatFloat(x, 'f', -1, 64) }

func one(path string) func(float64) []files.Change {
	return func(x float64) []files.Change { return []files.Change{{Path: path, Value: number(x)}} }
}

// mainCeiling is the lowest value that main has.
func mainCeiling(cal *controller.Calibration) float64 {
	for i := range cal.Stages {
		if st := &cal.Stages[i]; st.Kind == controller.Main {
			low, _ := span(cal, &st.Ceiling, float64(controller.RPM))
			return low
		}
	}
	return 20000
}

// span is the range of a curve's values, in a unit.
func span(cal *controller.Calibration, c *controller.Curve, unit float64) (low, high float64) {
	return float64(lowest(cal, c)) / unit, float64(highest(cal, c)) / unit
}

func eachCell(cal *controller.Calibration, c *controller.Curve, do func(row, column int, x int32)) {
	t := &cal.Tables[c.Table-1]
	for r := range max(int(t.Rows.N), 1) {
		for k := range int(t.Columns.N) {
			do(r, k, t.Cells[r][k])
		}
	}
}

// ceiling moves a constant ceiling, or all points of a mapped one together.
func (q *Question) ceiling(l *scenario.Loaded, name, path string, c *controller.Curve) (*Knob, error) {
	cal := l.Cal
	low, high := span(cal, c, float64(controller.RPM))
	if c.Table == 0 && c.Const == 0 {
		return nil, nil
	}
	lowest, highest := 1500.0, mainCeiling(cal)
	if name == "launch ceiling" {
		lowest, highest = max(lowest, q.Limits.LowestCeiling), highest-200
		if h := q.Limits.HighestCeiling; h > 0 {
			highest = min(highest, h)
		}
		if q.Rules != nil && q.Rules.MostLaunchRPM > 0 {
			highest = min(highest, q.Rules.MostLaunchRPM)
		}
	}
	if name == "launch ceiling" && high > highest {
		return nil, fmt.Errorf("the launch ceiling stands at %s rpm, above the highest that limits and rules allow, %s rpm: bring it down first, or raise the limit", number(high), number(highest))
	}
	k := &Knob{Name: name, Unit: "rpm", Step: ceilingStep, Grid: 50, Now: high, Low: high + min(lowest-low, 0), High: max(highest, high)}
	if c.Table == 0 {
		k.put = one(path + "ceiling_rpm")
		return k, nil
	}
	k.Name = strings.Replace(name, "ceiling", "map, its highest point", 1)
	table, ok := q.word(l, strings.TrimPrefix(path, "calibration.")+"ceiling_table")
	if !ok {
		return nil, nil
	}
	k.put = func(x float64) []files.Change {
		rows := make([]string, max(int(cal.Tables[c.Table-1].Rows.N), 1))
		eachCell(cal, c, func(r, _ int, cell int32) {
			rows[r] += number(float64(cell)/float64(controller.RPM)+x-high) + ", "
		})
		for r := range rows {
			rows[r] = "[" + strings.TrimSuffix(rows[r], ", ") + "]"
		}
		return []files.Change{{Path: "calibration.table." + table + ".cells_rpm", Value: "[" + strings.Join(rows, ", ") + "]"}}
	}
	return k, nil
}

// word reads a key of the calibration's text that the calibration itself does not
// keep.
func (q *Question) word(l *scenario.Loaded, path string) (string, bool) {
	text, err := files.ReadText(l.CalibrationFile())
	if err != nil {
		return "", false
	}
	doc, _ := files.Parse("", text)
	return doc.Word(path)
}

// timing moves the launch stage's angle, never to more advance than base.
func (q *Question) timing(cal *controller.Calibration, path string, st *controller.Stage) (*Knob, error) {
	t := &st.Timing
	if t.Mode == controller.TimingBase {
		return nil, nil
	}
	// The limits are of the angle itself; an offset counts from wherever base is.
	latest, earliest, known := angles(cal, t)
	if l := q.Limits.LatestTiming; l != nil && known && latest < *l {
		return nil, beyond("the launch timing", latest, "latest", *l, "deg")
	}
	if m := q.Limits.MostAdvance; m != nil && known && earliest > *m {
		return nil, beyond("the launch timing", earliest, "most advanced", *m, "deg")
	}
	if t.Angle.Table != 0 || !known {
		return nil, nil
	}
	now := float64(t.Angle.Const) / float64(controller.Degree)
	k := &Knob{Name: "launch timing", Unit: "deg", Step: timingStep, Grid: 0.5, Now: now, Low: now, High: now, put: one(path + "timing_deg")}
	if l := q.Limits.LatestTiming; l != nil {
		k.Low = now - (latest - *l)
	}
	if r := q.Rules; r != nil && r.NoLateIgnition {
		k.Low = max(k.Low, now-max(latest, 0))
	}
	top, _, _ := baseTiming(cal)
	if t.Mode == controller.TimingOffset {
		top = 0
	}
	if m := q.Limits.MostAdvance; m != nil {
		k.High = max(now, min(top, now+*m-earliest))
	}
	return k, nil
}

// baseTiming is the range of the calibration's base angle, before top dead centre; it
// is known to be the engine's where none is measured.
func baseTiming(cal *controller.Calibration) (latest, earliest float64, known bool) {
	latest, earliest = span(cal, &cal.Engine.BaseAngle, float64(controller.Degree))
	return latest, earliest, !cal.Channels[controller.BaseTiming].Fitted
}

// angles is the range of a stage's own ignition angle, before top dead centre; an
// offset is known where base is.
func angles(cal *controller.Calibration, t *controller.Timing) (latest, earliest float64, known bool) {
	switch t.Mode {
	case controller.TimingAbsolute:
		known = true
	case controller.TimingOffset:
		latest, earliest, known = baseTiming(cal)
	}
	low, high := span(cal, &t.Angle, float64(controller.Degree))
	return latest + low, earliest + high, known
}

// beyond refuses what stands beyond a stated limit: advice that left it there would
// not keep to the limit.
func beyond(what string, now float64, end string, limit float64, unit string) error {
	return fmt.Errorf("%s stands at %s %s, beyond the %s that was stated, %s %s: change it first, or state another limit", what, number(now), unit, end, number(limit), unit)
}

func (q *Question) boost(cal *controller.Calibration, path string, st *controller.Stage) (*Knob, error) {
	most := q.Limits.MostBoost
	_, standing := span(cal, &cal.Engine.BoostBase, 1000)
	for i := range cal.Stages {
		_, here := span(cal, &cal.Stages[i].Boost, 1000)
		standing = max(standing, here)
	}
	if most > 0 && standing > most {
		return nil, beyond("the boost target", standing, "highest", most, "kPa")
	}
	now := float64(st.Boost.Const) / 1000
	if st.Boost.Table != 0 || st.Boost.Const == 0 {
		return nil, nil
	}
	if r := q.Rules; r != nil && r.MostBoostKPa > 0 {
		most = min(most, r.MostBoostKPa)
	}
	return &Knob{Name: "boost target", Unit: "kPa", Step: boostStep, Grid: 1, Now: now, Low: 100, High: max(now, most), put: one(path + "boost_kpa")}, nil
}

// medium offers what the stage could cut with; what does not go with the rest of
// the calibration is refused by its own check.
func medium(path string, st *controller.Stage, rules *Rules) *Knob {
	words := []string{"fuel", "spark", "both"}
	now := map[controller.Medium]float64{controller.Fuel: 0, controller.Spark: 1, controller.Both: 2}
	if rules != nil && rules.NoSparkCut {
		words, now = words[:1], map[controller.Medium]float64{controller.Fuel: 0}
	}
	at, ok := now[st.Cut.Medium]
	if !ok {
		return nil
	}
	return &Knob{Name: "cut", Now: at, Step: 1, Words: words, put: func(x float64) []files.Change {
		return []files.Change{{Path: path + "medium", Value: words[int(x)]}}
	}}
}

// style offers a soft and a hard cut, each with the file's own band or hysteresis,
// or the usual one, and a regulator where the file has one, since it needs gains. A
// whole-engine cut is left alone: it is chosen for other reasons than time.
func style(path string, st *controller.Stage) *Knob {
	now := map[controller.Style]float64{controller.Soft: 0, controller.Hard: 1, controller.Regulate: 2}
	at, ok := now[st.Cut.Style]
	if !ok || st.Cut.Medium == controller.NoMedium {
		return nil
	}
	words := []string{"soft", "hard"}
	if st.Cut.Style == controller.Regulate {
		words = append(words, "regulate")
	}
	return &Knob{Name: "cut style", Now: at, Step: 1, Words: words, put: func(x float64) []files.Change {
		return []files.Change{{Path: path + "style", Value: words[int(x)]}}
	}}
}

// trim turns the crew's knob, which moves the ceilings of launch and after-release
// together; the calibration stays as it is. Where limits or rules bound the launch
// ceiling it may only be turned down: the ceiling's own knob goes up to the bound,
// and both together would pass it.
func (q *Question) trim(l *scenario.Loaded) *Knob {
	e, ch := &l.Cal.Engine, &l.Cal.Channels[controller.SurfaceTrim]
	if !ch.Fitted || e.TrimStep == 0 {
		return nil
	}
	most := float64(e.TrimMax / e.TrimStep)
	low, high := max(float64(ch.Low), -most), min(float64(ch.High), most)
	now := float64(l.Trim)
	if q.Limits.HighestCeiling > 0 || q.Rules != nil && q.Rules.MostLaunchRPM > 0 {
		high = now
	}
	return &Knob{Name: "surface trim", Step: 1, Grid: 1, Now: now, Low: min(low, now), High: max(high, now), put: one("driver.surface_trim")}
}

func slew(path string, st *controller.Stage) *Knob {
	now := float64(st.SlewUp)
	if now == 0 {
		return nil
	}
	return &Knob{Name: "after-release slew", Unit: "rpm/s", Step: math.Round(now*slewShare/10) * 10, Grid: 10, Now: now, Low: now / 4, High: now * 4, put: one(path + "slew_up_rpm_s")}
}

func duty(limits *Limits, i int, sh *controller.Shot) (*Knob, error) {
	if sh.When == controller.NoShot {
		return nil, nil
	}
	if most := limits.MostShot; most > 0 && float64(sh.Power) > most {
		return nil, beyond(fmt.Sprintf("shot %d", i+1), float64(sh.Power), "largest", most, "kW")
	}
	name := fmt.Sprintf("shot %d duty", i+1)
	now := 100 * float64(sh.EndDuty) / float64(controller.One)
	if most := limits.MostDuty; most > 0 && now > most {
		return nil, beyond(name, now, "highest", most, "%")
	}
	return &Knob{Name: name, Unit: "%", Step: dutyStep, Grid: 1, Now: now, Low: 20, High: max(now, min(limits.MostDuty, 100)),
		put: one(fmt.Sprintf("calibration.shot[%d].end_duty_pct", i+1))}, nil
}

const converterName = "converter"

func converter(l *scenario.Loaded) *Knob {
	car := l.Model.Car()
	if car.Launch.K0 <= 0 {
		return nil
	}
	k := car.Launch.K0
	return &Knob{Name: converterName, Unit: "rad/s/sqrt(N m)", Step: math.Round(k*stallShare*100) / 100, Grid: 0.01, Now: k, Low: 0.7 * k, High: 1.4 * k, put: one("car.launch.stall_k")}
}
