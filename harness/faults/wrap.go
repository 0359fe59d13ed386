package faults

import (
	"fmt"
	"math/rand/v2"

	"github.com/holdline/holdline/controller"
	"github.com/holdline/holdline/harness"
	"github.com/holdline/holdline/harness/files"
)

// CrankDisturber is a stimulus or a unit that has a crank wheel whose teeth can
// be disturbed: a simulated car, a rig, a bench that feeds one. Its method has
// plain types, so that whoever has a wheel need not know this package.
type CrankDisturber interface {
	// DisturbCrank takes a fault before the run: kind is "tooth-missing",
	// "tooth-extra" (one in every so long, on average) or "tooth-noise" (teeth
	// up to so many degrees early or late), from a time until another, 0 being
	// the end of the run. An error says that it cannot be given.
	DisturbCrank(kind string, from, until, every controller.Duration, degrees float64, seed uint64) error
}

// Wrap gives a stimulus and a unit with the faults between them. Either may come
// back as it was given. An error says which fault cannot be given, and why.
func Wrap(stim harness.Stimulus, u harness.Unit, cal *controller.Calibration, seed uint64, list []Fault) (harness.Stimulus, harness.Unit, error) {
	outer, inputs := &stimulus{inner: stim, period: cal.Period}, 0
	around := &unit{inner: u}
	for i, f := range list {
		if err := f.check(cal); err != nil {
			return nil, nil, err
		}
		rng := rand.New(rand.NewPCG(seed, uint64(i)+1))
		switch kinds[f.Kind].target {
		case onUnit:
			around.faults = append(around.faults, &own{Fault: f})
		case onCrank:
			if err := disturbCrank(stim, u, f, seed+uint64(i)); err != nil {
				return nil, nil, err
			}
		default:
			inputs++
			outer.faults = append(outer.faults, &input{Fault: f, cal: cal, rng: rng})
		}
	}
	if inputs > 0 {
		stim = outer
	}
	if len(around.faults) > 0 {
		u = around
	}
	return stim, u, nil
}

func disturbCrank(stim harness.Stimulus, u harness.Unit, f Fault, seed uint64) error {
	for _, x := range []any{u, stim} {
		d, ok := x.(CrankDisturber)
		if !ok {
			continue
		}
		until := controller.Duration(0)
		if f.For > 0 {
			until = f.From + f.For
		}
		if err := d.DisturbCrank(f.Kind.String(), f.From, until, f.Time, float64(f.Amount)/1000, seed); err != nil {
			return fmt.Errorf("fault %s: %w", f, err)
		}
		return nil
	}
	return fmt.Errorf("fault %s: neither unit nor stimulus has a crank wheel: commits reach this unit without teeth", f)
}

// Fields describes one fault in a file: use it as
// files.Tables(b, files.Slice(&list), "fault", faults.Fields).
func Fields(b *files.Block, f *Fault) {
	files.Enum(b, &f.Kind, "kind", kindWords)
	files.Enum(b, &f.Channel, "channel", channelWords, files.Optional(), files.Doc("of a sensor fault; engine-speed if not given"))
	files.Enum(b, &f.Other, "with", channelWords, files.Optional(), files.Doc("the second channel of swapped"))
	files.Enum(b, &f.Switch, "switch", switchWords, files.Optional(), files.Doc("of a switch fault"))
	files.Int(b, &f.From, "at_s", files.SecondsInUs, files.Range(0, 2000), files.Default(0))
	files.Int(b, &f.For, "for_s", files.SecondsInUs, files.Range(0, 2000), files.Default(0), files.Doc("0: to the end"))
	files.Int(b, &f.Amount, "amount", files.Scale{Mul: 1000}, files.Range(-2000000, 2000000), files.Default(0), files.Doc("in the channel's unit; see the kind"))
	files.Int(b, &f.Time, "time_s", files.SecondsInUs, files.Range(0, 2000), files.Default(0), files.Doc("see the kind"))
}

var kindWords = func() (ws files.Words[Kind]) {
	for _, k := range Kinds() {
		ws = append(ws, files.Means(k.String(), k, k.Doc()))
	}
	return ws
}()

var channelWords = func() (ws files.Words[controller.Channel]) {
	for c := range controller.NumChannels {
		ws = append(ws, files.Means(harness.Channels[c].Name, c, harness.Channels[c].Unit))
	}
	return ws
}()

var switchWords = func() (ws files.Words[controller.Switch]) {
	for s := range controller.NumSwitches {
		ws = append(ws, files.Means(harness.Switches[s], s, ""))
	}
	return ws
}()
