package controller

import (
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
)

// planted makes a fault of what is done before and after the real step.
func planted(before func(p *powerState, cal *Calibration, in *powerInput), after func(old *powerState, extra *uint8, cal *Calibration, in *powerInput, w *walked)) walkStep {
	return func(p *powerState, extra *uint8, cal *Calibration, in *powerInput) walked {
		old, changed := *p, *in
		if before != nil {
			before(p, cal, &changed)
		}
		w := realStep(p, extra, cal, &changed)
		if after != nil {
			after(&old, extra, cal, in, &w)
		}
		return w
	}
}

func beforeStep(f func(p *powerState, cal *Calibration, in *powerInput)) walkStep {
	return planted(f, nil)
}

func afterStep(f func(old *powerState, extra *uint8, cal *Calibration, in *powerInput, w *walked)) walkStep {
	return planted(nil, f)
}

// leading marks the faults that only a car with leads, tails and one opening a
// hold can show.
var leading = regexp.MustCompile("lead|with the|same hold|a shot's|a tick early")

// Every rule has a mistake that people make, and the walk finds it.
func TestWalkFindsPlantedFaults(t *testing.T) {
	faults := []struct {
		rule, what string
		step       walkStep
	}{
		{"A1", "arm is not wanted off first", beforeStep(func(p *powerState, _ *Calibration, in *powerInput) {
			p.offSeen = p.offSeen || p.faults == 0 && in.arm == yes
		})},
		{"A1", "master follows the arm switch alone", afterStep(func(_ *powerState, _ *uint8, _ *Calibration, in *powerInput, w *walked) {
			w.master = in.arm == yes
		})},
		{"A2", "standing interlocks need no time", beforeStep(func(p *powerState, cal *Calibration, _ *powerInput) {
			p.steady = uint16(cal.Standing.t.qualify)
		})},
		{"A2", "trigger interlocks need no time", beforeStep(func(p *powerState, cal *Calibration, _ *powerInput) {
			for i := range p.shots {
				p.shots[i].trigger = uint16(cal.Shots[i].t.trigger)
			}
		})},
		{"A2", "the trigger count is not reset", func() walkStep {
			return func(p *powerState, extra *uint8, cal *Calibration, in *powerInput) walked {
				old := *p
				w := realStep(p, extra, cal, in)
				for i := range p.shots {
					p.shots[i].trigger = max(p.shots[i].trigger, old.shots[i].trigger)
				}
				return w
			}
		}()},
		{"A3", "closes one tick after the loss", afterStep(func(old *powerState, _ *uint8, cal *Calibration, _ *powerInput, w *walked) {
			for i := range cal.shots {
				if old.shots[i].phase == ShotOpen && w.master && w.shots[i].Inhibits&(ShotThrottle|ShotOrder) == 0 {
					w.shots[i].Duty = max(w.shots[i].Duty, 1)
					w.shots[i].FuelDuty = max(w.shots[i].FuelDuty, 1)
					w.shots[i].Phase = ShotOpen
				}
			}
		})},
		{"A3", "no re-arm time", beforeStep(func(p *powerState, cal *Calibration, _ *powerInput) {
			for i := range p.shots {
				p.shots[i].rearm = cal.Shots[i].t.rearm
			}
		})},
		{"A3", "a range loss does not latch", beforeStep(func(p *powerState, _ *Calibration, _ *powerInput) { p.outFor = 0 })},
		{"A1", "a fault clears without the arm switch", func(p *powerState, extra *uint8, cal *Calibration, in *powerInput) walked {
			w := realStep(p, extra, cal, in)
			p.faults, p.offSeen = 0, p.offSeen || p.faults != 0
			return w
		}},
		{"A3", "feedback is not looked at", beforeStep(func(_ *powerState, _ *Calibration, in *powerInput) { in.feedback = [MaxShots]truth{} })},
		{"A3", "a stuck valve loses its enrichment", afterStep(func(_ *powerState, _ *uint8, _ *Calibration, _ *powerInput, w *walked) {
			if w.faults&FaultFeedback != 0 {
				w.shots[0].Enrich = One
			}
		})},
		{"A3", "persistence is endless", beforeStep(func(p *powerState, _ *Calibration, in *powerInput) {
			if p.shots[0].phase == ShotOpen && in.trigger[1] != 0 {
				in.standing &^= ShotMixture
			}
		})},
		{"A4", "retard ends with the valve", afterStep(func(_ *powerState, _ *uint8, cal *Calibration, _ *powerInput, w *walked) {
			for i := range cal.shots {
				if w.shots[i].Phase == ShotDraining {
					w.shots[i].Retard = 0
				}
			}
		})},
		{"A4", "no lead", beforeStep(func(p *powerState, cal *Calibration, _ *powerInput) {
			for i := range p.shots {
				if p.shots[i].phase == ShotLeading {
					p.shots[i].timer = uint16(cal.Shots[i].t.lead)
				}
			}
		})},
		{"A4", "the tail is forgotten when flow ends", afterStep(func(old *powerState, _ *uint8, cal *Calibration, _ *powerInput, w *walked) {
			for i := range cal.shots {
				if old.shots[i].phase == ShotDraining && uint32(old.shots[i].timer) >= cal.Shots[i].t.flow {
					w.shots[i].Retard = 0
				}
			}
		})},
		{"A4", "the tail runs on in a stopped engine", beforeStep(func(_ *powerState, _ *Calibration, in *powerInput) { in.turned = 1 })},
		{"A5", "opens again in the same hold", beforeStep(func(p *powerState, _ *Calibration, _ *powerInput) {
			for i := range p.shots {
				p.shots[i].used = false
			}
		})},
		{"A6", "a shot's open time is not counted", beforeStep(func(p *powerState, _ *Calibration, _ *powerInput) {
			for i := range p.shots {
				p.shots[i].open = 0
			}
		})},
		{"A6", "the open time of all is not counted", beforeStep(func(p *powerState, _ *Calibration, _ *powerInput) { p.openAll = 0 })},
		{"A6", "totals reset while the car moves", beforeStep(func(_ *powerState, _ *Calibration, in *powerInput) { in.standstill = true })},
		{"A6", "no cool-down", beforeStep(func(p *powerState, cal *Calibration, _ *powerInput) { p.closed = cal.Standing.t.coolDown })},
		{"A7", "duty while draining", afterStep(func(_ *powerState, _ *uint8, _ *Calibration, _ *powerInput, w *walked) {
			if w.shots[0].Phase == ShotDraining && w.master {
				w.shots[0].Duty = 100
			}
		})},
		{"A7", "a reopening goes on where the ramp was", afterStep(func(_ *powerState, extra *uint8, cal *Calibration, _ *powerInput, w *walked) {
			if w.shots[1].Duty == cal.Shots[1].EndDuty {
				*extra = 1
			}
			if *extra == 1 && w.shots[1].Duty > 0 {
				w.shots[1].Duty, w.shots[1].FuelDuty, w.shots[1].Retard = cal.Shots[1].EndDuty, One, cal.Shots[1].Retard
			}
		})},
		{"A8", "dry enrichment starts with the valve", afterStep(func(_ *powerState, _ *uint8, _ *Calibration, _ *powerInput, w *walked) {
			if w.shots[0].Phase == ShotLeading {
				w.shots[0].Enrich = One
			}
		})},
		{"A8", "dry enrichment ends before the last charge", afterStep(func(old *powerState, _ *uint8, _ *Calibration, _ *powerInput, w *walked) {
			if w.shots[0].Phase == ShotDraining && old.shots[0].phase == ShotDraining && w.faults == 0 {
				w.shots[0].Enrich = One
			}
		})},
		{"A8", "wet fuel starts with the oxidiser", afterStep(func(_ *powerState, _ *uint8, _ *Calibration, _ *powerInput, w *walked) {
			if w.shots[1].Phase == ShotLeading {
				w.shots[1].FuelDuty = 0
			}
		})},
		{"A8", "wet fuel is cut a tick early", afterStep(func(_ *powerState, _ *uint8, _ *Calibration, _ *powerInput, w *walked) {
			if w.shots[1].Phase == ShotDraining {
				w.shots[1].FuelDuty = 0
			}
		})},
		{"A8", "wet fuel does not follow the ramp", afterStep(func(_ *powerState, _ *uint8, cal *Calibration, _ *powerInput, w *walked) {
			w.shots[1].FuelDuty = min(w.shots[1].FuelDuty, cal.Shots[1].StartDuty)
		})},
		{"A9", "the second does not wait for the first", planted(func(_ *powerState, cal *Calibration, in *powerInput) {
			if in.trigger[0] != 0 {
				cal.Shots[1].After = 0
			}
		},
			func(_ *powerState, _ *uint8, cal *Calibration, _ *powerInput, _ *walked) { cal.Shots[1].After = 1 })},
		{"A9", "a lift does not close", beforeStep(func(_ *powerState, _ *Calibration, in *powerInput) {
			for i := range in.trigger {
				in.trigger[i] &^= ShotThrottle
			}
		})},
	}
	for _, f := range faults {
		t.Run(f.rule+" "+f.what, func(t *testing.T) {
			cal := quickCar()
			if leading.MatchString(f.what) {
				cal = walkCar(2)
			}
			r := walk(cal, walkInputs(cal), f.step)
			assert.True(t, strings.HasPrefix(r.broken, f.rule), "after %d states the walk says %q", r.states, r.broken)
		})
	}
}
