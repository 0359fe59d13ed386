package files

import (
	"github.com/holdline/holdline/controller"
	"github.com/holdline/holdline/harness"
)

// stageEntry is one [stage.NAME].
type stageEntry struct {
	header string
	stage  *controller.Stage
}

func (w *calibrationWork) stages(b *Block) {
	var list []stageEntry
	for i, header := range w.file.Stages {
		list = append(list, stageEntry{header, &w.cal.Stages[i]})
	}
	Named(b, Slice(&list), "stage", func(e *stageEntry) *string { return &e.header }, w.stageFields(), Len(1, controller.MaxStages),
		Doc("A staged limiter. NAME is your own and is shown with results. The lowest ceiling of all active stages is in force; exactly one is of kind main."))
	if !b.Decoding() {
		return
	}
	w.file.Stages = nil
	for _, e := range list {
		w.file.Stages = append(w.file.Stages, e.header)
	}
}

// stageFields hands the places of the calibration out in the order of the
// text.
func (w *calibrationWork) stageFields() func(b *Block, e *stageEntry) {
	next := 0
	return func(b *Block, e *stageEntry) {
		if e.stage == nil {
			e.stage = &w.cal.Stages[next]
			next++
		}
		stageName(b, e)
		w.stage(b, e.stage)
	}
}

// stageName visits the name shown with results where it differs from the
// header.
func stageName(b *Block, e *stageEntry) {
	st := e.stage
	shown := st.Name
	switch {
	case b.s.mode == encoding && st.Name == controller.Name{}:
		b.at(Pos{}, harness.Finding{Severity: harness.Error, Field: b.path, Reason: "cannot be written: the stage has no name", Fix: "give it one"})
	case b.s.mode == encoding && st.Name.String() == e.header:
		shown = controller.Name{}
	}
	nameText(b, &shown, "name", Optional(), Doc("shown with results, if not NAME"))
	switch {
	case !b.Decoding():
	case b.Given("name"):
		st.Name = shown
	default:
		st.Name = controller.NameOf(e.header)
		if len(e.header) > len(st.Name) {
			b.Fail("", harness.Finding{Reason: "the name is too long", Value: e.header, Allowed: "up to 16 letters", Fix: "shorten it, or add a name"})
		}
	}
}

var stageKinds = Words[controller.StageKind]{
	Means("burnout", controller.Burnout, "held, before the launch"),
	Means("launch", controller.Launch, "held; at most one"),
	Means("after-release", controller.AfterRelease, "while a launch is released"),
	Means("shift", controller.Shift, "full-throttle shift"),
	Means("user", controller.User, "your own"),
	Means("main", controller.Main, "always in force; exactly one"),
}

func (w *calibrationWork) stage(b *Block, st *controller.Stage) {
	Enum(b, &st.Kind, "kind", stageKinds, Doc("what the stage is for"))
	user := b.usage(st.Kind == controller.User, "with kind = user", "kind")
	Bool(b, &st.Moving, "moving", user.may("moving"), Doc("user: the car moves; a lost channel then does not keep the stage"))
	conditionFields(b, &st.When)
	w.ceiling(b, st)
	cutFields(b, st)
	w.stageTiming(b, st)
	w.curve(b, &st.Mixture, curveKeys{"mixture", "", ratioNumber, CellsRatio}, RangeRaw(1, 2*int64(controller.One)), "fuel multiplier, above 1 is richer; left out: no wish")
	Int(b, &st.Refire, "refire_pct", PercentInPct2, Range(0, 100), Optional(), Doc("extra fuel on the first cycles after a withheld one"))
	Int(b, &st.RefireFor, "refire_for_cycles", Number, Range(0, 100), Optional(), Doc("how many cycles that is"))
	w.curve(b, &st.Boost, curveKeys{"boost", "_kpa", KilopascalInPa, CellsKilopascal}, RangeRaw(1, 10*int64(controller.Bar)), "boost target, absolute; left out: no wish")
	Int(b, &st.Guard.Longest, "guard_longest_s", SecondsInUs, Range(0, 2000), Optional(),
		Doc("longest hot working; required with timing after top dead centre and with spark-only cuts"))
	Int(b, &st.Guard.CoolDown, "guard_cool_down_s", SecondsInUs, Range(0, 2000), Optional(), Doc("time to cool down from the longest hot working"))
}

func conditionFields(b *Block, c *controller.Condition) {
	terms(b, &c.All, "all", Doc("the stage is active while all of these hold, such as \"clutch-down on\", \"throttle >= 60 %\", "+
		"\"engine-speed 3000 to 5000 rpm\", \"gear = 1\", \"sequence held or released\""))
	terms(b, &c.Any, "any", Doc("and at least one of these, if there are any"))
	Int(b, &c.Qualify, "qualify_s", SecondsInUs, Range(0, 2000), Optional(), Doc("how long that must hold before the stage is entered; leaving takes no time"))
}

func (w *calibrationWork) ceiling(b *Block, st *controller.Stage) {
	w.curve(b, &st.Ceiling, curveKeys{"ceiling", "_rpm", RPMTenths, CellsRPM}, Range(300, 20000), "engine speed limit; required unless ceiling_table is given, and for main")
	hasTable := st.Ceiling.Table > 0 || b.Given("ceiling_table")
	if b.Decoding() && !b.Given("ceiling_rpm") && (!hasTable || st.Kind == controller.Main) {
		fix := "add ceiling_rpm, or ceiling_table with the name of a table"
		if hasTable {
			fix = "add ceiling_rpm beside ceiling_table: nothing raises the main stage above it"
		}
		b.Fail("ceiling_rpm", harness.Finding{Reason: "required key is missing", Allowed: "300 to 20000 rpm", Fix: fix})
	}
	if hasTable && st.Kind != controller.Main && b.Given("ceiling_rpm") && b.Good("kind") {
		b.Warn("ceiling_rpm", harness.Finding{Reason: "is not used here: ceiling_table counts"})
	}
	held := st.Kind == controller.Burnout || st.Kind == controller.Launch || st.Kind == controller.User && !st.Moving
	down := b.usage(hasTable && held, "for a held stage with ceiling_table", "kind")
	Bool(b, &st.StaysDown, "stays_down", down.or("stays_down", true),
		Doc("while held, a table ceiling that fell stays down until the throttle comes back: it hunts otherwise"))
	Int(b, &st.SlewUp, "slew_up_rpm_s", rpmPerS, Range(0, 100000), Optional(), Doc("how fast the ceiling may rise; 0: at once"))
	Int(b, &st.SlewDown, "slew_down_rpm_s", rpmPerS, Range(0, 100000), Optional(), Doc("how fast it may fall; 0: at once"))
	Int(b, &st.RestTo, "rest_to_rpm", RPMTenths, Optional(), Doc("held: ceiling to slew down to after a loss; left out: keep"))
	Int(b, &st.RestSlew, "rest_slew_rpm_s", rpmPerS, Range(0, 100000), Optional(), Doc("how fast that is; 0: at once"))
	Int(b, &st.RampLimit, "ramp_limit_mps2", metrePerS2, Range(0, 50), Optional(),
		Doc("greatest acceleration believed of a driven wheel on a ceiling axis; required there"))
}

var media = Words[controller.Medium]{
	Means("fuel", controller.Fuel, ""), Means("spark", controller.Spark, ""),
	Means("both", controller.Both, "fuel and spark of the same cycle"),
}

var styles = Words[controller.Style]{
	Means("soft", controller.Soft, "rises over band_rpm below the ceiling"),
	Means("hard", controller.Hard, "depth at the ceiling until hysteresis_rpm below it"),
	Means("whole-engine", controller.WholeEngine, "as hard, every cylinder, limited in time"),
	Means("regulate", controller.Regulate, "holds the mean speed at the ceiling"),
}

var patterns = Words[controller.Pattern]{
	Means("spread", controller.Spread, "as even as can be"),
	Means("round-robin", controller.RoundRobin, "the fewest cylinders, moving on each cycle"),
	Means("fixed", controller.Fixed, "those of cylinders"),
}

func cutFields(b *Block, st *controller.Stage) {
	c := &st.Cut
	Enum(b, &c.Medium, "medium", media, Doc("what a cut withholds"))
	Enum(b, &c.Style, "style", styles, Default("hard"), Doc("how the cut follows engine speed"))
	Enum(b, &c.Pattern, "pattern", patterns, Default("spread"), Doc("which firing events are cut"))
	fixed := b.usage(c.Pattern == controller.Fixed, "with pattern = fixed", "pattern")
	numbered(b, &c.Cylinders, "cylinders", 1, 16, fixed.must("cylinders"), Doc("fixed: the maker's cylinder numbers; required there"))
	banded := b.usage(c.Style == controller.Soft || c.Style == controller.Regulate, "with style = soft or regulate", "style")
	Int(b, &c.Band, "band_rpm", RPMTenths, Range(20, 3000), banded.or("band_rpm", 250), Doc("soft: below the ceiling; regulate: above it, up to the full cut"))
	latched := b.usage(c.Style != controller.Soft, "with style = hard, whole-engine or regulate", "style")
	Int(b, &c.Hysteresis, "hysteresis_rpm", RPMTenths, Range(5, 2000), latched.or("hysteresis_rpm", 100), Doc("hard, whole-engine, regulate: below the ceiling"))
	hard := b.usage(c.Style == controller.Hard, "with style = hard", "style")
	Int(b, &c.Depth, "depth", demandNumber, RangeRaw(1, int64(controller.FullDemand)), hard.or("depth", 1), Doc("hard: fraction of firing events cut while on"))
	Bool(b, &c.Anticipate, "anticipate", Optional(), Doc("compare speed plus slope times the medium's delay"))
	loop := b.usage(c.Style == controller.Regulate, "with style = regulate", "style")
	Int(b, &c.Gain, "gain_pct_per_rpm", demandPercent, RangeRaw(0, 20000), loop.must("gain_pct_per_rpm"), Doc("regulate: cut for each rpm of error; required there"))
	Int(b, &c.Integral, "integral_pct_per_rpm", demandPercent, RangeRaw(0, 20000), loop.must("integral_pct_per_rpm"), Doc("regulate: the same for each rpm and engine cycle; required there"))
	Int(b, &c.Preset, "preset", demandNumber, RangeRaw(0, int64(controller.FullDemand)), loop.or("preset", 0), Doc("regulate: fraction cut on entry"))
	whole := b.usage(c.Style == controller.WholeEngine, "with style = whole-engine", "style")
	Int(b, &st.WholeLimit, "whole_limit_s", SecondsInUs, Range(0, 2000), whole.may("whole_limit_s"), Doc("whole-engine: longest uninterrupted cut; left out: 0.5 s"))
}

func (w *calibrationWork) stageTiming(b *Block, st *controller.Stage) {
	t := &st.Timing
	Enum(b, &t.Mode, "timing_mode", Words[controller.TimingMode]{
		Means("base", controller.TimingBase, "left alone"),
		Means("offset", controller.TimingOffset, "added to base; negative is later"),
		Means("absolute", controller.TimingAbsolute, "the angle itself"),
	}, Optional(), Doc("ignition angle while the stage is active; left out: base"))
	w.curve(b, &t.Angle, curveKeys{"timing", "_deg", centiDegrees, CellsDegrees}, Range(-60, 60), "before top dead centre; negative is after, or later")
	moved := b.usage(t.Mode != controller.TimingBase, "with timing_mode = offset or absolute", "timing_mode")
	Int(b, &t.NearBand, "near_band_rpm", RPMTenths, Range(0, 3000), moved.may("near_band_rpm"), Doc("only this close below the ceiling; left out: always"))
	Int(b, &t.SlewIn, "slew_in_deg_s", degreesPerS, Range(0, 20000), moved.may("slew_in_deg_s"), Doc("away from base; 0: at once"))
	Int(b, &t.SlewOut, "slew_out_deg_s", degreesPerS, Range(0, 20000), moved.may("slew_out_deg_s"), Doc("back to base; 0: at once"))
}

// numbered visits a set of small numbers: bit n-lo of the mask for number n.
func numbered(b *Block, mask *uint16, key string, lo, hi int, opts ...Option) {
	var list []uint8
	for n := lo; n <= hi; n++ {
		if *mask>>(n-lo)&1 != 0 {
			list = append(list, uint8(n))
		}
	}
	Ints(b, Slice(&list), key, Number, append(opts, Range(float64(lo), float64(hi)), Rising())...)
	if !b.Decoding() {
		return
	}
	*mask = 0
	for _, n := range list {
		*mask |= 1 << (int(n) - lo)
	}
}
