package sweep

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/holdline/holdline/controller"
	"github.com/holdline/holdline/harness"
	"github.com/holdline/holdline/harness/scenario"
)

const examples = "../../examples/sweeps"

// decode reads a plan text as if it stood among the examples.
func decode(t *testing.T, text string) (*Plan, harness.Findings) {
	t.Helper()
	return Decode(filepath.Join(examples, "test.toml"), []byte("format = \"holdline-plan-1\"\nname = \"test\"\n"+text))
}

const saltmarsh = "scenarios = [\"../scenarios/saltmarsh-launch.toml\"]\n"

func mustDecode(t *testing.T, text string) *Plan {
	t.Helper()
	p, fs := decode(t, text)
	require.NoError(t, fs.Err())
	return p
}

func TestPlanKindIsSound(t *testing.T) {
	require.NoError(t, PlanKind.Verify())
	assert.Contains(t, PlanKind.Describe(), "sampled")
}

func TestExamplesLoad(t *testing.T) {
	list, err := filepath.Glob(filepath.Join(examples, "*.toml"))
	require.NoError(t, err)
	require.GreaterOrEqual(t, len(list), 3)
	for _, path := range list {
		p, fs := Load(path)
		require.NoError(t, fs.Err(), path)
		assert.Greater(t, p.Launches(), int64(20), path)
		assert.NotEmpty(t, p.pictures(), path)
	}
	_, fs := Load(filepath.Join(examples, "nowhere.toml"))
	assert.ErrorContains(t, fs.Err(), "cannot be read")
}

// Every mistake is found before the first launch, at its place in the plan.
func TestMistakesOfPlans(t *testing.T) {
	grip := saltmarsh + "[[parameter]]\npath = \"surface.grip\"\n"
	for _, x := range []struct{ title, text, says string }{
		{"nothing to launch", "", "nothing to launch"},
		{"both", saltmarsh + "car = \"x\"", "give one or the other"},
		{"scenario that is not there", `scenarios = ["nowhere.toml"]`, `test.toml:3:\d+: error: scenarios\[1\]: cannot be read: no such file`},
		{"unknown key", saltmarsh + "repeat = 3", "did you mean repeats"},
		{"no values", grip, "needs either values"},
		{"values and range", grip + "values = [1]\nfrom = 1\nto = 2\nstep = 1", "needs either values"},
		{"half a range", grip + "from = 1", "from, to and step"},
		{"backwards", grip + "from = 2\nto = 1\nstep = 1", "below from"},
		{"no step", grip + "from = 1\nto = 2\nstep = 0", "above 0"},
		{"too fine", grip + "from = 1\nto = 2\nstep = 0.00001", "too many values"},
		{"sampled list", grip + "values = [1]\nsampled = true", "only a range can be sampled"},
		{"samples without count", grip + "from = 1\nto = 2\nstep = 0.1\nsampled = true", "how many samples"},
		{"count without samples", grip + "values = [1]\n[samples]\ncount = 3", "no parameter is sampled"},
		{"value out of range", grip + "values = [1.2, 9.5]", `test.toml:5:\d+: error: surface.grip: out of range \(got 9.5; allowed 0.05 to 4\)`},
		{"range that leaves the range", grip + "from = 3\nto = 5\nstep = 0.5", `surface.grip: out of range \(got 4.5`},
		{"sampled range that leaves it", grip + "from = 3\nto = 5\nstep = 0.5\nsampled = true\n[samples]\ncount = 3", `surface.grip: out of range \(got 5;`},
		{"word for a number", grip + `values = ["slippery"]`, "surface.grip: must be a number"},
		{"unknown key of the scenario", saltmarsh + "[[parameter]]\npath = \"surface.gripp\"\nvalues = [1]", `surface.gripp: unknown key.*did you mean grip\?`},
		{"unknown table", saltmarsh + "[[parameter]]\npath = \"surfase.grip\"\nvalues = [1]", `surfase.*did you mean surface\?`},
		{"unknown stage", saltmarsh + "[[parameter]]\npath = \"calibration.stage.lanch.ceiling_rpm\"\nvalues = [4000]", `lanch.*launch`},
		{"unknown key of the calibration", saltmarsh + "[[parameter]]\npath = \"calibration.stage.launch.ceiling\"\nvalues = [4000]", `test.toml:5:\d+: error: calibration.stage.launch.ceiling: unknown key.*ceiling_rpm`},
		{"calibration value out of range", saltmarsh + "[[parameter]]\npath = \"calibration.stage.launch.ceiling_rpm\"\nvalues = [40]", `test.toml:5:\d+: error: calibration.stage.launch.ceiling_rpm: out of range \(got 40; allowed 300 to 20000 rpm`},
		{"car value out of range", saltmarsh + "[[parameter]]\npath = \"car.tyre.mu\"\nvalues = [0]", `car.tyre.mu: out of range`},
		{"list entry", saltmarsh + "[[parameter]]\npath = \"car.gearbox.ratios[9]\"\nvalues = [1]", `car.gearbox.ratios\[9\]`},
		{"phrase", saltmarsh + "[[parameter]]\npath = \"driver.does[3]\"\nvalues = [\"clutch ramp upwards\"]", `driver.does\[3\]`},
		{"as without place", grip + "as = \"none\"\nvalues = [1]", "no {}"},
		{"twice", grip + "values = [1]\n[[parameter]]\npath = \"scenario.surface.grip\"\nvalues = [1]", "another column has this name|named by two"},
		{"groups of two lengths", grip + "values = [1, 2]\ngroup = \"g\"\n[[parameter]]\npath = \"weather.ambient_c\"\ngroup = \"g\"\nvalues = [20]", "equally many"},
		{"own seed", saltmarsh + "[[parameter]]\npath = \"seed\"\nvalues = [1]", "set by the plan itself"},
		{"scatter around nothing", saltmarsh + "[[scatter]]\npath = \"weather.ambient_c\"\nspread = 3", "no number here to scatter around"},
		{"scatter around a word", saltmarsh + "[[scatter]]\npath = \"calibration.stage.launch.style\"\nspread = 3", "no number here to scatter around"},
		{"scatter that leaves the range", saltmarsh + "[[scatter]]\npath = \"surface.grip\"\nspread = 1.5", `test.toml:5:\d+: error: surface.grip: out of range \(got -2.9`},
		{"requirements that are not there", saltmarsh + "require = [\"standard/nonsense\"]", "nonsense"},
		{"picture of nothing", grip + "values = [1]\n[[picture]]\nx = \"surface.gripp\"", "no column has this name"},
		{"picture of a word", grip + "values = [1]\n[[picture]]\nx = \"surface.grip\"\nvalue = \"limited_by\"", "is not measured"},
		{"too many launches", saltmarsh + "repeats = 1000000\n[[parameter]]\npath = \"surface.grip\"\nfrom = 0.1\nto = 3\nstep = 0.001", "too many launches"},
		{"another kind of file", `scenarios = ["../cars/dray-mare.toml"]`, "not a scenario"},
	} {
		_, fs := decode(t, x.text)
		if assert.Error(t, fs.Err(), x.title) {
			assert.Regexp(t, x.says, fs.Error(), x.title)
		}
	}
}

func TestAllFindingsAtOnce(t *testing.T) {
	_, fs := decode(t, saltmarsh+"[[parameter]]\npath = \"surface.grip\"\nvalues = [9]\n[[parameter]]\npath = \"car.tyre.mu\"\nvalues = [77]\n[[parameter]]\npath = \"calibration.stage.launch.ceiling_rpm\"\nvalues = [1]")
	text := fs.Err().Error()
	assert.Contains(t, text, "surface.grip")
	_, fs = decode(t, saltmarsh+"[[parameter]]\npath = \"car.tyre.mu\"\nvalues = [1, 77]\n[[parameter]]\npath = \"calibration.stage.launch.ceiling_rpm\"\nvalues = [4000, 1]")
	text = fs.Err().Error()
	assert.Contains(t, text, "car.tyre.mu")
	assert.Contains(t, text, "calibration.stage.launch.ceiling_rpm")
}

// Values reach the car, the calibration, the surface and the driver.
func TestValuesArriveByTheirPaths(t *testing.T) {
	p := mustDecode(t, saltmarsh+`
[[parameter]]
path = "scenario.surface.grip"
values = [1.23]
[[parameter]]
path = "weather.ambient_c"
values = [31]
[[parameter]]
path = "car.tyre.mu"
values = [1.31]
[[parameter]]
path = "car.gearbox.ratios[2]"
values = [2.01]
[[parameter]]
path = "calibration.stage.launch.ceiling_rpm"
values = [4321.5]
[[parameter]]
path = "calibration.stage.main.style"
values = ["whole-engine"]
[[parameter]]
path = "driver.does[3]"
as = "clutch ramp to 70 % over {} s at 2 s"
values = [0.07]
[[parameter]]
path = "decode_teeth"
values = [false]
`)
	r, fs := newLauncher(p).prepare(p.settingsOf(0))
	require.NoError(t, fs.Err())
	assert.Equal(t, 1.23, r.scenario.Grip)
	assert.Equal(t, 31.0, r.scenario.AmbientC)
	assert.False(t, r.scenario.DecodeTeeth)
	assert.Equal(t, 1.31, r.model.Car().Tyre.Mu0)
	assert.Equal(t, 2.01, r.model.Car().Gearbox.Ratios[1])
	assert.Equal(t, controller.Speed(43215), controller.Speed(r.cal.cal.Stages[0].Ceiling.Const))
	assert.Equal(t, controller.WholeEngine, r.cal.cal.Stages[1].Cut.Style)
	assert.Equal(t, int64(70_000), r.scenario.Script.Actions[2].Ramp.OverUs)
	assert.Equal(t, "surface.grip", p.Columns()[4].Name)
}

// A plan can put whole cars and calibrations in a scenario's place, together.
func TestCarsAsParameters(t *testing.T) {
	p := mustDecode(t, saltmarsh+`
[[parameter]]
path = "car"
group = "car"
values = ["../cars/saltmarsh-20t.toml", "../cars/dray-mare.toml"]
[[parameter]]
path = "calibration"
group = "car"
values = ["../calibrations/saltmarsh-20t.toml", "../calibrations/dray-mare.toml"]
[[parameter]]
path = "driver.does[3]"
values = ["clutch ramp to 70 % over 0.1 s at 2 s"]
[[scatter]]
path = "car.tyre.mu"
spread = 0.01
`)
	l := newLauncher(p)
	for i, name := range []string{"Saltmarsh 20T", "Dray Mare"} {
		s := p.settingsOf(int64(i))
		r, fs := l.prepare(s)
		require.NoError(t, fs.Err())
		assert.Equal(t, name, r.model.Car().Name)
		drawn, ok := number(r.drawn[0])
		require.True(t, ok)
		assert.Equal(t, drawn, r.model.Car().Tyre.Mu0)
	}
	o := outcome{settings: p.settingsOf(1), drawn: []string{"1"}}
	assert.Equal(t, "dray-mare.toml", p.row(&o)[4])
}

// copyExamples gives a folder with the files that plans name.
func copyExamples(t *testing.T) string {
	t.Helper()
	dir := t.TempDir()
	for _, sub := range []string{"scenarios", "cars", "calibrations"} {
		require.NoError(t, os.CopyFS(filepath.Join(dir, sub), os.DirFS(filepath.Join(examples, "..", sub))))
	}
	require.NoError(t, os.Mkdir(filepath.Join(dir, "sweeps"), 0o755))
	return dir
}

// The plan's hash covers content, whatever the files are called and wherever they
// are, and neither comments nor what does not change a launch.
func TestHashCoversContent(t *testing.T) {
	const text = "format = \"holdline-plan-1\"\nname = \"test\"\nrequire = [\"standard/limiters\"]\nscenarios = [\"../scenarios/saltmarsh-launch.toml\"]\n"
	hash := func(dir, text string) string {
		path := filepath.Join(dir, "sweeps", "plan.toml")
		require.NoError(t, os.WriteFile(path, []byte(text), 0o644))
		p, fs := Load(path)
		require.NoError(t, fs.Err())
		return p.Hash()
	}
	edit := func(dir, name, from, to string) {
		path := filepath.Join(dir, name)
		old, err := os.ReadFile(path)
		require.NoError(t, err)
		require.Contains(t, string(old), from)
		require.NoError(t, os.WriteFile(path, []byte(strings.Replace(string(old), from, to, 1)), 0o644))
	}
	dir := copyExamples(t)
	want := hash(dir, text)
	assert.Equal(t, want, hash(copyExamples(t), text), "another place")
	assert.Equal(t, want, hash(dir, "# a comment\n"+text+"shards = 7\n\n[keep]\nworst = 9\n"))

	require.NoError(t, os.Rename(filepath.Join(dir, "cars"), filepath.Join(dir, "garage")))
	edit(dir, "scenarios/saltmarsh-launch.toml", "../cars/", "../garage/")
	assert.Equal(t, want, hash(dir, text), "other names of the files within")
	edit(dir, "garage/saltmarsh-20t.toml", "mass_kg = 1300 ", "mass_kg = 1300 # as weighed")
	assert.Equal(t, want, hash(dir, text), "a comment")

	edit(dir, "garage/saltmarsh-20t.toml", "mass_kg = 1300 ", "mass_kg = 1301 ")
	heavier := hash(dir, text)
	assert.NotEqual(t, want, heavier, "a car's value")
	edit(dir, "calibrations/saltmarsh-20t.toml", "ceiling_rpm = 4000", "ceiling_rpm = 4100")
	faster := hash(dir, text)
	assert.NotEqual(t, heavier, faster, "a calibration's value")
	edit(dir, "scenarios/saltmarsh-launch.toml", "grip = 1.6", "grip = 1.5")
	assert.NotEqual(t, faster, hash(dir, text), "a scenario's value")
	own := filepath.Join(dir, "sweeps", "own.toml")
	require.NoError(t, os.WriteFile(own, []byte("format = \"holdline-requirements-1\"\n[[requirement]]\nid = \"own.speed\"\ntext = \"x\"\nformula = \"always engine_speed <= 9000 rpm\"\n"), 0o644))
	withOwn := strings.Replace(text, "standard/limiters", "own.toml", 1)
	asked := hash(dir, withOwn)
	edit(dir, "sweeps/own.toml", "9000", "9100")
	assert.NotEqual(t, asked, hash(dir, withOwn), "a requirement's number")
	base := hash(dir, text)
	for _, change := range [][2]string{{"standard/limiters", "own.toml"}, {"name = \"test\"", "name = \"test\"\nseed = 2"}, {"name = \"test\"", "name = \"test\"\nrepeats = 2"}} {
		assert.NotEqual(t, base, hash(dir, strings.Replace(text, change[0], change[1], 1)), change[1])
	}
}

func TestScenariosThatCannotBeSwept(t *testing.T) {
	dir := copyExamples(t)
	write := func(name, text string) {
		require.NoError(t, os.WriteFile(filepath.Join(dir, "scenarios", name), []byte("format = \""+scenario.Kind.Format+"\"\nname = \"x\"\n"+text), 0o644))
	}
	write("vary.toml", "car = \"../cars/dray-mare.toml\"\ncalibration = \"../calibrations/dray-mare.toml\"\n[driver]\ndoes = [\"throttle 100 % at 1 s\"]\n[[vary]]\npath = \"surface.grip\"\nvalues = [1, 2]\n")
	write("log.toml", "recording = \"x.csv\"\ncolumns = \"x.toml\"\ncalibration = \"../calibrations/dray-mare.toml\"\n")
	for name, says := range map[string]string{"vary.toml": "make them parameters of the plan", "log.toml": "cannot be swept"} {
		_, fs := Decode(filepath.Join(dir, "sweeps", "x.toml"), []byte("format = \"holdline-plan-1\"\nname = \"x\"\nscenarios = [\"../scenarios/"+name+"\"]\n"))
		assert.ErrorContains(t, fs.Err(), says, name)
	}
}

func FuzzPlan(f *testing.F) {
	list, _ := filepath.Glob(filepath.Join(examples, "*.toml"))
	for _, path := range list {
		text, err := os.ReadFile(path)
		require.NoError(f, err)
		f.Add(text)
	}
	f.Fuzz(func(t *testing.T, text []byte) {
		p, doc, fs := PlanKind.Decode("x.toml", text)
		if fs.Failed() {
			return
		}
		if fs := checkPlan(p, doc); fs.Failed() {
			return
		}
		if d := newDesign(p); p.Samples.Count < 1000 {
			if n, ok := d.size(p); ok {
				d.spread(p)
				d.at(p, n-1)
			}
		}
	})
}
