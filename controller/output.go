package controller

// SequenceState is where a launch stands.
type SequenceState uint8

// The states of the launch sequence: idle -> held -> released -> ended -> idle,
// and held -> aborted -> idle.
const (
	Idle SequenceState = iota
	Held
	Released
	Ended
	Aborted
	numSequenceStates
)

var sequenceNames = [numSequenceStates]string{"idle", "held", "released", "ended", "aborted"}

// String gives the stable name.
func (s SequenceState) String() string {
	if s < numSequenceStates {
		return sequenceNames[s]
	}
	return "invalid"
}

// SpeedState says how far engine speed can be trusted.
type SpeedState uint8

// The speed states.
const (
	SpeedUnseen   SpeedState = iota // no valid speed yet, or cranking was lost: not judged
	SpeedCranking                   // valid, below cranking speed: not judged
	SpeedGood
	SpeedStanding // lost: the last demand stands, at most one engine cycle
	SpeedWithheld // lost for longer: cycles are withheld
	numSpeedStates
)

var speedNames = [numSpeedStates]string{"unseen", "cranking", "good", "standing", "withheld"}

// String gives the stable name.
func (s SpeedState) String() string {
	if s < numSpeedStates {
		return speedNames[s]
	}
	return "invalid"
}

// ShotPhase is where a shot stands. Oxidiser is commanded only while open; it
// can flow while open or draining.
type ShotPhase uint8

// The phases: closed -> leading -> open -> draining -> closed.
const (
	ShotClosed   ShotPhase = iota
	ShotLeading            // retard and fuel are in force, the valve is still shut
	ShotOpen               // the valve is commanded
	ShotDraining           // closed is commanded; valve, line and cylinders empty
	numShotPhases
)

var phaseNames = [numShotPhases]string{"closed", "leading", "open", "draining"}

// String gives the stable name.
func (p ShotPhase) String() string {
	if p < numShotPhases {
		return phaseNames[p]
	}
	return "invalid"
}

// Marks is a set of things that happened in one tick.
type Marks uint8

// The marks.
const (
	MarkEarned   Marks = 1 << iota // a hold was earned
	MarkReleased                   // the first tick after the let-go of an earned hold
	MarkBump                       // a let-go that was not earned
	MarkAborted
	MarkEnded
)

// ShotOutput is what one shot's valves and the reader of a trace need.
type ShotOutput struct {
	Phase    ShotPhase
	Duty     Ratio // of the oxidiser valve; 0 is shut. Act on it in this tick; if that fails, shut the master
	FuelDuty Ratio // of a wet shot's fuel valve; act on it in this tick
	Retard   Angle // already part of Output.Timing
	Enrich   Ratio // already part of Output.Mixture
	Inhibits ShotInhibits
}

// Output is what one tick decides. The zero value is safe: no added power, no
// boost. Fuel and spark are decided by the commits, from the same tick.
type Output struct {
	Sequence SequenceState
	Marks    Marks
	Speed    SpeedState
	Faults   Faults

	Active   uint8 // bit n: stage n of the calibration is active
	Stage    uint8 // index of the stage with the lowest ceiling
	CutStage uint8 // index of the stage whose pattern is in force
	Medium   Medium

	Ceiling Speed  // lowest ceiling in force
	Target  Speed  // the same before slew
	Demand  Demand // largest demand in force
	Base    Angle  // base timing of this tick
	Timing  Angle  // the angle that commits up to the next tick will carry
	Mixture Ratio  // fuel multiplier that commits up to the next tick will carry
	Boost   Pressure
	Trim    Speed // surface trim in force
	Slope   int32 // of engine speed, rpm per second

	// SinceRelease counts ticks since release, 0 before one; LastWithheld is its
	// value when a cycle was last withheld.
	SinceRelease uint32
	LastWithheld uint32

	Master        bool // master valve; act on it in this tick, shut is safe
	Shots         [MaxShots]ShotOutput
	StageInhibits [MaxStages]StageInhibits
	StageCeiling  [MaxStages]Speed // of active stages; 0 of the others
	Lost          ChannelSet       // fitted channels that are invalid now
}

// Cycle is the caller's small wrapping count of a cylinder's firing dead
// centres. Both commits of one engine cycle of a cylinder carry the same count.
type Cycle uint8

// FuelDecision answers a fuel commit. Act on it at once: the injector opens, or
// does not. The zero value withholds.
type FuelDecision struct {
	Give    bool
	Mixture Ratio // fuel multiplier of this injection
	Why     Reason
}

// SparkDecision answers a spark commit. Act on it at once: dwell starts, or does
// not. The zero value withholds.
type SparkDecision struct {
	Fire    bool
	Angle   Angle // when to fire
	Why     Reason
	Unburnt bool // fuel or oxidiser of this cycle passes unburnt: count and report it
	// Drop asks for the master valve and all shots to be shut at once: the
	// ticks have stopped.
	Drop bool
}
