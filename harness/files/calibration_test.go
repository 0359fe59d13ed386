package files

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
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

func TestWriteCalibration(t *testing.T) {
	cal, findings := DecodeCalibration("c", []byte(smallCalibration))
	require.Empty(t, findings)
	path := filepath.Join(t.TempDir(), "c.toml")
	require.NoError(t, WriteCalibration(path, cal, false))
	require.Error(t, WriteCalibration(path, cal, false), "it does not overwrite")
	back, findings := LoadCalibration(path)
	require.Empty(t, findings)
	assert.True(t, *cal == *back)
}

func TestLoadCalibrationThatIsNotThere(t *testing.T) {
	cal, findings := LoadCalibration(filepath.Join(t.TempDir(), "none.toml"))
	assert.Nil(t, cal)
	require.Len(t, findings, 1)
	assert.Contains(t, findings[0].Reason, "cannot be read")
}

// A text that is accepted comes back equal from its own text, and no finding is
// without a place.
func FuzzCalibration(f *testing.F) {
	f.Add([]byte(smallCalibration))
	paths, _ := filepath.Glob(filepath.Join(examples, "calibrations", "*.toml"))
	for _, path := range paths {
		text, err := os.ReadFile(path)
		require.NoError(f, err)
		f.Add(text)
	}
	f.Fuzz(func(t *testing.T, text []byte) {
		cal, findings := DecodeCalibration("c", text)
		for _, x := range findings {
			if x.Line < 1 && len(text) > 0 && x.Field != "" {
				t.Fatalf("no place: %s\n%q", x, text)
			}
		}
		if cal != nil {
			roundTrip(t, cal)
		}
	})
}

func TestTermsReadBack(t *testing.T) {
	for _, c := range []struct{ text, canonical string }{
		{"clutch-down on", ""}, {"feedback-4 off", ""}, {"throttle >= 60 %", ""}, {"throttle>=60%", "?"},
		{"throttle >= 60%", "throttle >= 60 %"}, {"throttle 5 to 60 %", ""}, {"throttle 5 % to 60 %", "throttle 5 to 60 %"},
		{"road-speed <= 36 km/h", "road-speed <= 10 m/s"}, {"bottle-pressure 60 to 69 bar", "bottle-pressure 6000 to 6900 kPa"},
		{"gear = 1", ""}, {"gear = -1", ""}, {"gear 1 to 3", ""}, {"lambda <= 0.9", ""}, {"coolant-temperature >= -5.5 degC", ""},
		{"sequence held or released", ""}, {"sequence held|released", "sequence held or released"}, {"since-release <= 0.5 s", ""},
		{"since-release <= 250 ms", "since-release <= 0.25 s"}, {"user-a known", ""}, {"engine-speed = 3000.1 rpm", ""},
	} {
		term, wrong := parseTerm(c.text)
		if c.canonical == "?" {
			assert.NotNil(t, wrong, c.text)
			continue
		}
		require.Nil(t, wrong, c.text)
		want := c.canonical
		if want == "" {
			want = c.text
		}
		assert.Equal(t, want, termText(&term))
		again, wrong := parseTerm(want)
		require.Nil(t, wrong)
		assert.Equal(t, term, again)
	}
}

func TestTermFindings(t *testing.T) {
	for _, c := range []struct {
		text   string
		at     int
		reason string
	}{
		{"", 0, "missing switch or channel"}, {"clutch on", 0, "unknown switch or channel"}, {"clutch-down", 11, "missing state of a switch"},
		{"clutch-down on now", 15, "nothing may follow here"}, {"throttle > 60 %", 9, "unknown comparison"}, {"throttle", 8, "missing comparison"},
		{"throttle >= 60", 14, "missing unit for throttle"}, {"throttle >= 60 rpm", 15, "unknown unit for throttle"},
		{"throttle >= x %", 12, "is not a plain decimal number"}, {"throttle >= 60.001 %", 12, "does not fit the resolution"},
		{"throttle 60 %", 13, "missing word: a range has two ends"}, {"gear >= 1 %", 10, "nothing may follow here"},
		{"sequence", 8, "missing state of the launch sequence"}, {"sequence held and released", 14, "nothing but another state may follow"},
		{"sequence hold", 9, "unknown state of the launch sequence"}, {"user-a >= 3000000000", 10, "is too large"},
		{"engine-speed 1 kW to 2 rpm", 15, "unknown unit for engine-speed"},
	} {
		_, wrong := parseTerm(c.text)
		if assert.NotNil(t, wrong, c.text) {
			assert.Equal(t, c.at, wrong.at, c.text)
			assert.Equal(t, c.reason, wrong.f.Reason, c.text)
		}
	}
}
