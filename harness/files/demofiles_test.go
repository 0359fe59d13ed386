package files_test

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/holdline/holdline/controller"
	"github.com/holdline/holdline/examples/demo"
	"github.com/holdline/holdline/harness/files"
)

func TestDriverWordsAreSound(t *testing.T) {
	require.NoError(t, files.DriverWords().Verify())
}

// The calibrations of the demo as files, written by the kind itself:
// HOLDLINE_UPDATE=1 rewrites them after a change of the demo.
func TestDemoCalibrationFiles(t *testing.T) {
	four := demo.TurboFour()
	four.Stages[demo.LaunchStage].Timing = demo.Late(20 * controller.Degree)
	for name, cal := range map[string]controller.Calibration{
		"saltmarsh-20t.toml": four,
		"iron-heron.toml":    demo.WithShot(demo.TurboEight(), demo.SmallShot),
		"dray-mare.toml":     demo.PlainEight(),
	} {
		path := filepath.Join("../../examples/calibrations", name)
		text, err := files.EncodeCalibration(&cal)
		require.NoError(t, err, name)
		if os.Getenv("HOLDLINE_UPDATE") != "" {
			require.NoError(t, files.WriteFile(path, text, true))
		}
		onDisk, err := os.ReadFile(path)
		require.NoError(t, err)
		assert.Equal(t, string(text), string(onDisk), "%s: HOLDLINE_UPDATE=1 go test ./harness/files", name)
	}
}
