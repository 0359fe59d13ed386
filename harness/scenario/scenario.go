package scenario

import (
	"github.com/holdline/holdline/controller"
	"github.com/holdline/holdline/harness"
	"github.com/holdline/holdline/harness/faults"
	"github.com/holdline/holdline/harness/files"
	"github.com/holdline/holdline/sim"
)

// Kind is the file kind of scenarios.
var Kind = files.Kind[Scenario]{
	Name: "scenario", Format: "holdline-scenario-1",
	Doc: "A scenario: what is launched and under what circumstances. Either a simulated car with what its driver does, the surface and the weather, " +
		"or a recording with its columns file. Faults, requirements and values to vary may follow. " +
		"Files that it names are looked for from its own folder.",
	Fields: scenarioFields,
}

// Scenario is what a scenario file says, in the units of its text.
type Scenario struct {
	Name        string
	Car         string // path of the car file, from the scenario's folder
	Recording   string // or that of a recording
	Columns     string // and of its columns file
	Calibration string
	Seed        int64
	Repeats     int
	LongestS    float64
	DistanceM   float64
	DecodeTeeth bool // engine speed and sync from tooth times

	Script   files.Script
	ShiftRPM controller.Speed // tenths
	Trim     int32            // position of the surface trim at the start
	StartRPM float64

	Target harness.Target

	Grip, GripPerM, RolloutM              float64
	AmbientKPa, AmbientC, CoolantC        float64
	BottleC                               float64
	CycleNoise, SensorNoise               float64
	LoseTooth, ExtraTooth, JitterDeg      float64
	SpreadGrip, SpreadAmbient, SpreadFill float64

	Requirements []string // names of sets, or paths from the scenario's folder
	Faults       []faults.Fault
	Vary         []Axis
}

// Axis is one value that a scenario varies. Several make every combination.
type Axis struct {
	Path   string   // as files.Change has it; "car." and "calibration." reach into those files
	Values []string // as the file would say them
}

func axisFields(b *files.Block, a *Axis) {
	files.Text(b, &a.Path, "path", files.Len(1, 200), files.Doc("such as surface.grip, calibration.stage.launch.ceiling_rpm, car.launch.k0"))
	files.Values(b, files.Slice(&a.Values), "values", files.Len(1, 1000))
}

func scenarioFields(b *files.Block, s *Scenario) {
	files.Text(b, &s.Name, "name", files.Len(1, 80), files.Doc("shown with results"))
	files.Text(b, &s.Car, "car", files.Len(1, 400), files.Optional(), files.Doc("car file"))
	files.Text(b, &s.Recording, "recording", files.Len(1, 400), files.Optional(), files.Doc("or a recording: an open loop, which does not answer the cuts"))
	files.Text(b, &s.Columns, "columns", files.Len(1, 400), files.Optional(), files.Doc("columns file of the recording; its phrases script the switches; a trace of ours needs none"))
	files.Text(b, &s.Calibration, "calibration", files.Len(1, 400), files.Doc("calibration file"))
	files.Int(b, &s.Seed, "seed", files.Number, files.Range(0, 1e15), files.Default(1), files.Doc("of the first run; the others follow"))
	files.Int(b, &s.Repeats, "repeats", files.Number, files.Range(1, 100000), files.Default(1), files.Doc("runs, each with its own seed"))
	files.Texts(b, files.Slice(&s.Requirements), "requirements", files.Optional(), files.Doc("sets that judge a run: standard, standard/NAME, or a requirements file"))
	files.Float(b, &s.LongestS, "longest_s", "s", files.Range(0.1, 600), files.Default(30.0), files.Doc("a run ends here at the latest"))
	files.Float(b, &s.DistanceM, "distance_m", "m", files.Range(1, 5000), files.Default(402.4), files.Doc("a run ends here: 402.4 is past the quarter mile"))
	files.Bool(b, &s.DecodeTeeth, "decode_teeth", files.Default(true), files.Doc("engine speed and crank angle from tooth times, as a controller has them; false: the true speed"))
	files.Table(b, "driver", func(b *files.Block) { driverFields(b, s) }, files.Doc("What the driver does. Phrases: NAME on at 1 s; NAME ramp to 100 % over 0.2 s 0.4 s after engine speed reaches 4000 rpm with scatter 0.05 s."))
	files.Table(b, "surface", func(b *files.Block) { surfaceFields(b, s) }, files.Doc("Track and staging."))
	files.Table(b, "weather", func(b *files.Block) { weatherFields(b, s) }, files.Doc("Weather and temperatures at the start."))
	files.Table(b, "target", func(b *files.Block) {
		files.Int(b, &s.Target.Pressure, "pressure_kpa", files.KilopascalInPa, files.Range(0, 1000), files.Optional(), files.Doc("absolute manifold pressure"))
		files.Int(b, &s.Target.Speed, "speed_rpm", files.RPMTenths, files.Range(0, 20000), files.Optional(), files.Doc("engine speed"))
	}, files.Doc("What the hold waits for; the time to it is reported. May be left out."))
	files.Table(b, "noise", func(b *files.Block) { noiseFields(b, s) }, files.Doc("Random effects within a run, and tooth faults."))
	files.Table(b, "spread", func(b *files.Block) {
		files.Float(b, &s.SpreadGrip, "grip", "", files.Range(0, 0.5), files.Default(0.0), files.Doc("relative"))
		files.Float(b, &s.SpreadAmbient, "ambient_c", "K", files.Range(0, 20), files.Default(0.0))
		files.Float(b, &s.SpreadFill, "bottle_c", "K", files.Range(0, 10), files.Default(0.0))
	}, files.Doc("Standard deviations from run to run."))
	files.Tables(b, files.Slice(&s.Faults), "fault", faults.Fields, files.Optional(), files.Doc("A fault between what is launched and the controller."))
	files.Tables(b, files.Slice(&s.Vary), "vary", axisFields, files.Optional(), files.Len(0, maxAxes), files.Doc("A value to vary: every combination is run, each with the same seeds."))
}

// maxAxes bounds the values that one scenario varies.
const maxAxes = 6

func driverFields(b *files.Block, s *Scenario) {
	files.Phrases(b, &s.Script, "does", files.DriverWords(), files.Optional(), files.Doc("pedals, lever and switches; required with a car"))
	files.Int(b, &s.ShiftRPM, "shift_rpm", files.RPMTenths, files.Range(0, 20000), files.Optional(), files.Doc("takes the next gear here; left out: never"))
	files.Int(b, &s.Trim, "surface_trim", files.Number, files.Range(-100, 100), files.Default(0), files.Doc("position of the crew's knob, where the calibration has it; a phrase can turn it later"))
	files.Float(b, &s.StartRPM, "start_rpm", "rpm", files.Range(300, 8000), files.Default(1500.0), files.Doc("engine speed at the start"))
}

func surfaceFields(b *files.Block, s *Scenario) {
	files.Float(b, &s.Grip, "grip", "", files.Range(0.05, 4), files.Default(1.0), files.Doc("factor on the tyre's friction"))
	files.Float(b, &s.GripPerM, "grip_per_m", "1/m", files.Range(-0.01, 0.01), files.Default(0.0), files.Doc("its change along the track"))
	files.Float(b, &s.RolloutM, "rollout_m", "m", files.Range(0, 2), files.Default(0.28), files.Doc("the car moves this far before the stage beam clears"))
}

func weatherFields(b *files.Block, s *Scenario) {
	files.Float(b, &s.AmbientKPa, "ambient_kpa", "kPa", files.Range(50, 110), files.Default(101.3))
	files.Float(b, &s.AmbientC, "ambient_c", "degC", files.Range(-30, 55), files.Default(20.0))
	files.Float(b, &s.CoolantC, "coolant_c", "degC", files.Range(-30, 120), files.Default(90.0))
	files.Float(b, &s.BottleC, "bottle_c", "degC", files.Range(-30, 34), files.Default(20.0))
}

func noiseFields(b *files.Block, s *Scenario) {
	files.Float(b, &s.CycleNoise, "cycle", "", files.Range(0, 10), files.Default(1.0), files.Doc("combustion and injector scatter; 1 as in the car"))
	files.Float(b, &s.SensorNoise, "sensor", "", files.Range(0, 10), files.Default(1.0), files.Doc("sensor noise and fixed tooth errors; 1 as in the car"))
	files.Float(b, &s.LoseTooth, "lose_tooth", "", files.Range(0, 0.5), files.Default(0.0), files.Doc("probability that an edge is not seen"))
	files.Float(b, &s.ExtraTooth, "extra_tooth", "", files.Range(0, 0.5), files.Default(0.0), files.Doc("probability of a false edge"))
	files.Float(b, &s.JitterDeg, "jitter_deg", "deg", files.Range(0, 1), files.Default(0.0), files.Doc("standard deviation of each edge"))
}

const zeroCelsius = 273.15

// Conditions gives the circumstances of the run with this number, from 0.
func (s *Scenario) Conditions(run int) sim.Conditions {
	c := sim.Standard()
	c.AmbientPa, c.AmbientK = s.AmbientKPa*1000, s.AmbientC+zeroCelsius
	c.CoolantK, c.BottleK = s.CoolantC+zeroCelsius, s.BottleC+zeroCelsius
	c.Grip, c.GripPerM, c.Rollout, c.MarkFrom = s.Grip, s.GripPerM, s.RolloutM, s.RolloutM
	c.StartRPM, c.CycleNoise, c.SensorNoise = s.StartRPM, s.CycleNoise, s.SensorNoise
	c.LoseTooth, c.ExtraTooth, c.JitterDeg = s.LoseTooth, s.ExtraTooth, s.JitterDeg
	return c.Drawn(uint64(s.Seed)+uint64(run), sim.Spread{Grip: s.SpreadGrip, AmbientK: s.SpreadAmbient, BottleK: s.SpreadFill})
}
