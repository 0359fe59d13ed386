package files_test

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/holdline/holdline/controller"
	"github.com/holdline/holdline/harness/files"
)

const heron = "../../examples/calibrations/iron-heron.toml"

func TestChangesMeetTheChecksOfTheFile(t *testing.T) {
	cal, findings := files.LoadCalibration(heron, files.Change{Path: "stage.launch.ceiling_rpm", Value: "3210"},
		files.Change{Path: "engine.keep_firing", Value: "true"}, files.Change{Path: "stage.launch.style", Value: "hard"},
		files.Change{Path: "stage.launch.depth", Value: "1"})
	require.NoError(t, findings.Err())
	assert.Equal(t, 3210*controller.RPM, controller.Speed(cal.Stages[0].Ceiling.Const))
	assert.True(t, cal.Engine.KeepFiring, "a key that the file leaves out")
	assert.Equal(t, controller.Hard, cal.Stages[0].Cut.Style, "a word without quotes")

	_, findings = files.LoadCalibration(heron, files.Change{Path: "stage.launch.ceiling_rpm", Value: "9000"})
	assert.Regexp(t, "never limits, as changed", findings.Sorted()[0].String(), "also what only sealing shows")
	for _, x := range []struct{ path, value, says string }{
		{"stage.launch.ceiling_rpm", "99999", "out of range, as changed .*300 to 20000"},
		{"stage.launch.ceilling_rpm", "3000", "unknown key, as changed.*ceiling_rpm"},
		{"engine.firing_order", "[1, 99]", `firing_order.*, as changed`},
		{"stage.lanch.ceiling_rpm", "3000", "launch"},
		{"shot[7].retard_deg", "3", "no such place|the file has no"},
		{"engine.firing_order[9]", "3", "no such place"},
		{"stage.launch.ceiling_rpm", "1\n2", "cannot be changed"},
		{"", "1", "cannot be changed"},
		{"nonsense.key", "1", "nonsense"},
	} {
		cal, findings := files.LoadCalibration(heron, files.Change{Path: x.path, Value: x.value})
		assert.Nil(t, cal, x.path)
		assert.Regexp(t, x.says, findings.Error(), x.path)
		assert.Regexp(t, `iron-heron.toml`, findings.Error())
	}
}

func TestParseChange(t *testing.T) {
	c, err := files.ParseChange("surface.grip = 1.4")
	require.NoError(t, err)
	assert.Equal(t, files.Change{Path: "surface.grip", Value: "1.4"}, c)
	for _, bad := range []string{"", "surface.grip", "=1", "surface.grip="} {
		_, err := files.ParseChange(bad)
		assert.Error(t, err, bad)
	}
	under, rest := files.Under("car", []files.Change{{Path: "car.tyre.mu", Value: "1"}, {Path: "carpet", Value: "2"}})
	assert.Equal(t, []files.Change{{Path: "tyre.mu", Value: "1"}}, under)
	assert.Equal(t, []files.Change{{Path: "carpet", Value: "2"}}, rest)
}

// Whatever is put in whatever place, reading it says so or works: no panic, and
// the same document twice is the same.
func FuzzChange(f *testing.F) {
	text, err := files.ReadText(heron)
	require.NoError(f, err)
	f.Add("stage.launch.ceiling_rpm", "3000")
	f.Add("shot[1]", "{}")
	f.Add("stage", "3")
	f.Add("engine.firing_order[2]", "[1]")
	f.Fuzz(func(t *testing.T, path, value string) {
		c := files.Change{Path: path, Value: value}
		one, a := files.DecodeCalibration("x", text, c)
		two, b := files.DecodeCalibration("x", text, c)
		require.Equal(t, a, b)
		require.Equal(t, one == nil, a.Failed())
		if one != nil {
			require.Equal(t, *one, *two)
		}
	})
}

// What stands for "none" inside is no value that a person may write: it would be taken
// for none without a word.
func TestZeroIsNoWish(t *testing.T) {
	for _, path := range []string{"stage.launch.boost_kpa", "stage.launch.mixture"} {
		_, findings := files.LoadCalibration(heron, files.Change{Path: path, Value: "0"})
		assert.ErrorContains(t, findings.Err(), path+": out of range", path)
	}
}

func TestAValveTakesTime(t *testing.T) {
	for _, path := range []string{"shot[1].valve_opens_s", "shot[1].valve_closes_s", "shot[1].flush_s"} {
		_, findings := files.LoadCalibration(heron, files.Change{Path: path, Value: "0"})
		require.NoError(t, findings.Err(), "a warning: that is for the person to know")
		assert.Contains(t, fmt.Sprint(findings), path+": takes no time at all", path)
	}
}
