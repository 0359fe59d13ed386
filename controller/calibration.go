package controller

// Medium is what a cut withholds.
type Medium uint8

// The media. Both is the union of the other two.
const (
	NoMedium Medium = 0
	Fuel     Medium = 1
	Spark    Medium = 2
	Both     Medium = Fuel | Spark
)

// Style is how demand follows overspeed.
type Style uint8

// The styles.
const (
	Soft        Style = iota // demand rises over Band below the ceiling, 1 at it
	Hard                     // Depth at the ceiling, 0 below it by Hysteresis
	WholeEngine              // as Hard with depth 1: every cylinder, limited in time
	Regulate                 // closed loop on the mean speed over one 720-degree cycle
	numStyles
)

// Pattern is which firing events are cut to meet a demand.
type Pattern uint8

// The patterns.
const (
	Spread     Pattern = iota // as even as can be over time and cylinders
	RoundRobin                // the smallest number of cylinders that meets the demand, moving on each cycle
	Fixed                     // the cylinders of the list; all of them at demand 1
	numPatterns
)

// StageKind says what a stage is for; it fixes where trim, release and loss
// treat it differently.
type StageKind uint8

// The kinds of stage. A stage of kind NoStage does not exist.
const (
	NoStage      StageKind = iota
	Burnout                // held, before the launch
	Launch                 // held; at most one
	AfterRelease           // moving; only while the launch sequence is released
	Shift                  // moving; full-throttle shift
	User                   // as its Moving field says
	Main                   // always in force; exactly one
	numStageKinds
)

// TermKind says what one term of a condition looks at.
type TermKind uint8

// The kinds of term.
const (
	NoTerm     TermKind = iota
	SwitchOn            // Switch reads on
	SwitchOff           // Switch reads off
	Within              // Low <= channel <= High
	SequenceIn          // the launch sequence is in one of States
	numTermKinds
)

// Term is one comparison.
type Term struct {
	Kind      TermKind
	Switch    Switch
	Channel   Channel
	States    uint8 // SequenceIn: bit n for SequenceState n
	Low, High int32 // Within: in the channel's unit, both included
}

// Condition is true when every term of All holds and, if Any has terms, at
// least one of those. The empty condition is true.
type Condition struct {
	All     [MaxTerms]Term
	Any     [MaxTerms]Term
	Qualify Duration // how long it must hold before the stage is entered; none to leave
}

// Curve is a constant, or the content of table number Table (from 1).
type Curve struct {
	Const int32
	Table uint8
}

// Axis is one axis of a table: 2 to 8 rising points of a channel, or none.
type Axis struct {
	Channel Channel
	N       uint8 // points in use; 0: no such axis
	Points  [MaxTablePoints]int32
	recip   [MaxTablePoints - 1]uint32 // per segment; see table.go
}

// Table gives a value over one or two channels; between points it is linear,
// beyond them it stays at the edge. Row r, column c stands at Cells[r][c].
type Table struct {
	Columns Axis
	Rows    Axis // N 0: one row
	Cells   [MaxTablePoints][MaxTablePoints]int32
	lowest  int32
}

// Cut is how a stage cuts.
type Cut struct {
	Medium     Medium
	Style      Style
	Pattern    Pattern
	Cylinders  uint16 // Fixed: bit n-1 for the maker's cylinder n
	Band       Speed  // Soft: below the ceiling; Regulate: above it, where demand 1 backs it up
	Hysteresis Speed  // Hard, WholeEngine, Regulate: below the ceiling
	Depth      Demand // Hard: demand while on
	Anticipate bool   // compare speed plus slope times the medium's delay
	Gain       int32  // Regulate: demand in 1/55440 per rpm of error
	Integral   int32  // Regulate: demand in 1/55440 per rpm of error and engine cycle
	Preset     Demand // Regulate: integral part on entry
}

// TimingMode says how a stage sets the ignition angle.
type TimingMode uint8

// The timing modes.
const (
	TimingBase     TimingMode = iota // leaves the base angle alone
	TimingOffset                     // adds the curve to the base angle; negative is retard
	TimingAbsolute                   // commands the curve's angle
	numTimingModes
)

// Timing is a stage's ignition angle.
type Timing struct {
	Mode     TimingMode
	Angle    Curve // Angle
	NearBand Speed // only within this much of the ceiling; 0: always while the stage is active
	SlewIn   Angle // per second, away from base; 0: at once
	SlewOut  Angle // per second, back to base; 0: at once
}

// Guard limits how long a stage may work hot. The budget fills while the stage
// is active and its throttle open, cutting, or late; it empties at the rate that
// takes CoolDown from full. Once full the guard has expired until it is empty.
type Guard struct {
	Longest  Duration // 0: no guard
	CoolDown Duration
}

// Stage is one staged limiter.
type Stage struct {
	Kind StageKind
	Name Name
	When Condition
	// Moving is used by User stages: what a lost channel does (see LossAction).
	Moving bool

	Ceiling    Curve // Speed
	SlewUp     Speed // rpm per second that the ceiling may rise; 0: at once
	SlewDown   Speed // rpm per second that it may fall; 0: at once
	StaysDown  bool  // while held, a ceiling that fell by table stays down until the throttle comes back
	RestTo     Speed // after a loss slew down to this ceiling; 0: keep the ceiling
	RestSlew   Speed // rpm per second for that
	RampLimit  int32 // greatest acceleration believed of a driven wheel on a ceiling axis, mm/s2; 0: none
	Cut        Cut
	Timing     Timing
	Mixture    Curve // Ratio: fuel multiplier; Const 0 and Table 0: no wish
	Refire     Ratio // extra fuel on the first cycles after a withheld one; 0: none
	RefireFor  uint8 // cycles
	Boost      Curve // Pressure: target; Const 0 and Table 0: no wish
	Guard      Guard
	WholeLimit Duration // WholeEngine: longest uninterrupted cut; 0: 0.5 s

	t stageTicks
}

type stageTicks struct {
	qualify, whole   uint32
	heatFull, heatUp uint32
	heatDown         uint32
	slewUp, slewDown int32
	restSlew         int32
	slewIn, slewOut  int32
	needs            ChannelSet // channels of conditions and ceiling
	needsSw          SwitchSet
	on, off          SwitchSet // where plain: what the condition wants
	plain            bool      // the condition looks at switches alone, all of them
	late             bool      // can command timing after top dead centre
}

// HoldInput says which input tells that the launch device holds the car.
type HoldInput uint8

// The hold inputs.
const (
	HoldNone          HoldInput = iota // no launch sequence
	HoldClutch                         // ClutchDown
	HoldTransBrake                     // TransBrake
	HoldFootBrake                      // FootBrake
	HoldBrakePressure                  // BrakePressure at or above Hold.Pressure
	numHoldInputs
)

// Sequence holds the numbers of the launch sequence.
type Sequence struct {
	Hold         HoldInput
	HoldPressure Pressure // HoldBrakePressure

	Earn         Duration  // hold input on at least this long
	ThrottleMin  Ratio     // throttle that earns and keeps a hold
	ThrottleShut Ratio     // at or below: the throttle counts as closed
	EarnWithin   Speed     // speed seen within this distance of the launch ceiling
	AbortAfter   Duration  // throttle low this long while held aborts
	ClearAfter   Duration  // hold off and throttle closed this long clears an abort
	LossAfter    Duration  // throttle closed this long ends a stage kept by a loss
	EndLift      Duration  // a lift this long ends a released launch
	EndAfter     Duration  // a released launch ends at the latest after this
	EntrySpeed   RoadSpeed // launch is entered only below this road speed
	EntryAbove   Speed     // and with engine speed no further above the ceiling than this
	ReturnTime   Duration  // timing is back at base this long after release
	Comeback     Ratio     // how far the throttle comes back to lift a ceiling that stays down

	t sequenceTicks
}

type sequenceTicks struct {
	earn, abort, clear, loss, endLift, endAfter, ret, reapply uint32
	millisQ                                                   uint32 // milliseconds a tick, Q16
}

// LossAction says what losing a channel does to a held stage that reads it.
type LossAction uint8

// The loss actions. Neither raises a ceiling.
const (
	LossKeep LossAction = iota // keep the ceiling
	LossRest                   // slew down to the stage's rest ceiling
	numLossActions
)

// ChannelSpec declares a channel.
type ChannelSpec struct {
	Fitted     bool
	Driven     bool // a road speed taken from driven wheels
	OnLoss     LossAction
	Low, High  int32    // electrical range in the channel's unit; outside is invalid
	LongestAge Duration // older is stale; engine speed has its own rule

	age  uint32
	span uint32 // of the electrical range
}

// Ignition says how coils are arranged.
type Ignition uint8

// The ignition arrangements.
const (
	IgnitionPerCylinder Ignition = iota
	IgnitionPaired               // one coil for two cylinders 360 degrees apart
	IgnitionSingle               // one coil and a distributor
	numIgnitions
)

// FuelSystem says how injectors are driven.
type FuelSystem uint8

// The fuel arrangements.
const (
	FuelSequential FuelSystem = iota
	FuelGrouped               // several cylinders share an output
	FuelNotOurs               // a carburettor, or someone else's controller
	numFuelSystems
)

// Engine holds the facts of engine and actuators.
type Engine struct {
	Cylinders uint8
	Order     [MaxCylinders]uint8 // firing order: the maker's cylinder numbers
	Intervals [MaxCylinders]Angle // from each firing in the order to the next; all 0: even
	Ignition  Ignition
	Fuel      FuelSystem
	Catalyst  bool

	// CommitLead is how many firing events fuel is committed before the spark of
	// the same cycle. At 0 the two may come in either order; otherwise a spark
	// commit without its fuel commit means that fuel was given.
	CommitLead uint8

	FuelDelay  Angle // crank angle from a fuel decision to its torque
	SparkDelay Angle // crank angle from a spark decision to its torque

	CrankingBelow Speed    // below it the engine cranks: speed is not judged
	KeepFiring    bool     // an unknown speed does not withhold cycles
	RateCheck     bool     // judge speed against the rate of commit calls
	OverrunMargin Speed    // above main plus this, spark is withheld at once while a shot flows
	BaseAngle     Curve    // Angle: base timing where the channel is not fitted
	BoostBase     Curve    // Pressure: target where no stage has a wish
	BoostMin      Pressure // target when manifold pressure is lost
	TrimStep      Speed    // ceiling per trim position
	TrimMax       Speed    // bound of the trim, either way

	position [MaxCylinders]uint8 // of maker's cylinder n-1 in the order
	spread   spreads             // where the spread pattern of each position begins
	t        engineTicks
}

type engineTicks struct {
	staleMin  uint32
	phaseGain uint32 // phase of one tick in 1/65536 event per tenth rpm, Q20
	windowMin uint32 // ticks of a rate window
	evenFire  bool
	slopeQ    uint32 // tenths of rpm per tick Q8 -> rpm per second, Q16
	microQ    uint32 // ticks a microsecond, Q30
}

// ShotWhen says in which part of the launch a shot may open.
type ShotWhen uint8

// The parts of a launch.
const (
	NoShot        ShotWhen = iota // the shot does not exist
	WhileHeld                     // trans-brake held, launch earned or not yet
	WhileReleased                 // released and not ended
	WhileEither                   // both
	numShotWhens
)

// Window is a range of a channel, both ends included.
type Window struct{ Low, High int32 }

// Standing holds the interlocks common to all shots. A channel that is not
// fitted is not judged (a finding when the calibration is checked); arm,
// throttle, speed window, margin, stage condition and voltage cannot be waived.
type Standing struct {
	Coolant     Window   // Temperature
	Fuel        Window   // Pressure
	Oil         Window   // Pressure
	Bottle      Window   // Pressure
	Voltage     Window   // Voltage
	LeanLimit   Ratio    // lambda above it closes; 0: not judged
	MixtureWait Duration // mixture is judged this long after the last cut
	Persistence Duration // mixture and pressures may be out of their window this long, at most 0.2 s
	Qualify     Duration // standing interlocks hold this long before a shot may open
	LatchAfter  Duration // an out-of-range channel latches when it lasts longer than this
	LongestAll  Duration // open time of all shots together
	CoolDown    Duration // closed this long before totals may be reset

	t standingTicks
}

type standingTicks struct {
	mixtureWait, persistence, qualify, latch, longest, coolDown uint32
	cutMemory                                                   uint32 // longest time since a cut that matters
}

// Shot is one stage of added power.
type Shot struct {
	When  ShotWhen
	Name  Name
	Wet   bool   // brings its own fuel through a second valve
	After uint8  // number (from 1) of a shot that must be open first; 0: none
	Power uint16 // kW, for checks only

	ThrottleMin  Ratio
	SpeedLow     Speed
	SpeedHigh    Speed
	Margin       Speed    // below the ceiling
	Reopen       Speed    // further below, to open again
	QuietFor     Duration // no cut within the last so long
	Gears        uint16   // bit n for gear n; 0: any
	ClutchUp     bool     // clutch fully up
	Delay        Duration // after release
	Trigger      Duration // trigger interlocks hold this long
	ReArm        Duration // closed at least this long
	OncePerHold  bool
	Feedback     bool     // its Feedback switch is fitted
	Longest      Duration // open time in all
	Retard       Angle    // positive: degrees later
	RetardLead   Duration
	RetardByDuty bool  // progressive duty reduces the retard, never below duty times full
	StartDuty    Ratio // of a progressive shot; EndDuty alone: constant
	EndDuty      Ratio
	Ramp         Duration
	ValvePeriod  Duration // of progressive drive
	ValveOpens   Duration // slowest
	ValveCloses  Duration // slowest
	Flush        Duration // line and plenum
	Enrich       Ratio    // dry: fuel multiplier while oxidiser can arrive
	EnrichLead   Duration // dry
	FuelLead     Duration // wet: fuel valve before the oxidiser's
	FuelLag      Duration // wet: and after it

	t shotTicks
}

type shotTicks struct {
	quiet, delay, trigger, rearm, longest uint32
	lead, fuelLead                        uint32 // closed to open; of that the fuel valve's part
	ramp, closes, flow, fuelLag           uint32
	tail, tailShift                       uint32 // drained, then one engine cycle in phase >> tailShift
	rampStep                              uint32 // duty per tick, Q16
	slopeQ                                uint32 // valve closing plus flush in ticks, for the slope
}

// Calibration is everything that a person sets. It is a plain value of fixed
// size; the fields of an unused stage, shot or table stay zero. Seal it once
// before use; afterwards it is read-only.
type Calibration struct {
	Name     Name
	Period   Duration // of a tick, 100 us to 10 ms
	Engine   Engine
	Channels [NumChannels]ChannelSpec
	Switches SwitchSet // fitted
	Sequence Sequence
	Stages   [MaxStages]Stage
	Tables   [MaxTables]Table
	Standing Standing
	Shots    [MaxShots]Shot

	fitted      ChannelSet
	stages      uint8 // one past the last
	main        uint8
	launch      uint8 // MaxStages: none
	shots       uint8 // one past the last
	rampChannel Channel
	rampStep    int32 // mm/s a tick
	turning     Speed // above it a stuck wet shot keeps its fuel: the engine burns it
	sealed      bool
}
