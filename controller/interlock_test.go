package controller

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// class places a sample one unit to either side of a window's ends, or makes it
// invalid.
type class uint8

const (
	below class = iota
	inside
	above
	invalid
	classes
)

// place gives both values that stand nearest to where a class begins and ends.
func (k class) place(w Window, spec *ChannelSpec, upper bool) Sample {
	x := w.Low
	if upper {
		x = w.High
	}
	switch k {
	case below:
		x = w.Low - 1
	case above:
		x = w.High + 1
	case invalid:
		x = spec.Low - 1
		if upper {
			x = spec.High + 1
		}
	}
	return Sample{Value: x, Good: true}
}

// A2, A3: standing interlocks, every class of every channel.
func TestStandingInterlocksEnumerated(t *testing.T) {
	cal := sealed(t, testCar())
	c := &cal.Standing
	lean := Window{Low: cal.Channels[Lambda].Low + 1, High: int32(c.LeanLimit)}
	channels := []struct {
		ch  Channel
		w   Window
		bit ShotInhibits
	}{
		{CoolantTemperature, c.Coolant, ShotCoolant}, {FuelPressure, c.Fuel, ShotFuelPressure},
		{OilPressure, c.Oil, ShotOilPressure}, {BottlePressure, c.Bottle, ShotBottlePressure},
		{SupplyVoltage, c.Voltage, ShotVoltage}, {Lambda, lean, ShotMixture},
	}
	count := 0
	for code := range 1 << (2 * len(channels)) {
		for variant := range 4 {
			upper, judged := variant&1 != 0, variant&2 != 0
			in := calm()
			want := ShotInhibits(0)
			for i, x := range channels {
				k := class(code >> (2 * i) & 3)
				in.Channels[x.ch] = k.place(x.w, &cal.Channels[x.ch], upper)
				switch {
				case k == invalid && x.ch == Lambda:
					want |= ShotRange
				case k == invalid:
					want |= ShotRange | x.bit
				case x.ch == Lambda:
					if k == above && judged {
						want |= ShotMixture
					}
				case k != inside:
					want |= x.bit
				}
			}
			var v view
			v.begin(&in, cal, 0)
			v.judge(true)
			if got := v.standing(c, judged); got != want {
				require.Equal(t, want, got, "classes %#o judged %v", code, judged)
			}
			count++
		}
	}
	t.Logf("%d combinations of standing interlocks", count)
}

// simpleTrigger is the predicate of the trigger interlocks, written from the
// rules, one sentence each.
type simpleTrigger struct {
	sh                   *Shot
	seq                  SequenceState
	hold, brake, clutch  truth
	held, open           bool
	throttle             Sample
	gear                 Sample
	known                bool
	speed, rise, ceiling Speed
	cutAgo, since        uint32
}

func (s simpleTrigger) want(gearSpec, throttleSpec *ChannelSpec) (why ShotInhibits) {
	add := func(bad bool, bit ShotInhibits) {
		if bad {
			why |= bit
		}
	}
	released := s.seq == Released && s.hold == no
	stage := (s.sh.When == WhileHeld || s.sh.When == WhileEither) && s.held ||
		(s.sh.When == WhileReleased || s.sh.When == WhileEither) && released
	add(!stage, ShotCondition)
	lost := s.throttle.Value < throttleSpec.Low || s.throttle.Value > throttleSpec.High
	add(lost, ShotRange)
	add(lost || s.throttle.Value < int32(s.sh.ThrottleMin), ShotThrottle)
	add(!s.known, ShotSpeed)
	add(s.known && s.speed < s.sh.SpeedLow, ShotSpeedLow)
	add(s.known && s.speed > s.sh.SpeedHigh, ShotSpeedHigh)
	room := s.ceiling - s.sh.Margin
	if !s.open {
		room -= s.sh.Reopen
	}
	add(s.known && s.speed+s.rise > room, ShotMargin)
	add(s.cutAgo < s.sh.t.quiet, ShotCut)
	noGear := s.gear.Value < gearSpec.Low || s.gear.Value > gearSpec.High
	add(noGear, ShotRange)
	add(noGear || s.gear.Value < 0 || s.sh.Gears&(1<<uint(max(s.gear.Value, 0))) == 0, ShotGear)
	add(s.clutch != yes, ShotClutch)
	add(s.seq == Released && s.brake != no, ShotBrake)
	add(s.seq == Released && s.since < s.sh.t.delay, ShotDelay)
	return why
}

// A2, A3, A9: trigger interlocks, one unit either side of every threshold, by
// all switches, sequence states and kinds of shot.
func TestTriggerInterlocksEnumerated(t *testing.T) {
	c := testCar()
	c.Channels[Gear] = ChannelSpec{Fitted: true, Low: -1, High: 6, LongestAge: Second}
	c.Switches = c.Switches.With(ClutchUp, true)
	for i := range 2 {
		c.Shots[i].Gears, c.Shots[i].ClutchUp, c.Shots[i].Delay = 1<<1|1<<2, true, 200*Millisecond
	}
	c.Shots[2], c.Shots[2].When = c.Shots[0], WhileEither
	cal := sealed(t, c)
	truths := []truth{no, unknown, yes}
	count := 0
	for i := range 3 {
		sh := &cal.Shots[i]
		speeds := triggerSpeeds(sh)
		for number := range 27 * 3 * 4 * len(speeds) * 2 * 5 * 2 * 2 * 2 {
			code := number
			pick := func(n int) (x int) { x, code = code%n, code/n; return x }
			s := simpleTrigger{sh: sh}
			s.clutch, s.brake, s.hold = truths[pick(3)], truths[pick(3)], truths[pick(3)]
			s.throttle = Sample{Good: true, Value: []int32{int32(sh.ThrottleMin) - 1, int32(sh.ThrottleMin), int32(One) + 1}[pick(3)]}
			s.gear = Sample{Good: true, Value: []int32{0, 1, -1, 7}[pick(4)]}
			n := speeds[pick(len(speeds))]
			s.known, s.speed, s.rise, s.ceiling, s.open = n.known, n.speed, n.rise, n.ceiling, pick(2) == 0
			s.seq = SequenceState(pick(5))
			s.held = pick(2) == 0
			s.cutAgo = sh.t.quiet - uint32(pick(2))
			s.since = max(sh.t.delay, 1) - uint32(pick(2))
			want, got := s.want(&cal.Channels[Gear], &cal.Channels[Throttle]), evaluate(cal, s)
			if want != got {
				require.Equal(t, want, got, "shot %d: %+v", i+1, s)
			}
			count++
		}
	}
	t.Logf("%d combinations of trigger interlocks", count)
}

type speedClass struct {
	known                bool
	speed, rise, ceiling Speed
}

func triggerSpeeds(sh *Shot) []speedClass {
	far := 12000 * RPM
	list := []speedClass{{false, sh.SpeedLow, 0, far}}
	for d := Speed(-1); d <= 1; d++ {
		at := 5000 * RPM
		list = append(list,
			speedClass{true, sh.SpeedLow + d, 0, far}, speedClass{true, sh.SpeedHigh + d, 0, far},
			speedClass{true, at + d, 0, at + sh.Margin}, speedClass{true, at + d, 0, at + sh.Margin + sh.Reopen},
			speedClass{true, at, 300*RPM + d, at + sh.Margin + 300*RPM})
	}
	return list
}

func evaluate(cal *Calibration, s simpleTrigger) ShotInhibits {
	in := calm()
	in.Channels[Throttle], in.Channels[Gear] = s.throttle, s.gear
	put := func(sw Switch, x truth) {
		in.Put(sw, x == yes)
		if x == unknown {
			in.Known = in.Known.With(sw, false)
		}
	}
	put(ClutchUp, s.clutch)
	put(FootBrake, s.brake)
	var v view
	v.begin(&in, cal, 0)
	v.known, v.speed, v.seq, v.hold = s.known, s.speed, s.seq, s.hold
	v.judge(s.known)
	return v.triggers(s.sh, s.since, &triggerInput{held: s.held, target: s.ceiling, rise: s.rise, open: s.open, cutAgo: s.cutAgo})
}
