package require

import (
	"github.com/holdline/holdline/controller"
)

// has answers a need.
func has(cal *controller.Calibration, n need) bool {
	_, launch := stageOf(cal, controller.Launch)
	switch n {
	case needSequence:
		return cal.Sequence.Hold != controller.HoldNone
	case needLaunch:
		return launch && cal.Sequence.Hold != controller.HoldNone
	case needTransBrake:
		return cal.Sequence.Hold == controller.HoldTransBrake
	case needPedal:
		return cal.Sequence.Hold != controller.HoldFootBrake && cal.Switches.Has(controller.FootBrake)
	case needAfterRelease, needPlainAfter:
		st, ok := stageOf(cal, controller.AfterRelease)
		return ok && (n == needAfterRelease || plainAfter(st))
	case needShots:
		return anyShot(cal)
	case needOwnFuel:
		return cal.Engine.Fuel == controller.FuelSequential
	case needWithholding:
		return !cal.Engine.KeepFiring
	case needRoadSpeed:
		return cal.Channels[controller.RoadSpeedMain].Fitted
	case needPlainLaunch:
		st, ok := stageOf(cal, controller.Launch)
		return ok && st.SlewDown == 0
	case needTrim:
		return cal.Channels[controller.SurfaceTrim].Fitted && cal.Engine.TrimMax > 0
	case needBoost:
		return cal.Channels[controller.ManifoldPressure].Fitted
	case needLean:
		return cal.Standing.LeanLimit > 0 && cal.Channels[controller.Lambda].Fitted && anyShot(cal)
	}
	return hasCut(cal, n)
}

func hasCut(cal *controller.Calibration, n need) bool {
	spread, full, timing, other := false, true, false, false
	for i := range cal.Stages {
		st := &cal.Stages[i]
		if st.Kind == controller.NoStage {
			continue
		}
		spread = spread || st.Cut.Pattern == controller.Spread
		full = full && (st.Cut.Style != controller.Hard || st.Cut.Depth == controller.FullDemand) && st.Cut.Style != controller.Regulate
		moves := st.Timing.Mode != controller.TimingBase
		timing = timing || moves && st.Kind == controller.Launch
		other = other || moves && st.Kind != controller.Launch
	}
	switch n {
	case needSpread:
		return spread
	case needFullDepth:
		return full
	case needLaunchTiming:
		return timing
	case needOnlyLaunchTiming:
		return timing && !other
	}
	return n == needSlewed
}

func plainAfter(st *controller.Stage) bool {
	return st.SlewUp == 0 && st.SlewDown == 0 && st.RampLimit == 0 && st.When == (controller.Condition{})
}

func anyShot(cal *controller.Calibration) bool {
	for i := range cal.Shots {
		if cal.Shots[i].When != controller.NoShot {
			return true
		}
	}
	return false
}
