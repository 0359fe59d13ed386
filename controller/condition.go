package controller

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
	speed Speed
	known bool // engine speed is good or cranking
	seq   SequenceState
	since int32 // ms since release

	hold    truth // of the hold input
	shut    truth // throttle closed
	open    truth // throttle at least the launch minimum
	flowing bool  // oxidiser can be in the engine (state of the tick before)
}

// switchState reads one switch; one that is not fitted reads off.
func (v *view) switchState(sw Switch) truth {
	if !v.cal.Switches.Has(sw) {
		return no
	}
	if !v.in.Known.Has(sw) {
		return unknown
	}
	return truthOf(v.in.On.Has(sw))
}

// value reads one channel, or the time since release.
func (v *view) value(c Channel) (int32, bool) {
	if c >= NumChannels {
		return v.since, true
	}
	return v.in.Channels[c].Value, v.ok.Has(c)
}

// judge says which channels can be trusted in this tick.
func (v *view) judge(speedKnown bool) {
	for c := range NumChannels {
		spec := &v.cal.Channels[c]
		if !spec.Fitted {
			continue
		}
		s := &v.in.Channels[c]
		good := s.Good && s.Value >= spec.Low && s.Value <= spec.High
		if c == EngineSpeed {
			good = speedKnown
		} else {
			good = good && uint32(s.Age) <= spec.age
		}
		if good {
			v.ok |= 1 << c
		} else {
			v.lost |= 1 << c
		}
	}
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

// condition evaluates all and any.
func (v *view) condition(c *Condition) truth {
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
// table is lost, and the value is then the table's lowest cell.
func (v *view) curve(c Curve) (value int32, ok bool) {
	if c.Table == 0 {
		return c.Const, true
	}
	t := &v.cal.Tables[(c.Table-1)%MaxTables]
	x, okX := v.value(t.Columns.Channel)
	y, okY := v.value(t.Rows.Channel)
	if !okX || t.Rows.N > 0 && !okY {
		return t.lowest, false
	}
	return t.at(x, y), true
}
