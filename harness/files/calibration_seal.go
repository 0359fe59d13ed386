package files

import (
	"fmt"
	"strings"

	"github.com/holdline/holdline/controller"
	"github.com/holdline/holdline/harness"
)

// sealKey says under which key of a calibration file a field of a
// controller.Problem stands. Of several keys the first one in the text is
// meant; a key that starts with a slash counts from the top of the file.
type sealKey struct {
	keys  []string
	scale Scale
}

func at(s Scale, keys ...string) sealKey { return sealKey{keys, s} }

// sealKeys maps every field that Seal names, by part.
var sealKeys = map[controller.Part]map[string]sealKey{
	controller.PartCalibration: {
		"period":   at(MillisInUs, "period_ms"),
		"switches": at(Number, "switches"),
		"stage":    at(Number, "stage"),
	},
	controller.PartEngine: {
		"cylinders":      at(Number, "firing_order"),
		"firing_order":   at(Number, "firing_order"),
		"intervals":      at(centiDegrees, "intervals_deg"),
		"ignition":       at(Number, "ignition"),
		"fuel":           at(Number, "fuel"),
		"commit_lead":    at(Number, "commit_lead"),
		"fuel_delay":     at(centiDegrees, "fuel_delay_deg"),
		"spark_delay":    at(centiDegrees, "spark_delay_deg"),
		"cranking_below": at(RPMTenths, "cranking_below_rpm"),
		"keep_firing":    at(Number, "keep_firing"),
		"rate_check":     at(Number, "rate_check"),
		"overrun_margin": at(RPMTenths, "overrun_margin_rpm"),
		"trim_step":      at(RPMTenths, "trim_step_rpm"),
		"trim_max":       at(RPMTenths, "trim_max_rpm"),
		"base":           at(centiDegrees, "base_timing_table", "base_timing_deg"),
		"boost_base":     at(KilopascalInPa, "boost_base_table", "boost_base_kpa"),
		"boost_min":      at(KilopascalInPa, "boost_min_kpa"),
	},
	controller.PartChannel: {
		"fitted":      at(Number, ""),
		"range":       at(Number, "range"),
		"on_loss":     at(Number, "on_loss"),
		"driven":      at(Number, "driven"),
		"longest_age": at(SecondsInUs, "longest_age_s"),
	},
	controller.PartSequence: {
		"hold":             at(Number, "hold"),
		"hold_pressure":    at(KilopascalInPa, "hold_pressure_kpa"),
		"earn":             at(SecondsInUs, "earn_s"),
		"throttle_min":     at(PercentInPct2, "throttle_min_pct"),
		"throttle_closed":  at(PercentInPct2, "throttle_closed_pct"),
		"earn_within":      at(RPMTenths, "earn_within_rpm"),
		"abort_after":      at(SecondsInUs, "abort_after_s"),
		"clear_after":      at(SecondsInUs, "clear_after_s"),
		"loss_after":       at(SecondsInUs, "loss_after_s"),
		"end_lift":         at(SecondsInUs, "end_lift_s"),
		"end_after":        at(SecondsInUs, "end_after_s"),
		"entry_road_speed": at(metrePerSecond, "entry_road_speed_mps"),
		"entry_above":      at(RPMTenths, "entry_above_rpm"),
		"return_time":      at(SecondsInUs, "return_time_s"),
		"comeback":         at(PercentInPct2, "comeback_pct"),
		"foot_brake":       at(Number, "/switches"),
	},
	controller.PartStage: {
		"kind":        at(Number, "kind"),
		"moving":      at(Number, "moving"),
		"when":        at(Number, "all", "any", "qualify_s"),
		"all":         at(Number, "all"),
		"any":         at(Number, "any"),
		"qualify":     at(SecondsInUs, "qualify_s"),
		"ceiling":     at(RPMTenths, "ceiling_table", "ceiling_rpm"),
		"slew_up":     at(rpmPerS, "slew_up_rpm_s", "slew_down_rpm_s", "rest_to_rpm"),
		"slew_down":   at(rpmPerS, "slew_down_rpm_s"),
		"rest_to":     at(RPMTenths, "rest_to_rpm"),
		"rest_slew":   at(rpmPerS, "rest_slew_rpm_s"),
		"ramp_limit":  at(metrePerS2, "ramp_limit_mps2"),
		"medium":      at(Number, "medium"),
		"style":       at(Number, "style"),
		"pattern":     at(Number, "pattern"),
		"cylinders":   at(Number, "cylinders"),
		"band":        at(RPMTenths, "band_rpm"),
		"hysteresis":  at(RPMTenths, "hysteresis_rpm"),
		"depth":       at(demandNumber, "depth"),
		"gain":        at(demandPercent, "gain_pct_per_rpm"),
		"integral":    at(demandPercent, "integral_pct_per_rpm"),
		"preset":      at(demandNumber, "preset"),
		"whole_limit": at(SecondsInUs, "whole_limit_s"),
		"timing_mode": at(Number, "timing_mode"),
		"timing":      at(centiDegrees, "timing_table", "timing_deg", "timing_mode"),
		"near_band":   at(RPMTenths, "near_band_rpm"),
		"slew_in":     at(degreesPerS, "slew_in_deg_s"),
		"slew_out":    at(degreesPerS, "slew_out_deg_s"),
		"mixture":     at(ratioNumber, "mixture_table", "mixture"),
		"refire":      at(PercentInPct2, "refire_pct"),
		"refire_for":  at(Number, "refire_for_cycles"),
		"boost":       at(KilopascalInPa, "boost_table", "boost_kpa"),
		"longest":     at(SecondsInUs, "guard_longest_s"),
		"cool_down":   at(SecondsInUs, "guard_cool_down_s"),
	},
	controller.PartTable: {
		"columns": at(Number, "columns_at", "columns"),
		"rows":    at(Number, "rows_at", "rows"),
	},
	controller.PartStanding: {
		"arm":              at(Number, "/switches"),
		"foot_brake":       at(Number, "/switches"),
		"fuel":             at(Number, "/engine.fuel"),
		"throttle_min":     at(Number, "/channel"),
		"lambda":           at(Number, "/channel"),
		"voltage":          at(VoltsInMv, "voltage_v"),
		"coolant":          at(CelsiusTenths, "coolant_degc"),
		"fuel_pressure":    at(KilopascalInPa, "fuel_pressure_kpa"),
		"oil_pressure":     at(KilopascalInPa, "oil_pressure_kpa"),
		"bottle_pressure":  at(KilopascalInPa, "bottle_pressure_kpa"),
		"lean_limit":       at(ratioNumber, "lean_limit"),
		"mixture_wait":     at(SecondsInUs, "mixture_wait_s"),
		"persistence":      at(SecondsInUs, "persistence_s"),
		"standing_qualify": at(SecondsInUs, "standing_qualify_s"),
		"latch_after":      at(SecondsInUs, "latch_after_s"),
		"longest_all":      at(SecondsInUs, "longest_all_s"),
		"cool_down":        at(SecondsInUs, "cool_down_s"),
	},
	controller.PartShot: {
		"when":         at(Number, "when"),
		"after":        at(Number, "after"),
		"throttle_min": at(PercentInPct2, "throttle_min_pct"),
		"speed_low":    at(RPMTenths, "speed_low_rpm"),
		"speed_high":   at(RPMTenths, "speed_high_rpm"),
		"margin":       at(RPMTenths, "margin_rpm"),
		"reopen":       at(RPMTenths, "reopen_rpm"),
		"quiet_for":    at(SecondsInUs, "quiet_for_s"),
		"gears":        at(Number, "gears"),
		"clutch_up":    at(Number, "clutch_up"),
		"feedback":     at(Number, "feedback"),
		"delay":        at(SecondsInUs, "delay_s"),
		"trigger":      at(SecondsInUs, "trigger_s"),
		"rearm":        at(SecondsInUs, "rearm_s"),
		"longest":      at(SecondsInUs, "longest_s"),
		"retard":       at(centiDegrees, "retard_deg"),
		"retard_lead":  at(SecondsInUs, "retard_lead_s"),
		"start_duty":   at(PercentInPct2, "start_duty_pct"),
		"end_duty":     at(PercentInPct2, "end_duty_pct"),
		"ramp":         at(SecondsInUs, "ramp_s"),
		"valve_period": at(SecondsInUs, "valve_period_s"),
		"valve_opens":  at(SecondsInUs, "valve_opens_s"),
		"valve_closes": at(SecondsInUs, "valve_closes_s"),
		"flush":        at(SecondsInUs, "flush_s"),
		"wet":          at(Number, "wet"),
		"enrich":       at(ratioNumber, "enrich"),
		"enrich_lead":  at(SecondsInUs, "enrich_lead_s"),
		"fuel_lead":    at(SecondsInUs, "fuel_lead_s"),
		"fuel_lag":     at(SecondsInUs, "fuel_lag_s"),
	},
}

// sealFile seals what was decoded and puts what Seal says beside what the
// decoder said.
func sealFile(f *CalibrationFile, doc *Document, findings harness.Findings) (*controller.Calibration, harness.Findings) {
	if doc.Partial || len(doc.Root.Keys) == 0 || FormatOf(doc) != Calibration.Format {
		return only(&f.Calibration, findings)
	}
	j := newJudge(f, doc, findings)
	if j.broken("period_ms") {
		f.Calibration.Period = controller.Millisecond // so that the rest is judged too
	}
	var p controller.Problems
	f.Calibration.Seal(&p)
	for _, x := range p.List[:p.N] {
		if one, ok := j.finding(&x); ok {
			findings = append(findings, one)
		}
	}
	if more := p.Total - p.N; more > 0 {
		findings = append(findings, harness.Finding{
			Severity: harness.Error, File: doc.File, Reason: fmt.Sprintf("too many findings; %d more are not shown", more),
		})
	}
	return only(&f.Calibration, findings.Sorted())
}

// only keeps an unusable calibration from being used.
func only(c *controller.Calibration, findings harness.Findings) (*controller.Calibration, harness.Findings) {
	if findings.Failed() {
		return nil, findings
	}
	return c, findings
}

// sealJudge turns problems into findings.
type sealJudge struct {
	file   *CalibrationFile
	doc    *Document
	failed []string // paths with an error
}

func newJudge(f *CalibrationFile, doc *Document, findings harness.Findings) *sealJudge {
	j := &sealJudge{file: f, doc: doc}
	for _, x := range findings {
		if x.Severity == harness.Error {
			j.failed = append(j.failed, x.Field)
		}
	}
	return j
}

// broken reports whether a path, or something in or around it, had an error.
func (j *sealJudge) broken(path string) bool {
	for _, f := range j.failed {
		if within(f, path) || within(path, f) {
			return true
		}
	}
	return false
}

// within reports whether path is root or stands below it.
func within(path, root string) bool {
	rest, ok := strings.CutPrefix(path, root)
	return ok && (rest == "" || rest[0] == '.' || rest[0] == '[')
}

// aftermath lists which problems are likely to come from an error elsewhere,
// and would only distract from it: those whose reason has the word, while
// something below the root has an error.
var aftermath = []struct{ root, word string }{
	{"switches", "fitted"},
	{"channel", "channel"},
	{"channel", "fitted"},
	{"table", "table"},
	{"sequence", "launch sequence"},
	{"sequence", "trans-brake"},
	{"stage", "stage"},
	{"stage", "main"},
	{"engine", "cylinder"},
	{"engine", "injectors"},
	{"engine", "coils"},
	{"engine", "fuel"},
	{"engine", "catalyst"},
	{"engine", "retard"},
	{"engine.base_timing", "guard"},
	{"shot", "shot"},
}

func (j *sealJudge) finding(x *controller.Problem) (harness.Finding, bool) {
	table := j.tablePath(x)
	key, known := sealKeys[x.Part][x.Field]
	path, pos := j.place(table, x, key)
	f := j.doc.finding(pos, harness.Finding{Severity: harness.Warning, Field: path, Reason: x.Reason})
	if x.Error {
		f.Severity = harness.Error
	}
	if x.Ranged && known {
		scale := key.scale
		if x.Part == controller.PartChannel && x.Field == "range" {
			scale = channelScale(controller.Channel(x.Index))
		}
		f.Value, f.Allowed = scale.Format(int64(x.Value)), scale.between(int64(x.Low), int64(x.High))
	} else if n := j.node(path); n != nil && n.Kind != TableNode {
		f.Value = n.Shown()
	}
	return f, !j.broken(path) && !j.follows(x) && !j.brokenTable(path)
}

// brokenTable reports whether a path names a table that had an error, whose
// cells then say nothing.
func (j *sealJudge) brokenTable(path string) bool {
	n := j.node(path)
	return n != nil && strings.HasSuffix(path, "_table") && j.broken("table."+n.Text)
}

func (j *sealJudge) follows(x *controller.Problem) bool {
	for _, a := range aftermath {
		if !strings.Contains(x.Reason, a.word) {
			continue
		}
		for _, f := range j.failed {
			if strings.HasPrefix(f, a.root) {
				return true
			}
		}
	}
	return false
}

// tablePath is the path of the table that a problem is about.
func (j *sealJudge) tablePath(x *controller.Problem) string {
	i := int(x.Index)
	switch x.Part {
	case controller.PartEngine:
		return "engine"
	case controller.PartChannel:
		return "channel." + harness.Channels[min(i, len(harness.Channels)-1)].Name
	case controller.PartSequence:
		return "sequence"
	case controller.PartStage:
		if i < len(j.file.Stages) {
			return "stage." + j.file.Stages[i]
		}
	case controller.PartTable:
		if i < len(j.file.Tables) {
			return "table." + j.file.Tables[i].Name
		}
	case controller.PartStanding:
		return "standing"
	case controller.PartShot:
		return fmt.Sprintf("shot[%d]", i+1)
	}
	return ""
}

// place finds the path and place of a problem: the first of its keys that is in
// the text, else where its table stands.
func (j *sealJudge) place(table string, x *controller.Problem, key sealKey) (string, Pos) {
	path := table
	for i, k := range key.keys {
		one := joinPath(table, k)
		if k == "" {
			one = table
		} else if k[0] == '/' {
			one = k[1:]
		}
		if i == 0 || !strings.Contains(k, "_table") && strings.HasSuffix(path, "_table") {
			path = one
		}
		if n := j.node(one); n != nil {
			return one, j.valuePos(n)
		}
	}
	if len(key.keys) == 0 {
		path = joinPath(table, x.Field)
	}
	pos, _ := j.doc.Locate(path)
	if pos.Line == 0 {
		pos = j.doc.Root.place()
	}
	return path, pos
}

func (j *sealJudge) valuePos(n *Node) Pos {
	if n.Kind == TableNode {
		return n.place()
	}
	return n.Pos
}

func (j *sealJudge) node(path string) *Node {
	n := j.doc.Root
	for _, s := range splitPath(path) {
		if n == nil {
			return nil
		}
		n = n.step(s)
	}
	return n
}
