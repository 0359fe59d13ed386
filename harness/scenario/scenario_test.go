package scenario_test

import (
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/holdline/holdline/controller"
	"github.com/holdline/holdline/harness"
	"github.com/holdline/holdline/harness/files"
	"github.com/holdline/holdline/harness/record"
	"github.com/holdline/holdline/harness/scenario"
)

func TestKindIsSound(t *testing.T) { require.NoError(t, scenario.Kind.Verify()) }

func TestExampleScenarios(t *testing.T) {
	paths, err := filepath.Glob("../../examples/scenarios/*.toml")
	require.NoError(t, err)
	require.NotEmpty(t, paths)
	for _, path := range paths {
		list, findings := scenario.Load(path, scenario.AsWritten)
		for _, f := range findings {
			t.Log(f)
		}
		require.NotEmpty(t, list, path)
		s := list[0]
		assert.NotEmpty(t, s.Required, "every shipped scenario is judged")
		text, err := scenario.Kind.Encode(&s.Scenario)
		require.NoError(t, err)
		again, _, findings := scenario.Kind.Decode(path, text)
		require.NoError(t, findings.Err())
		assert.Equal(t, s.Script.String(), again.Script.String())
		assert.Equal(t, s.Faults, again.Faults)
		assert.Equal(t, s.Vary, again.Vary)
		assert.Equal(t, s.Requirements, again.Requirements)
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
	list, findings := scenario.Load(path, scenario.AsWritten)
	assert.Nil(t, list)
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
		list, findings := scenario.Load(path, scenario.AsWritten)
		assert.Nil(t, list)
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
		s, _, findings := scenario.Kind.Decode("fuzz", text)
		if findings.Failed() {
			return
		}
		back, err := scenario.Kind.Encode(s)
		if err != nil {
			t.Fatal(err)
		}
		again, _, findings := scenario.Kind.Decode("again", back)
		if findings.Failed() || again.Conditions(1) != s.Conditions(1) || again.Script.String() != s.Script.String() {
			t.Fatalf("does not read back: %v", findings)
		}
	})
}

// scenarioIn writes a scenario beside the examples' own and gives its path.
func scenarioIn(t *testing.T, text string) string {
	t.Helper()
	root, err := filepath.Abs("../../examples")
	require.NoError(t, err)
	path := filepath.Join(t.TempDir(), "own.toml")
	text = "format = \"holdline-scenario-1\"\n" + strings.ReplaceAll(text, "EXAMPLES", filepath.ToSlash(root))
	require.NoError(t, os.WriteFile(path, []byte(text), 0o600))
	return path
}

const shortLaunch = `name = "short"
car = "EXAMPLES/cars/saltmarsh-20t.toml"
calibration = "EXAMPLES/calibrations/saltmarsh-20t.toml"
longest_s = 2
requirements = ["standard/cuts"]
`

const driver = `
[driver]
does = ["clutch 100 % at 0 s", "throttle ramp to 100 % over 0.15 s at 0.1 s", "clutch 0 % at 1.2 s"]
`

func load(t *testing.T, text string, o scenario.Options) []*scenario.Loaded {
	t.Helper()
	list, findings := scenario.Load(scenarioIn(t, text), o)
	require.NoError(t, findings.Err())
	return list
}

// Every combination is run, the last axis fastest, with the same seeds, and each
// value stands where it belongs.
func TestVariedValuesReachTheirFiles(t *testing.T) {
	list := load(t, shortLaunch+driver+`
[[vary]]
path = "calibration.stage.launch.ceiling_rpm"
values = [3000, 3500]
[[vary]]
path = "surface.grip"
values = [1.2, 1.6]
`, scenario.Options{Seed: 7, Repeats: 2, Changes: []files.Change{{Path: "car.launch.inertia_kgm2", Value: "0.2"}}})
	require.Len(t, list, 4)
	var told []string
	for _, l := range list {
		jobs := l.Jobs("run")
		require.Len(t, jobs, 2)
		assert.EqualValues(t, 7, jobs[0].Seed)
		assert.EqualValues(t, 8, jobs[1].Launch.Cond.Seed)
		assert.InDelta(t, 0.2, jobs[0].Launch.Model.Car().Launch.InertiaKgM2, 0)
		told = append(told, fmt.Sprint(l.Cal.Stages[0].Ceiling.Const/int32(controller.RPM), " ", l.Grip))
		assert.Contains(t, jobs[0].Repeat, fmt.Sprintf("--set surface.grip=%v --set car.launch.inertia_kgm2=0.2 --seed 7 --repeats 1", l.Grip))
	}
	assert.Equal(t, []string{"3000 1.2", "3000 1.6", "3500 1.2", "3500 1.6"}, told)
}

// The command that a run names gives the same run: its changes as options, its
// seed, one repeat.
func TestARunRepeats(t *testing.T) {
	path := scenarioIn(t, shortLaunch+driver+`
[[vary]]
path = "calibration.stage.launch.ceiling_rpm"
values = [3000, 3500]
`)
	list, findings := scenario.Load(path, scenario.AsWritten)
	require.NoError(t, findings.Err())
	first, err := list[1].Jobs("run")[0].Run(t.Context(), &harness.Reference{}, nil)
	require.NoError(t, err)
	again, findings := scenario.Load(path, scenario.Options{Seed: 1, Repeats: 1, Changes: list[1].Point})
	require.NoError(t, findings.Err())
	require.Len(t, again, 1, "a change from outside settles its axis")
	second, err := again[0].Jobs("run")[0].Run(t.Context(), &harness.Reference{}, nil)
	require.NoError(t, err)
	assert.Equal(t, first.Launch, second.Launch)
	assert.Equal(t, first.Requirements, second.Requirements)
}

func TestFaultsReachTheUnit(t *testing.T) {
	text := shortLaunch + driver
	good, err := load(t, text, scenario.AsWritten)[0].Jobs("run")[0].Run(t.Context(), &harness.Reference{}, nil)
	require.NoError(t, err)
	assert.Empty(t, good.Lost)
	assert.Equal(t, harness.VerdictHolds, good.Verdict)
	l := load(t, text+"\n[[fault]]\nkind = \"off\"\nchannel = \"throttle\"\nat_s = 0.8\n", scenario.AsWritten)[0]
	bad, err := l.Jobs("run")[0].Run(t.Context(), &harness.Reference{}, nil)
	require.NoError(t, err)
	require.Len(t, bad.Lost, 1)
	assert.Contains(t, strings.Join(bad.Notes, "\n"), "fault: ")
	// A fault that cannot be given is an error, not left out.
	l = load(t, text+"\n[[fault]]\nkind = \"off\"\nchannel = \"oil-pressure\"\n", scenario.AsWritten)[0]
	_, err = l.Jobs("run")[0].Run(t.Context(), &harness.Reference{}, nil)
	assert.ErrorContains(t, err, "oil-pressure")
}

func TestARecordingAsScenario(t *testing.T) {
	text := `name = "a drive"
recording = "EXAMPLES/recordings/obd-drive-1hz.csv"
columns = "EXAMPLES/columns/obd-drive.toml"
calibration = "EXAMPLES/calibrations/street-four.toml"
requirements = ["standard/launch"]
`
	l := load(t, text, scenario.AsWritten)[0]
	r, err := l.Jobs("run")[0].Run(t.Context(), &harness.Reference{}, nil)
	require.NoError(t, err)
	assert.Equal(t, 1, r.Launches)
	assert.Nil(t, r.Launch)
	assert.NotEmpty(t, r.Requirements)
	assert.Contains(t, strings.Join(r.Notes, "\n"), "too slow to judge cuts")
	again, err := l.Jobs("run")[0].Run(t.Context(), &harness.Reference{}, nil)
	require.NoError(t, err)
	assert.Equal(t, r, again, "a stimulus is made anew for each run")
}

// A trace of ours is a recording: replayed under its own calibration it gives the
// same decisions, with a lost sensor in it too. A row a tick does not tell how old a
// speed was, so what rests on its slope may differ for a moment: reasons against a
// shot. Nor does it tell at which crank angle a run began.
func TestATraceIsARecording(t *testing.T) {
	for _, name := range []string{"saltmarsh-launch", "heron-lost-throttle"} {
		l, findings := scenario.Load("../../examples/scenarios/"+name+".toml", scenario.AsWritten)
		require.NoError(t, findings.Err())
		dir, want := t.TempDir(), harness.NewTrace(l[0].Cal)
		_, err := l[0].Jobs("run")[0].Run(t.Context(), &harness.Reference{}, func(*scenario.Ride) ([]harness.Sink, error) {
			trace, err := record.CreateTraceFiles(dir, l[0].Cal, false)
			t.Cleanup(func() { require.NoError(t, trace.Close()) })
			return []harness.Sink{trace, want}, err
		})
		require.NoError(t, err)
		path := filepath.Join(dir, record.TraceFile+record.PartialSuffix)
		require.True(t, record.IsTrace(path), "also one that was cut off")
		r, findings := scenario.LoadReplay(l[0].Cal, path, "", scenario.ReplayOptions{From: -1, To: -1})
		require.Empty(t, findings)
		got := harness.NewTrace(l[0].Cal)
		_, err = harness.Run(t.Context(), r.Stimulus(), &harness.Reference{}, harness.Session{Calibration: l[0].Cal}, got)
		require.NoError(t, err)
		require.Greater(t, got.Ticks, want.Ticks*9/10)
		for i, c := range got.Columns {
			if c.Name != "slope" && c.Name != "last-withheld" && c.Name != "shot-1-inhibits" {
				for tick, x := range c.Data {
					require.Equal(t, want.Columns[i].Data[tick], x, "%s: %s at tick %d", name, c.Name, tick)
				}
			}
		}
	}
}

// A trace that somebody edited, or that was damaged, gives findings or a replay, and
// never a panic.
func TestADamagedTraceGivesFindings(t *testing.T) {
	const good = "time (s),engine-speed (rpm),throttle (%),gear,switches,switches-lost,channels-lost,channels-bad,sequence\n" +
		"0.000000,900.0,0.00,1,clutch-down,,,,idle\n0.001000,950.0,1.00,1,clutch-down+arm,arm,throttle,throttle,idle\n0.002000,1000.0,2.00,2,,,,,held\n"
	cal, findings := files.LoadCalibration("../../examples/calibrations/street-four.toml")
	require.NoError(t, findings.Err())
	path := filepath.Join(t.TempDir(), "trace.csv")
	read := func(text string) (ran bool) {
		require.NoError(t, os.WriteFile(path, []byte(text), 0o600))
		r, findings := scenario.LoadReplay(cal, path, "", scenario.ReplayOptions{From: -1, To: -1})
		if r == nil {
			require.Error(t, findings.Err(), text)
			return false
		}
		if findings.Failed() || r.Recording.Rows > 1000 {
			return false
		}
		_, err := harness.Run(t.Context(), r.Stimulus(), &harness.Reference{}, harness.Session{Calibration: cal})
		require.NoError(t, err, text)
		return true
	}
	require.True(t, read(good))
	for _, edit := range [][2]string{
		{"gear", "since-release (s)"}, {"gear", "throttle (%)"}, {"gear", "switches"}, {"gear", "switches (x)"}, {"gear", ""}, {"throttle (%)", "throttle (kPa)"},
		{"clutch-down+arm", "clutch-down+amr"}, {"clutch-down+arm", "1"}, {"0.001000", "-1e300"}, {",,,,held\n", ""}, {"0.002000", "0.000000"},
	} {
		read(strings.Replace(good, edit[0], edit[1], 1))
	}
	r, ran := rand.New(rand.NewPCG(1, 2)), 0
	titles := strings.IndexByte(good, '\n')
	for range 600 {
		text := []byte(good)
		for range 1 + r.IntN(3) {
			i := titles + r.IntN(len(text)-titles)
			switch r.IntN(4) {
			case 0:
				text = text[:i]
			case 1:
				text[i] = ",+\n.-9\"e"[r.IntN(8)]
			case 2:
				text = append(text[:i], text[i+1:]...)
			case 3:
				text[r.IntN(titles)] ^= 1 << r.IntN(3)
			}
			if len(text) <= titles {
				break
			}
		}
		if read(string(text)) {
			ran++
		}
	}
	assert.Greater(t, ran, 30, "some damage can be read")
	assert.Less(t, ran, 570, "and some not")
}

func TestWhatAScenarioMayNotSay(t *testing.T) {
	for name, x := range map[string]struct{ text, says string }{
		"both":          {shortLaunch + "recording = \"x.csv\"\n" + driver, "a car or a recording, not both"},
		"neither":       {strings.Replace(shortLaunch, "car = ", "#", 1) + driver, "neither a car nor a recording"},
		"no driver":     {shortLaunch, "a car needs a driver"},
		"stray columns": {shortLaunch + "columns = \"x.toml\"\n" + driver, "a columns file goes with a recording"},
		"no columns":    {"name = \"x\"\nrecording = \"EXAMPLES/recordings/obd-drive-1hz.csv\"\ncalibration = \"EXAMPLES/calibrations/street-four.toml\"\n", "needs a columns file"},
		"a surface":     {"name = \"x\"\nrecording = \"EXAMPLES/recordings/obd-drive-1hz.csv\"\ncolumns = \"EXAMPLES/columns/obd-drive.toml\"\ncalibration = \"EXAMPLES/calibrations/street-four.toml\"\n[surface]\ngrip = 1.2\n", "surface: does nothing with a recording"},
		"no set":        {strings.Replace(shortLaunch, "standard/cuts", "standard/cutz", 1) + driver, "no such standard set"},
		"no such path":  {shortLaunch + driver + "[[vary]]\npath = \"calibration.stage.lunch.ceiling_rpm\"\nvalues = [1]\n", "no stage.lunch"},
		"out of range":  {shortLaunch + driver + "[[vary]]\npath = \"surface.grip\"\nvalues = [1, 50]\n", "0.05 to 4"},
		"unknown key":   {shortLaunch + driver + "[[vary]]\npath = \"surface.grib\"\nvalues = [1]\n", "grip"},
		"list as value": {shortLaunch + driver + "[[vary]]\npath = \"surface.grip\"\nvalues = [[1]]\n", "not a plain value"},
		"too many": {strings.Replace(shortLaunch, "longest_s", "repeats = 60000\nlongest_s", 1) + driver +
			"[[vary]]\npath = \"surface.grip\"\nvalues = [1, 1.1]\n", "too many runs"},
	} {
		list, findings := scenario.Load(scenarioIn(t, x.text), scenario.AsWritten)
		assert.Nil(t, list, name)
		assert.ErrorContains(t, findings.Err(), x.says, name)
	}
}
