package files

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/holdline/holdline/controller"
)

const examples = "../../examples"

func TestCalibrationDescription(t *testing.T) { require.NoError(t, Calibration.Verify()) }

// Every example passes, and comes back the same from its own text.
func TestExampleCalibrations(t *testing.T) {
	paths, err := filepath.Glob(filepath.Join(examples, "calibrations", "*.toml"))
	require.NoError(t, err)
	require.NotEmpty(t, paths)
	for _, path := range paths {
		cal, findings := LoadCalibration(path)
		for _, f := range findings {
			t.Log(f.String())
		}
		require.NoError(t, findings.Err(), path)
		require.True(t, cal.Sealed())
		assert.LessOrEqual(t, len(findings), 0, path)
		text, err := EncodeCalibration(cal)
		require.NoError(t, err, path)
		back, findings := DecodeCalibration("again", text)
		require.Empty(t, findings)
		assert.True(t, *cal == *back, path)

		written, err := os.ReadFile(path)
		require.NoError(t, err)
		file, _, _ := Calibration.Decode(path, written)
		canonical, err := Calibration.Encode(file)
		require.NoError(t, err)
		again, _, findings := Calibration.Decode(path, canonical)
		require.Empty(t, findings)
		assert.Equal(t, file, again)
	}
}

var _ = controller.Fuel
