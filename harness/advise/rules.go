package advise

import (
	"fmt"
	"math"

	"github.com/holdline/holdline/controller"
	"github.com/holdline/holdline/harness"
	"github.com/holdline/holdline/harness/files"
)

// Rules are what a class forbids, as far as a calibration can show it. What they
// forbid is an error in a check, and is never advised. A class's own book stands
// above this file.
type Rules struct {
	Name           string
	NoAddedPower   bool
	NoLateIgnition bool
	NoSparkCut     bool
	NoHold         bool // no launch limiter at all
	MostLaunchRPM  float64
	MostBoostKPa   float64
	MostShotKW     float64
	File           string
}

// RulesKind is the file kind of rules profiles.
var RulesKind = files.Kind[Rules]{
	Name: "rules", Format: "holdline-rules-1",
	Doc:    "What a class forbids, as far as a calibration can show it. Write it from the class's own book, which stands above it.",
	Fields: rulesFields,
}

func rulesFields(b *files.Block, r *Rules) {
	files.Text(b, &r.Name, "name", files.Len(1, 60))
	files.Bool(b, &r.NoAddedPower, "no_added_power", files.Default(false), files.Doc("no shot"))
	files.Bool(b, &r.NoLateIgnition, "no_late_ignition", files.Default(false), files.Doc("no ignition after top dead centre"))
	files.Bool(b, &r.NoSparkCut, "no_spark_cut", files.Default(false), files.Doc("cuts of fuel only"))
	files.Bool(b, &r.NoHold, "no_launch_limiter", files.Default(false))
	files.Float(b, &r.MostLaunchRPM, "most_launch_rpm", "rpm", files.Range(500, 20000), files.Optional(), files.Doc("highest launch ceiling"))
	files.Float(b, &r.MostBoostKPa, "most_boost_kpa", "kPa", files.Range(50, 1000), files.Optional(), files.Doc("highest boost target, absolute"))
	files.Float(b, &r.MostShotKW, "most_shot_kw", "kW", files.Range(1, 2000), files.Optional(), files.Doc("added power in all"))
}

// LoadRules reads a rules profile.
func LoadRules(path string) (*Rules, harness.Findings) {
	r, doc, findings := RulesKind.Read(path)
	if findings.Failed() {
		return nil, findings
	}
	r.File = doc.File
	return r, findings
}

// Check says what of a calibration the rules forbid.
func (r *Rules) Check(cal *controller.Calibration) (list harness.Findings) {
	tell := func(severity harness.Severity, field, value, allowed, reason string) {
		list = append(list, harness.Finding{Severity: severity, File: cal.Name.String(), Field: field, Value: value, Allowed: allowed,
			Reason: fmt.Sprintf("%s (rules %q)", reason, r.Name), Fix: "the class's own book decides"})
	}
	fail := func(field, value, allowed, reason string) { tell(harness.Error, field, value, allowed, reason) }
	r.boost(cal, &cal.Engine.BoostBase, "engine.boost_base", fail)
	for i := range cal.Stages {
		st := &cal.Stages[i]
		if st.Kind == controller.NoStage {
			continue
		}
		path := "stage." + harness.StageName(cal, i) + "."
		r.stage(cal, st, path, fail)
		_, high := span(cal, &st.Ceiling, float64(controller.RPM))
		if trim := trimReach(cal); st.Kind == controller.Launch && r.MostLaunchRPM > 0 && trim > 0 && high+trim > r.MostLaunchRPM {
			tell(harness.Warning, path+"ceiling", number(high+trim)+" rpm", "up to "+number(r.MostLaunchRPM)+" rpm", "the crew's trim can lift the launch ceiling higher than allowed")
		}
	}
	power := 0.0
	for i := range cal.Shots {
		sh := &cal.Shots[i]
		if sh.When == controller.NoShot {
			continue
		}
		power += float64(sh.Power)
		if r.MostShotKW > 0 && sh.Power == 0 {
			fail(fmt.Sprintf("shot[%d].power", i+1), "none", "up to "+number(r.MostShotKW)+" kW in all", "how much the shot adds is not stated")
		}
		if r.NoAddedPower {
			fail(fmt.Sprintf("shot[%d]", i+1), harness.ShotName(cal, i), "none", "added power is forbidden")
		}
	}
	if r.MostShotKW > 0 && power > r.MostShotKW {
		fail("shot", number(power)+" kW", number(r.MostShotKW)+" kW", "more added power than allowed")
	}
	return list
}

func (r *Rules) stage(cal *controller.Calibration, st *controller.Stage, path string, fail func(field, value, allowed, reason string)) {
	if st.Kind == controller.Launch {
		if r.NoHold {
			fail(path+"kind", "launch", "none", "a launch limiter is forbidden")
		}
		if _, high := span(cal, &st.Ceiling, float64(controller.RPM)); r.MostLaunchRPM > 0 && high > r.MostLaunchRPM {
			fail(path+"ceiling", number(high)+" rpm", "up to "+number(r.MostLaunchRPM)+" rpm", "the launch ceiling is higher than allowed")
		}
	}
	if r.NoSparkCut && st.Cut.Medium != controller.Fuel && st.Cut.Medium != controller.NoMedium {
		fail(path+"medium", harness.MediumName(st.Cut.Medium), "fuel", "a cut of spark is forbidden")
	}
	if at, _, known := angles(cal, &st.Timing); r.NoLateIgnition && known && at < 0 {
		fail(path+"timing", number(at)+" deg", "0 deg or more before top dead centre", "ignition after top dead centre is forbidden")
	}
	r.boost(cal, &st.Boost, path+"boost", fail)
}

// trimReach is how far the crew can lift the launch ceiling, in rpm.
func trimReach(cal *controller.Calibration) float64 {
	e, ch := &cal.Engine, &cal.Channels[controller.SurfaceTrim]
	if !ch.Fitted {
		return 0
	}
	return min(max(float64(ch.High), 0)*float64(e.TrimStep), float64(e.TrimMax)) / float64(controller.RPM)
}

func (r *Rules) boost(cal *controller.Calibration, c *controller.Curve, field string, fail func(field, value, allowed, reason string)) {
	if most := float64(highest(cal, c)) / 1000; r.MostBoostKPa > 0 && most > r.MostBoostKPa {
		fail(field, number(most)+" kPa", "up to "+number(r.MostBoostKPa)+" kPa", "the boost target is higher than allowed")
	}
}

// lowest is the smallest value of a curve.
func lowest(cal *controller.Calibration, c *controller.Curve) int32 {
	if c.Table == 0 {
		return c.Const
	}
	least := int32(math.MaxInt32)
	eachCell(cal, c, func(_, _ int, x int32) { least = min(least, x) })
	return least
}

// highest is the greatest value of a curve.
func highest(cal *controller.Calibration, c *controller.Curve) int32 {
	if c.Table == 0 {
		return c.Const
	}
	most := int32(math.MinInt32)
	eachCell(cal, c, func(_, _ int, x int32) { most = max(most, x) })
	return most
}
