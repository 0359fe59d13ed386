package sim

// Cylinders is the largest number of cylinders of a car.
const Cylinders = 12

// Shots is the largest number of nitrous jets of a car.
const Shots = 4

const (
	binDeg    = 6.0
	binRad    = binDeg * radPerDeg
	bins      = 120 // of 6 degrees in a 720 degree cycle
	traceBins = 52  // IVC to the bottom dead centre after EVO
	ivcDeg    = 588
	evoDeg    = 132
	cycleDeg  = 720
)

// State is everything about a plant that changes. It holds no pointer, slice
// or map, so copying it is a snapshot and assigning it back is a restore: what
// runs on from a restored state repeats the first run to the bit, under the
// same Model, Conditions and commands. Fields are SI and may be read freely;
// writing them is for tests and for setting up a start.
type State struct {
	Tick    int64   // whole ticks since the start: time = Start + Tick x TickS + Within
	Within  float64 // s into the tick
	Steps   int64   // sub-steps taken
	Bin     int     // 0 to 119: 6 degree bin of the 720 degree cycle
	BinRad  float64 // rad into the bin
	Speed   float64 // rad/s of the crank
	Accel   float64 // rad/s2 in the last sub-step
	Stalled bool

	PlenumKg, PlenumJ float64
	PlenumN2O         float64 // kg of the plenum's mass
	PlenumFuel        float64 // kg of the plenum's mass (wet nitrous fuel)
	PipeKg, PipeJ     float64
	TurboSpeed        float64 // rad/s
	Wastegate         float64 // 0 to 1

	PortKg, PortJ, PortFuel, PortO2 float64 // leaving the ports
	ManKg, ManJ, ManFuel, ManO2     float64 // exhaust manifold
	ManWallK                        float64
	exhaustFlow                     float64 // kg/s of the last sub-step, for the down-pipe
	plateAt, plateM2                float64 // throttle opening last seen and its area
	Trapping                        Charge  // flow out of the plenum since the last IVC
	exhaustPV, intakePV             float64 // J of mean pumping work since the last EVO and IVC

	Cyl [Cylinders]Cylinder

	BottleKg, BottleK, BottlePa float64
	bottleRho, bottleOut        float64
	Shot, ShotFuel              [Shots]Valve

	Driven    float64 // rad/s of clutch disc or turbine
	Twist     float64 // rad of shaft twist at the wheel
	Wheel     float64 // rad/s of the driven wheels
	Gear      int     // 0 neutral
	gearFrom  int
	ShiftLeft float64 // s
	TransOff  float64 // s since the trans-brake was let go; negative: held
	transDead float64
	transUses uint64

	Slip             float64 // of the tyre, after its lag
	V, X, A          float64 // of the car: m/s, m, m/s2
	Pitch, PitchRate float64 // filtered acceleration, m/s2, and its rate

	Strip   Strip
	Sensors Sensors
	Ledger  Ledger
	now     flows // momentary values for the truth channels

	workDebt float64 // J of gas work that belongs to bins already passed
	binWork  float64 // J of all cylinders in the present bin
	binTaken float64 // J of it delivered
	fault    Fault

	tooth     [toothRing]Tooth
	toothHead uint32
	toothTail uint32
	toothSeq  uint64
	toothLost uint64
	event     [eventRing]Event
	eventHead uint32
	eventTail uint32
	lambdaLog [128]float64
	waiting   bool
	waitFor   Commit
}

// Charge is gas on its way from the plenum to the next cylinder to close.
type Charge struct {
	Kg, J, N2O, Fuel float64
}

// Cylinder is the discrete state of one cylinder, in firing order.
type Cylinder struct {
	Cycle uint8 // id of the engine cycle whose commits come next or are open

	Film     float64 // kg of fuel on the port wall
	Injected float64 // kg given for the coming intake

	Air, N2O, Fuel            float64 // trapped fresh, kg
	Res, ResK, ResO2, ResFuel float64 // residual: kg, K, kg, kg
	Mass, IvcK, IvcPa         float64 // trapped in all
	SparkDeg, CA50, Burnt     float64 // spark and CA50 after dead centre, share burnt at EVO
	Released, WallJ, EvoJ     float64 // J of the last closed cycle
	EvoPa, EvoK               float64
	Lambda                    float64
	PeakPa, PeakDeg           float64
	Fired, Misfired           bool
	Energy                    float64 // J held now: what came in less what went out
	Imep, GrossJ              float64 // Pa and J of the closed cycle and blow-down
	FuelDone, SparkDone       bool    // commits of this cycle already reached
	fuelSet, sparkSet         bool    // a decision lies ready
	fuelListed, sparkListed   bool
	fuelGive, sparkGive       bool
	advance                   float64
	burns                     uint64
	shots                     uint64
	work                      [traceBins]float64 // J of each bin from IVC on
}

// Actuators is what the outside commands. The plant reads it through a tick.
type Actuators struct {
	Throttle    float64        // 0 shut to 1 open
	Clutch      float64        // share of the clutch capacity: 0 pedal down, 1 up
	TransBrake  bool           // holds the converter's turbine
	FootBrake   float64        // 0 to 1
	BoostPa     float64        // absolute target of the wastegate; 0: the car's own limit
	Mixture     float64        // factor on injected fuel; 0 counts as 1
	Gear        int            // 0 neutral, 1 the lowest
	NitrousDuty [Shots]float64 // 0 shut to 1 open
	NitrousFuel [Shots]float64 // 0 to 1 of the fuel that each shot is sized for
}

// Kind says which of the two commits of an engine cycle is meant.
type Kind uint8

const (
	FuelCommit  Kind = iota // injection start
	SparkCommit             // dwell start
)

func (k Kind) String() string {
	if k == FuelCommit {
		return "fuel"
	}
	return "spark"
}

// Commit is one decision that a car asks of its engine management.
type Commit struct {
	Cylinder int     // as the maker numbers them
	Cycle    uint8   // wrapping count of that cylinder's firing dead centres
	Kind     Kind    //
	AngleDeg float64 // 0 to 720 from the firing dead centre of the first in order
	AheadDeg float64 // crank degrees from now
}

// Strip holds the clocks. Times are s since the start of the run.
type Strip struct {
	Left  float64    // front tyre clears the stage beam; 0 before that
	At    [7]float64 // times at Marks, after Left, as absolute times; 0 before that
	Moved float64    // first time at which X exceeded 1 mm
}

// Marks are the clocked distances in m, after the timing reference: 60, 330,
// 660 ft less the speed trap, 660, 1000, 1320 ft less the trap, 1320.
var Marks = [7]float64{18.288, 100.584, 201.168 - 20.1168, 201.168, 304.8, 402.336 - 20.1168, 402.336}

// Fault says where a run left the range in which its equations hold.
type Fault struct {
	Time      float64 // s
	State     string  // name of the quantity
	Value     float64
	Min, Max  float64
	Parameter string // file key of the parameter that governs it most directly
}

// Bad reports whether the fault is set.
func (f Fault) Bad() bool { return f.State != "" }
