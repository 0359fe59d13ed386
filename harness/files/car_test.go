package files_test

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/holdline/holdline/harness"
	"github.com/holdline/holdline/harness/files"
	"github.com/holdline/holdline/sim"
)

const carFolder = "../../examples/cars"

var carFiles = map[string]func() sim.Car{
	"saltmarsh-20t.toml": sim.TurboFour,
	"iron-heron.toml":    sim.TurboEight,
	"dray-mare.toml":     sim.PlainEight,
}

func TestCarKindIsSound(t *testing.T) {
	require.NoError(t, files.Car.Verify())
	assert.Contains(t, files.Car.Describe(), "stall_k")
}

// The example files are written by the kind itself: HOLDLINE_UPDATE=1 rewrites
// them after a change of the demo cars.
func TestCarFilesAreTheDemoCars(t *testing.T) {
	for name, build := range carFiles {
		path := filepath.Join(carFolder, name)
		want := build()
		if os.Getenv("HOLDLINE_UPDATE") != "" {
			require.NoError(t, files.Car.Write(path, &want, true))
		}
		got, findings := files.LoadCar(path)
		require.Empty(t, findings, name)
		assert.Empty(t, cmp.Diff(want, *got, cmpopts.EquateEmpty()), name)
		text, err := files.Car.Encode(got)
		require.NoError(t, err)
		onDisk, err := os.ReadFile(path)
		require.NoError(t, err)
		assert.Equal(t, string(text), string(onDisk), "%s is not as the kind writes it: HOLDLINE_UPDATE=1 go test ./harness/files", name)
		assert.Contains(t, string(onDisk), "belong to no one")
	}
}

// An impossible car is refused with every finding: a range, a rule of the whole
// car, and a key that is missing, each at its line.
func TestImpossibleCarIsRefusedWithEveryFinding(t *testing.T) {
	car := sim.TurboEight()
	text, err := files.Car.Encode(&car)
	require.NoError(t, err)
	s := string(text)
	for _, edit := range [][2]string{
		{"inertia_kgm2 = 0.32", "inertia_kgm2 = -0.32"},
		{"torque_ratio = [2, 1.78, 1.56", "torque_ratio = [2, 1.78, 3.56"},
		{"ratios = [2.1, 1.4, 1]", "#"},
		{"final = 3.25", "finale = 3.25"},
		{`drive = "rear"`, `drive = "back"`},
		{"rod_mm = 155", "rod_mm = nan"},
	} {
		require.Contains(t, s, edit[0])
		s = strings.Replace(s, edit[0], edit[1], 1)
	}
	got, findings := files.DecodeCar("bad.toml", []byte(s))
	require.Nil(t, got)
	fields := map[string]harness.Finding{}
	for _, f := range findings {
		fields[f.Field] = f
	}
	for _, field := range []string{"engine.inertia_kgm2", "engine.rod_mm", "launch.torque_ratio[2]", "gearbox.ratios", "gearbox.final", "gearbox.finale", "body.drive"} {
		f, ok := fields[field]
		if assert.True(t, ok, "%s is missing in\n%v", field, findings) {
			assert.Positive(t, f.Line, field)
		}
	}
	assert.Len(t, findings, 7)
}

func TestConverterAboveItsOwnPowerIsRefused(t *testing.T) {
	car := sim.TurboEight()
	car.Launch.TR[5] = 1.3
	text, err := files.Car.Encode(&car)
	require.NoError(t, err)
	got, findings := files.DecodeCar("bad.toml", text)
	assert.Nil(t, got)
	require.Len(t, findings, 1)
	assert.Equal(t, "launch.torque_ratio[5]", findings[0].Field)
	assert.Contains(t, findings[0].Reason, "efficiency")
}

func FuzzCar(f *testing.F) {
	for _, build := range carFiles {
		car := build()
		text, err := files.Car.Encode(&car)
		require.NoError(f, err)
		f.Add(text)
	}
	f.Fuzz(func(t *testing.T, text []byte) {
		car, findings := files.DecodeCar("fuzz", text)
		if car == nil {
			if !findings.Failed() {
				t.Fatal("refused without an error")
			}
			return
		}
		if bad := car.Validate(); len(bad) > 0 {
			t.Fatalf("accepted a car that does not compile: %v", bad[0])
		}
		back, err := files.Car.Encode(car)
		if err != nil {
			t.Fatal(err)
		}
		again, _ := files.DecodeCar("again", back)
		if again == nil || !cmp.Equal(*car, *again, cmpopts.EquateEmpty()) {
			t.Fatal("does not read back")
		}
	})
}
