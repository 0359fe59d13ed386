package controller

import "errors"

// State is everything that the controller remembers: a plain value. Copying it
// is a snapshot, == is equality. The zero value is inert until Reset; its
// methods then command nothing. It is not safe for use by several goroutines or
// interrupts at once.
type State struct {
	speed    speedState
	mean     cycleMean
	sequence sequenceState
	stages   [MaxStages]stageState
	timing   timingState
	power    powerState
	pattern  patternState
	cmd      command
	slots    [MaxCylinders][2]slot
	refire   [MaxCylinders]uint8
	fuelled  uint16 // cylinders whose fuel commits have been seen since the last start
	shutFor  uint16 // ticks of closed throttle, saturating
	ramp     int32  // road speed believed by a rate-limited ramp, mm/s
	ceiling  Speed  // lowest in force
	trim     Speed
}

// ErrNotSealed says that a calibration was not accepted by Seal.
var ErrNotSealed = errors.New("controller: calibration is not sealed")

// Reset starts the controller anew, as at power-up: every shot closed and the
// arm switch still to be seen off, no cycle remembered. A new calibration takes
// effect only so. Oxidiser that was on its way is forgotten too, with its retard:
// a valve has to shut by itself without power, and a controller that restarts
// within its closing time and flush has to hold the engine off for as long.
func (s *State) Reset(cal *Calibration) error {
	if cal == nil || !cal.sealed {
		return ErrNotSealed
	}
	*s = State{ceiling: maxSpeed}
	for i := range s.stages {
		s.stages[i].ceiling = maxSpeed
	}
	s.cmd.mixture = One
	return nil
}
