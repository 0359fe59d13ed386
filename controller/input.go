package controller

// Channel is an analogue input. Its unit is given by the type in its comment.
type Channel uint8

// The channels. SinceRelease is no sensor: it is the time since release, in
// milliseconds, offered to tables as an axis.
const (
	EngineSpeed        Channel = iota // Speed
	Throttle                          // Ratio
	ManifoldPressure                  // Pressure
	RoadSpeedMain                     // RoadSpeed, the one that launch conditions read
	RoadSpeedOther                    // RoadSpeed, a second source
	Gear                              // 0 neutral, 1 and up; -1 reverse
	CoolantTemperature                // Temperature
	IntakeTemperature                 // Temperature
	ExhaustTemperature                // Temperature
	FuelPressure                      // Pressure
	OilPressure                       // Pressure
	BottlePressure                    // Pressure
	BrakePressure                     // Pressure
	SupplyVoltage                     // Voltage
	Lambda                            // Ratio
	BaseTiming                        // Angle: what the ignition map would command without Holdline
	SurfaceTrim                       // numbered position, 0 in the middle
	UserA                             // free, raw units
	UserB
	UserC
	UserD
	NumChannels
	SinceRelease Channel = NumChannels
)

// Switch is a two-state input.
type Switch uint8

// The switches. A shot's Feedback switch is on while its valve or nozzle is
// seen to flow.
const (
	ClutchDown    Switch = iota // clutch pedal at the bottom of its travel
	ClutchUp                    // clutch pedal fully up
	FootBrake                   // service brake applied
	TransBrake                  // trans-brake circuit energised
	BurnoutButton               // burnout stage wanted
	ShiftButton                 // full-throttle shift wanted
	Arm                         // added power armed by the driver
	UserSwitch1
	UserSwitch2
	UserSwitch3
	UserSwitch4
	Feedback1
	Feedback2
	Feedback3
	Feedback4
	NumSwitches
)

// SwitchSet is a set of switches, bit n for Switch n.
type SwitchSet uint32

// Has reports whether sw is in the set.
func (s SwitchSet) Has(sw Switch) bool { return s>>sw&1 != 0 }

// With returns the set with sw in it, or out of it.
func (s SwitchSet) With(sw Switch, on bool) SwitchSet {
	if on {
		return s | 1<<sw
	}
	return s &^ (1 << sw)
}

// ChannelSet is a set of channels, bit n for Channel n.
type ChannelSet uint32

// Has reports whether c is in the set.
func (s ChannelSet) Has(c Channel) bool { return s>>c&1 != 0 }

// Sample is one channel as it is known now.
type Sample struct {
	Value int32  // in the channel's unit
	Age   uint16 // ticks since it was measured; 0 is new in this tick; saturates
	Good  bool   // the sensor's own diagnosis finds no fault
}

// Input is what one tick sees. The zero value knows nothing: every channel
// invalid, every switch unknown.
type Input struct {
	// Periods counts tick periods since the tick before: 1 normally, more
	// where ticks were skipped, so that no timer stands still. 0 is taken as 1.
	Periods uint16

	// On holds the switches that read on; Known those whose state can be
	// trusted. A switch that is not known is lost, whatever On says.
	On    SwitchSet
	Known SwitchSet

	Channels [NumChannels]Sample
}

// Set stores a new, good sample of a channel in its own unit.
func (in *Input) Set(c Channel, value int32) {
	in.Channels[c] = Sample{Value: value, Good: true}
}

// Put stores a known switch state.
func (in *Input) Put(sw Switch, on bool) {
	in.On = in.On.With(sw, on)
	in.Known = in.Known.With(sw, true)
}
