package files

import (
	"go/ast"
	"go/parser"
	gotoken "go/token"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/holdline/holdline/controller"
)

// sealParts says about which part each function of the sealer speaks.
var sealParts = map[string]controller.Part{
	"engine": controller.PartEngine, "order": controller.PartEngine, "intervals": controller.PartEngine,
	"channels": controller.PartChannel, "sequence": controller.PartSequence, "holdInput": controller.PartSequence,
	"table": controller.PartTable, "stages": controller.PartStage, "ceilingsBelowMain": controller.PartStage,
	"stage": controller.PartStage, "mainStage": controller.PartStage, "condition": controller.PartStage,
	"cut": controller.PartStage, "hysteresis": controller.PartStage, "hardware": controller.PartStage,
	"timing": controller.PartStage, "timingReturn": controller.PartStage, "guard": controller.PartStage,
	"ramp": controller.PartStage, "leanStages": controller.PartStage, "rampAxis": controller.PartStage, "standing": controller.PartStanding,
	"shotStage": controller.PartShot, "shotTriggers": controller.PartShot, "shotValve": controller.PartShot,
	"shotFuel": controller.PartShot, "softMain": controller.PartShot, "shotRetard": controller.PartShot, "shotTimers": controller.PartShot,
}

// speaks lists the calls that name a field, and which argument that is.
var speaks = map[string]int{
	"fail": 0, "warn": 0, "failIf": 1, "warnIf": 1, "between": 0, "ticks": 0, "perTick": 0, "curve": 0,
	"needSwitch": 0, "window": 0, "axis": 0, "terms": 0,
}

// Every field that Seal can name has a key in the description of the file, and
// every key named for that is one.
func TestEverySealFieldHasAKey(t *testing.T) {
	paths, err := filepath.Glob("../../controller/*.go")
	require.NoError(t, err)
	found := 0
	for _, path := range paths {
		if strings.HasSuffix(path, "_test.go") {
			continue
		}
		file, err := parser.ParseFile(gotoken.NewFileSet(), path, nil, 0)
		require.NoError(t, err)
		for _, d := range file.Decls {
			fn, ok := d.(*ast.FuncDecl)
			if !ok || !ofSealer(fn) {
				continue
			}
			for _, field := range fieldsNamed(fn) {
				part, known := sealParts[fn.Name.Name]
				if fn.Name.Name == "Seal" || field == "switches" || field == "stage" {
					part, known = controller.PartCalibration, true
				}
				require.True(t, known, "%s names %s: say in sealParts which part it speaks of", fn.Name.Name, field)
				assert.Contains(t, sealKeys[part], field, "%s of part %d", field, part)
				found++
			}
		}
	}
	assert.Greater(t, found, 150, "the walk of the source finds the calls")

	described := Calibration.Describe()
	for _, fields := range sealKeys {
		for field, k := range fields {
			for _, key := range k.keys {
				if strings.HasPrefix(key, "/") || key == "stage" || key == "" {
					continue
				}
				assert.Contains(t, described, "\n| "+key+" ", field)
			}
		}
	}
}

// ofSealer reports whether a function is a method of the sealer, or Seal.
func ofSealer(fn *ast.FuncDecl) bool {
	if fn.Recv == nil {
		return false
	}
	star, ok := fn.Recv.List[0].Type.(*ast.StarExpr)
	if !ok {
		return false
	}
	name, ok := star.X.(*ast.Ident)
	return ok && (name.Name == "sealer" || fn.Name.Name == "Seal")
}

func fieldsNamed(fn *ast.FuncDecl) []string {
	var fields []string
	ast.Inspect(fn, func(n ast.Node) bool {
		call, ok := n.(*ast.CallExpr)
		if !ok {
			return true
		}
		sel, ok := call.Fun.(*ast.SelectorExpr)
		if !ok {
			return true
		}
		i, ok := speaks[sel.Sel.Name]
		if !ok || i >= len(call.Args) {
			return true
		}
		if lit, ok := call.Args[i].(*ast.BasicLit); ok && lit.Kind == gotoken.STRING {
			if s, err := strconv.Unquote(lit.Value); err == nil {
				fields = append(fields, s)
			}
		}
		return true
	})
	return fields
}

const smallCalibration = `format = "holdline-calibration-1"
switches = ["clutch-down"]
[engine]
firing_order = [1, 3, 4, 2]
[channel.engine-speed]
[channel.throttle]
[channel.road-speed]
[sequence]
hold = "clutch"
[stage.launch]
kind = "launch"
all = ["clutch-down on"]
ceiling_rpm = 5000
medium = "both"
[stage.main]
kind = "main"
ceiling_rpm = 9000
medium = "both"
`

func TestSmallCalibration(t *testing.T) {
	cal, findings := DecodeCalibration("c", []byte(smallCalibration))
	require.Empty(t, findings)
	assert.Equal(t, 500*controller.Millisecond, cal.Sequence.Earn)
	assert.Equal(t, "launch", cal.Stages[0].Name.String())
	assert.Equal(t, controller.FullDemand, cal.Stages[1].Cut.Depth)
	assert.Equal(t, controller.ChannelSpec{Fitted: true, Low: -500, High: 10500, LongestAge: 100 * controller.Millisecond}.High, cal.Channels[controller.Throttle].High)
}

// What Seal says is put at the line of the key, with the value in the file's
// unit and the range allowed.
func TestSealFindings(t *testing.T) {
	for _, c := range []struct{ old, with, want string }{
		{"ceiling_rpm = 9000", "ceiling_rpm = 9000\nslew_up_rpm_s = 5", `c:18:17: error: stage.main.slew_up_rpm_s: the main ceiling does not slew (got 5)`},
		{"ceiling_rpm = 5000", "ceiling_rpm = 9500", `c:13:15: warning: stage.launch.ceiling_rpm: is nowhere below the main ceiling: this stage never limits (got 9500)`},
		{`hold = "clutch"`, "hold = 'clutch'\nearn_s = 0.02", `c:10:10: error: sequence.earn_s: a hold must be earned for at least 50 ms: a bump into the beams would pass for a launch (got 0.02)`},
		{`hold = "clutch"`, "hold = 'clutch'\nearn_s = 61", `c:10:10: error: sequence.earn_s: out of range (got 61; allowed 0 to 60 s)`},
		{`hold = "clutch"`, "hold = 'clutch'\nthrottle_min_pct = 4", `c:10:20: error: sequence.throttle_min_pct: must lie above throttle_closed: otherwise no lift is ever seen (got 4)`},
		{"[channel.road-speed]\n", "", `c:7:2: error: sequence.entry_road_speed_mps: the launch sequence needs the road speed channel: without it a clutch pressed at speed could pass for a launch`},
		{`["clutch-down"]`, `[]`, "c:9:8: error: sequence.hold: names a switch that is not fitted (got \"clutch\")\nc:12:7: error: stage.launch.all: names a switch that is not fitted (got a list of 1)"},
		{"[1, 3, 4, 2]", "[1, 3, 3, 2]", `c:4:16: error: engine.firing_order: must name every cylinder from 1 up exactly once (got a list of 4)`},
		{"[1, 3, 4, 2]", "[1, 3, 4, 2]\nintervals_deg = [180, 180, 180, 170]", `c:5:17: error: engine.intervals_deg: firing intervals must sum to 720 degrees (got a list of 4)`},
		{"[1, 3, 4, 2]", "[1, 3, 4, 2]\nintervals_deg = [180, 180, 360]", `c:5:17: error: engine.intervals_deg: wrong number of intervals (got a list of 3; allowed 4); one for each cylinder of firing_order`},
		{"ceiling_rpm = 5000", "ceiling_rpm = 5000\ntiming_mode = 'absolute'\ntiming_deg = -5\nslew_out_deg_s = 400", `c:10:8: error: stage.launch.guard_longest_s: a guard is required where timing is after top dead centre or a cut is spark-only`},
	} {
		text := strings.Replace(smallCalibration, c.old, c.with, 1)
		_, findings := DecodeCalibration("c", []byte(text))
		assert.Equal(t, c.want+"\n", show(findings), text)
	}
}

// An error of the decoder is not followed by what only comes from it.
func TestNoAftermath(t *testing.T) {
	for _, c := range []struct{ old, with, want string }{
		{`["clutch-down"]`, `["clutch-dwn"]`, `c:2:13: error: switches[1]: unknown word (got "clutch-dwn"; allowed clutch-down, clutch-up, foot-brake, trans-brake, burnout-button, shift-button, arm, switch-1, switch-2, switch-3, switch-4, feedback-1, feedback-2, feedback-3, feedback-4); did you mean clutch-down?`},
		{"[1, 3, 4, 2]", "[1, 3, 4, 13]", `c:4:26: error: engine.firing_order[4]: out of range (got 13; allowed 1 to 12)`},
		{"[channel.throttle]", "[channel.throtle]", `c:6:10: error: channel.throtle: no such channel (got throtle; allowed ` + strings.Join(channelNames(), ", ") + `); did you mean throttle?`},
		{"ceiling_rpm = 9000", "ceiling_rpm = 99000", `c:17:15: error: stage.main.ceiling_rpm: out of range (got 99000; allowed 300 to 20000 rpm)`},
		{"ceiling_rpm = 5000", "ceiling_table = 'lunch'", `c:13:17: error: stage.launch.ceiling_table: no such table (got 'lunch'); add [table.lunch]`},
		{"ceiling_rpm = 5000\n", "", `c:10:8: error: stage.launch.ceiling_rpm: required key is missing (allowed 300 to 20000 rpm); add ceiling_rpm, or ceiling_table with the name of a table`},
		{`"clutch-down on"`, `"clutch-down in"`, `c:12:21: error: stage.launch.all[1]: unknown state of a switch (got in; allowed on, off)`},
		{"kind = \"launch\"", "kind = \"lunch\"", `c:11:8: error: stage.launch.kind: unknown word (got "lunch"; allowed burnout, launch, after-release, shift, user, main); did you mean launch?`},
		{"hold = \"clutch\"", "hold = \"clutsch\"", `c:9:8: error: sequence.hold: unknown word (got "clutsch"; allowed none, clutch, trans-brake, foot-brake, brake-pressure); did you mean clutch?`},
		{"ceiling_rpm = 5000", "ceiling_table = 't'\nmedium = 'fuel'\n[table.t]\ncolumns = 'throttle'\ncolumns_at = [0, 100]\ncells_rpm = [[5000, 'x']]\n[stage.other]\nkind = 'user'\nall = ['gear = 1']\nceiling_rpm = 3000",
			"c:18:21: error: table.t.cells_rpm[1][2]: must be a number, not text (got 'x'; allowed rpm)\nc:21:7: error: stage.other.all: names a channel that is not fitted (got a list of 1)"},
		{"[1, 3, 4, 2]", "[1, 3, 4, 2]\nbase_timing_deg = 99", `c:5:19: error: engine.base_timing_deg: out of range (got 99; allowed -40 to 60 deg)`},
		{"[engine]", "period_ms = 0\n[engine]", `c:3:13: error: period_ms: out of range (got 0; allowed 0.1 to 10 ms)`},
	} {
		text := strings.Replace(smallCalibration, c.old, c.with, 1)
		cal, findings := DecodeCalibration("c", []byte(text))
		assert.Equal(t, c.want+"\n", show(findings), text)
		assert.Nil(t, cal)
	}
}

// Whatever field of whatever part Seal names, the finding has a place in a file.
func TestEverySealFieldIsLocated(t *testing.T) {
	f, doc, findings := Calibration.Read(filepath.Join(examples, "calibrations", "v8-trans-brake.toml"))
	require.Empty(t, findings)
	j := newJudge(f, doc, nil)
	for part, fields := range sealKeys {
		for field := range fields {
			x := controller.Problem{Error: true, Part: part, Field: field, Reason: "r", Ranged: true}
			got, ok := j.finding(&x)
			assert.True(t, ok)
			assert.Positive(t, got.Line, "%s of part %d", field, part)
			assert.Positive(t, got.Column)
			assert.NotEmpty(t, got.Field)
		}
	}
	unknown, _ := j.finding(&controller.Problem{Part: controller.PartStage, Index: 1, Field: "new", Reason: "r"})
	assert.Equal(t, "stage.launch.new", unknown.Field)
	assert.Positive(t, unknown.Line)
}

// Numbers of the trade that the examples are meant to show (common practice):
// launch 5,000 under main 9,000 rpm; the table drops to the launch ceiling where
// full throttle meets target boost; 20 degrees after top dead centre; a shot of
// about 2 degrees for every 37 kW; one held shot, one after release.
func TestExamplesShowTheTrade(t *testing.T) {
	turbo, findings := LoadCalibration(filepath.Join(examples, "calibrations", "turbo-four-clutch.toml"))
	require.Empty(t, findings)
	ceiling := turbo.Tables[turbo.Stages[0].Ceiling.Table-1]
	assert.EqualValues(t, 5000*controller.RPM, ceiling.Cells[2][2])
	assert.EqualValues(t, 200*controller.Kilopascal, ceiling.Rows.Points[2])
	assert.EqualValues(t, turbo.Stages[0].Boost.Const, ceiling.Rows.Points[2], "target boost")
	assert.EqualValues(t, 9000*controller.RPM, turbo.Stages[2].Ceiling.Const)
	assert.EqualValues(t, -20*controller.Degree, turbo.Tables[turbo.Stages[0].Timing.Angle.Table-1].Cells[0][0])
	assert.NotZero(t, turbo.Stages[0].Guard.Longest)

	v8, findings := LoadCalibration(filepath.Join(examples, "calibrations", "v8-trans-brake.toml"))
	require.Empty(t, findings)
	assert.Equal(t, controller.WhileHeld, v8.Shots[0].When)
	assert.Equal(t, 2500*controller.RPM, v8.Shots[0].SpeedLow)
	assert.Equal(t, controller.Soft, v8.Stages[1].Cut.Style)
	assert.True(t, v8.Shots[1].Wet && v8.Shots[1].Ramp > 0)
	assert.Equal(t, controller.WhileReleased, v8.Shots[1].When)
	for _, s := range v8.Shots[:2] {
		assert.InDelta(t, 2, float64(s.Retard)/float64(controller.Degree)*37/float64(s.Power), 0.1)
	}
}
