package files

import (
	"strings"

	"github.com/holdline/holdline/controller"
	"github.com/holdline/holdline/harness"
)

// Scales of the core's quantities.
var (
	centiDegrees   = Scale{Unit: "deg", Mul: 100}
	degreesPerS    = Scale{Unit: "deg/s", Mul: 100}
	rpmPerS        = Scale{Unit: "rpm/s", Mul: 10}
	ratioNumber    = Scale{Mul: 10000}
	demandNumber   = Scale{Mul: int64(controller.FullDemand), Rounded: true}
	demandPercent  = Scale{Unit: "%/rpm", Mul: int64(controller.FullDemand), Div: 100, Rounded: true}
	metrePerSecond = Scale{Unit: "m/s", Mul: 1000}
	metrePerS2     = Scale{Unit: "m/s2", Mul: 1000}
)

func (w *calibrationWork) engine(b *Block, e *controller.Engine) {
	Ints(b, Array(e.Order[:], &e.Cylinders), "firing_order", Number, Range(1, controller.MaxCylinders),
		Doc("the maker's cylinder numbers in the order in which they fire"))
	intervals(b, e)
	Enum(b, &e.Ignition, "ignition", Words[controller.Ignition]{
		Means("per-cylinder", controller.IgnitionPerCylinder, "a coil for each cylinder"),
		Means("paired", controller.IgnitionPaired, "one coil for two cylinders 360 degrees apart"),
		Means("single", controller.IgnitionSingle, "one coil and a distributor"),
	}, Default("per-cylinder"), Doc("how coils are arranged"))
	Enum(b, &e.Fuel, "fuel", Words[controller.FuelSystem]{
		Means("sequential", controller.FuelSequential, "each injector on its own"),
		Means("grouped", controller.FuelGrouped, "several cylinders share an output"),
		Means("not-ours", controller.FuelNotOurs, "a carburettor, or another controller"),
	}, Default("sequential"), Doc("how injectors are driven"))
	Bool(b, &e.Catalyst, "catalyst", Optional(), Doc("a catalyst is fitted: late ignition and spark-only cuts are refused"))
	Int(b, &e.CommitLead, "commit_lead", Number, Range(0, 2*controller.MaxCylinders-1), Default(2),
		Doc("firing events from a cycle's fuel commit to its spark"))
	Int(b, &e.FuelDelay, "fuel_delay_deg", centiDegrees, Range(0, 1440), Default(650), Doc("crank angle from a fuel decision to its torque"))
	Int(b, &e.SparkDelay, "spark_delay_deg", centiDegrees, Range(0, 1440), Default(200), Doc("crank angle from a spark decision to its torque"))
	Int(b, &e.CrankingBelow, "cranking_below_rpm", RPMTenths, Range(50, 1000), Default(400), Doc("below it the engine cranks"))
	Bool(b, &e.KeepFiring, "keep_firing", Optional(), Doc("an unknown speed does not withhold cycles: nothing limits the engine then"))
	Bool(b, &e.RateCheck, "rate_check", Default(true), Doc("doubt an engine speed that the rate of commits contradicts"))
	Int(b, &e.OverrunMargin, "overrun_margin_rpm", RPMTenths, Range(0, 2000), Default(300),
		Doc("so far above main, spark is withheld at once while a shot flows"))
	w.curve(b, &e.BaseAngle, curveKeys{"base_timing", "_deg", centiDegrees, CellsDegrees}, Range(-40, 60), "base timing where the channel is not fitted")
	w.curve(b, &e.BoostBase, curveKeys{"boost_base", "_kpa", KilopascalInPa, CellsKilopascal}, Range(0, 1000), "boost target, absolute, where no stage has a wish")
	Int(b, &e.BoostMin, "boost_min_kpa", KilopascalInPa, Range(0, 1000), Optional(), Doc("boost target, absolute, when manifold pressure is lost"))
	Int(b, &e.TrimStep, "trim_step_rpm", RPMTenths, Range(0, 1000), Default(50), Doc("ceiling for each position of the surface trim"))
	Int(b, &e.TrimMax, "trim_max_rpm", RPMTenths, Range(0, 2000), Default(500), Doc("bound of the surface trim, either way"))
}

// intervals visits the angles from each firing to the next; a list of zeros is
// an even-firing engine and is not written.
func intervals(b *Block, e *controller.Engine) {
	var list []controller.Angle
	n := min(int(e.Cylinders), controller.MaxCylinders)
	if e.Intervals != [controller.MaxCylinders]controller.Angle{} {
		list = append(list, e.Intervals[:n]...)
	}
	Ints(b, Slice(&list), "intervals_deg", centiDegrees, Range(0, 720), Len(0, controller.MaxCylinders), Optional(),
		Doc("from each firing to the next, 720 in all; left out: even"))
	if !b.Decoding() || len(list) == 0 {
		return
	}
	if b.Good("firing_order", "intervals_deg") && len(list) != n {
		b.Fail("intervals_deg", harness.Finding{Reason: "wrong number of intervals", Allowed: Number.Format(int64(n)), Fix: "one for each cylinder of firing_order"})
		return
	}
	copy(e.Intervals[:], list)
}

// channelEntry is one [channel.NAME].
type channelEntry struct {
	name string
	spec controller.ChannelSpec
}

func (w *calibrationWork) channels(b *Block) {
	var list []channelEntry
	for c := range w.cal.Channels {
		if spec := w.cal.Channels[c]; spec.Fitted {
			list = append(list, channelEntry{harness.Channels[c].Name, spec})
		}
	}
	Named(b, Slice(&list), "channel", func(e *channelEntry) *string { return &e.name }, channelFields, Len(1, int(controller.NumChannels)),
		Doc("A channel that is fitted. NAME is one of "+channelList()+"."))
	if !b.Decoding() {
		return
	}
	for _, e := range list {
		if c, ok := fittable(e.name); ok {
			w.cal.Channels[c] = e.spec
		}
	}
}

func fittable(name string) (controller.Channel, bool) {
	c, ok := harness.ChannelNamed(name)
	return c, ok && c < controller.NumChannels
}

func channelNames() []string {
	var names []string
	for _, q := range harness.Channels[:controller.NumChannels] {
		names = append(names, q.Name)
	}
	return names
}

// channelList names every channel with its unit.
func channelList() string {
	var parts []string
	for _, q := range harness.Channels[:controller.NumChannels] {
		if q.Unit == "" {
			parts = append(parts, q.Name)
		} else {
			parts = append(parts, q.Name+" ("+q.Unit+")")
		}
	}
	return strings.Join(parts, ", ")
}

// channelScale is the unit of a channel in files.
func channelScale(c controller.Channel) Scale {
	q := harness.Channels[c]
	return Scale{Unit: q.Unit, Mul: int64(q.Per)}
}

// electrical is the range outside which a channel counts as faulty if the file
// does not say it, in the channel's unit (illustrative; a sensor's data sheet
// knows better). The free channels have none.
var electrical = map[controller.Channel][2]int32{
	controller.EngineSpeed:        {0, 15000},
	controller.Throttle:           {-5, 105},
	controller.ManifoldPressure:   {10, 400},
	controller.RoadSpeedMain:      {0, 120},
	controller.RoadSpeedOther:     {0, 120},
	controller.Gear:               {-1, 12},
	controller.CoolantTemperature: {-40, 150},
	controller.IntakeTemperature:  {-40, 200},
	controller.ExhaustTemperature: {-40, 1200},
	controller.FuelPressure:       {0, 1000},
	controller.OilPressure:        {0, 1200},
	controller.BottlePressure:     {0, 12000},
	controller.BrakePressure:      {0, 20000},
	controller.SupplyVoltage:      {6, 18},
	controller.Lambda:             {0, 2},
	controller.BaseTiming:         {-40, 60},
	controller.SurfaceTrim:        {-10, 10},
}

func channelFields(b *Block, e *channelEntry) {
	c, ok := fittable(e.name)
	scale := Scale{Unit: "the channel's unit", Mul: 10000}
	switch {
	case ok:
		scale = channelScale(c)
	case b.Decoding():
		b.Fail("", harness.Finding{Reason: "no such channel", Value: e.name, Allowed: strings.Join(channelNames(), ", "), Fix: didYouMean(e.name, channelNames())})
		scale = Scale{Rounded: true}
	}
	e.spec.Fitted = e.spec.Fitted || b.Decoding()
	channelRange(b, c, ok, scale, &e.spec)
	Bool(b, &e.spec.Driven, "driven", Optional(), Doc("a road speed taken from driven wheels"))
	Enum(b, &e.spec.OnLoss, "on_loss", Words[controller.LossAction]{
		Means("keep", controller.LossKeep, "keep the ceiling"),
		Means("rest", controller.LossRest, "slew down to the stage's rest ceiling"),
	}, Optional(), Doc("what losing it does to a held stage that reads it; left out: keep"))
	age := Default(0.1)
	if ok && c == controller.EngineSpeed && b.s.mode != describing {
		age = Optional()
	}
	Int(b, &e.spec.LongestAge, "longest_age_s", SecondsInUs, Range(0, 2000), age, Doc("an older value is stale; engine speed has a rule of its own"))
}

func channelRange(b *Block, c controller.Channel, known bool, scale Scale, spec *controller.ChannelSpec) {
	var list []int32
	if spec.Low != 0 || spec.High != 0 {
		list = []int32{spec.Low, spec.High}
	}
	Ints(b, Slice(&list), "range", scale, Len(2, 2), Rising(), Optional(), Doc("electrical range; outside it the channel is faulty; left out: the usual one"))
	if !b.Decoding() {
		return
	}
	usual, has := electrical[c]
	switch {
	case len(list) == 2:
		spec.Low, spec.High = list[0], list[1]
	case !known || b.Given("range"):
	case !has:
		b.Fail("range", harness.Finding{Reason: "required key is missing", Fix: "a free channel has no usual range: add range = [LOW, HIGH]"})
	default:
		spec.Low, spec.High = usual[0]*int32(scale.Mul), usual[1]*int32(scale.Mul)
	}
}

func sequenceFields(b *Block, q *controller.Sequence) {
	Enum(b, &q.Hold, "hold", Words[controller.HoldInput]{
		Means("none", controller.HoldNone, "no launch sequence"),
		Means("clutch", controller.HoldClutch, "switch clutch-down"),
		Means("trans-brake", controller.HoldTransBrake, "switch trans-brake"),
		Means("foot-brake", controller.HoldFootBrake, "switch foot-brake"),
		Means("brake-pressure", controller.HoldBrakePressure, "channel brake-pressure at or above hold_pressure_kpa"),
	}, Default("none"), Doc("which input tells that the launch device holds the car"))
	pressure := b.usage(q.Hold == controller.HoldBrakePressure, "with hold = brake-pressure", "hold")
	Int(b, &q.HoldPressure, "hold_pressure_kpa", KilopascalInPa, pressure.must("hold_pressure_kpa"), Doc("pressure that counts as held; required with hold = brake-pressure"))
	u := b.usage(q.Hold != controller.HoldNone, "with a hold input", "hold")
	seconds := func(p *controller.Duration, key string, def float64, doc string) {
		Int(b, p, key, SecondsInUs, Range(0, 2000), u.or(key, def), Doc(doc))
	}
	seconds(&q.Earn, "earn_s", 0.5, "hold input on at least this long before a let-go counts as a launch")
	Int(b, &q.ThrottleMin, "throttle_min_pct", PercentInPct2, Range(0, 100), u.or("throttle_min_pct", 60), Doc("throttle that earns and keeps a hold"))
	Int(b, &q.ThrottleShut, "throttle_closed_pct", PercentInPct2, Range(0, 100), u.or("throttle_closed_pct", 5), Doc("at or below: closed"))
	Int(b, &q.EarnWithin, "earn_within_rpm", RPMTenths, Range(0, 5000), u.or("earn_within_rpm", 300), Doc("engine speed seen this close to the launch ceiling"))
	seconds(&q.AbortAfter, "abort_after_s", 0.1, "throttle low this long while held aborts")
	seconds(&q.ClearAfter, "clear_after_s", 0.5, "hold off and throttle closed this long clears an abort")
	seconds(&q.LossAfter, "loss_after_s", 0.3, "throttle closed this long ends a stage kept by a loss")
	seconds(&q.EndLift, "end_lift_s", 1, "a lift this long ends a launch")
	seconds(&q.EndAfter, "end_after_s", 15, "a launch ends at the latest after this")
	Int(b, &q.EntrySpeed, "entry_road_speed_mps", metrePerSecond, Range(0, 30), u.or("entry_road_speed_mps", 3), Doc("launch is entered only below this road speed"))
	Int(b, &q.EntryAbove, "entry_above_rpm", RPMTenths, Range(0, 5000), u.or("entry_above_rpm", 500), Doc("and with engine speed no further above the ceiling"))
	seconds(&q.ReturnTime, "return_time_s", 0.15, "timing is back at base this long after release; 0: as slew_out_deg_s says")
	Int(b, &q.Comeback, "comeback_pct", PercentInPct2, Range(0, 100), u.or("comeback_pct", 10), Doc("how far the throttle comes back to lift a ceiling that stays down"))
}
