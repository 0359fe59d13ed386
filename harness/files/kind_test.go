package files

import (
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/holdline/holdline/harness"
)

const goodGarden = `format = "holdline-garden-1"
title = "Nine \"elms\""
slope_deg = -12.5

[gate]
width_m = 1.25

[pond]
volume_l = 300

[bed.north]
length_m = 4
times_h = [6, 12, 20]
depths_cm = [5, 12.5]
water_l = [
  [1, 2, 3],
  [0.5, 1, 1.5],
]

[bed.south]
length_m = 2.125
soil = "sand"
interval_s = 0.25

[[helper]]
name = "Ada"
tools = ["spade", "rake"]
likes = ["peat", "sand"]
`

func TestDecodeReadsEverySortOfField(t *testing.T) {
	g, _, findings := gardenKind.Decode("g.toml", []byte(goodGarden))
	require.Empty(t, findings)
	want := &garden{Title: `Nine "elms"`, Angle: -125, Pond: true, PondVol: 300, NBeds: 2}
	want.Gate.Width, want.Gate.Height = 1250, 2000
	want.Beds[0] = bed{
		Name: "north", Length: 4000, Soil: clay, Watered: true,
		Times: [4]int32{6, 12, 20}, NTimes: 3, Depths: [2]int32{50, 125}, NDepths: 2,
		Water: [8]int32{10, 20, 30, 0, 5, 10, 15, 0},
	}
	want.Beds[1] = bed{Name: "south", Length: 2125, Soil: sand, Watered: true, Interval: 250000}
	want.Helpers = []helper{{Name: "Ada", Speed: 1111, Likes: []soil{peat, sand}, Tools: 5}}
	assert.Empty(t, cmp.Diff(want, g))
}

func TestEncodeIsCanonicalAndReadable(t *testing.T) {
	g, _, findings := gardenKind.Decode("g.toml", []byte(goodGarden))
	require.Empty(t, findings)
	text, err := gardenKind.Encode(g)
	require.NoError(t, err)
	back, _, findings := gardenKind.Decode("back.toml", text)
	require.Empty(t, findings)
	assert.Empty(t, cmp.Diff(g, back))
	again, err := gardenKind.Encode(back)
	require.NoError(t, err)
	assert.Equal(t, string(text), string(again))
	for _, l := range strings.Split(string(text), "\n") {
		assert.LessOrEqual(t, len(l), lineWidth)
	}
}

func TestDescribe(t *testing.T) {
	require.NoError(t, gardenKind.Verify())
	text := gardenKind.Describe()
	for _, part := range []string{
		"# Garden file\n\nAn invented garden",
		"| slope_deg | number        | -40 to 60 deg       | 0.5             | uphill to the north |\n",
		"## [bed.NAME]\n\nOne bed of plants. Number of these: 1 to 3.\n",
		"| lime_pct   | number            | 0 to 100 %                   | 0               | (only with soil = clay or peat) |\n",
		"## [[helper]]\n\nNumber of these: up to 2. May be left out.\n",
	} {
		assert.Contains(t, text, part)
	}
}

func show(fs harness.Findings) string {
	var out strings.Builder
	for _, f := range fs {
		out.WriteString(f.String() + "\n")
	}
	return out.String()
}

const badGarden = `format = "holdline-garden-1"
title = 5
slope_deg = 0.55
sloep_deg = 3
[gate]
width_m = "2"
height_m = 9
[bed.north]
length_m = 4 m
soil = "caly"
lime_pct = 3
times_h = [1, 3, 2, 30, 5]
water_l = [[1, 2], [3]]
[bed.south]
soil = "sand"
lime_pct = 5
watered = "true"
soil = "clay"
interval_s = 1,5
[pond]
[[helper]]
name = ""
tools = ["rake", "axe", "rake"]
likes = "clay"
[zebra]
stripes = 3
[gate]
`

// Written by hand beside badGarden, one line for each fault that was put in.
const wantFindings = `g.toml:2:9: error: title: must be text, not a number (got 5; allowed 1 to 40 bytes); put it in quotes
g.toml:3:13: error: slope_deg: does not fit the resolution (got 0.55; allowed -40 to 60 deg, steps of 0.1); write 0.5 or 0.6
g.toml:4:1: error: sloep_deg: unknown key; did you mean slope_deg?
g.toml:6:11: error: gate.width_m: must be a number, not text (got "2"; allowed 0.5 to 5 m); remove the quotes
g.toml:7:12: error: gate.height_m: out of range (got 9; allowed 0.5 to 3 m)
g.toml:9:14: error: bed.north.length_m: syntax: expected newline but got U+006D 'm' (got length_m = 4 m); write the number alone: the key names the unit
g.toml:10:8: error: bed.north.soil: unknown word (got "caly"; allowed sand, clay, peat); did you mean clay?
g.toml:12:11: error: bed.north.times_h: wrong number of items (got 5; allowed up to 4)
g.toml:12:18: error: bed.north.times_h[3]: must be above the number before it (got 2; allowed above 3 h)
g.toml:12:21: error: bed.north.times_h[4]: out of range (got 30; allowed 0 to 24 h)
g.toml:13:20: error: bed.north.water_l[2]: wrong number of values in the row (got 1; allowed 2); one for each point of the axis
g.toml:14:6: error: bed.south.length_m: required key is missing (allowed 0.1 to 50 m); add length_m to the table
g.toml:16:1: error: bed.south.lime_pct: is not used here: only with soil = clay or peat (got 5); remove it
g.toml:17:11: error: bed.south.watered: must be true or false, not text (got "true"; allowed true or false); remove the quotes
g.toml:18:1: error: bed.south.soil: key repeated; the first is on line 15; keep one of the two
g.toml:19:15: error: bed.south.interval_s: syntax: expected newline but got U+002C ',' (got interval_s = 1,5); write a decimal point, not a comma
g.toml:20:2: error: pond.volume_l: required key is missing (allowed 10 to 100000 l); add volume_l to the table
g.toml:22:8: error: helper[1].name: too short (got ""; allowed 1 to 20 bytes)
g.toml:23:18: error: helper[1].tools[2]: unknown word (got "axe"; allowed rake, hoe, spade)
g.toml:23:25: error: helper[1].tools[3]: word repeated (got "rake"); remove it
g.toml:24:9: error: helper[1].likes: must be a list of words, not text (got "clay"); put it in square brackets
g.toml:25:2: error: zebra: unknown key (allowed format, title, slope_deg, notes, gate, pond, bed, helper); remove it
g.toml:27:2: error: gate: table repeated; the first is on line 5; keep one of the two
`

func TestAllFindingsAtOnce(t *testing.T) {
	_, _, findings := gardenKind.Decode("g.toml", []byte(badGarden))
	assert.Equal(t, wantFindings, show(findings))
	require.Error(t, findings.Err())
	for _, f := range findings {
		assert.Equal(t, "error", f.Level)
	}
}

// Each text replaces one line of a good garden; each has exactly one finding.
func TestSingleFindings(t *testing.T) {
	for _, c := range []struct{ old, new, want string }{
		{`format = "holdline-garden-1"`, ``, `g:1:1: error: format: required key is missing (allowed "holdline-garden-1"); add format above the first table header`},
		{`-garden-1"`, `-garden-2"`, `g:1:10: error: format: this version of the format is not supported (got "holdline-garden-2"; allowed "holdline-garden-1")`},
		{`-garden-1"`, `-car-1"`, `g:1:10: error: format: this is not a garden file (got "holdline-car-1"; allowed "holdline-garden-1")`},
		{`"holdline-garden-1"`, `1`, `g:1:10: error: format: must be text, not a number (got 1; allowed "holdline-garden-1"); put it in quotes`},
		{`slope_deg = -12.5`, `slope_deg = nan`, `g:3:13: error: slope_deg: is not a plain decimal number (got nan; allowed -40 to 60 deg)`},
		{`slope_deg = -12.5`, `slope_deg = 0x10`, `g:3:13: error: slope_deg: is not a plain decimal number (got 0x10; allowed -40 to 60 deg)`},
		{`slope_deg = -12.5`, `slope_deg = 1979-05-27`, `g:3:13: error: slope_deg: must be a number, not a date or time (got 1979-05-27; allowed -40 to 60 deg)`},
		{`slope_deg = -12.5`, `slope_deg = [1]`, `g:3:13: error: slope_deg: must be a number, not a list (got a list of 1; allowed -40 to 60 deg)`},
		{`slope_deg = -12.5`, `slope_deg = {a = 1}`, `g:3:13: error: slope_deg: must be a number, not a table (allowed -40 to 60 deg)`},
		{`Nine \"elms\"`, `a\u0007b`, `g:2:9: error: title: control character in a text (got "a\u0007b"; allowed 1 to 40 bytes)`},
		{"[gate]\nwidth_m = 1.25", "gate = 5", `g:5:8: error: gate: must be a table, not a number (got 5)`},
		{"[pond]\nvolume_l = 300", "[[pond]]\nvolume_l = 300", `g:8:3: error: pond: must be a table, not a list (got a list of 1)`},
		{"interval_s = 0.25", "interval_s = 0.0000001", `g:23:14: error: bed.south.interval_s: does not fit the resolution (got 0.0000001; allowed 0.001 to 2000 s, steps of 0.000001); write 0 or 0.000001`},
		{"[bed.south]", "[bed.'so uth']", `g:20:6: error: bed.so uth: is not a usable name (got so uth; allowed 1 to 32 letters, digits, - or _)`},
		{"[bed.south]", "[bed]\nsouth = 1\n[bed.south2]", `g:21:9: error: bed.south: must be a table, not a number (got 1); write it under a [bed.NAME] header`},
		{"[[helper]]", "[helper]", `g:25:2: error: helper: must be a list of tables, not a table; write [[helper]]`},
		{`likes = ["peat", "sand"]`, `likes = ["peat", 1]`, `g:28:18: error: helper[1].likes[2]: must be a word, not a number (got 1; allowed sand, clay, peat); put it in quotes`},
		{`[0.5, 1, 1.5],`, `[0.5, 1, 60],`, `g:17:12: error: bed.north.water_l[2][3]: out of range (got 60; allowed 0 to 50 l)`},
		{`[0.5, 1, 1.5],`, `5,`, `g:17:3: error: bed.north.water_l[2]: must be a list of numbers, not a number (got 5); put it in square brackets`},
		{"  [0.5, 1, 1.5],\n", "", `g:15:11: error: bed.north.water_l: wrong number of rows (got 1; allowed 2); one for each point of the axis`},
		{`depths_cm = [5, 12.5]`, `depths_cm = [5, 5]`, `g:14:17: error: bed.north.depths_cm[2]: must be above the number before it (got 5; allowed above 5 cm)`},
		{"[[helper]]", "[bed.a]\nlength_m = 1\n[bed.b]\nlength_m = 1\n[[helper]]", `g:11:2: error: bed: wrong number of tables (got 4; allowed 1 to 3)`},
	} {
		require.Contains(t, goodGarden, c.old)
		_, _, findings := gardenKind.Decode("g", []byte(strings.Replace(goodGarden, c.old, c.new, 1)))
		assert.Equal(t, c.want+"\n", show(findings), c.new)
	}
}

func TestMissingTables(t *testing.T) {
	_, _, findings := gardenKind.Decode("g", []byte("format = \"holdline-garden-1\"\ntitle = \"x\"\n"))
	assert.Equal(t, "g:1:1: error: bed: required key is missing (allowed 1 to 3 tables [bed.NAME]); add bed to the table\n",
		strings.ReplaceAll(show(findings), "add bed above the first table header", "add bed to the table"))
}

func TestEmptyTextSaysOneThing(t *testing.T) {
	_, _, findings := gardenKind.Decode("g", []byte("\xFF\xFEx"))
	assert.Len(t, findings, 1)
	_, _, findings = gardenKind.Decode("g", []byte("title\n"))
	assert.Len(t, findings, 1, "%s", show(findings))
}

// A header that cannot be read must not make its keys strangers elsewhere or
// other keys missing.
func TestLostHeaderBlamesNobody(t *testing.T) {
	_, _, findings := gardenKind.Decode("g", []byte(strings.Replace(goodGarden, "[bed.south]", "[?]", 1)))
	require.Len(t, findings, 1, "%s", show(findings))
	_, _, findings = gardenKind.Decode("g", []byte(strings.Replace(goodGarden, "[bed.south]", "[bed.south", 1)))
	require.Len(t, findings, 1, "%s", show(findings))
}

func TestEncodeRefusesWhatTheTextCannotSay(t *testing.T) {
	g, _, _ := gardenKind.Decode("g", []byte(goodGarden))
	g.Angle = 601
	g.Title = "a\xFFb"
	g.Beds[0].Soil = noSoil
	g.Beds[0].Water[0] = -1
	g.Beds[1].Name = "a b"
	g.Helpers[0].Tools = 9
	g.Helpers[0].Likes = []soil{noSoil}
	_, err := gardenKind.Encode(g)
	require.Error(t, err)
	for _, part := range []string{"slope_deg: cannot be written: out of range (got 60.1", "title: cannot", "bed.north.soil: cannot", "bed.north.water_l: cannot", "not a name", "tools: cannot be written: bits 0x8", "likes: cannot"} {
		assert.Contains(t, err.Error(), part)
	}
}

func TestVerifyFindsFaultyDescriptions(t *testing.T) {
	var n int8
	var s soil
	var l []int32
	var on bool
	k := Kind[struct{}]{Name: "faulty", Format: "f-1", Fields: func(b *Block, _ *struct{}) {
		Int(b, &n, "twice", RPM, Default(1))
		Int(b, &n, "twice", RPM, Default(1))
		Int(b, &n, "range", RPM, Range(0, 300))
		Int(b, &n, "default", RPM, Range(0, 10), Default(11))
		Int(b, &n, "step", RPM, Range(0.5, 3))
		Int(b, &n, "third", Scale{Mul: 3})
		Enum(b, &s, "word", soils, Default("gravel"))
		Ints(b, Slice(&l), "list", RPM, Default(3))
		Bool(b, &on, "bool", Default(1))
	}}
	err := k.Verify()
	require.Error(t, err)
	for _, part := range []string{"twice: named twice", "range: the range", "default: the default 11", "step: constant 0.5", "word: the default", "third: its scale", "list: a list", "bool: the default"} {
		assert.Contains(t, err.Error(), part)
	}
}

func TestRisingJudgesOnlyGoodNumbers(t *testing.T) {
	var axis []int32
	k := Kind[struct{}]{Name: "axis", Format: "a-1", Fields: func(b *Block, _ *struct{}) {
		Ints(b, Slice(&axis), "x", DegreesTenths, Range(-40, 60), Rising())
	}}
	_, _, findings := k.Decode("a", []byte("format = 'a-1'\nx = [-90, -5, 0.55, -4]\n"))
	assert.Equal(t, `a:2:6: error: x[1]: out of range (got -90; allowed -40 to 60 deg)
a:2:15: error: x[3]: does not fit the resolution (got 0.55; allowed -40 to 60 deg, steps of 0.1); write 0.5 or 0.6
`, show(findings))
}

func TestTextOverSeveralLines(t *testing.T) {
	g, _, findings := gardenKind.Decode("g", []byte(strings.Replace(goodGarden, `"Nine \"elms\""`, "'''\r\na\r\n\tb'''", 1)))
	require.Empty(t, findings)
	assert.Equal(t, "a\n\tb", g.Title)
}
