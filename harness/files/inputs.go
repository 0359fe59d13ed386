package files

import (
	"math"
	"strings"

	"github.com/holdline/holdline/controller"
	"github.com/holdline/holdline/harness"
)

// The moments of Inputs. A state of the launch sequence has its own number, a
// kind of stage and a shot are counted from these.
const (
	stageMoments = 16 // plus controller.StageKind: a stage of the kind is active
	shotMoments  = 32 // plus the index of a shot: it is open
)

// Inputs is the vocabulary in which phrases script a controller's inputs.
// Switches and channels have the IDs controller.Switch and controller.Channel,
// and their stable names in plain words; the time since release can only be
// asked for. What the moments mean is told by MomentHolds.
func Inputs() *Vocabulary { return inputs }

var inputs = &Vocabulary{Switches: inputSwitches(), Channels: inputChannels(), Moments: inputMoments()}

// shortNames are what people say at the track.
var shortNames = map[string]string{
	"clutch-down":         "clutch",
	"burnout-button":      "burnout",
	"shift-button":        "shift",
	"manifold-pressure":   "boost",
	"engine-speed":        "rpm",
	"coolant-temperature": "coolant",
	"supply-voltage":      "voltage",
}

// spoken gives a stable name in plain words, and what else it is called.
func spoken(name string) (plain string, aliases []string) {
	plain = strings.ReplaceAll(name, "-", " ")
	switch {
	case name == "trans-brake":
		plain, aliases = name, []string{"trans brake"}
	case strings.HasPrefix(name, "after-"): // "after" alone is a word of the grammar
		plain = name
	case plain != name:
		aliases = []string{name}
	}
	if short := shortNames[name]; short != "" {
		aliases = append(aliases, short)
	}
	return plain, aliases
}

func inputSwitches() []Switch {
	var list []Switch
	for i, name := range harness.Switches {
		plain, aliases := spoken(name)
		list = append(list, Switch{ID: i, Name: plain, Aliases: aliases})
	}
	return list
}

func inputChannels() []Channel {
	var list []Channel
	for i, q := range harness.Channels {
		plain, aliases := spoken(q.Name)
		c := controller.Channel(i)
		list = append(list, Channel{
			ID: i, Name: plain, Aliases: aliases, Units: channelUnits(c),
			Lo: math.MinInt32, Hi: math.MaxInt32, ReadOnly: c >= controller.NumChannels,
		})
	}
	return list
}

func inputMoments() []Moment {
	var list []Moment
	for i, name := range sequenceWords() {
		m := Moment{ID: i, Name: name}
		if controller.SequenceState(i) == controller.Released {
			m = Moment{ID: i, Name: "release", Aliases: []string{name}}
		}
		list = append(list, m)
	}
	for _, k := range stageKinds {
		plain, aliases := spoken(k.Name)
		for i := range aliases {
			aliases[i] += " stage"
		}
		list = append(list, Moment{ID: stageMoments + int(k.Value), Name: plain + " stage", Aliases: aliases})
	}
	for i := range controller.MaxShots {
		list = append(list, Moment{ID: shotMoments + i, Name: "shot " + string(rune('1'+i))})
	}
	return list
}

// MomentHolds answers for a moment of Inputs from the last output of the
// controller: "held" and the other states of the launch sequence hold in that
// state ("release" and "released" from the first tick of release until the
// launch ends), "launch stage" while a stage of that kind is active, "shot 1"
// while that shot is open.
func MomentHolds(id int, cal *controller.Calibration, last *controller.Output) bool {
	switch {
	case id >= shotMoments:
		return id < shotMoments+controller.MaxShots && last.Shots[id-shotMoments].Phase == controller.ShotOpen
	case id > stageMoments:
		for i := range cal.Stages {
			if int(cal.Stages[i].Kind) == id-stageMoments && last.Active>>i&1 != 0 {
				return true
			}
		}
		return false
	}
	return id >= 0 && last.Sequence == controller.SequenceState(id)
}
