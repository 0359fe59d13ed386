package scenario

import (
	"math"
	"strconv"

	"github.com/holdline/holdline/harness"
	"github.com/holdline/holdline/sim"
)

// conditionFacts tells the weather, the surface and the start of a simulated run.
func conditionFacts(c sim.Conditions) []harness.Fact {
	f := func(x float64, digits int, unit string) string {
		return strconv.FormatFloat(x, 'f', digits, 64) + unit
	}
	return []harness.Fact{
		{Name: "Air pressure", Text: f(c.AmbientPa/1000, 2, " kPa")}, {Name: "Air temperature", Text: f(c.AmbientK-273.15, 1, " \u00b0C")},
		{Name: "Coolant", Text: f(c.CoolantK-273.15, 1, " \u00b0C")}, {Name: "Bottle", Text: f(c.BottleK-273.15, 1, " \u00b0C")},
		{Name: "Grip", Text: strconv.FormatFloat(c.Grip, 'g', 4, 64) + ", " + strconv.FormatFloat(c.GripPerM, 'g', 4, 64) + " more a metre"}, {Name: "Rollout", Text: f(c.Rollout, 3, " m")},
		{Name: "Start", Text: f(c.StartRPM, 0, " rpm") + ", gear " + strconv.Itoa(c.Gear)},
		{Name: "Scatter", Text: "combustion " + strconv.FormatFloat(c.CycleNoise, 'g', -1, 64) + ", sensors " + strconv.FormatFloat(c.SensorNoise, 'g', -1, 64)},
		{Name: "Tooth faults", Text: "lost " + percent(c.LoseTooth) + ", false " + percent(c.ExtraTooth) + ", jitter " + strconv.FormatFloat(c.JitterDeg, 'g', -1, 64) + "\u00b0"},
	}
}

func percent(share float64) string {
	return strconv.FormatFloat(math.Round(share*1e6)/1e4, 'f', -1, 64) + " %"
}
