package main

import (
	"github.com/holdline/holdline/controller"
	"github.com/holdline/holdline/examples/demo"
	"github.com/holdline/holdline/harness"
	"github.com/holdline/holdline/sim"
)

// setup is what one launch of the demo is made of.
type setup struct {
	car    sim.Car
	cal    controller.Calibration
	cond   sim.Conditions
	script string
	shift  controller.Speed
	target harness.Target
}

func (s *setup) launch() *controller.Stage { return &s.cal.Stages[demo.LaunchStage] }

// choice is one way to set a car up.
type choice struct {
	name   string
	change func(*setup)
}

// comparison is a table of the demo: choices that are weighed against each
// other, and what the results say.
type comparison struct {
	title   string
	choices []choice
	lesson  func(rows []row) string
	speeds  []controller.Speed // launch ceilings: a table of 60 ft times instead, a line a choice
}

// demoCar is one car of the demo.
type demoCar struct {
	headline    string
	base        setup
	comparisons []comparison
}

// Surfaces of the demo, as factors on the tyre's friction (illustrative).
const (
	streetGrip = 1.3
	stripGrip  = 1.6
)

var surfaces = []choice{
	{"street, grip 1.3", func(s *setup) { s.cond.Grip = streetGrip }},
	{"strip, grip 1.6", func(s *setup) { s.cond.Grip = stripGrip }},
}

// stripDay is a standard day on a prepared surface.
func stripDay() sim.Conditions {
	c := sim.Standard()
	c.Grip = stripGrip
	return c
}

func demoCars() []demoCar {
	return []demoCar{turboFour(), turboEight(), plainEight()}
}

// cuts compares how a cut follows the ceiling.
func cuts(title string) comparison {
	with := func(cut func(controller.Medium) controller.Cut) func(*setup) {
		return func(s *setup) { s.launch().Cut = cut(controller.Both) }
	}
	return comparison{title: title, lesson: rippleLesson, choices: []choice{
		{"hard", with(demo.Hard)},
		{"soft, few cylinders", with(demo.Soft)},
		{"soft, spread", with(demo.Spread)},
		{"regulated, spread", with(demo.Regulated)},
	}}
}

// media compares what is withheld, with and without late ignition.
func media(title string, pressure controller.Pressure) comparison {
	with := func(m controller.Medium, late bool) func(*setup) {
		return func(s *setup) {
			s.launch().Cut.Medium = m
			if late {
				s.launch().Timing = demo.Late(20 * controller.Degree)
			}
		}
	}
	return comparison{title: title, lesson: boostLesson(pressure), choices: []choice{
		{"fuel", with(controller.Fuel, false)},
		{"spark", with(controller.Spark, false)},
		{"both", with(controller.Both, false)},
		{"fuel + late timing", with(controller.Fuel, true)},
		{"spark + late timing", with(controller.Spark, true)},
		{"both + late timing", with(controller.Both, true)},
	}}
}

func launchSpeeds(title string, speeds ...controller.Speed) comparison {
	for i := range speeds {
		speeds[i] *= controller.RPM
	}
	return comparison{title: title, choices: surfaces, speeds: speeds}
}

func turboFour() demoCar {
	const target = 150 * controller.Kilopascal
	return demoCar{
		headline: "turbo four, clutch, held for 3 s; boost target 150 kPa",
		base: setup{
			car: sim.TurboFour(), cal: demo.TurboFour(), cond: stripDay(), script: demo.ClutchLaunch,
			shift: 7000 * controller.RPM, target: harness.Target{Pressure: target},
		},
		comparisons: []comparison{
			cuts("how it cuts, 4000 rpm"),
			media("what it withholds", target),
			launchSpeeds("60 ft in s, held at rpm", 2600, 3000, 3600, 4000, 4500, 6000),
		},
	}
}

func plainEight() demoCar {
	return demoCar{
		headline: "naturally aspirated eight, clutch, held for 3 s",
		base: setup{
			car: sim.PlainEight(), cal: demo.PlainEight(), cond: stripDay(), script: demo.ClutchLaunch,
			shift: 6600 * controller.RPM, target: harness.Target{Speed: 4200 * controller.RPM},
		},
		comparisons: []comparison{
			cuts("how it cuts, 4500 rpm"),
			launchSpeeds("60 ft in s, held at rpm", 1300, 1700, 2300, 3000, 3600, 5000),
		},
	}
}

func turboEight() demoCar {
	shot := func(jet int) func(*setup) {
		return func(s *setup) { s.cal = demo.WithShot(s.cal, jet) }
	}
	return demoCar{
		headline: "turbo eight, converter and trans-brake; target 3600 rpm",
		base: setup{
			car: sim.TurboEight(), cal: demo.TurboEight(), cond: stripDay(), script: demo.BrakeLaunch,
			shift: 6300 * controller.RPM, target: harness.Target{Speed: 3600 * controller.RPM},
		},
		comparisons: []comparison{
			{title: "on the trans-brake", lesson: comeUpLesson, choices: []choice{
				{"base timing", func(*setup) {}},
				{"retard coming up", func(s *setup) { s.launch().Timing = demo.Late(20 * controller.Degree) }},
				{"small shot", shot(demo.SmallShot)},
				{"large shot", shot(demo.LargeShot)},
				{"looser converter", func(s *setup) { s.car.Launch.K0 *= 1.12 }},
			}},
			launchSpeeds("60 ft in s, held at rpm", 1600, 2000, 2600, 3000, 3400, 3800),
		},
	}
}
