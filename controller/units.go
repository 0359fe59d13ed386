package controller

// Quantities are integers with a decimal prefix of the trade's unit, so that
// the same decision comes out on every processor. Each type names its unit, its
// sign and its useful range; the constants below make literals readable:
// 5000*RPM, 95*Percent, -10*Degree.
type (
	// Speed is an engine speed in tenths of a revolution per minute, 0 to
	// 20,000 rpm. Differences of speeds use the same type and may be negative.
	Speed int32

	// Angle is an ignition angle in hundredths of a crank degree before top
	// dead centre; negative is after. Commands are clamped to -40 to +60 degrees.
	Angle int32

	// Pressure is absolute, in pascals; differences may be negative.
	Pressure int32

	// Ratio is a fraction in ten-thousandths: throttle 0 to 1, duty 0 to 1,
	// a fuel multiplier around 1, lambda around 1.
	Ratio int32

	// Temperature is in tenths of a degree Celsius.
	Temperature int32

	// Voltage is in millivolts.
	Voltage int32

	// RoadSpeed is in millimetres per second.
	RoadSpeed int32

	// Duration is in microseconds, 0 to 2,000 s.
	Duration int32

	// Demand is the fraction of firing events to be cut, in 1/55440: a
	// multiple of 1 to 12 and of 16, so that the demands that matter are exact
	// for every number of cylinders.
	Demand int32
)

// Units for literals.
const (
	RPM Speed = 10

	Degree Angle = 100

	Kilopascal Pressure = 1000
	Bar        Pressure = 100000

	Percent Ratio = 100
	One     Ratio = 10000

	Celsius Temperature = 10

	Volt Voltage = 1000

	MetrePerSecond RoadSpeed = 1000

	Microsecond Duration = 1
	Millisecond Duration = 1000
	Second      Duration = 1000000

	// FullDemand cuts every event.
	FullDemand Demand = 55440
)

// Limits of what a calibration may hold. They size the state and the image.
const (
	MaxCylinders   = 12
	MaxStages      = 8
	MaxShots       = 4
	MaxTables      = 16
	MaxTablePoints = 8
	MaxTerms       = 6
	MaxPeriods     = 1000 // longest step of one tick, in periods
)

// Timing commands never leave this range, whatever a table or a shot says.
const (
	LatestTiming   Angle = -40 * Degree
	EarliestTiming Angle = 60 * Degree
)

// Name is a short text in a calibration: ASCII, padded with zero bytes.
type Name [16]byte

// NameOf cuts s to the capacity of a Name.
func NameOf(s string) (n Name) {
	copy(n[:], s)
	return n
}

// String gives the text before the padding.
func (n Name) String() string {
	for i, b := range n {
		if b == 0 {
			return string(n[:i])
		}
	}
	return string(n[:])
}
