package main

import (
	"bytes"
	"encoding/json"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/holdline/holdline/harness"
)

// What advise says of its recommendation can be had again by the command that it
// prints: the same launches have the same mean.
func TestAdviceCanBeRepeated(t *testing.T) {
	t.Chdir("../..")
	dir := t.TempDir()
	var out, bad bytes.Buffer
	require.Zero(t, realMain([]string{"advise", "examples/scenarios/saltmarsh-launch.toml", "--launches", "300", "--passes", "1", "--knob", "launch ceiling", "-o", dir}, &out, &bad), bad.String())
	text := out.String()
	find := func(pattern string) string {
		m := regexp.MustCompile(pattern).FindStringSubmatch(text)
		require.NotNil(t, m, "%s in\n%s", pattern, text)
		return m[1]
	}
	mean, seeds := find(`(?m)^recommended: +(\d\.\d+) s`), find(`on (\d+) seeds`)
	again := strings.Fields(find(`(?m)^holdline (run .*)$`))
	require.Equal(t, []string{"--repeats", "1"}, again[len(again)-2:])
	again[len(again)-1] = seeds
	runs := filepath.Join(dir, "runs")
	require.Zero(t, realMain(append(again, "-o", runs), &out, &bad), bad.String())
	paths, err := filepath.Glob(filepath.Join(runs, "*", "results.json"))
	require.NoError(t, err)
	n, _ := strconv.Atoi(seeds)
	require.Len(t, paths, n)
	sum := 0.0
	for _, path := range paths {
		data, err := os.ReadFile(path)
		require.NoError(t, err)
		var results harness.Results
		require.NoError(t, json.Unmarshal(data, &results))
		require.Positive(t, results.Launch.Feet60)
		sum += results.Launch.Feet60
	}
	assert.Equal(t, mean, strconv.FormatFloat(sum/float64(n), 'f', 3, 64))
}

// Vapour takes the place of air at the temperature that is asked about: saturated air
// holds 2.339 kPa of it at 20 degrees, 5.628 kPa at 35 (steam tables, from memory).
func TestHumidityIsOfTheAirThatIsAskedAbout(t *testing.T) {
	for set, vapour := range map[string]float64{"weather.ambient_c=20": 2.339, "weather.ambient_c=35": 5.628} {
		o := adviseOptions{humidity: 50, spread: 0.04, set: []string{set, "weather.ambient_kpa=100"}}
		o.q.Scenario = "../../examples/scenarios/saltmarsh-launch.toml"
		require.NoError(t, adviseChanges(&o))
		last := o.q.Changes[len(o.q.Changes)-1]
		require.Equal(t, "weather.ambient_kpa", last.Path)
		kpa, err := strconv.ParseFloat(last.Value, 64)
		require.NoError(t, err)
		assert.InDelta(t, 100-vapour/2, kpa, 0.015, set)
	}
}
