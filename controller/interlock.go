package controller

// Interlocks turn values and their validity into reasons. They are pure: no
// memory but what is passed in, so that every combination can be enumerated.

// standing gives the standing reasons from values alone: before persistence,
// and without arm and faults, which have memory.
func (v *view) standing(c *Standing, mixtureJudged bool) (why ShotInhibits) {
	why |= v.window(CoolantTemperature, c.Coolant, ShotCoolant)
	why |= v.window(FuelPressure, c.Fuel, ShotFuelPressure)
	why |= v.window(OilPressure, c.Oil, ShotOilPressure)
	why |= v.window(BottlePressure, c.Bottle, ShotBottlePressure)
	why |= v.window(SupplyVoltage, c.Voltage, ShotVoltage)
	if c.LeanLimit == 0 || !v.cal.Channels[Lambda].Fitted {
		return why
	}
	lambda, ok := v.value(Lambda)
	if !ok {
		return why | ShotRange
	}
	if mixtureJudged && Ratio(lambda) > c.LeanLimit {
		why |= ShotMixture
	}
	return why
}

// window judges one channel; one that is not fitted, or has no window, passes:
// sealing the calibration has said so.
func (v *view) window(c Channel, w Window, bit ShotInhibits) ShotInhibits {
	if !v.cal.fitted.Has(c) || w == (Window{}) {
		return 0
	}
	x, ok := v.value(c)
	if !ok {
		return ShotRange | bit
	}
	if x < w.Low || x > w.High {
		return bit
	}
	return 0
}

// triggerInput is what the trigger interlocks of a shot look at beside the view.
type triggerInput struct {
	held   bool   // trans-brake held, launch stage in force and not kept
	target Speed  // lowest ceiling before slew
	rise   Speed  // that speed will gain until the shot has stopped flowing
	open   bool   // the shot is open now: the margin has less to give
	cutAgo uint32 // ticks since the last cut
}

// triggers gives the trigger reasons of one shot.
func (v *view) triggers(sh *Shot, since uint32, in *triggerInput) (why ShotInhibits) {
	if !v.phaseAllowed(sh, in.held) {
		why |= ShotCondition
	}
	throttle, ok := v.value(Throttle)
	if !ok {
		why |= ShotRange | ShotThrottle
	} else if Ratio(throttle) < sh.ThrottleMin {
		why |= ShotThrottle
	}
	why |= v.speedWindow(sh, in)
	if in.cutAgo < sh.t.quiet {
		why |= ShotCut
	}
	why |= v.gearAllowed(sh)
	if sh.ClutchUp && v.switchState(ClutchUp) != yes {
		why |= ShotClutch
	}
	if v.seq == Released {
		if v.switchState(FootBrake) != no {
			why |= ShotBrake
		}
		if since < sh.t.delay {
			why |= ShotDelay
		}
	}
	return why
}

// phaseAllowed is the stage condition: trans-brake held, or released and not
// ended, as the shot says. A launch device that holds again, or may do so, frees
// the engine from the wheels: that is not released.
func (v *view) phaseAllowed(sh *Shot, held bool) bool {
	released := v.seq == Released && v.hold == no
	switch sh.When {
	case WhileHeld:
		return held
	case WhileReleased:
		return released
	case WhileEither:
		return held || released
	}
	return false
}

// speedWindow judges engine speed: known, inside the window, and far enough
// below the ceiling that closing now still empties the engine in time.
func (v *view) speedWindow(sh *Shot, in *triggerInput) (why ShotInhibits) {
	if !v.known {
		return ShotSpeed
	}
	if v.speed < sh.SpeedLow {
		why |= ShotSpeedLow
	}
	if v.speed > sh.SpeedHigh {
		why |= ShotSpeedHigh
	}
	limit := in.target - sh.Margin
	if !in.open {
		limit -= sh.Reopen
	}
	if v.speed+in.rise > limit {
		why |= ShotMargin
	}
	return why
}

func (v *view) gearAllowed(sh *Shot) ShotInhibits {
	if sh.Gears == 0 {
		return 0
	}
	gear, ok := v.value(Gear)
	if !ok {
		return ShotRange | ShotGear
	}
	if gear < 0 || gear > 15 || sh.Gears>>gear&1 == 0 {
		return ShotGear
	}
	return 0
}
