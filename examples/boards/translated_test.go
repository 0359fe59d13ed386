package boards_test

import (
	"bytes"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"reflect"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/holdline/holdline/controller"
	"github.com/holdline/holdline/examples/boards/work"
)

// cTypes writes Go types as C types with the same names and fields, and values of
// them; unexported fields too.
type cTypes struct {
	out  bytes.Buffer
	done map[reflect.Type]bool
}

// name gives the C name of a type; a structure is written down before.
func (c *cTypes) name(t testing.TB, typ reflect.Type) string {
	switch typ.Kind() {
	case reflect.Bool:
		return "uint8_t"
	case reflect.Int8, reflect.Int16, reflect.Int32, reflect.Int64:
		return fmt.Sprintf("int%d_t", typ.Bits())
	case reflect.Uint8, reflect.Uint16, reflect.Uint32, reflect.Uint64:
		return fmt.Sprintf("uint%d_t", typ.Bits())
	case reflect.Struct:
		c.structure(t, typ)
		return typ.Name()
	}
	require.Failf(t, "no C for it", "%v", typ)
	return ""
}

func (c *cTypes) structure(t testing.TB, typ reflect.Type) {
	require.NotEmpty(t, typ.Name())
	if c.done[typ] {
		return
	}
	c.done[typ] = true
	var body strings.Builder
	for i := range typ.NumField() {
		f, dims := typ.Field(i).Type, ""
		for ; f.Kind() == reflect.Array; f = f.Elem() {
			dims += fmt.Sprintf("[%d]", f.Len())
		}
		fmt.Fprintf(&body, "\t%s %s%s;\n", c.name(t, f), typ.Field(i).Name, dims)
	}
	fmt.Fprintf(&c.out, "typedef struct {\n%s} %s;\n\n", body.String(), typ.Name())
}

func cValue(v reflect.Value) string {
	list := func(n int, at func(int) reflect.Value) string {
		parts := make([]string, n)
		for i := range parts {
			parts[i] = cValue(at(i))
		}
		return "{" + strings.Join(parts, ", ") + "}"
	}
	switch v.Kind() {
	case reflect.Struct:
		return list(v.NumField(), v.Field)
	case reflect.Array:
		return list(v.Len(), v.Index)
	case reflect.Bool:
		return map[bool]string{false: "0", true: "1"}[v.Bool()]
	case reflect.Int8, reflect.Int16, reflect.Int32, reflect.Int64:
		return fmt.Sprint(v.Int())
	}
	return fmt.Sprintf("%du", v.Uint())
}

// typesFor writes types.h for a calibration and gives its folder.
func typesFor(t testing.TB, cal *controller.Calibration) string {
	c := &cTypes{done: map[reflect.Type]bool{}}
	for _, v := range []any{controller.Calibration{}, controller.Input{}, controller.Output{}, controller.State{}} {
		c.name(t, reflect.TypeOf(v))
	}
	fmt.Fprintln(&c.out, "enum {")
	for name, v := range map[string]any{
		"NumChannels": controller.NumChannels, "NumSwitches": controller.NumSwitches, "MaxStages": controller.MaxStages, "MaxTables": controller.MaxTables,
		"MaxTerms": controller.MaxTerms, "MaxPeriods": controller.MaxPeriods, "RPM": controller.RPM, "One": controller.One, "FullDemand": controller.FullDemand,
		"Kilopascal": controller.Kilopascal, "Bar": controller.Bar, "Degree": controller.Degree,
		"LatestTiming": controller.LatestTiming, "EarliestTiming": controller.EarliestTiming,
		"EngineSpeed": controller.EngineSpeed, "Throttle": controller.Throttle, "ManifoldPressure": controller.ManifoldPressure,
		"RoadSpeedMain": controller.RoadSpeedMain, "RoadSpeedOther": controller.RoadSpeedOther, "Gear": controller.Gear,
		"CoolantTemperature": controller.CoolantTemperature, "IntakeTemperature": controller.IntakeTemperature, "ExhaustTemperature": controller.ExhaustTemperature,
		"FuelPressure": controller.FuelPressure, "OilPressure": controller.OilPressure, "BottlePressure": controller.BottlePressure,
		"BrakePressure": controller.BrakePressure, "SupplyVoltage": controller.SupplyVoltage, "Lambda": controller.Lambda,
		"BaseTiming": controller.BaseTiming, "SurfaceTrim": controller.SurfaceTrim,
		"ClutchDown": controller.ClutchDown, "ClutchUp": controller.ClutchUp, "FootBrake": controller.FootBrake, "TransBrake": controller.TransBrake,
		"ShiftButton": controller.ShiftButton, "Arm": controller.Arm,
		"NoTerm": controller.NoTerm, "SwitchOn": controller.SwitchOn, "SwitchOff": controller.SwitchOff, "Within": controller.Within, "SequenceIn": controller.SequenceIn,
		"SpeedUnseen": controller.SpeedUnseen, "SpeedCranking": controller.SpeedCranking, "SpeedGood": controller.SpeedGood,
		"SpeedStanding": controller.SpeedStanding, "SpeedWithheld": controller.SpeedWithheld,
		"Idle": controller.Idle, "Held": controller.Held, "Released": controller.Released, "Ended": controller.Ended, "Aborted": controller.Aborted,
		"MarkEarned": controller.MarkEarned, "MarkReleased": controller.MarkReleased, "MarkBump": controller.MarkBump, "MarkAborted": controller.MarkAborted, "MarkEnded": controller.MarkEnded,
		"NoStage": controller.NoStage, "Burnout": controller.Burnout, "Launch": controller.Launch, "AfterRelease": controller.AfterRelease, "User": controller.User, "Main": controller.Main,
		"StageCondition": controller.StageCondition, "StageQualifying": controller.StageQualifying, "StageInputLost": controller.StageInputLost,
		"StageRoadSpeed": controller.StageRoadSpeed, "StageTooFast": controller.StageTooFast, "StageReentry": controller.StageReentry, "StageSequence": controller.StageSequence,
		"StageSpeed": controller.StageSpeed, "StageWholeLimit": controller.StageWholeLimit, "StageGuard": controller.StageGuard, "StageCooling": controller.StageCooling, "StageKept": controller.StageKept,
		"HoldNone": controller.HoldNone, "HoldClutch": controller.HoldClutch, "HoldTransBrake": controller.HoldTransBrake, "HoldFootBrake": controller.HoldFootBrake, "HoldBrakePressure": controller.HoldBrakePressure,
		"LossRest": controller.LossRest, "Soft": controller.Soft, "Hard": controller.Hard, "WholeEngine": controller.WholeEngine, "Regulate": controller.Regulate,
		"Fuel": controller.Fuel, "Spark": controller.Spark, "FuelSequential": controller.FuelSequential,
		"TimingBase": controller.TimingBase, "TimingAbsolute": controller.TimingAbsolute,
	} {
		fmt.Fprintf(&c.out, "\t%s = %d,\n", name, v)
	}
	fmt.Fprintf(&c.out, "\tNO_MORE_NAMES\n};\n\nstatic const Calibration calibration = %s;\n", cValue(reflect.ValueOf(*cal)))
	dir := t.TempDir()
	require.NoError(t, os.WriteFile(filepath.Join(dir, "types.h"), append([]byte("#include <stdint.h>\n\n"), c.out.Bytes()...), 0o644))
	return dir
}

// decided is a tick's output as translated/host.c prints it: all but what added power
// and commits put there.
func decided(o *controller.Output) string {
	var b strings.Builder
	fmt.Fprintf(&b, "%d %d %d %d %d %d %d %d %d %d %d %d %d %d %d %d %d %d", o.Sequence, o.Marks, o.Speed, o.Active, o.Stage, o.CutStage, o.Medium,
		o.Ceiling, o.Target, o.Demand, o.Base, o.Timing, o.Mixture, o.Boost, o.Trim, o.Slope, o.SinceRelease, o.Lost)
	for i := range o.StageCeiling {
		fmt.Fprintf(&b, " %d %d", o.StageInhibits[i], o.StageCeiling[i])
	}
	return b.String()
}

// The same tick in plain C, translated line by line without added power: it decides
// the same over a launch, and is the yardstick for the instructions of the Go one.
func TestTheTickTranslatedToC(t *testing.T) {
	tool(t, "gcc", "arm-none-eabi-gcc", "qemu-system-arm", "bash")
	everyCalibration(t, func(t *testing.T, name string) {
		_, cal := image(t, name)
		cal.Shots = [controller.MaxShots]controller.Shot{}
		var problems controller.Problems
		require.True(t, cal.Seal(&problems), "%v", problems.List[:problems.N])
		dir := typesFor(t, cal)
		made := func(what string) string {
			out := filepath.Join(dir, what)
			said, err := exec.Command("bash", "build.sh", what, out, dir).CombinedOutput()
			require.NoError(t, err, "%s", said)
			return out
		}
		said, err := exec.Command(made("translated-host")).Output()
		require.NoError(t, err)
		lines := strings.Split(strings.TrimSpace(string(said)), "\n")
		require.Len(t, lines, work.Parts[0].Ticks)
		var d work.Drive
		require.NoError(t, d.Begin(cal, work.Launch, 1))
		seen := map[string]bool{}
		for i, line := range lines {
			d.Step()
			require.Equal(t, decided(&d.Out), line, "tick %d", i)
			seen[line] = true
		}
		assert.Greater(t, len(seen), 100, "a launch is not one decision")

		mean, worst, _ := cost(t, printed(t, cortexM3(made("translated"), "", "-serial", "stdio", "-icount", "shift=10")), "launch-tick")
		goMean, goWorst, _ := cost(t, counted(t, "measure", imageOf(t, cal)), "launch-tick")
		t.Logf("C %.1f instructions in the mean, %.0f at worst; Go %.1f and %.0f: %.2f and %.2f times", mean, worst, goMean, goWorst, goMean/mean, goWorst/worst)
		assert.LessOrEqual(t, goMean, 1.5*mean, "the aim")
		assert.LessOrEqual(t, goWorst, 1.5*worst)
	})
}
