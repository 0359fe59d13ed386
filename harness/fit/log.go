package fit

import (
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"

	"github.com/holdline/holdline/controller"
	"github.com/holdline/holdline/harness"
	"github.com/holdline/holdline/harness/scenario"
)

// Signals that are compared, in order.
var compared = [...]controller.Channel{controller.EngineSpeed, controller.RoadSpeedMain, controller.RoadSpeedOther, controller.ManifoldPressure}

// scales are what a residual of each is first divided by: rpm, m/s, m/s, kPa.
var scales = [...]float64{60, 0.3, 0.4, 4}

// Log is a recording on the ticks of a calibration: what the driver did, and what
// was measured.
type Log struct {
	PeriodUS int64
	Every    int // ticks between two samples
	Throttle []controller.Ratio
	On       []controller.SwitchSet
	Gear     []int8    // 0: not recorded
	Clutch   []float64 // share of its capacity that the pedal lets it have, 0 to 1; nil: not recorded
	Values   [len(compared)][]float64
	Notes    []string
}

// Travel says in which free channel of a recording the clutch pedal's travel is, and
// at which of its raw values the clutch is free, and holds all that it can. In
// between it is taken to go straight.
type Travel struct {
	Channel     controller.Channel
	Free, Holds int32
}

// ParseTravel reads CHANNEL:FREE:HOLDS, such as user-a:700:200.
func ParseTravel(text string) (*Travel, error) {
	part := strings.Split(text, ":")
	if len(part) != 3 {
		return nil, fmt.Errorf("clutch travel %q: want CHANNEL:FREE:HOLDS, such as user-a:700:200", text)
	}
	c, ok := harness.ChannelNamed(part[0])
	if !ok || c < controller.UserA || c > controller.UserD {
		return nil, fmt.Errorf("clutch travel %q: %q is no free channel: take one of user-a to user-d, and feed it in the columns file", text, part[0])
	}
	free, err1 := strconv.ParseInt(part[1], 10, 32)
	holds, err2 := strconv.ParseInt(part[2], 10, 32)
	if err1 != nil || err2 != nil || free == holds {
		return nil, fmt.Errorf("clutch travel %q: FREE and HOLDS are two different whole numbers, the channel's raw values", text)
	}
	return &Travel{c, int32(free), int32(holds)}, nil
}

// share is how much of its capacity the clutch has at a raw value.
func (t *Travel) share(raw int32) float64 {
	return min(max((float64(raw)-float64(t.Free))/(float64(t.Holds)-float64(t.Free)), 0), 1)
}

// slowest is the sampling interval above which a launch cannot be fitted, s.
const slowest = 0.12

// ReadLog takes a recording tick by tick. travel is nil where it has no clutch
// travel.
func ReadLog(r *scenario.Replay, cal *controller.Calibration, travel *Travel) (*Log, error) {
	if travel != nil && !cal.Channels[travel.Channel].Fitted {
		return nil, fmt.Errorf("the clutch's travel is to come from %s, which the calibration does not declare as fitted: add [channel.%[1]s] to it", harness.Channels[travel.Channel].Name)
	}
	l := &Log{PeriodUS: int64(cal.Period), Notes: r.Notes}
	interval := r.Recording.IntervalUS
	l.Every = int(max(interval, 10_000) / l.PeriodUS)
	stim, unit := r.Stimulus(), &harness.Reference{}
	if _, err := unit.Open(harness.Session{Calibration: cal}); err != nil {
		return nil, err
	}
	f := &harness.Frame{}
	for {
		err := stim.Next(f)
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return nil, err
		}
		if !f.EventsOnly {
			l.add(&f.In, travel)
		}
		if err := unit.Step(f); err != nil {
			return nil, err
		}
		if err := stim.Apply(f); err != nil {
			return nil, err
		}
	}
	if len(l.Throttle) == 0 {
		return nil, errors.New("the recording holds no tick between its times")
	}
	return l, nil
}

func (l *Log) add(in *controller.Input, travel *Travel) {
	throttle := controller.Ratio(0)
	if s := in.Channels[controller.Throttle]; s.Good {
		throttle = controller.Ratio(s.Value)
	} else if n := len(l.Throttle); n > 0 {
		throttle = l.Throttle[n-1]
	}
	gear := int8(0)
	if s := in.Channels[controller.Gear]; s.Good {
		gear = int8(s.Value)
	}
	l.Throttle, l.On, l.Gear = append(l.Throttle, throttle), append(l.On, in.On&in.Known), append(l.Gear, gear)
	if travel != nil {
		share := 0.0
		if s := in.Channels[travel.Channel]; s.Good {
			share = travel.share(s.Value)
		} else if n := len(l.Clutch); n > 0 {
			share = l.Clutch[n-1]
		}
		l.Clutch = append(l.Clutch, share)
	}
	for i, c := range compared {
		v := math.NaN()
		if s := in.Channels[c]; s.Good {
			v = harness.Channels[c].Units(s.Value)
		}
		l.Values[i] = append(l.Values[i], v)
	}
}

// at gives a slice's value at a tick, the ends standing beyond them.
func at[T any](list []T, tick int) T { return list[min(max(tick, 0), len(list)-1)] }

// NoLaunchError says why a recording has no launch that can be fitted.
type NoLaunchError struct{ Why string }

// Error implements error.
func (e *NoLaunchError) Error() string { return "no launch was fitted: " + e.Why }

func noLaunch(format string, args ...any) error { return &NoLaunchError{fmt.Sprintf(format, args...)} }

// window is the part of a log that is compared.
type window struct {
	from, release, to int // ticks
}

// Times around a launch, s.
const (
	before     = 0.6 // before the throttle opens
	longestRun = 4.5 // after release
)

// An upshift that a log without a gear channel shows: engine speed falls by more
// than this share within a moment, while the car rolls.
const (
	shiftTime  = 0.25 // s
	shiftFall  = 0.12
	shiftAbove = 8 // m/s
)

func (l *Log) shifted(t, moment int) bool {
	v := at(l.Values[1], t)
	if math.IsNaN(v) {
		v = at(l.Values[2], t)
	}
	return v > shiftAbove && at(l.Values[0], t) < (1-shiftFall)*at(l.Values[0], t-moment)
}

// launchWindow finds the launch: the last let-go with an open throttle before the
// car moves, up to the first gear change, a lift, or some seconds.
func (l *Log) launchWindow(cal *controller.Calibration) (w window, err error) {
	hold := controller.TransBrake
	switch cal.Sequence.Hold {
	case controller.HoldClutch:
		hold = controller.ClutchDown
	case controller.HoldFootBrake:
		hold = controller.FootBrake
	case controller.HoldTransBrake:
	default:
		return w, noLaunch("the calibration has no switch that holds the car")
	}
	w.release = -1
	for t := 1; t < len(l.On); t++ {
		if l.On[t-1].Has(hold) && !l.On[t].Has(hold) && l.Throttle[t] >= 60*controller.Percent {
			w.release = t
		}
	}
	if w.release < 0 {
		return w, noLaunch("nowhere is the launch device let go with the throttle open; script its switch in the columns file if the log has none")
	}
	seconds := func(s float64) int { return int(s * 1e6 / float64(l.PeriodUS)) }
	w.from = w.release
	for w.from > 0 && l.Throttle[w.from-1] >= 20*controller.Percent {
		w.from--
	}
	w.from = max(w.from-seconds(before), 0)
	w.to = min(w.release+seconds(longestRun), len(l.On))
	for t := w.release; t < w.to; t++ {
		if l.Throttle[t] < 50*controller.Percent || at(l.Gear, t) != at(l.Gear, w.release) && l.Gear[t] > 0 || l.shifted(t, seconds(shiftTime)) {
			w.to = t - seconds(shiftTime)
			break
		}
	}
	if w.to-w.release < seconds(0.8) {
		return w, noLaunch("it is too short: less than 0.8 s in first gear at open throttle")
	}
	return w, nil
}
