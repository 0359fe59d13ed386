package files

import (
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"github.com/holdline/holdline/controller"
	"github.com/holdline/holdline/harness"
	"github.com/holdline/holdline/harness/record"
)

const smallColumns = `format = "holdline-columns-1"
barometric_kpa = 101.3
[channel.engine-speed]
column = "RPM"
[channel.manifold-pressure]
column = "Boost"
unit = "bar"
reference = "gauge"
[switch.clutch-down]
column = "#7"
on_below = 0.5
`

func TestSmallColumns(t *testing.T) {
	c, findings := DecodeColumns("c", []byte(smallColumns))
	require.Empty(t, findings)
	assert.Equal(t, harness.DefaultCommitAngles, c.Commit)
	assert.Equal(t, controller.ManifoldPressure, c.Channels[1].Channel)
	assert.Equal(t, Pos{5, 10}, c.Channels[1].Pos)
	assert.True(t, c.Switches[0].OnBelow)
	assert.EqualValues(t, 500000, c.Switches[0].Threshold)
	assert.Equal(t, record.Options{Need: []string{"RPM", "Boost", "#7"}}, c.Options())
}

// One column of words can tell several switches; a text that nobody needs is no error.
func TestColumnsInWords(t *testing.T) {
	const text = `format = "holdline-columns-1"
[channel.engine-speed]
column = "RPM"
unit = "rpm"
[switch.clutch-down]
column = "Pedal"
on_words = ["pressed"]
off_words = ["Released", "moving"]
[switch.clutch-up]
column = "Pedal"
on_words = ["released"]
off_words = ["pressed"]
`
	c, findings := DecodeColumns("c", []byte(text))
	require.Empty(t, findings)
	again, err := ColumnsKind.Encode(c)
	require.NoError(t, err)
	c2, findings := DecodeColumns("c", again)
	require.Empty(t, findings, "%s", again)
	assert.Equal(t, c.Switches[0].OffWords, c2.Switches[0].OffWords)
	rec, findings := record.Read(strings.NewReader("Time (s),RPM,Pedal,Who\n0,900,Pressed,me\n1,900,MOVING,me\n2,900,Released,me\n3,900,,me\n5,900,pressed,me\n"), "log.csv", c.Options())
	require.Empty(t, findings)
	_, feeds, findings := c.Bind(rec)
	require.Empty(t, findings)
	bad := *c
	bad.Channels = append([]ColumnsChannel{{Channel: controller.UserA, Column: "Pedal"}}, c.Channels...)
	bad.Switches = append([]ColumnsSwitch{{Switch: controller.Arm, Column: "Pedal", Threshold: 1}}, c.Switches...)
	_, _, findings = bad.Bind(rec)
	require.Len(t, findings, 2, "%s", show(findings))
	assert.Contains(t, show(findings), "channel.user-a.column: this column is written in words")
	assert.Contains(t, show(findings), "switch.arm.column: this column is written in words")
	stim := record.Stimulus{Switches: feeds, Schedule: &harness.Schedule{}, ToUS: 5_000_000, PeriodUS: 1_000_000}
	type reading struct{ down, downKnown, up, upKnown bool }
	var got []reading
	for f := new(harness.Frame); stim.Next(f) == nil; {
		in := &f.In
		got = append(got, reading{in.On.Has(controller.ClutchDown), in.Known.Has(controller.ClutchDown), in.On.Has(controller.ClutchUp), in.Known.Has(controller.ClutchUp)})
	}
	assert.Equal(t, []reading{
		{true, true, false, true}, {false, true, false, false}, {false, true, true, true}, // moving says nothing of clutch-up
		{false, true, true, true}, {false, false, true, false}, {true, true, false, true}, // held for one and a half intervals
	}, got)
}

func TestColumnsFindings(t *testing.T) {
	for _, c := range []struct{ old, with, want string }{
		{"barometric_kpa = 101.3\n", "", `c:7:13: error: channel.manifold-pressure.reference: a gauge pressure needs the pressure of the air (got "gauge"); add barometric_kpa above the first table header`},
		{`reference = "gauge"`, ``, `c:5:10: error: channel.manifold-pressure.reference: required for a pressure (allowed absolute, gauge)`},
		{`unit = "bar"`, `unit = "bar abs"`, `c:8:13: error: channel.manifold-pressure.reference: the unit says absolute (got "gauge"); correct one of them`},
		{`unit = "bar"`, `unit = "rpm"`, `c:7:8: error: channel.manifold-pressure.unit: is a unit of engine speed, the channel is pressure (got "rpm"; allowed Pa, hPa, mbar, kPa, bar, psi, inHg)`},
		{`unit = "bar"`, `unit = "barr"`, `c:7:8: error: channel.manifold-pressure.unit: unit is not known (got "barr"; allowed Pa, hPa, mbar, kPa, bar, psi, inHg)`},
		{`column = "RPM"`, ``, `c:3:10: error: channel.engine-speed: nothing feeds it; add column, or constant`},
		{`column = "RPM"`, "column = 'RPM'\nconstant = 900", `c:5:12: error: channel.engine-speed.constant: a column and a constant are both stated (got 900); remove one of them`},
		{`column = "RPM"`, "column = 'RPM'\nline = [[1, 2], [1, 3]]", `c:5:8: error: channel.engine-speed.line: the two points make no line (got a list of 2); state two different inputs`},
		{`column = "RPM"`, "column = 'RPM'\nline = [1, 2]", "c:5:9: error: channel.engine-speed.line[1]: must be a list of numbers, not a number (got 1); put it in square brackets\nc:5:12: error: channel.engine-speed.line[2]: must be a list of numbers, not a number (got 2); put it in square brackets"},
		{`column = "RPM"`, "constant = 900\nunit = 'rpm'", `c:5:8: warning: channel.engine-speed.unit: is not used here: the constant counts (got 'rpm')`},
		{`on_below = 0.5`, ``, `c:9:9: error: switch.clutch-down.on_above: required key is missing; add on_above or on_below, or on_words and off_words for a column that is written in words`},
		{`on_below = 0.5`, `on_words = ["UP"]`, `c:11:12: error: switch.clutch-down.on_words: words for on and for off are needed (got a list of 1); state on_words and off_words`},
		{`on_below = 0.5`, "on_words = ['UP']\noff_words = ['down', 'Up']", `c:12:13: error: switch.clutch-down.off_words: the word stands for on too (got Up); leave one out`},
		{`on_below = 0.5`, "on_words = ['UP']\noff_words = ['down']\non_below = 1", `c:13:12: error: switch.clutch-down.on_below: the column's words are stated too (got 1); state numbers or words, not both`},
		{`on_below = 0.5`, "on_below = 0.5\non_above = 0.4", `c:12:12: error: switch.clutch-down.on_above: on_below is stated too (got 0.4); remove one of them`},
		{`[switch.clutch-down]`, `[switch.clutch]`, `c:9:9: error: switch.clutch: no such switch (got clutch; allowed ` + strings.Join(switchWords.Names(), ", ") + `)`},
		{`[switch.clutch-down]`, "[recording]\nrate_hz = 1\ntime_column = 't'\n[switch.clutch-down]", `c:10:11: error: recording.rate_hz: a rate and a time column are both stated (got 1); state one of them`},
		{`[switch.clutch-down]`, "[recording]\nfrom_s = 10\nto_s = 5\n[switch.clutch-down]", `c:11:8: error: recording.to_s: must be above from_s (got 5; allowed above 10 s)`},
		{`barometric_kpa = 101.3`, "barometric_kpa = 101.3\nscript = 'clutch down onn'", `c:3:23: error: script: expected on or off (got onn); did you mean on?`},
	} {
		text := strings.Replace(smallColumns, c.old, c.with, 1)
		_, findings := DecodeColumns("c", []byte(text))
		assert.Equal(t, c.want+"\n", show(findings), text)
	}
}

// Conversions against values by definition: 212 degF is 100 degC, 60 mph is
// 26.8224 m/s (1 mph = 0.44704 m/s), 14.5037738 psi is 1 bar, 1 inHg is 3386.389 Pa
// (conventional, NIST SP 811 appendix B, from memory), 1 rad/s is 30/pi rpm.
func TestToCore(t *testing.T) {
	for _, c := range []struct {
		x        ColumnsChannel
		recorded string
		at       float64
		want     float64
	}{
		{ColumnsChannel{Channel: controller.CoolantTemperature, Unit: "F"}, "", 212, 1000},
		{ColumnsChannel{Channel: controller.CoolantTemperature}, "°C", -40, -400},
		{ColumnsChannel{Channel: controller.RoadSpeedMain, Unit: "mph"}, "km/h", 60, 26822.4},
		{ColumnsChannel{Channel: controller.FuelPressure, Unit: "psi", Reference: record.Absolute}, "", 14.5037738, 100000},
		{ColumnsChannel{Channel: controller.FuelPressure, Unit: "bar", Reference: record.Gauge}, "", 3, 401300},
		{ColumnsChannel{Channel: controller.ManifoldPressure, Unit: "inHg", Reference: record.Absolute}, "", 1, 3386.389},
		{ColumnsChannel{Channel: controller.Throttle, Unit: "ratio"}, "", 0.5, 5000},
		{ColumnsChannel{Channel: controller.Throttle, Unit: "%", HasPoints: true, Points: [2][2]int64{{500000, 0}, {4500000, 100000000}}}, "V", 2.5, 5000},
		{ColumnsChannel{Channel: controller.EngineSpeed, Unit: "rad/s"}, "", 100, 9549.29658},
		{ColumnsChannel{Channel: controller.Lambda, Unit: "lambda"}, "", 0.85, 8500},
		{ColumnsChannel{Channel: controller.SupplyVoltage}, "mV", 13800, 13800},
		{ColumnsChannel{Channel: controller.BaseTiming, Unit: "deg"}, "", -20, -2000},
		{ColumnsChannel{Channel: controller.Gear}, "", 3, 3},
	} {
		line, err := c.x.ToCore(c.recorded, 101300)
		require.NoError(t, err)
		assert.InDelta(t, c.want, line.At(c.at), 0.02, "%+v", c)
	}
	_, err := (&ColumnsChannel{Channel: controller.Throttle}).ToCore("", 0)
	assert.ErrorContains(t, err, "no unit is stated for throttle, neither in the file nor in the recording: add unit, one of %, ratio")
	_, err = (&ColumnsChannel{Channel: controller.Throttle}).ToCore("V", 0)
	assert.ErrorContains(t, err, `unit "V" for throttle: is a unit of voltage, the channel is ratio`)
	_, err = (&ColumnsChannel{Channel: controller.OilPressure}).ToCore("bar", 0)
	assert.ErrorContains(t, err, "absolute or gauge")
}

func TestBindFindings(t *testing.T) {
	c, findings := DecodeColumns("c", []byte(smallColumns))
	require.Empty(t, findings)
	rec, findings := record.Read(strings.NewReader("time [s],RPM,Boost [bar]\n0,900,0\n1,900,0\n"), "run.csv", record.Options{})
	require.NoError(t, findings.Err())
	feeds, switches, findings := c.Bind(rec)
	assert.Len(t, feeds, 1)
	assert.Empty(t, switches)
	require.Len(t, findings, 2)
	assert.Equal(t, "c:3:10: error: channel.engine-speed.unit: no unit is stated for engine-speed, neither in the file nor in the recording: add unit, one of rpm, 1/s, rad/s", findings[0].String())
	assert.Equal(t, "c:9:9: error: switch.clutch-down.column: no such column in run.csv, or several (got #7; allowed RPM, Boost [bar])", findings[1].String())
}

func TestConstantsAndMoments(t *testing.T) {
	c := &Columns{Channels: []ColumnsChannel{{Channel: controller.Gear, HasConstant: true, Constant: 0}, {Channel: controller.Lambda, Column: "x"}}}
	var in controller.Input
	c.Constants(&in)
	assert.True(t, in.Channels[controller.Gear].Good)
	assert.False(t, in.Channels[controller.Lambda].Good)

	script, findings := ParseScript("", "arm on at release; arm off when launch stage; foot brake on 0.5 s after since release above 100 ms; clutch on while shot 2", Inputs())
	require.Empty(t, findings)
	cal := &controller.Calibration{}
	cal.Stages[2].Kind = controller.Launch
	out := &controller.Output{Sequence: controller.Released, Active: 1 << 2}
	out.Shots[1].Phase = controller.ShotOpen
	assert.True(t, MomentHolds(script.Actions[0].Trigger.Tests[0].Subject.ID, cal, out))
	assert.True(t, MomentHolds(script.Actions[1].Trigger.Tests[0].Subject.ID, cal, out))
	assert.Equal(t, int(controller.SinceRelease), script.Actions[2].Trigger.Tests[0].Subject.ID)
	assert.EqualValues(t, 100, script.Actions[2].Trigger.Tests[0].Value)
	assert.True(t, MomentHolds(script.Actions[3].Trigger.Tests[0].Subject.ID, cal, out))
	for _, m := range Inputs().Moments {
		assert.Equal(t, m.Name == "idle", MomentHolds(m.ID, cal, &controller.Output{}), m.Name)
	}
	assert.False(t, MomentHolds(99, cal, out))
	assert.False(t, MomentHolds(-1, cal, out))
}

func drawColumns(t *rapid.T) *Columns {
	word := rapid.StringMatching(`[a-zA-Z ()#"\\.%-]{1,12}`)
	yes := func() bool { return rapid.Bool().Draw(t, "bool") }
	c := &Columns{Barometric: controller.Pressure(rapid.Int32Range(50000, 110000).Draw(t, "air"))}
	c.Commit = harness.CommitAngles{Fuel: controller.Angle(rapid.Int32Range(100, 144000).Draw(t, "f")), Spark: controller.Angle(rapid.Int32Range(100, 72000).Draw(t, "s"))}
	c.Notes = rapid.StringMatching(`[ -~\n]{0,20}`).Draw(t, "notes")
	if yes() {
		script, _ := ParseScript("", "clutch on at 1 s; throttle ramp 0 % to 100 % over 0.5 s at 3 s; gear 2 at release", Inputs())
		c.Script = *script
	}
	r := &c.Recording
	r.Delimiter, r.Decimal = rapid.SampledFrom([]byte{0, ';', '\t'}).Draw(t, "d"), rapid.SampledFrom([]byte{0, '.', ','}).Draw(t, "m")
	r.HeaderLine = rapid.Int32Range(0, 9).Draw(t, "h")
	r.NoHeader = r.HeaderLine == 0 && yes()
	r.Titles, r.Ignore, r.Missing = rapid.SliceOfN(word, 0, 3).Draw(t, "t"), rapid.SliceOfN(word, 0, 3).Draw(t, "i"), rapid.SliceOfN(word, 0, 3).Draw(t, "w")
	switch rapid.IntRange(0, 2).Draw(t, "time") {
	case 0:
		r.RateMilliHz = rapid.Int64Range(1, 1_000_000_000).Draw(t, "rate")
	case 1:
		r.TimeColumn, r.TimeUnit = word.Draw(t, "tc"), rapid.SampledFrom([]string{"", "s", "ms", "us", "clock"}).Draw(t, "tu")
	default:
		r.Pairing = record.Pairing(rapid.IntRange(0, 2).Draw(t, "pair"))
	}
	r.StepBack = record.StepPolicy(rapid.IntRange(0, 1).Draw(t, "step"))
	r.FromUS = rapid.Int64Range(0, 1e12).Draw(t, "from")
	if yes() {
		r.ToUS = r.FromUS + rapid.Int64Range(1, 1e12).Draw(t, "to")
	}
	for ch := range controller.NumChannels {
		if yes() {
			c.Channels = append(c.Channels, drawColumn(t, ch, word))
		}
	}
	for sw := range controller.NumSwitches {
		if yes() {
			x := ColumnsSwitch{Switch: sw, Column: word.Draw(t, "c"), OnBelow: yes(), Threshold: rapid.Int64Range(-1e15, 1e15).Draw(t, "th")}
			if yes() {
				x.OnBelow, x.Threshold = false, 0
				x.OnWords, x.OffWords = []string{"on", "Gedrückt"}, rapid.SliceOfNDistinct(rapid.StringMatching(`x[a-z ]{0,5}`), 1, 3, rapid.ID).Draw(t, "off")
			}
			x.IntervalUS = rapid.Int64Range(0, 1e9).Draw(t, "iv")
			c.Switches = append(c.Switches, x)
		}
	}
	return c
}

func drawColumn(t *rapid.T, ch controller.Channel, word *rapid.Generator[string]) ColumnsChannel {
	x := ColumnsChannel{Channel: ch}
	if rapid.Bool().Draw(t, "constant") {
		x.HasConstant, x.Constant = true, rapid.Int32().Draw(t, "value")
		return x
	}
	x.Column = word.Draw(t, "column")
	if rapid.Bool().Draw(t, "own") {
		x.TimeColumn = word.Draw(t, "time column")
	}
	if units := unitsFor(ch); len(units) > 0 {
		x.Unit = rapid.SampledFrom(append(units, "")).Draw(t, "unit")
	}
	if u, ok := record.ParseUnit(x.Unit); ok && u.Quantity == record.Pressure {
		x.Reference = record.Reference(rapid.IntRange(1, 2).Draw(t, "reference"))
	}
	if rapid.Bool().Draw(t, "line") {
		x.HasPoints = true
		p := rapid.Int64Range(-1e15, 1e15)
		x.Points = [2][2]int64{{p.Draw(t, "x"), p.Draw(t, "y")}, {p.Draw(t, "x"), p.Draw(t, "y")}}
		if x.Points[0][0] == x.Points[1][0] {
			x.Points[0][0], x.Points[1][0] = 0, 1
		}
	}
	x.Mode = record.Mode(rapid.IntRange(0, 1).Draw(t, "mode"))
	x.IntervalUS = rapid.Int64Range(0, 3_600_000_000).Draw(t, "interval")
	return x
}

var columnsAlike = []cmp.Option{
	cmpopts.EquateEmpty(), cmpopts.IgnoreFields(Columns{}, "File"), cmpopts.IgnoreFields(ColumnsChannel{}, "Pos"), cmpopts.IgnoreFields(ColumnsSwitch{}, "Pos"),
	cmpopts.IgnoreUnexported(ColumnsChannel{}, ColumnsSwitch{}), cmpopts.IgnoreFields(Script{}, "Vocabulary"), cmpopts.IgnoreFields(Action{}, "Pos"),
}

func TestColumnsRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := drawColumns(t)
		text, err := ColumnsKind.Encode(c)
		if err != nil {
			t.Fatalf("%v", err)
		}
		back, findings := DecodeColumns("c", text)
		if len(findings) > 0 {
			t.Fatalf("%s\n%s", show(findings), text)
		}
		if d := cmp.Diff(c, back, columnsAlike...); d != "" {
			t.Fatalf("%s\n%s", d, text)
		}
	})
}

func TestColumnsAreDescribed(t *testing.T) {
	described := ColumnsKind.Describe()
	draw := rapid.Custom(drawColumns)
	keys := map[string]bool{}
	for seed := range 60 {
		text, err := ColumnsKind.Encode(draw.Example(seed))
		require.NoError(t, err)
		for _, m := range keyOf.FindAllStringSubmatch(string(text), -1) {
			keys[m[1]] = true
		}
	}
	assert.Greater(t, len(keys), 25)
	for key := range keys {
		assert.Contains(t, described, "\n| "+key+" ")
	}
}

func FuzzColumns(f *testing.F) {
	f.Add([]byte(smallColumns))
	f.Add([]byte("format = \"holdline-columns-1\"\n[channel.gear]\ncolumn='g'\nline=[[0,1],[2,3]]\n[channel.lambda]\nconstant=0\n"))
	f.Fuzz(func(t *testing.T, text []byte) {
		c, findings := DecodeColumns("c", text)
		if c == nil || len(findings) > 0 {
			return
		}
		out, err := ColumnsKind.Encode(c)
		if err != nil {
			t.Fatalf("%q\n%v", text, err)
		}
		back, findings := DecodeColumns("c", out)
		if back == nil || cmp.Diff(c, back, columnsAlike...) != "" {
			t.Fatalf("%q\n%s\n%s", text, out, show(findings))
		}
	})
}
