package faults

import (
	"fmt"

	"github.com/holdline/holdline/controller"
	"github.com/holdline/holdline/harness"
)

// Kind is one way to fail.
type Kind uint8

// The kinds. The first group is of channels, then switches, then the controller
// itself, then its crank wheel.
const (
	None Kind = iota
	Off
	Stuck
	Zero
	Stale
	Noisy
	Drifting
	Offset
	Scaled
	Delayed
	Slow
	Intermittent
	Spikes
	Dropouts
	Swapped
	Quantised
	Clipped
	RangeHigh
	RangeLow
	SupplyDip

	SwitchOn
	SwitchOff
	SwitchLost
	SwitchInverted
	SwitchBounce
	SwitchDelayed
	SwitchChatter

	Restart
	PowerOff
	SkippedTicks
	StoppedTicks
	ClockFast
	ClockSlow
	RepeatedCommits

	ToothMissing
	ToothExtra
	ToothNoise
	numKinds
)

// what a kind needs.
type about struct {
	name   string
	target target
	amount string // what Amount means; "" if it is not used
	time   string // what Time means; "" if it is not used
	doc    string
}

type target uint8

const (
	onChannel target = iota
	onSwitch
	onUnit
	onCrank
)

var kinds = [numKinds]about{
	Off:          {"off", onChannel, "", "", "the sensor reports its own failure"},
	Stuck:        {"stuck", onChannel, "", "", "the value at onset, as if it were new"},
	Zero:         {"zero", onChannel, "", "", "0 in its own unit, as if it were true"},
	Stale:        {"stale", onChannel, "", "", "no new samples: the last one grows old"},
	Noisy:        {"noisy", onChannel, "greatest deviation either way", "", "evenly distributed noise on every sample"},
	Drifting:     {"drifting", onChannel, "drift per second", "", "an error that grows from 0"},
	Offset:       {"offset", onChannel, "error added", "", "a constant error"},
	Scaled:       {"scaled", onChannel, "factor", "", "a wrong calibration of the sensor"},
	Delayed:      {"delayed", onChannel, "", "delay", "samples arrive late and count as new"},
	Slow:         {"slow", onChannel, "", "time constant", "a first-order lag"},
	Intermittent: {"intermittent", onChannel, "", "period: off for the first half of each", "a loose contact"},
	Spikes:       {"spikes", onChannel, "height of a spike, up or down", "mean time between spikes", "single wrong samples"},
	Dropouts:     {"dropouts", onChannel, "", "mean time between dropouts of up to 30 ticks", "samples go missing"},
	Swapped:      {"swapped", onChannel, "", "", "two sensors exchanged: raw readings, each read as the other"},
	Quantised:    {"quantised", onChannel, "step", "", "a coarse converter"},
	Clipped:      {"clipped", onChannel, "greatest reading", "", "a sensor at the end of its range"},
	RangeHigh:    {"range-high", onChannel, "", "", "wire shorted to supply: above the electrical range"},
	RangeLow:     {"range-low", onChannel, "", "", "wire shorted to ground: below the electrical range"},
	SupplyDip:    {"supply-dip", onChannel, "lowest voltage", "", "supply voltage falls to it and comes back"},

	SwitchOn:       {"switch-on", onSwitch, "", "", "stuck on"},
	SwitchOff:      {"switch-off", onSwitch, "", "", "stuck off"},
	SwitchLost:     {"switch-lost", onSwitch, "", "", "its state is not known"},
	SwitchInverted: {"switch-inverted", onSwitch, "", "", "wired the other way round"},
	SwitchBounce:   {"switch-bounce", onSwitch, "", "how long it bounces after each edge", "contact bounce"},
	SwitchDelayed:  {"switch-delayed", onSwitch, "", "delay", "a filter, or a slow relay"},
	SwitchChatter:  {"switch-chatter", onSwitch, "", "period: the other state for the first half of each", "a worn contact"},

	Restart:         {"restart", onUnit, "", "", "the controller forgets everything and starts anew"},
	PowerOff:        {"power-off", onUnit, "", "", "no ticks, no fuel, no spark; then a restart"},
	SkippedTicks:    {"skipped-ticks", onUnit, "ticks skipped for each one run", "", "the controller is told how many periods have passed"},
	StoppedTicks:    {"stopped-ticks", onUnit, "", "", "commits go on, ticks do not"},
	ClockFast:       {"clock-fast", onUnit, "percent", "", "the controller's clock runs fast"},
	ClockSlow:       {"clock-slow", onUnit, "percent", "", "the controller's clock runs slow"},
	RepeatedCommits: {"repeated-commits", onUnit, "", "", "every commit is asked for twice; only the first answer counts"},

	ToothMissing: {"tooth-missing", onCrank, "", "mean time between", "a tooth of the crank wheel is not seen"},
	ToothExtra:   {"tooth-extra", onCrank, "", "mean time between", "a tooth is seen that is not there"},
	ToothNoise:   {"tooth-noise", onCrank, "greatest deviation in degrees", "", "teeth come early or late"},
}

// String gives the stable name.
func (k Kind) String() string {
	if k > None && k < numKinds {
		return kinds[k].name
	}
	return "none"
}

// Kinds lists all kinds.
func Kinds() (list []Kind) {
	for k := None + 1; k < numKinds; k++ {
		list = append(list, k)
	}
	return list
}

// Doc says in words what a kind does and what its amount and time mean.
func (k Kind) Doc() string {
	a := kinds[k%numKinds]
	out := a.doc
	if a.amount != "" {
		out += "; amount: " + a.amount
	}
	if a.time != "" {
		out += "; time: " + a.time
	}
	return out
}

// Fault is one fault with its place and time.
type Fault struct {
	Kind    Kind
	Channel controller.Channel // of a sensor fault
	Other   controller.Channel // Swapped: the second one
	Switch  controller.Switch  // of a switch fault
	From    controller.Duration
	For     controller.Duration // 0: to the end of the run; Restart has no duration
	Amount  int32               // 1/1000 of the channel's unit, factor or percent: see Kind.Doc
	Time    controller.Duration // see Kind.Doc
}

// String says what fails, where and when.
func (f Fault) String() string {
	where := ""
	switch kinds[f.Kind%numKinds].target {
	case onChannel:
		where = " " + harness.Channels[f.Channel%controller.NumChannels].Name
	case onSwitch:
		where = " " + harness.Switches[f.Switch%controller.NumSwitches]
	}
	return fmt.Sprintf("%s%s at %g s", f.Kind, where, float64(f.From)/float64(controller.Second))
}

// amount in core steps of the faulty channel.
func (f Fault) amount() int64 {
	return int64(float64(f.Amount) / 1000 * harness.Channels[f.Channel].Per)
}

// check says what keeps a fault from being given.
func (f Fault) check(cal *controller.Calibration) error {
	if f.Kind == None || f.Kind >= numKinds {
		return fmt.Errorf("fault: no kind")
	}
	a := &kinds[f.Kind]
	switch {
	case f.From < 0 || f.For < 0:
		return fmt.Errorf("fault %s: starts or lasts a negative time", f)
	case a.time != "" && f.Time < cal.Period:
		return fmt.Errorf("fault %s: time is %d us; it must be at least one tick (%s)", f, f.Time, a.time)
	case a.amount != "" && f.Amount == 0 && f.Kind != SupplyDip && f.Kind != Clipped && f.Kind != Scaled:
		return fmt.Errorf("fault %s: amount is 0, so that nothing would fail (%s)", f, a.amount)
	case a.target == onChannel:
		return f.checkChannels(cal)
	case a.target == onSwitch && (f.Switch >= controller.NumSwitches || !cal.Switches.Has(f.Switch)):
		return fmt.Errorf("fault %s: the switch is not fitted in calibration %q, so the unit cannot be given it", f, cal.Name)
	case f.Kind == SkippedTicks && f.Amount < 1000, (f.Kind == ClockFast || f.Kind == ClockSlow) && (f.Amount < 0 || f.Amount > 50000):
		return fmt.Errorf("fault %s: amount out of range: at least 1 tick, 0 to 50 percent", f)
	}
	return nil
}

func (f Fault) checkChannels(cal *controller.Calibration) error {
	list := []controller.Channel{f.Channel}
	if f.Kind == Swapped {
		list = append(list, f.Other)
	}
	for _, c := range list {
		if c >= controller.NumChannels || !cal.Channels[c].Fitted {
			return fmt.Errorf("fault %s: channel %s is not fitted in calibration %q, so the unit cannot be given it",
				f, harness.Channels[min(c, controller.NumChannels)].Name, cal.Name)
		}
	}
	if f.Kind == SupplyDip && f.Channel != controller.SupplyVoltage {
		return fmt.Errorf("fault %s: a supply dip is of the channel supply-voltage", f)
	}
	return nil
}
