package fit

import (
	"bytes"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/holdline/holdline/controller"
	"github.com/holdline/holdline/harness"
	"github.com/holdline/holdline/harness/files"
	"github.com/holdline/holdline/harness/scenario"
	"github.com/holdline/holdline/sim"
)

// made is a log of ms ticks that a function fills in.
func made(seconds float64, fill func(t float64, l *Log)) *Log {
	l := &Log{PeriodUS: 1000, Every: 10}
	for i := range int(seconds * 1000) {
		for k := range l.Values {
			l.Values[k] = append(l.Values[k], math.NaN())
		}
		l.Throttle, l.On, l.Gear = append(l.Throttle, 0), append(l.On, 0), append(l.Gear, 0)
		fill(float64(i)/1000, l)
	}
	return l
}

func (l *Log) put(throttle controller.Ratio, held bool, speed, road float64) {
	n := len(l.On) - 1
	l.Throttle[n], l.Values[0][n], l.Values[1][n] = throttle, speed, road
	l.On[n] = l.On[n].With(controller.TransBrake, held)
}

func heronCal(t *testing.T) *controller.Calibration {
	cal, findings := files.LoadCalibration("../../examples/calibrations/iron-heron.toml")
	require.False(t, findings.Failed())
	return cal
}

// The window goes from before the throttle opens to the first upshift, also where
// the log has no gear channel.
func TestWindowEndsAtTheShift(t *testing.T) {
	cal := heronCal(t)
	l := made(8, func(s float64, l *Log) {
		switch {
		case s < 1:
			l.put(0, true, 1500, 0)
		case s < 3:
			l.put(controller.One, true, 3800, 0)
		case s < 5.5:
			l.put(controller.One, false, 3800+1000*(s-3), 10*(s-3))
		default:
			l.put(controller.One, false, 4000+600*(s-5.5), 25+3*(s-5.5))
		}
	})
	w, err := l.launchWindow(cal)
	require.NoError(t, err)
	assert.Equal(t, 3000, w.release)
	assert.InDelta(t, 400, w.from, 2)
	assert.InDelta(t, 5500-250, w.to, 5)
}

func TestNoLaunchSaysWhy(t *testing.T) {
	cal := heronCal(t)
	var none *NoLaunchError
	_, err := made(3, func(s float64, l *Log) { l.put(controller.One, true, 3000, 0) }).launchWindow(cal)
	require.ErrorAs(t, err, &none)
	assert.ErrorContains(t, err, "nowhere is the launch device let go")
	_, err = made(3, func(s float64, l *Log) {
		l.put(map[bool]controller.Ratio{true: controller.One, false: 0}[s < 2.2], s < 2, 3000, 0)
	}).launchWindow(cal)
	require.ErrorAs(t, err, &none)
	assert.ErrorContains(t, err, "too short")
}

// Gears of a made-up car: engine speed is road speed times overall ratio over tyre
// radius (kinematics).
func TestRatiosOfAKnownCar(t *testing.T) {
	const radius = 0.31
	overall := []float64{13.2, 7.6, 5.1}
	l := made(60, func(s float64, l *Log) {
		v := 5 + 10*math.Mod(s, 20)/20 + 0.02*math.Sin(40*s)
		g := overall[int(s)/20]
		l.put(controller.One/2, false, v*g/radius*30/math.Pi+8*math.Sin(70*s), v)
	})
	list := l.Ratios(radius)
	require.Len(t, list, 3)
	for i, g := range overall {
		assert.InEpsilon(t, g, list[i].Overall, 0.01)
		assert.LessOrEqual(t, list[i].Low, list[i].RPM)
		assert.GreaterOrEqual(t, list[i].High, list[i].RPM)
	}
}

// Slowing down at a known rate, each stretch once.
func TestSlowingOfAKnownCar(t *testing.T) {
	l := made(60, func(s float64, l *Log) {
		phase := math.Mod(s, 10)
		if phase < 5 {
			l.put(controller.One/2, false, 2000, 15)
			return
		}
		l.put(0, false, 1200, 15-0.6*(phase-5))
	})
	d := l.Slowing()
	require.NotNil(t, d)
	assert.InDelta(t, 0.6, d.At, 0.001)
	assert.Equal(t, 6, d.N)
	assert.Nil(t, made(10, func(s float64, l *Log) { l.put(0, false, 1000, 20-s/10) }).Slowing(), "one stretch says nothing of scatter")
}

// The real recording that ships (carOBD, E. B. Araujo 2019) tells gears and how the
// car slows down, and nothing more.
func TestRealRecordingTellsNoMore(t *testing.T) {
	cal, findings := files.LoadCalibration("../../examples/calibrations/street-four.toml")
	require.False(t, findings.Failed())
	r, findings := scenario.LoadReplay(cal, "../../examples/recordings/obd-drive-1hz.csv", "../../examples/columns/obd-drive.toml", scenario.ReplayOptions{From: 0, To: 2700})
	require.False(t, findings.Failed(), findings)
	l, err := ReadLog(r, cal, nil)
	require.NoError(t, err)
	rep := Driving(l, 0.3)
	assert.Empty(t, rep.Estimates)
	require.NotEmpty(t, rep.Ratios)
	require.NotNil(t, rep.Drag)
	for i, g := range rep.Ratios {
		assert.Greater(t, g.Overall, 2.0)
		assert.Less(t, g.Overall, 20.0, "no gear of a passenger car is lower (common practice)")
		if i > 0 {
			assert.Greater(t, rep.Ratios[i-1].RPM/g.RPM, 1.15, "gears stand apart")
		}
	}
	_, err = Launch(t.Context(), Question{Log: l, Cal: cal})
	var none *NoLaunchError
	require.ErrorAs(t, err, &none)
	var text bytes.Buffer
	rep.Print(&text)
	narrow(t, text.String())
	assert.True(t, strings.Contains(text.String(), "not told"))
}

// The travel of a clutch pedal is named with its two ends, in either direction; what
// is wrong with it is said.
func TestTravelOfTheClutch(t *testing.T) {
	for _, c := range []struct {
		text  string
		raw   int32
		share float64
	}{
		{"user-a:700:200", 800, 0}, {"user-a:700:200", 400, 0.6}, {"user-a:700:200", 200, 1}, {"user-a:700:200", -100, 1},
		{"user-d:0:-100", 0, 0}, {"user-d:0:-100", -25, 0.25}, {"user-d:0:-100", -100, 1},
		{"user-b:2147483647:-2147483648", -1, 0.5}, // as far apart as they can be
	} {
		tr, err := ParseTravel(c.text)
		require.NoError(t, err)
		assert.InDelta(t, c.share, tr.share(c.raw), 1e-9, "%+v", c)
	}
	for text, want := range map[string]string{
		"user-a": "want CHANNEL:FREE:HOLDS", "throttle:1:2": "no free channel", "user-x:1:2": "no free channel",
		"user-b:1:1": "two different whole numbers", "user-b:a:1": "two different whole numbers", "user-b:1:99999999999": "two different whole numbers",
	} {
		_, err := ParseTravel(text)
		require.ErrorContains(t, err, want)
	}
	_, err := ReadLog(nil, &controller.Calibration{}, &Travel{Channel: controller.UserA, Holds: 1})
	assert.ErrorContains(t, err, "does not declare as fitted")
	for share, want := range map[float64]controller.Ratio{0: 7000, 0.5: 4500, 1: 0, 1.2: 0, -1: 7000} {
		assert.Equal(t, want, harness.PedalFor(share))
	}
}

// However far a search goes, what it tries is a car.
func TestEveryStepIsACar(t *testing.T) {
	for _, path := range []string{heron, mare} {
		_, j, _ := recorded(t, path, 1, 50, nil)
		for _, factor := range []float64{0.45, 2.3} {
			car := j.Launch.Model.Car()
			for _, p := range parametersOf(&car) {
				p.put(&car, factor)
			}
			_, bad := sim.Compile(car)
			assert.Empty(t, bad, "%s, factor %v", path, factor)
		}
	}
}
