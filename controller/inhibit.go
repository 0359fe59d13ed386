package controller

import "math/bits"

// StageInhibits is the set of reasons why a stage is not active now, or why it
// does not work in full.
type StageInhibits uint16

// Reasons that concern a stage. The first group keeps it from being entered;
// the last three leave its ceiling in force and take away the rest.
const (
	StageCondition   StageInhibits = 1 << iota // a term of its condition is false
	StageQualifying                            // the condition has not held long enough
	StageInputLost                             // a channel or switch that it needs is lost
	StageRoadSpeed                             // launch: road speed lost or above its limit
	StageTooFast                               // launch: engine speed too far above the ceiling
	StageReentry                               // launch: the throttle has not been closed since the last one
	StageSequence                              // the launch sequence is in another state
	StageSpeed                                 // engine speed unknown: stages are frozen
	StageWholeLimit                            // its whole-engine cut ran its longest time
	StageGuard                                 // guard expired: base timing and mixture, no spark-only cut
	StageCooling                               // guard expired before and not yet cooled down
	StageKept                                  // kept by a loss until the throttle has been closed
	numStageInhibits = iota
)

var stageInhibitNames = [numStageInhibits]string{
	"condition", "qualifying", "input-lost", "road-speed", "too-fast", "re-entry",
	"sequence", "speed-unknown", "whole-limit", "guard", "cooling", "kept",
}

// Name gives the stable name of the lowest reason in the set, or "".
func (i StageInhibits) Name() string {
	if n := bits.TrailingZeros16(uint16(i)); n < numStageInhibits {
		return stageInhibitNames[n]
	}
	return ""
}

// ShotInhibits is the set of reasons why a shot is closed now.
type ShotInhibits uint32

// Reasons that keep a shot closed. All but the opening group close an open
// shot in the tick in which they appear.
const (
	ShotArm      ShotInhibits = 1 << iota // arm switch off or lost
	ShotArmCycle                          // arm switch not seen off since power-up or a fault
	ShotFault                             // a latched fault: see Output.Faults
	ShotRange                             // a channel that it needs is out of its range or stale
	ShotCoolant
	ShotFuelPressure
	ShotOilPressure
	ShotBottlePressure
	ShotVoltage
	ShotMixture   // lean
	ShotCondition // stage or sequence condition
	ShotThrottle
	ShotSpeedLow
	ShotSpeedHigh
	ShotMargin // too close to the ceiling
	ShotSpeed  // engine speed unknown
	ShotCut    // a cut within the quiet time
	ShotGear
	ShotClutch
	ShotBrake
	ShotOrder    // the shot before it is not open
	ShotOpenTime // its open time is used up
	ShotAllTime  // the open time of all shots is used up
	// The opening group: these keep a closed shot closed.
	ShotDelay
	ShotStanding // standing interlocks not held long enough
	ShotTrigger  // trigger interlocks not held long enough
	ShotReArm
	ShotUsed         // already opened in this hold
	numShotInhibits  = iota
	shotOpeningOnly  = ShotDelay | ShotStanding | ShotTrigger | ShotReArm | ShotUsed
	shotTriggerGroup = ShotCondition | ShotThrottle | ShotSpeedLow | ShotSpeedHigh | ShotMargin |
		ShotSpeed | ShotCut | ShotGear | ShotClutch | ShotBrake | ShotOrder | ShotDelay
	shotStandingGroup = ShotArm | ShotArmCycle | ShotFault | ShotRange | ShotCoolant | ShotFuelPressure |
		ShotOilPressure | ShotBottlePressure | ShotVoltage | ShotMixture
)

var shotInhibitNames = [numShotInhibits]string{
	"arm", "arm-cycle", "fault", "input-range", "coolant", "fuel-pressure", "oil-pressure",
	"bottle-pressure", "voltage", "mixture", "condition", "throttle", "speed-low", "speed-high",
	"margin", "speed-unknown", "recent-cut", "gear", "clutch", "foot-brake", "order", "open-time",
	"open-time-all", "delay", "standing-qualify", "trigger-qualify", "re-arm", "used-this-hold",
}

// Name gives the stable name of the lowest reason in the set, or "".
func (i ShotInhibits) Name() string {
	if n := bits.TrailingZeros32(uint32(i)); n < numShotInhibits {
		return shotInhibitNames[n]
	}
	return ""
}

// Faults is a set of faults of added power; each keeps the master valve shut
// until the arm switch has been cycled.
type Faults uint8

// The faults.
const (
	FaultRange    Faults = 1 << iota // a channel stayed out of its range
	FaultFeedback                    // a shot flows while closed is commanded
	FaultHung                        // more than one engine cycle of commits without a tick
	numFaults     = iota
)

var faultNames = [numFaults]string{"input-range", "valve-stuck", "tick-missed"}

// Name gives the stable name of the lowest fault in the set, or "".
func (f Faults) Name() string {
	if n := bits.TrailingZeros8(uint8(f)); n < numFaults {
		return faultNames[n]
	}
	return ""
}

// Reason says why a commit gave or withheld what it did.
type Reason uint8

// The reasons.
const (
	WhyUnknown      Reason = iota // no such cylinder, or no calibration: nothing is commanded
	WhyGiven                      // nothing asks for a cut
	WhySpared                     // a cut is in force, the pattern spares this cycle
	WhyCut                        // a cut withholds this cycle
	WhyPaired                     // obeys what the first commit of this cycle decided
	WhySpeedUnknown               // withheld because engine speed is unknown
	WhyOverrun                    // spark withheld at once: far above main with oxidiser in the engine
	WhyNotSeen                    // no fuel commit was seen for this cycle: fuel counts as given
	numReasons
)

var reasonNames = [numReasons]string{
	"unknown", "given", "spared", "cut", "paired", "speed-unknown", "overrun", "fuel-not-seen",
}

// String gives the stable name.
func (r Reason) String() string {
	if r < numReasons {
		return reasonNames[r]
	}
	return "invalid"
}
