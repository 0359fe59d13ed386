package files_test

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/holdline/holdline/controller"
	"github.com/holdline/holdline/examples/demo"
	"github.com/holdline/holdline/harness/files"
)

func TestDriverWordsAreSound(t *testing.T) {
	require.NoError(t, files.DriverWords().Verify())
	require.NoError(t, files.ScenarioKind.Verify())
}

// The calibrations of the demo as files, written by the kind itself:
// HOLDLINE_WRITE=1 rewrites them after a change of the demo.
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
		if os.Getenv("HOLDLINE_WRITE") != "" {
			require.NoError(t, files.WriteFile(path, text, true))
		}
		onDisk, err := os.ReadFile(path)
		require.NoError(t, err)
		assert.Equal(t, string(text), string(onDisk), "%s: HOLDLINE_WRITE=1 go test ./harness/files", name)
	}
}

func TestExampleScenarios(t *testing.T) {
	paths, err := filepath.Glob("../../examples/scenarios/*.toml")
	require.NoError(t, err)
	require.NotEmpty(t, paths)
	for _, path := range paths {
		s, findings := files.LoadScenario(path)
		for _, f := range findings {
			t.Log(f)
		}
		require.NotNil(t, s, path)
		text, err := files.ScenarioKind.Encode(&s.Scenario)
		require.NoError(t, err)
		again, _, findings := files.ScenarioKind.Decode(path, text)
		require.NoError(t, findings.Err())
		assert.Equal(t, s.Script.String(), again.Script.String())
		assert.Equal(t, s.Conditions(3), again.Conditions(3))
		assert.NotEqual(t, s.Conditions(0).Seed, s.Conditions(1).Seed)
	}
}

func TestScenarioFindingsAllAtOnce(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "bad.toml")
	require.NoError(t, os.WriteFile(path, []byte(`format = "holdline-scenario-1"
name = "bad"
car = "nowhere.toml"
calibration = "neither.toml"
repeat = 3
[driver]
does = ["clutch 120 % at 0 s", "handbrake on at 1 s"]
[surface]
grip = -1
`), 0o600))
	s, findings := files.LoadScenario(path)
	assert.Nil(t, s)
	lines := map[int]bool{}
	for _, f := range findings {
		t.Log(f)
		lines[f.Line] = true
	}
	assert.Equal(t, map[int]bool{3: true, 4: true, 5: true, 7: true, 9: true}, lines)
}

func TestScenarioWithAnotherCarsCalibrationIsRefused(t *testing.T) {
	text, err := os.ReadFile("../../examples/scenarios/saltmarsh-launch.toml")
	require.NoError(t, err)
	for file, reason := range map[string]string{"dray-mare.toml": "another engine", "iron-heron.toml": "another engine"} {
		bad := strings.Replace(string(text), "calibrations/saltmarsh-20t.toml", "calibrations/"+file, 1)
		dir := t.TempDir()
		require.NoError(t, os.Mkdir(filepath.Join(dir, "scenarios"), 0o700))
		root, err := filepath.Abs("../../examples")
		require.NoError(t, err)
		bad = strings.ReplaceAll(bad, "\"../", "\""+filepath.ToSlash(root)+"/")
		path := filepath.Join(dir, "scenarios", "bad.toml")
		require.NoError(t, os.WriteFile(path, []byte(bad), 0o600))
		s, findings := files.LoadScenario(path)
		assert.Nil(t, s)
		require.NotEmpty(t, findings)
		assert.Equal(t, 6, findings[0].Line)
		assert.Contains(t, findings[0].Reason, reason)
	}
}

func FuzzScenario(f *testing.F) {
	paths, err := filepath.Glob("../../examples/scenarios/*.toml")
	require.NoError(f, err)
	for _, p := range paths {
		text, err := os.ReadFile(p)
		require.NoError(f, err)
		f.Add(text)
	}
	f.Fuzz(func(t *testing.T, text []byte) {
		s, _, findings := files.ScenarioKind.Decode("fuzz", text)
		if findings.Failed() {
			return
		}
		back, err := files.ScenarioKind.Encode(s)
		if err != nil {
			t.Fatal(err)
		}
		again, _, findings := files.ScenarioKind.Decode("again", back)
		if findings.Failed() || again.Conditions(1) != s.Conditions(1) || again.Script.String() != s.Script.String() {
			t.Fatalf("does not read back: %v", findings)
		}
	})
}
