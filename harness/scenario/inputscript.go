package scenario

import (
	"github.com/holdline/holdline/controller"
	"github.com/holdline/holdline/harness/files"
)

// inputScript sets the inputs that a recording lacks: constants, then phrases.
// It implements record.Scripted, and files.Present for the conditions of the
// phrases.
type inputScript struct {
	cal     *controller.Calibration
	cols    *files.Columns
	players []*files.Player
	in      *controller.Input
	last    *controller.Output
}

func newInputScript(cal *controller.Calibration, cols *files.Columns, scripts []*files.Script) *inputScript {
	s := &inputScript{cal: cal, cols: cols}
	for _, script := range scripts {
		if len(script.Actions) > 0 {
			s.players = append(s.players, files.NewPlayer(script, nil))
		}
	}
	return s
}

// Set implements record.Scripted. A switch that a phrase names and that is not
// in force now reads off.
func (s *inputScript) Set(tUS int64, in *controller.Input, last *controller.Output) {
	s.in, s.last = in, last
	s.cols.Constants(in)
	for _, p := range s.players {
		p.Tick(tUS, s)
		for _, o := range p.Outputs() {
			s.put(o)
		}
	}
}

func (s *inputScript) put(o files.Output) {
	switch {
	case o.Target.Kind == files.SwitchTarget && (o.Scripted || !s.in.Known.Has(controller.Switch(o.Target.ID))):
		s.in.Put(controller.Switch(o.Target.ID), o.On && o.Scripted)
	case o.Target.Kind == files.ChannelTarget && o.Scripted:
		s.in.Set(controller.Channel(o.Target.ID), int32(o.Value))
	}
}

// Switch implements files.Present.
func (s *inputScript) Switch(id int) bool {
	sw := controller.Switch(id)
	return s.in.Known.Has(sw) && s.in.On.Has(sw)
}

// Channel implements files.Present.
func (s *inputScript) Channel(id int) (int64, bool) {
	if c := controller.Channel(id); c < controller.NumChannels {
		x := s.in.Channels[c]
		return int64(x.Value), x.Good
	}
	millis := int64(s.last.SinceRelease) * int64(s.cal.Period) / int64(controller.Millisecond)
	return millis, s.last.Sequence == controller.Released
}

// Moment implements files.Present.
func (s *inputScript) Moment(id int) bool { return files.MomentHolds(id, s.cal, s.last) }

// supplies says which inputs the script and the constants can set.
func (s *inputScript) supplies() (channels controller.ChannelSet, switches controller.SwitchSet) {
	for _, c := range s.cols.Channels {
		if c.HasConstant {
			channels |= 1 << c.Channel
		}
	}
	for _, p := range s.players {
		for _, o := range p.Outputs() {
			if o.Target.Kind == files.SwitchTarget {
				switches |= 1 << controller.Switch(o.Target.ID)
			} else {
				channels |= 1 << controller.Channel(o.Target.ID)
			}
		}
	}
	return channels, switches
}
