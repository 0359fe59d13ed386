package require

import (
	"github.com/holdline/holdline/controller"
	"github.com/holdline/holdline/harness"
)

// things lists what a requirement is repeated for: the values of each, with
// "each" as the end of its id.
func things(cal *controller.Calibration, e each) []values {
	switch e {
	case eachRun:
		return []values{{}}
	case eachStage, eachHardStage, eachSparkStage, eachWholeStage, eachLateStage, eachHeldStage:
		return stageThings(cal, e)
	case eachChannel:
		return channelThings(cal)
	case eachWindow:
		return windowThings(cal)
	}
	return shotThings(cal, e)
}

func stageThings(cal *controller.Calibration, e each) (list []values) {
	for i := range cal.Stages {
		st := &cal.Stages[i]
		if st.Kind == controller.NoStage || !stageIs(cal, st, e) {
			continue
		}
		v := values{
			"each": StageRole(cal, i), "stage": StageRole(cal, i), "hysteresis": rpm(st.Cut.Hysteresis), "band": rpm(st.Cut.Band),
			"highest": rpm(highestOf(cal, st.Ceiling)), "medium": harness.MediumName(st.Cut.Medium),
		}
		if st.SlewUp == 0 {
			v["lowest"] = rpm(lowestOf(cal, st.Ceiling))
		}
		if st.Guard.Longest > 0 {
			v["guard"] = inMillis(st.Guard.Longest + 2*cal.Period)
		}
		whole := st.WholeLimit
		if whole == 0 {
			whole = controller.Second / 2
		}
		v["whole_limit"] = inMillis(whole + 2*cal.Period)
		list = append(list, v)
	}
	return list
}

func stageIs(cal *controller.Calibration, st *controller.Stage, e each) bool {
	switch e {
	case eachHardStage:
		return st.Cut.Style == controller.Hard || st.Cut.Style == controller.WholeEngine
	case eachSparkStage:
		return st.Cut.Medium == controller.Spark && cal.Engine.Fuel == controller.FuelSequential && st.Guard.Longest > 0
	case eachWholeStage:
		return st.Cut.Style == controller.WholeEngine && st.Kind != controller.Main
	case eachLateStage:
		return st.Guard.Longest > 0 && st.Timing.Mode == controller.TimingAbsolute && lowestOf(cal, st.Timing.Angle) < 0
	case eachHeldStage:
		return st.Kind == controller.Burnout || st.Kind == controller.Launch
	}
	return true
}

func channelThings(cal *controller.Calibration) (list []values) {
	for c := range controller.NumChannels {
		if cal.Channels[c].Fitted {
			name := spell(harness.Channels[c].Name)
			list = append(list, values{"each": name, "channel": name})
		}
	}
	return list
}

func windowThings(cal *controller.Calibration) (list []values) {
	if !anyShot(cal) {
		return nil
	}
	s := &cal.Standing
	for _, w := range []struct {
		c       controller.Channel
		w       controller.Window
		persist bool
	}{
		{controller.CoolantTemperature, s.Coolant, false}, {controller.FuelPressure, s.Fuel, true},
		{controller.OilPressure, s.Oil, true}, {controller.BottlePressure, s.Bottle, true},
		{controller.SupplyVoltage, s.Voltage, false},
	} {
		if w.w == (controller.Window{}) || !cal.Channels[w.c].Fitted {
			continue
		}
		q := harness.Channels[w.c]
		v := values{
			"each": spell(q.Name), "channel": spell(q.Name), "may_last": "0 ms",
			"low": inUnit(q.Units(w.w.Low), q.Unit), "high": inUnit(q.Units(w.w.High), q.Unit),
		}
		if w.persist {
			v["may_last"] = inMillis(s.Persistence)
		}
		list = append(list, v)
	}
	return list
}

func shotThings(cal *controller.Calibration, e each) (list []values) {
	for i := range cal.Shots {
		sh := &cal.Shots[i]
		if sh.When == controller.NoShot || !shotIs(sh, e) {
			continue
		}
		list = append(list, shotValues(cal, sh, i))
	}
	return list
}

func shotIs(sh *controller.Shot, e each) bool {
	switch e {
	case eachPlainShot:
		return !sh.RetardByDuty
	case eachWetShot:
		return sh.Wet
	case eachDryShot:
		return !sh.Wet && sh.Ramp == 0
	case eachProgressive:
		return sh.Ramp > 0
	case eachHeldShot:
		return sh.When == controller.WhileHeld
	case eachReleasedShot:
		return sh.When == controller.WhileReleased
	case eachOnceShot:
		return sh.OncePerHold
	case eachFeedbackShot:
		return sh.Feedback
	}
	return true
}

func shotValues(cal *controller.Calibration, sh *controller.Shot, i int) values {
	name := "shot" + string(rune('1'+i))
	v := values{
		"each": name, "shot": name, "feedback": "feedback_" + string(rune('1'+i)),
		"shot_throttle": percent(sh.ThrottleMin), "speed_low": rpm(sh.SpeedLow), "speed_high": rpm(sh.SpeedHigh),
		"margin": rpm(sh.Margin), "margin_to_open": rpm(sh.Margin + sh.Reopen), "retard": degrees(sh.Retard),
		"enrich": number(float64(sh.Enrich) / 10000), "start_duty": percent(sh.StartDuty), "end_duty": percent(sh.EndDuty),
	}
	if sh.Ramp == 0 {
		v["start_duty"] = percent(sh.EndDuty)
	} else {
		perSecond := float64(sh.EndDuty-sh.StartDuty) / 100 / (float64(sh.Ramp) / 1e6)
		v["duty_rate"] = inUnit(perSecond, "percent/s")
		v["duty_step"] = inUnit(roundUp(perSecond*float64(cal.Period)/1e6+0.02, 0.01), "percent")
	}
	for key, d := range map[string]controller.Duration{
		"quiet": sh.QuietFor, "delay": sh.Delay, "trigger": sh.Trigger, "rearm": sh.ReArm, "longest": sh.Longest,
		"retard_lead": sh.RetardLead, "enrich_lead": sh.EnrichLead, "fuel_lead": sh.FuelLead, "fuel_lag": sh.FuelLag,
		"flow": sh.ValveCloses + sh.Flush, "closes": sh.ValveCloses,
	} {
		if d >= cal.Period {
			v[key] = inMillis(d)
			v[key+"_and_tick"] = inMillis(d + cal.Period)
		}
		if d > cal.Period {
			v[key+"_less_tick"] = inMillis(d - cal.Period)
		}
	}
	return v
}
