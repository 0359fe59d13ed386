package files

import (
	"github.com/holdline/holdline/controller"
	"github.com/holdline/holdline/harness"
)

// addedPower visits the standing interlocks and the shots.
func (w *calibrationWork) addedPower(b *Block) {
	c := w.cal
	standing := given(&c.Standing)
	OptionalTable(b, &standing, "standing", func(b *Block) { standingFields(b, &c.Standing) },
		Doc("Interlocks common to all shots. A channel that is not fitted is not judged."))
	n := uint8(0)
	for n < controller.MaxShots && c.Shots[n].When != controller.NoShot {
		n++
	}
	Tables(b, Array(c.Shots[:], &n), "shot", shotFields, Len(0, controller.MaxShots),
		Doc("One stage of added power. It opens only while every interlock allows it."))
	if b.Decoding() && n > 0 && !standing && b.Good("standing") {
		b.Fail("standing", harness.Finding{Reason: "shots need the standing interlocks", Fix: "add [standing] with longest_all_s and a window for every channel that is fitted"})
	}
}

// given reports whether anything is set.
func given(s *controller.Standing) bool {
	return controller.Standing{
		Coolant: s.Coolant, Fuel: s.Fuel, Oil: s.Oil, Bottle: s.Bottle, Voltage: s.Voltage, LeanLimit: s.LeanLimit,
		MixtureWait: s.MixtureWait, Persistence: s.Persistence, Qualify: s.Qualify, LatchAfter: s.LatchAfter,
		LongestAll: s.LongestAll, CoolDown: s.CoolDown,
	} != controller.Standing{}
}

func standingFields(b *Block, s *controller.Standing) {
	window := func(w *controller.Window, key string, scale Scale, doc string) {
		var list []int32
		if *w != (controller.Window{}) {
			list = []int32{w.Low, w.High}
		}
		Ints(b, Slice(&list), key, scale, Len(2, 2), Optional(), Doc(doc))
		if b.Decoding() && len(list) == 2 {
			*w = controller.Window{Low: list[0], High: list[1]}
		}
	}
	seconds := func(p *controller.Duration, key string, hi float64, def Option, doc string) {
		Int(b, p, key, SecondsInUs, Range(0, hi), def, Doc(doc))
	}
	window(&s.Coolant, "coolant_degc", CelsiusTenths, "lowest and highest coolant temperature")
	window(&s.Fuel, "fuel_pressure_kpa", KilopascalInPa, "lowest and highest fuel pressure")
	window(&s.Oil, "oil_pressure_kpa", KilopascalInPa, "lowest and highest oil pressure")
	window(&s.Bottle, "bottle_pressure_kpa", KilopascalInPa, "lowest and highest bottle pressure; 6200 to 6900 is usual (common practice)")
	window(&s.Voltage, "voltage_v", VoltsInMv, "lowest and highest supply voltage; required")
	Int(b, &s.LeanLimit, "lean_limit", ratioNumber, Range(0, 2), Optional(), Doc("lambda above it closes; required where lambda is fitted"))
	seconds(&s.MixtureWait, "mixture_wait_s", 2000, Default(0.3), "mixture is judged this long after the last cut")
	seconds(&s.Persistence, "persistence_s", 0.2, Optional(), "mixture and pressures may be out of their window this long")
	seconds(&s.Qualify, "standing_qualify_s", 2000, Default(0.1), "standing interlocks hold this long before a shot may open")
	seconds(&s.LatchAfter, "latch_after_s", 0.1, Default(0.02), "a channel out of range latches a fault when it lasts longer")
	seconds(&s.LongestAll, "longest_all_s", 2000, func(*spec) {}, "open time of all shots together")
	seconds(&s.CoolDown, "cool_down_s", 2000, Default(10), "closed this long before totals may be reset")
}

var shotParts = Words[controller.ShotWhen]{
	Means("held", controller.WhileHeld, "while a trans-brake holds the car, launch earned or not yet"),
	Means("released", controller.WhileReleased, "after release"),
	Means("either", controller.WhileEither, "both"),
}

func shotFields(b *Block, s *controller.Shot) {
	seconds := func(p *controller.Duration, key string, def Option, doc string) {
		Int(b, p, key, SecondsInUs, Range(0, 2000), def, Doc(doc))
	}
	must := Option(func(*spec) {})
	nameText(b, &s.Name, "name", Optional(), Doc("shown with results"))
	Enum(b, &s.When, "when", shotParts, Doc("in which part of the launch it may open"))
	Bool(b, &s.Wet, "wet", Optional(), Doc("brings its own fuel through a second valve"))
	Int(b, &s.After, "after", Number, Range(0, controller.MaxShots), Optional(), Doc("number, from 1, of a shot that must be open first"))
	Int(b, &s.Power, "power_kw", Scale{Unit: "kW"}, Range(0, 2000), Optional(), Doc("for checks only"))
	Int(b, &s.ThrottleMin, "throttle_min_pct", PercentInPct2, Range(50, 100), Default(90), Doc("least throttle"))
	Int(b, &s.SpeedLow, "speed_low_rpm", RPMTenths, Range(1000, 15000), Default(3000), Doc("least engine speed"))
	Int(b, &s.SpeedHigh, "speed_high_rpm", RPMTenths, Doc("greatest engine speed"))
	Int(b, &s.Margin, "margin_rpm", RPMTenths, RangeRaw(1, 20000), Default(200), Doc("closed this close below the ceiling in force"))
	Int(b, &s.Reopen, "reopen_rpm", RPMTenths, Range(0, 2000), Default(200), Doc("and so much further below to open again"))
	seconds(&s.QuietFor, "quiet_for_s", Default(0.05), "no cut within the last so long")
	numbered(b, &s.Gears, "gears", 0, 15, Optional(), Doc("gears in which it may open; left out: any"))
	Bool(b, &s.ClutchUp, "clutch_up", Optional(), Doc("asks for switch clutch-up"))
	seconds(&s.Delay, "delay_s", Optional(), "after release")
	seconds(&s.Trigger, "trigger_s", Default(0.02), "trigger interlocks hold this long before it opens")
	seconds(&s.ReArm, "rearm_s", Default(0.3), "closed at least this long")
	Bool(b, &s.OncePerHold, "once_per_hold", Optional(), Doc("opens once in a hold"))
	Bool(b, &s.Feedback, "feedback", Optional(), Doc("switch feedback-N of this shot is fitted: on while it is seen to flow"))
	seconds(&s.Longest, "longest_s", must, "open time in all")
	Int(b, &s.Retard, "retard_deg", centiDegrees, Range(0, 40), Doc("later ignition while it flows; about 2 for every 37 kW (common practice)"))
	seconds(&s.RetardLead, "retard_lead_s", Default(0.02), "retard before the valve opens")
	Bool(b, &s.RetardByDuty, "retard_by_duty", Optional(), Doc("progressive duty reduces the retard, never below duty times full"))
	valveFields(b, s, seconds)
	dry := b.usage(!s.Wet, "for a dry shot", "wet")
	wet := b.usage(s.Wet, "for a wet shot", "wet")
	Int(b, &s.Enrich, "enrich", ratioNumber, Range(0, 3), dry.may("enrich"), Doc("dry: fuel multiplier while oxidiser can arrive; required"))
	seconds(&s.EnrichLead, "enrich_lead_s", dry.may("enrich_lead_s"), "dry: before the valve opens")
	seconds(&s.FuelLead, "fuel_lead_s", wet.may("fuel_lead_s"), "wet: fuel valve before the oxidiser's")
	seconds(&s.FuelLag, "fuel_lag_s", wet.may("fuel_lag_s"), "wet: and after it")
}

func valveFields(b *Block, s *controller.Shot, seconds func(*controller.Duration, string, Option, string)) {
	must := Option(func(*spec) {})
	Int(b, &s.StartDuty, "start_duty_pct", PercentInPct2, Range(0, 100), Optional(), Doc("progressive: valve duty at opening"))
	Int(b, &s.EndDuty, "end_duty_pct", PercentInPct2, RangeRaw(1, 10000), Default(100), Doc("valve duty at the end of the ramp; alone: constant"))
	seconds(&s.Ramp, "ramp_s", Optional(), "progressive: from start to end duty")
	seconds(&s.ValvePeriod, "valve_period_s", Optional(), "progressive: period of the valve drive")
	seconds(&s.ValveOpens, "valve_opens_s", must, "slowest valve opening; measure it")
	seconds(&s.ValveCloses, "valve_closes_s", must, "slowest valve closing; measure it")
	seconds(&s.Flush, "flush_s", must, "line and plenum run empty")
	for _, x := range []struct {
		key   string
		takes controller.Duration
	}{{"valve_opens_s", s.ValveOpens}, {"valve_closes_s", s.ValveCloses}, {"flush_s", s.Flush}} {
		if x.takes == 0 && b.Decoding() && b.Given(x.key) && b.Good(x.key) {
			b.Warn(x.key, harness.Finding{Reason: "takes no time at all: cuts and retard rely on how long it takes", Fix: "measure it, and state the slowest"})
		}
	}
}
