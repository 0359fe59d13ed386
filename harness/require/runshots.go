package require

import (
	"strings"

	"github.com/holdline/holdline/controller"
)

func (s *RunSignals) addShots() {
	var phases, retards []func() []int32
	for i := range s.cal.Shots {
		if s.cal.Shots[i].When == controller.NoShot {
			continue
		}
		phase := s.addShot(i)
		phases, retards = append(phases, phase), append(retards, s.lazy("shot-"+string(rune('1'+i))+"-retard"))
	}
	any := func(least, most controller.ShotPhase) func(int) bool {
		return func(t int) bool {
			for _, p := range phases {
				if x := controller.ShotPhase(p()[t]); x >= least && x <= most {
					return true
				}
			}
			return false
		}
	}
	s.bit("oxidiser", any(controller.ShotOpen, controller.ShotDraining))
	s.bit("shot_open", any(controller.ShotOpen, controller.ShotOpen))
	s.ints("shot_retard", Column{Unit: "deg", PerUnit: 100}, func(out []int32) {
		for _, r := range retards {
			for t, x := range r() {
				out[t] += x
			}
		}
	})
	s.ints("shots.open_total", s.ticksColumn(), func(out []int32) { s.openTotal(out, phases...) })
}

// ticksColumn describes a count of ticks as a time.
func (s *RunSignals) ticksColumn() Column {
	return Column{Unit: "ms", PerUnit: 1000 / float64(s.trace.Period)}
}

// addShot adds the channels of one shot, and gives its phase.
func (s *RunSignals) addShot(i int) (phase func() []int32) {
	sh := &s.cal.Shots[i]
	from, to := "shot-"+string(rune('1'+i)), "shot"+string(rune('1'+i))
	for j := range s.trace.Columns {
		c := &s.trace.Columns[j]
		if what, ok := strings.CutPrefix(c.Name, from+"-"); ok {
			s.add(to+"."+spell(what), shotColumn(s.lend(c), what), nil)
		}
	}
	phase = s.lazy(from + "-phase")
	s.bit(to+".open", func(t int) bool { return phase()[t] == int32(controller.ShotOpen) })
	s.bit(to+".loaded", func(t int) bool { return phase()[t] >= int32(controller.ShotOpen) })
	s.ints(to+".open_total", s.ticksColumn(), func(out []int32) { s.openTotal(out, phase) })
	s.ints(to+".openings_in_hold", Column{}, func(out []int32) { s.openingsInHold(out, phase()) })
	s.bit(to+".input_bad", s.shotInputBad(sh, i))
	return phase
}

func shotColumn(c Column, what string) Column {
	switch what {
	case "phase":
		c.Kind, c.Labels, c.PerUnit = State, shotPhases, 0
	case "inhibits":
		c.Kind, c.Labels, c.PerUnit = Flags, shotReasons, 0
	}
	return c
}

// openTotal counts open ticks since the arm switch was last off at standstill.
func (s *RunSignals) openTotal(out []int32, phases ...func() []int32) {
	on, road := s.raw("switches"), s.raw("road-speed")
	n := int32(0)
	for t := range out {
		if on[t]>>controller.Arm&1 == 0 && road[t] < int32(controller.MetrePerSecond)/2 {
			n = 0
		}
		for _, p := range phases {
			if p()[t] == int32(controller.ShotOpen) {
				n++
				break
			}
		}
		out[t] = n
	}
}

// openingsInHold counts openings since the hold input last came on.
func (s *RunSignals) openingsInHold(out, phase []int32) {
	e, ok := s.Lookup("hold")
	if !ok {
		return
	}
	n, was := int32(0), false
	for t := range out {
		if e.Ints[t] == 0 {
			n = 0
		}
		open := phase[t] == int32(controller.ShotOpen)
		if open && !was {
			n++
		}
		out[t], was = n, open
	}
}

// shotInputBad tells whether any input that a shot stands on is bad or lost.
func (s *RunSignals) shotInputBad(sh *controller.Shot, i int) func(int) bool {
	need := controller.ChannelSet(1<<controller.EngineSpeed | 1<<controller.Throttle)
	windows := map[controller.Channel]controller.Window{
		controller.CoolantTemperature: s.cal.Standing.Coolant, controller.FuelPressure: s.cal.Standing.Fuel,
		controller.OilPressure: s.cal.Standing.Oil, controller.BottlePressure: s.cal.Standing.Bottle,
		controller.SupplyVoltage: s.cal.Standing.Voltage,
	}
	for c, w := range windows {
		if w != (controller.Window{}) {
			need |= 1 << c
		}
	}
	if s.cal.Standing.LeanLimit != 0 {
		need |= 1 << controller.Lambda
	}
	if sh.Gears != 0 {
		need |= 1 << controller.Gear
	}
	switches := controller.SwitchSet(1 << controller.Arm)
	if sh.Feedback {
		switches |= 1 << (controller.Feedback1 + controller.Switch(i))
	}
	if sh.ClutchUp {
		switches |= 1 << controller.ClutchUp
	}
	bad, lost := s.lazy("channels-bad"), s.lazy("switches-lost")
	return func(t int) bool { return bad()[t]&int32(need) != 0 || lost()[t]&int32(switches) != 0 }
}
