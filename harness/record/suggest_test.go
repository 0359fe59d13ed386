package record

import (
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func best(guesses []Guess) map[string]Guess {
	out := map[string]Guess{}
	for _, g := range guesses {
		if _, ok := out[g.Input]; !ok {
			out[g.Input] = g
		}
	}
	return out
}

func TestSuggestForRealRecording(t *testing.T) {
	r, f := ReadFile(filepath.Join("..", "..", "examples", "recordings", "obd-drive-1hz.csv"), Options{Rate: 1})
	require.Empty(t, f)
	got := best(Suggest(r))
	for input, title := range map[string]string{
		"engine_speed": "ENGINE_RPM ()", "throttle": "THROTTLE ()", "manifold_pressure": "INTAKE_MANIFOLD_PRESSURE ()", "road_speed": "VEHICLE_SPEED ()",
		"coolant_temperature": "COOLANT_TEMPERATURE ()", "supply_voltage": "CONTROL_MODULE_VOLTAGE ()", "intake_temperature": "INTAKE_AIR_TEMP ()",
	} {
		g := got[input]
		assert.Equal(t, title, g.Title, input)
		assert.Equal(t, title, r.Channels[g.Channel].Title, input)
		assert.NotEmpty(t, g.Reason, input)
		assert.Contains(t, strings.Join(g.Needs, "; "), "state the unit", "%s: no unit is written in this file", input)
	}
	assert.Contains(t, got["manifold_pressure"].Needs, "state whether the pressure is absolute or gauge")
	assert.Contains(t, strings.Join(got["manifold_pressure"].Needs, ""), "would fit kPa")
	for _, input := range []string{"gear", "lambda", "fuel_pressure", "oil_pressure", "bottle_pressure"} {
		assert.NotContains(t, got, input, "the car did not record it")
	}
}

func TestSuggestWithUnits(t *testing.T) {
	text := "Time (s),Engine Speed (rpm),TPS (%),MAP (kPa abs),GPS Speed (km/h),Gear,Water Temp (C),Battery (V),Lambda,Fuel Pressure (bar g),OilPressure (bar(g)),Bottle Pressure (psi),Air Temp (C),Oil Temp (C),Throttle target (%),Throttle sensor (V),Fan speed (rpm)\n" +
		"0,900,0,35,0,0,80,13.8,1,3,4,900,25,90,0,0.5,0\n1,6000,100,100,50,2,81,13.5,0.85,3.1,4.5,890,26,91,100,4.5,2000\n"
	r, f := Read(strings.NewReader(text), "", Options{})
	require.Empty(t, f)
	all := Suggest(r)
	got := best(all)
	want := map[string]string{
		"engine_speed": "Engine Speed (rpm)", "throttle": "TPS (%)", "manifold_pressure": "MAP (kPa abs)", "road_speed": "GPS Speed (km/h)", "gear": "Gear",
		"coolant_temperature": "Water Temp (C)", "supply_voltage": "Battery (V)", "lambda": "Lambda", "fuel_pressure": "Fuel Pressure (bar g)",
		"oil_pressure": "OilPressure (bar(g))", "bottle_pressure": "Bottle Pressure (psi)", "intake_temperature": "Air Temp (C)",
	}
	assert.ElementsMatch(t, Inputs(), keys(want))
	for input, title := range want {
		assert.Equal(t, title, got[input].Title, input)
	}
	assert.Empty(t, got["manifold_pressure"].Needs)
	assert.Equal(t, []string{"state whether the pressure is absolute or gauge"}, got["bottle_pressure"].Needs)
	for _, g := range all {
		assert.True(t, g.Confidence >= 20 && g.Confidence <= 95, "%+v", g)
		assert.NotContains(t, []string{"Throttle target (%)", "Fan speed (rpm)", "Oil Temp (C)"}, g.Title, "%+v", g)
		if g.Title == "Throttle sensor (V)" {
			assert.Contains(t, g.Needs[0], "two-point line")
		}
	}
}

func keys(m map[string]string) []string {
	var out []string
	for k := range m {
		out = append(out, k)
	}
	return out
}

func TestSuggestDoubts(t *testing.T) {
	sure := suggestOne(t, "Engine rpm (rpm)", "900", "6000")
	for name, g := range map[string]Guess{
		"no values": suggestOne(t, "Engine rpm (rpm)", "", ""), "never changes": suggestOne(t, "Engine rpm (rpm)", "900", "900"),
		"not plausible": suggestOne(t, "Engine rpm (rpm)", "-5", "900000"), "unit not written": suggestOne(t, "Engine rpm", "900", "6000"),
	} {
		assert.Less(t, g.Confidence, sure.Confidence, name)
	}
	r, _ := Read(strings.NewReader("Time (s),Throttle (kPa)\n0,1\n1,2\n"), "", Options{})
	assert.Empty(t, Suggest(r), "a unit of another quantity")
	assert.Empty(t, Suggest(&Recording{}))
}

func suggestOne(t *testing.T, title, a, b string) Guess {
	t.Helper()
	r, f := Read(strings.NewReader("Time (s),"+title+"\n0,"+a+"\n1,"+b+"\n"), "", Options{})
	require.Empty(t, f)
	g := Suggest(r)
	require.NotEmpty(t, g)
	return g[0]
}
