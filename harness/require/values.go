package require

import (
	"math"
	"strconv"

	"github.com/holdline/holdline/controller"
)

// values are the words in braces. A value that the calibration does not have is
// not in the map; a requirement that uses it is then not asked.
type values map[string]string

func (v values) with(more values) values {
	out := make(values, len(v)+len(more))
	for k, x := range v {
		out[k] = x
	}
	for k, x := range more {
		out[k] = x
	}
	return out
}

func inUnit(x float64, unit string) string {
	s := strconv.FormatFloat(x, 'f', -1, 64)
	if unit == "%" {
		unit = "percent"
	}
	if unit == "" {
		return s
	}
	return s + " " + unit
}

func rpm(n controller.Speed) string           { return inUnit(float64(n)/10, "rpm") }
func percent(r controller.Ratio) string       { return inUnit(float64(r)/100, "percent") }
func degrees(a controller.Angle) string       { return inUnit(float64(a)/100, "deg") }
func inMillis(d controller.Duration) string   { return inUnit(float64(d)/1000, "ms") }
func number(x float64) string                 { return strconv.FormatFloat(x, 'f', -1, 64) }
func roundUp(x float64, step float64) float64 { return math.Ceil(x/step) * step }

// freeSlope is how fast a free engine gains speed, in rpm/s: 12,000 and more
// (common practice). Overshoot is this times the delay of a cut.
const freeSlope = 14000

// delayAt is from a speed that calls for a cut to the first torque that lacks,
// in seconds: two ticks, one firing event, and the crank angle of the medium.
func delayAt(cal *controller.Calibration, m controller.Medium, n controller.Speed) float64 {
	angle := cal.Engine.FuelDelay
	if m == controller.Spark {
		angle = cal.Engine.SparkDelay
	}
	degPerSecond := 0.6 * float64(max(n, 500*controller.RPM))
	event := 720 / float64(max(cal.Engine.Cylinders, 1))
	return 2*float64(cal.Period)/1e6 + (float64(angle)/100+event)/degPerSecond
}

func overshootOf(cal *controller.Calibration, st *controller.Stage, n controller.Speed) float64 {
	return roundUp(freeSlope*delayAt(cal, st.Cut.Medium, n), 10)
}

// lowestOf is the lowest, highestOf the highest speed that a curve can give.
func lowestOf(cal *controller.Calibration, c controller.Curve) controller.Speed {
	n, _ := rangeOf(cal, c)
	return n
}

func highestOf(cal *controller.Calibration, c controller.Curve) controller.Speed {
	_, n := rangeOf(cal, c)
	return n
}

func rangeOf(cal *controller.Calibration, c controller.Curve) (low, high controller.Speed) {
	if c.Table == 0 {
		return controller.Speed(c.Const), controller.Speed(c.Const)
	}
	tb := &cal.Tables[(c.Table-1)%controller.MaxTables]
	x := tb.Cells[0][0]
	low, high = controller.Speed(x), controller.Speed(x)
	for r := range max(int(tb.Rows.N), 1) {
		for _, x := range tb.Cells[r][:tb.Columns.N] {
			low, high = min(low, controller.Speed(x)), max(high, controller.Speed(x))
		}
	}
	return low, high
}

func stageOf(cal *controller.Calibration, kind controller.StageKind) (*controller.Stage, bool) {
	for i := range cal.Stages {
		if cal.Stages[i].Kind == kind {
			return &cal.Stages[i], true
		}
	}
	return nil, false
}

// runValues are the values of a whole calibration.
func runValues(cal *controller.Calibration) values {
	q, e := &cal.Sequence, &cal.Engine
	v := values{
		"tick": inMillis(cal.Period), "throttle_min": percent(q.ThrottleMin), "throttle_shut": percent(q.ThrottleShut),
		"entry_speed": inUnit(float64(q.EntrySpeed)/1000, "m/s"), "earn_within": rpm(q.EarnWithin), "entry_above": rpm(q.EntryAbove),
		"trim_step": rpm(e.TrimStep), "trim_max": rpm(e.TrimMax), "boost_min": inUnit(float64(e.BoostMin)/1000, "kPa"),
		"cranking": rpm(e.CrankingBelow), "overrun_margin": rpm(e.OverrunMargin),
		"spread_bound": number(spreadBound(int(e.Cylinders))), "longest_run": number(longestRunOf),
		"slow_cycle": inMillis(controller.Duration(1.2e9/float64(max(e.CrankingBelow, 250*controller.RPM))) + 3*cal.Period),
	}
	for name, d := range map[string]controller.Duration{
		"earn": q.Earn, "abort_after": q.AbortAfter, "clear_after": q.ClearAfter, "loss_after": q.LossAfter,
		"end_lift": q.EndLift, "end_after": q.EndAfter, "return_time": q.ReturnTime,
		"latch_after": cal.Standing.LatchAfter, "standing_qualify": cal.Standing.Qualify, "persistence": cal.Standing.Persistence,
		"mixture_wait": cal.Standing.MixtureWait, "longest_all": cal.Standing.LongestAll,
	} {
		if d > 0 || name == "persistence" {
			v[name] = inMillis(d)
			v[name+"_and_tick"] = inMillis(d + cal.Period)
		}
		if d > cal.Period {
			v[name+"_less_tick"] = inMillis(d - cal.Period)
		}
	}
	if cal.Standing.LeanLimit > 0 {
		v["lean_limit"] = number(float64(cal.Standing.LeanLimit) / 10000)
	}
	v.cuts(cal)
	v.timing(cal)
	return v
}

// longestRunOf is how many cycles in a row a cylinder may be withheld at all
// (ours: at 5,000 rpm 60 cycles are 1.4 s, longer than any sound limiter needs).
const longestRunOf = 60

// spreadBound is C4 by number of cylinders.
func spreadBound(n int) float64 {
	switch n {
	case 1:
		return 1
	case 2:
		return 2
	case 4:
		return 2.5
	case 11:
		return 3.3
	}
	return 3
}

// anticipated is how far below a ceiling a cut may begin that looks ahead by slope
// times delay: the delay is longer the slower the engine turns. Where a free engine
// at full slope would be cut from standstill on, it is all of the ceiling.
func anticipated(cal *controller.Calibration, m controller.Medium, ceiling controller.Speed, width float64) float64 {
	all := float64(ceiling) / float64(controller.RPM)
	below := width
	for range 200 {
		n := all - below
		if n <= float64(cal.Engine.CrankingBelow)/float64(controller.RPM) {
			return all
		}
		below = width + freeSlope*delayAt(cal, m, controller.Speed(n*float64(controller.RPM)))
	}
	return below
}

// cuts are the values that follow from how the stages cut.
func (v values) cuts(cal *controller.Calibration) {
	below, moving, above, depth := 0.0, 0.0, controller.Speed(0), controller.FullDemand
	for i := range cal.Stages {
		st := &cal.Stages[i]
		if st.Kind == controller.NoStage {
			continue
		}
		width := float64(max(st.Cut.Band, st.Cut.Hysteresis)) / 10
		if st.Cut.Style == controller.Regulate {
			width = float64(st.Cut.Hysteresis) / 10
			above = max(above, st.Cut.Band)
		}
		if st.Cut.Anticipate {
			width = anticipated(cal, st.Cut.Medium, lowestOf(cal, st.Ceiling)-cal.Engine.TrimMax, width)
		}
		below = max(below, width)
		if st.Kind != controller.Launch && st.Kind != controller.Burnout {
			moving = max(moving, width)
		}
		if st.Cut.Style == controller.Hard {
			depth = min(depth, st.Cut.Depth)
		}
	}
	v["rest_below"] = inUnit(roundUp(below, 10), "rpm")
	v["moving_below"] = inUnit(roundUp(moving, 10), "rpm")
	v["full_above"] = rpm(above)
	v["least_depth"] = inUnit(float64(depth)*100/float64(controller.FullDemand), "percent")
	if main, ok := stageOf(cal, controller.Main); ok {
		n := controller.Speed(main.Ceiling.Const)
		v["main_ceiling"] = rpm(n)
		v["main_overshoot"] = inUnit(overshootOf(cal, main, n), "rpm")
		v["fast_cycle"] = inMillis(controller.Duration(1.2e9 / float64(max(n, controller.RPM))))
	}
	if launch, ok := stageOf(cal, controller.Launch); ok {
		v.launch(cal, launch)
	}
}

// launch adds the values of the launch stage.
func (v values) launch(cal *controller.Calibration, launch *controller.Stage) {
	low := lowestOf(cal, launch.Ceiling) - cal.Engine.TrimMax
	over := overshootOf(cal, launch, low)
	v["launch_overshoot"] = inUnit(over, "rpm")
	v["launch_highest"] = rpm(highestOf(cal, launch.Ceiling) + cal.Engine.TrimMax)
	v["hold_below"] = inUnit(float64(max(launch.Cut.Band, launch.Cut.Hysteresis))/10+over, "rpm")
	v["launch_cycle"] = inMillis(controller.Duration(1.2e9/float64(max(low, 1000*controller.RPM))) + 3*cal.Period)
	if launch.Guard.Longest > 0 {
		v["launch_guard"] = inMillis(launch.Guard.Longest + 2*cal.Period)
	}
}

// timing values: the greatest step a tick that slews allow, and how long they
// take for the whole range.
func (v values) timing(cal *controller.Calibration) {
	span := float64(controller.EarliestTiming-controller.LatestTiming) / 100
	perTick, slowest := 0.0, 0.0
	for i := range cal.Stages {
		t := &cal.Stages[i].Timing
		if cal.Stages[i].Kind == controller.NoStage || t.Mode == controller.TimingBase {
			continue
		}
		if t.SlewIn == 0 || t.SlewOut == 0 {
			return
		}
		perTick = max(perTick, float64(max(t.SlewIn, t.SlewOut))/100*float64(cal.Period)/1e6)
		slowest = max(slowest, span/(float64(t.SlewOut)/100))
	}
	if perTick == 0 {
		return
	}
	if cal.Sequence.ReturnTime > 0 {
		perTick = max(perTick, span*float64(cal.Period)/float64(cal.Sequence.ReturnTime))
	}
	v["timing_step"] = inUnit(roundUp(perTick+0.02, 0.01), "deg")
	v["slew_back"] = inUnit(roundUp(slowest*1000, 10)+10, "ms")
}
