package controller

import "math/bits"

// truth is the value of a condition whose inputs may be lost.
type truth uint8

const (
	no truth = iota
	unknown
	yes
)

func truthOf(b bool) truth {
	if b {
		return yes
	}
	return no
}

// view is what one tick knows after its inputs have been judged. It is built
// once a tick and read by everything after.
type view struct {
	in    *Input
	cal   *Calibration
	dt    uint32
	ok    ChannelSet // fitted, good, in range and young enough
	lost  ChannelSet // fitted but not ok
	on    SwitchSet  // fitted, known and on
	blind SwitchSet  // fitted and not known
	speed Speed
	known bool // engine speed is good or cranking
	seq   SequenceState
	since int32 // ms since release

	hold    truth // of the hold input
	shut    truth // throttle closed
	open    truth // throttle at least the launch minimum
	flowing bool  // oxidiser can be in the engine (state of the tick before)

	trim    Speed
	start   Speed // lowest ceiling in force at the tick before
	shutFor bool  // the throttle has been closed long enough to end a kept stage

	rises [Both + 1]Speed // how far speed rises within the delay of a medium,
	risen uint8           // bit m: known for medium m
	ramp  int32           // road speed that a rate-limited ramp believes, mm/s
}

// begin takes what a tick is called with and judges its switches; its channels are
// judged later.
func (v *view) begin(in *Input, cal *Calibration, dt uint32) {
	v.in, v.cal, v.dt = in, cal, dt
	v.on, v.blind = cal.Switches&in.Known&in.On, cal.Switches&^in.Known
}

// switchState reads one switch; one that is not fitted reads off.
func (v *view) switchState(sw Switch) truth {
	switch {
	case v.on.Has(sw):
		return yes
	case v.blind.Has(sw):
		return unknown
	}
	return no
}

// value reads one channel, or the time since release.
func (v *view) value(c Channel) (int32, bool) {
	if c >= NumChannels {
		return v.since, true
	}
	return v.in.Channels[c].Value, v.ok.Has(c)
}

// fits reports whether a sample is in the range that its sensor can give, and
// young enough. Both ends of the range are one comparison.
func (c *ChannelSpec) fits(s Sample) bool {
	return uint32(s.Value-c.Low) <= c.span && uint32(s.Age) <= c.age
}

// judge says which channels can be trusted in this tick. Engine speed has a rule
// of its own.
func (v *view) judge(speedKnown bool) {
	good := ChannelSet(0)
	specs, samples := &v.cal.Channels, &v.in.Channels
	for left := v.cal.fitted &^ (1 << EngineSpeed); left != 0; left &= left - 1 {
		c := bits.TrailingZeros32(uint32(left))
		if c >= int(NumChannels) {
			break
		}
		if s := samples[c]; s.Good && specs[c].fits(s) {
			good |= left & -left
		}
	}
	if speedKnown {
		good |= 1 << EngineSpeed
	}
	v.ok = good
	v.lost = v.cal.fitted &^ good
}

// term evaluates one comparison.
func (v *view) term(t *Term) truth {
	switch t.Kind {
	case SwitchOn:
		return v.switchState(t.Switch)
	case SwitchOff:
		return yes - v.switchState(t.Switch)
	case SequenceIn:
		return truthOf(t.States>>v.seq&1 != 0)
	case Within:
		x, ok := v.value(t.Channel)
		if !ok {
			return unknown
		}
		return truthOf(t.Low <= x && x <= t.High)
	}
	return yes
}

// condition evaluates the condition of a stage.
func (v *view) condition(st *Stage) truth {
	if st.t.plain {
		return v.switches(st.t.on, st.t.off)
	}
	return v.terms(&st.When)
}

// switches tells whether some switches are on and others off; one that is not
// known counts where none that is speaks against it.
func (v *view) switches(on, off SwitchSet) truth {
	switch {
	case on&^(v.on|v.blind) != 0 || off&v.on != 0:
		return no
	case (on|off)&v.blind != 0:
		return unknown
	}
	return yes
}

// terms evaluates all and any, one by one.
func (v *view) terms(c *Condition) truth {
	result := yes
	for i := range c.All {
		if c.All[i].Kind == NoTerm {
			break
		}
		result = min(result, v.term(&c.All[i]))
	}
	if c.Any[0].Kind == NoTerm || result == no {
		return result
	}
	any := no
	for i := range c.Any {
		if c.Any[i].Kind == NoTerm {
			break
		}
		any = max(any, v.term(&c.Any[i]))
	}
	return min(result, any)
}

// curve gives a constant or a table's value; ok is false where an axis of the
// table is lost, and the value is then the table's lowest cell. Where ramped, a
// driven wheel is believed only at its rate-limited speed.
func (v *view) curve(c Curve, ramped bool) (value int32, ok bool) {
	if c.Table == 0 {
		return c.Const, true
	}
	t := &v.cal.Tables[(c.Table-1)%MaxTables]
	x, okX := v.value(t.Columns.Channel)
	y, okY := v.value(t.Rows.Channel)
	if !okX || t.Rows.N > 0 && !okY {
		return t.lowest, false
	}
	if ramped {
		x, y = v.believed(t.Columns.Channel, x), v.believed(t.Rows.Channel, y)
	}
	return t.at(x, y), true
}

// believed limits a value of a driven wheel to what the ramp believes.
func (v *view) believed(c Channel, x int32) int32 {
	if c < NumChannels && v.cal.Channels[c].Driven {
		return min(x, v.ramp)
	}
	return x
}
