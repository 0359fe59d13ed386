package files

import (
	"path/filepath"

	"github.com/holdline/holdline/controller"
	"github.com/holdline/holdline/harness"
	"github.com/holdline/holdline/sim"
)

// ScenarioKind is the file kind of scenarios.
var ScenarioKind = Kind[Scenario]{
	Name: "scenario", Format: "holdline-scenario-1",
	Doc: "A scenario: a simulated car, its calibration, what the driver does, the surface and the weather. " +
		"Files that it names are looked for from its own folder.",
	Fields: scenarioFields,
}

// Scenario is what a scenario file says, in the units of its text.
type Scenario struct {
	Name        string
	Car         string // path of the car file, from the scenario's folder
	Calibration string
	Seed        int64
	Repeats     int
	LongestS    float64
	DistanceM   float64
	DecodeTeeth bool // engine speed and sync from tooth times

	Script   Script
	ShiftRPM controller.Speed // tenths
	StartRPM float64

	Target harness.Target

	Grip, GripPerM, RolloutM              float64
	AmbientKPa, AmbientC, CoolantC        float64
	BottleC                               float64
	CycleNoise, SensorNoise               float64
	LoseTooth, ExtraTooth, JitterDeg      float64
	SpreadGrip, SpreadAmbient, SpreadFill float64
}

func scenarioFields(b *Block, s *Scenario) {
	Text(b, &s.Name, "name", Len(1, 80), Doc("shown with results"))
	Text(b, &s.Car, "car", Len(1, 400), Doc("car file"))
	Text(b, &s.Calibration, "calibration", Len(1, 400), Doc("calibration file for this car"))
	Int(b, &s.Seed, "seed", Number, Range(0, 1e15), Default(1), Doc("of the first run; the others follow"))
	Int(b, &s.Repeats, "repeats", Number, Range(1, 100000), Default(1), Doc("runs, each with its own seed"))
	Float(b, &s.LongestS, "longest_s", "s", Range(0.1, 600), Default(30.0), Doc("a run ends here at the latest"))
	Float(b, &s.DistanceM, "distance_m", "m", Range(1, 5000), Default(402.4), Doc("a run ends here: 402.4 is past the quarter mile"))
	Bool(b, &s.DecodeTeeth, "decode_teeth", Default(true), Doc("engine speed and crank angle from tooth times, as a controller has them; false: the true speed"))
	Table(b, "driver", func(b *Block) { driverFields(b, s) }, Doc("What the driver does. Phrases: NAME on at 1 s; NAME ramp to 100 % over 0.2 s 0.4 s after engine speed reaches 4000 rpm with scatter 0.05 s."))
	Table(b, "surface", func(b *Block) { surfaceFields(b, s) }, Doc("Track and staging."))
	Table(b, "weather", func(b *Block) { weatherFields(b, s) }, Doc("Weather and temperatures at the start."))
	Table(b, "target", func(b *Block) {
		Int(b, &s.Target.Pressure, "pressure_kpa", KilopascalInPa, Range(0, 1000), Optional(), Doc("absolute manifold pressure"))
		Int(b, &s.Target.Speed, "speed_rpm", RPMTenths, Range(0, 20000), Optional(), Doc("engine speed"))
	}, Doc("What the hold waits for; the time to it is reported. May be left out."))
	Table(b, "noise", func(b *Block) { noiseFields(b, s) }, Doc("Random effects within a run, and tooth faults."))
	Table(b, "spread", func(b *Block) {
		Float(b, &s.SpreadGrip, "grip", "", Range(0, 0.5), Default(0.0), Doc("relative"))
		Float(b, &s.SpreadAmbient, "ambient_c", "K", Range(0, 20), Default(0.0))
		Float(b, &s.SpreadFill, "bottle_c", "K", Range(0, 10), Default(0.0))
	}, Doc("Standard deviations from run to run."))
}

func driverFields(b *Block, s *Scenario) {
	Phrases(b, &s.Script, "does", DriverWords(), Doc("pedals, lever and switches"))
	Int(b, &s.ShiftRPM, "shift_rpm", RPMTenths, Range(0, 20000), Optional(), Doc("takes the next gear here; left out: never"))
	Float(b, &s.StartRPM, "start_rpm", "rpm", Range(300, 8000), Default(1500.0), Doc("engine speed at the start"))
}

func surfaceFields(b *Block, s *Scenario) {
	Float(b, &s.Grip, "grip", "", Range(0.05, 4), Default(1.0), Doc("factor on the tyre's friction"))
	Float(b, &s.GripPerM, "grip_per_m", "1/m", Range(-0.01, 0.01), Default(0.0), Doc("its change along the track"))
	Float(b, &s.RolloutM, "rollout_m", "m", Range(0, 2), Default(0.28), Doc("the car moves this far before the stage beam clears"))
}

func weatherFields(b *Block, s *Scenario) {
	Float(b, &s.AmbientKPa, "ambient_kpa", "kPa", Range(50, 110), Default(101.3))
	Float(b, &s.AmbientC, "ambient_c", "degC", Range(-30, 55), Default(20.0))
	Float(b, &s.CoolantC, "coolant_c", "degC", Range(-30, 120), Default(90.0))
	Float(b, &s.BottleC, "bottle_c", "degC", Range(-30, 34), Default(20.0))
}

func noiseFields(b *Block, s *Scenario) {
	Float(b, &s.CycleNoise, "cycle", "", Range(0, 10), Default(1.0), Doc("combustion and injector scatter; 1 as in the car"))
	Float(b, &s.SensorNoise, "sensor", "", Range(0, 10), Default(1.0), Doc("sensor noise and fixed tooth errors; 1 as in the car"))
	Float(b, &s.LoseTooth, "lose_tooth", "", Range(0, 0.5), Default(0.0), Doc("probability that an edge is not seen"))
	Float(b, &s.ExtraTooth, "extra_tooth", "", Range(0, 0.5), Default(0.0), Doc("probability of a false edge"))
	Float(b, &s.JitterDeg, "jitter_deg", "deg", Range(0, 1), Default(0.0), Doc("standard deviation of each edge"))
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

// LoadedScenario is a scenario with the files that it names.
type LoadedScenario struct {
	Scenario
	File  string
	Model *sim.Model
	Cal   *controller.Calibration
}

// LoadScenario reads a scenario with its car and calibration. It returns
// everything that is wrong with any of them at once; the scenario is nil if any
// of that is an error.
func LoadScenario(path string) (*LoadedScenario, harness.Findings) {
	s, doc, findings := ScenarioKind.Read(path)
	if s.Car == "" || s.Calibration == "" {
		return nil, findings
	}
	car, more := LoadCar(beside(path, s.Car))
	findings = append(findings, named(doc, "car", more)...)
	cal, more := LoadCalibration(beside(path, s.Calibration))
	findings = append(findings, named(doc, "calibration", more)...)
	if findings.Failed() {
		return nil, findings
	}
	match := harness.MatchCar(*car, cal)
	for _, f := range match {
		pos, _ := doc.Locate("calibration")
		f.File, f.Line, f.Column = doc.File, pos.Line, pos.Column
		findings = append(findings, f)
	}
	if match.Failed() {
		return nil, findings
	}
	model, bad := sim.Compile(*car)
	for _, f := range bad {
		findings = append(findings, harness.Finding{Severity: harness.Error, File: s.Car, Field: f.Field, Value: f.Value, Allowed: f.Allowed, Reason: f.Reason})
	}
	return &LoadedScenario{Scenario: *s, File: path, Model: model, Cal: cal}, findings
}

// named points at the scenario's key where a file could not be read at all.
func named(doc *Document, key string, findings harness.Findings) harness.Findings {
	for i := range findings {
		if f := &findings[i]; f.Line == 0 && f.Field == "" && f.Severity == harness.Error {
			pos, _ := doc.Locate(key)
			f.Value, f.File, f.Line, f.Column, f.Field = f.File, doc.File, pos.Line, pos.Column, key
		}
	}
	return findings
}

// beside resolves a path that a file names.
func beside(file, path string) string {
	if filepath.IsAbs(path) {
		return path
	}
	return filepath.Join(filepath.Dir(file), filepath.FromSlash(path))
}
