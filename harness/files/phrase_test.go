package files

import (
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/holdline/holdline/harness"
)

// An invented vocabulary in the trade's words.
var testWords = &Vocabulary{
	Switches: []Switch{
		{ID: 0, Name: "clutch"},
		{ID: 1, Name: "trans-brake", Aliases: []string{"transbrake", "trans brake"}},
		{ID: 2, Name: "arm"},
		{ID: 3, Name: "user switch 1"},
		{ID: 4, Name: "master valve", ReadOnly: true},
	},
	Channels: []Channel{
		{ID: 0, Name: "throttle", Aliases: []string{"pedal"}, Units: []Scale{PercentInPct2}, Lo: 0, Hi: 10000},
		{ID: 1, Name: "engine speed", Units: []Scale{RPMTenths}, ReadOnly: true},
		{ID: 2, Name: "manifold pressure", Units: []Scale{KilopascalInPa, {Unit: "bar", Mul: 100000}, {Unit: "psi", Mul: 6894757, Div: 1000, Rounded: true}}},
		{ID: 3, Name: "road speed", Units: []Scale{KmhInMmPerS, MetresInMm}, ReadOnly: true},
		{ID: 4, Name: "surface trim", Units: []Scale{Number}, Lo: -5, Hi: 5},
	},
	Moments: []Moment{{ID: 0, Name: "release"}, {ID: 1, Name: "launch stage"}},
}

func TestVocabulary(t *testing.T) {
	require.NoError(t, testWords.Verify())
	for _, v := range []Vocabulary{
		{Switches: []Switch{{Name: "on"}}},
		{Switches: []Switch{{Name: "a"}}, Channels: []Channel{{Name: "A", Units: []Scale{RPM}}}},
		{Switches: []Switch{{ID: 1, Name: "a"}, {ID: 1, Name: "b"}}},
		{Channels: []Channel{{Name: "speed"}}},
		{Channels: []Channel{{Name: "speed", Units: []Scale{{Mul: 3}}}}},
		{Channels: []Channel{{Name: "speed", Units: []Scale{RPM}, Lo: 1, Hi: 1 << 40}}},
		{Moments: []Moment{{Name: "5 th"}}},
		{Moments: []Moment{{Name: "a;b"}}},
		{Moments: []Moment{{Name: ""}}},
	} {
		assert.Error(t, v.Verify(), "%+v", v)
	}
}

// Phrases as people write them, and their canonical form.
var goodPhrases = [][2]string{
	{"clutch on at 12 s", "clutch on at 12 s"},
	{"Clutch OFF at 14.5s", "clutch off at 14.5 s"},
	{"throttle 100 % from 13 s to 18 s", "throttle 100 % from 13 s to 18 s"},
	{"throttle 100% at 13 s until 18 s", "throttle 100 % from 13 s to 18 s"},
	{"pedal 33.33 % at 500 ms", "throttle 33.33 % at 0.5 s"},
	{"throttle ramp 20 % to 100 % over 0.3 s at 13 s", "throttle ramp 20 % to 100 % over 0.3 s at 13 s"},
	{"throttle ramp to 100 % over 300 ms when clutch on", "throttle ramp to 100 % over 0.3 s when clutch on"},
	{"arm on at 1 s", "arm on at 1 s"},
	{"arm on", "arm on at 0 s"},
	{"clutch off 0.4 s after manifold pressure above 180 kPa", "clutch off 0.4 s after manifold pressure above 180 kPa"},
	{"clutch off 0.4 s after manifold pressure reaches 1.8 bar", "clutch off 0.4 s after manifold pressure reaches 180 kPa"},
	{"clutch off after manifold pressure above 1 psi", "clutch off when manifold pressure above 6.895 kPa"},
	{"trans brake on while engine speed above 3000 rpm", "trans-brake on while engine speed above 3000 rpm"},
	{"throttle 0 % when road speed above 60 km/h", "throttle 0 % when road speed above 60 km/h"},
	{"throttle 0 % when road speed falls to 2 m/s", "throttle 0 % when road speed falls to 7.2 km/h"},
	{"user switch 1 on at release for 2 s", "user switch 1 on at release for 2 s"},
	{"user switch 1 on for 2 s at release", "user switch 1 on at release for 2 s"},
	{"clutch on at 1 min with scatter 0.05 s", "clutch on at 60 s with scatter 0.05 s"},
	{"arm on when clutch on and launch stage until throttle below 10 %", "arm on when clutch on and launch stage until throttle below 10 %"},
	{"0.3s", ""},
	{"surface trim -2 0.1 s after release", "surface trim -2 0.1 s after release"},
	{"arm off 0 s after release # at once", "arm off at release"},
}

func TestPhrases(t *testing.T) {
	for _, c := range goodPhrases {
		s, findings := ParseScript("", c[0], testWords)
		if c[1] == "" {
			assert.Len(t, findings, 1, c[0])
			continue
		}
		require.Empty(t, findings, c[0])
		assert.Equal(t, c[1]+"\n", s.String(), c[0])
	}
}

func TestBadPhrases(t *testing.T) {
	for _, c := range []struct{ text, want string }{
		{"cluch on at 1 s", "1:1 expected a switch or channel, not a known name (got cluch; *; did you mean clutch?"},
		{"clutch onn at 1 s", "1:8 expected on or off (got onn); did you mean on?"},
		{"clutch at 1 s", "1:8 expected on or off (got at)"},
		{"clutch on att 1 s", "1:11 expected at, *; did you mean at?"},
		{"clutch on at", "1:13 expected a switch, channel or moment (got end of text)"},
		{"clutch on at relase", "1:14 *did you mean release?"},
		{"clutch on at 1", "1:14 unit missing (got 1; allowed s, ms, min); write 1 s"},
		{"clutch on at 1 sec", "1:16 not a unit of time (got sec; allowed s, ms, min)"},
		{"clutch on at 1,5 s", "1:14 comma in a number (got 1,5); write a decimal point"},
		{"clutch on at 0.0000001 s", "1:14 does not fit the resolution (*); write 0 or 0.000001"},
		{"clutch on at -1 s", "1:14 time out of range (got -1; allowed 0 to 100000 s)"},
		{"clutch on at 99999999999999999999 s", "1:14 has more digits"},
		{"throttle 110 % at 1 s", "1:10 throttle out of range (got 110; allowed 0 to 100 %)"},
		{"throttle 0.001 % at 1 s", "1:10 does not fit the resolution"},
		{"throttle on at 1 s", "1:10 expected a number in % or ramp (got on)"},
		{"throttle 50 at 1 s", "1:10 unit missing (got 50; allowed %); write 50 %"},
		{"throttle ramp 20 % 100 % over 1 s", "1:20 expected to (got 100)"},
		{"throttle ramp 20 % to 100 % over 0 s", "1:34 ramp time out of range"},
		{"throttle ramp 20 % to 100 % over 601 s", "1:34 ramp time out of range (got 601; allowed above 0 to 600 s)"},
		{"throttle ramp 20 % to 100 % at 1 s", "1:29 expected over (got at)"},
		{"engine speed 3000 rpm at 1 s", "1:1 engine speed cannot be scripted"},
		{"release at 1 s", "1:1 release cannot be scripted"},
		{"master valve on", "1:1 master valve cannot be scripted"},
		{"clutch on at 1 s at 2 s", "1:18 a phrase has only one start"},
		{"clutch on from 1 s to 2 s for 1 s", "1:27 a phrase has only one end"},
		{"clutch on from 2 s to 1 s", "1:1 ends before it starts"},
		{"clutch on from 2 s", "1:19 expected to (got end of text)"},
		{"clutch on for 0 s", "1:15 must be above 0"},
		{"clutch on while arm on for 1 s", "1:1 while ends by itself"},
		{"clutch on while arm on with scatter 1 s", "1:1 while starts again"},
		{"clutch on when throttle over 5 %", "1:25 expected above, below, reaches or falls to (got over)"},
		{"clutch on when throttle above 5 kPa", "1:33 not a unit of throttle"},
		{"clutch on with 5 s", "1:16 expected scatter (got 5)"},
		{"clutch on when arm", "1:19 expected on or off (got end of text)"},
		{"clutch on when throttle falls 5 %", "1:31 expected to (got 5)"},
		{"clutch on 5 s before release", "1:15 expected after (got before)"},
		{"12 s", "1:1 expected a switch or channel (got 12)"},
		{"clutch on when arm on and arm on and arm on and arm on and arm on and arm on and arm on and arm on and arm on", "1:104 too many tests"},
	} {
		s, findings := ParseScript("", c.text, testWords)
		if assert.Len(t, findings, 1, "%s: %s", c.text, show(findings)) {
			f := findings[0]
			place, message, _ := strings.Cut(c.want, " ")
			assert.Equal(t, place, fmt.Sprintf("%d:%d", f.Line, f.Column), "%s: %s", c.text, f)
			for _, part := range strings.Split(message, "*") {
				assert.Contains(t, f.String(), part, c.text)
			}
		}
		assert.Empty(t, s.Actions, c.text)
	}
}

func TestScriptReportsEveryBadPhrase(t *testing.T) {
	text := "arm on; cluch on at 1 s; clutch of\n\n# note\nthrottle 5 % at 1 s ; throttle 500 % at 2 s"
	s, findings := ParseScript("run.toml", text, testWords)
	require.Len(t, findings, 3, "%s", show(findings))
	assert.Equal(t, [][2]int{{1, 9}, {1, 33}, {4, 32}}, [][2]int{
		{findings[0].Line, findings[0].Column}, {findings[1].Line, findings[1].Column}, {findings[2].Line, findings[2].Column},
	})
	assert.Equal(t, "arm on at 0 s\nthrottle 5 % at 1 s\n", s.String())
}

func TestScriptIsBounded(t *testing.T) {
	_, findings := ParseScript("", strings.Repeat("arm on;", 1001), testWords)
	require.Len(t, findings, 1)
	assert.Contains(t, findings[0].Reason, "too many phrases")
	_, findings = ParseScript("", strings.Repeat("x", maxScript+1), testWords)
	require.Len(t, findings, 1)
	_, findings = ParseScript("", strings.Repeat("x;", 3000), testWords)
	assert.Len(t, findings, maxFindings)
}

func TestVocabularyDescribesItself(t *testing.T) {
	text := testWords.Describe()
	assert.Contains(t, text, "trans-brake            on or off can be set      also transbrake, trans brake\n")
	assert.Contains(t, text, "engine speed           number    condition only  in rpm\n")
	assert.Contains(t, text, "release                moment    condition only \n")
}

func TestPointAt(t *testing.T) {
	assert.Equal(t, "\tb c\n\t  ^", PointAt("a\n\tb c\r\n", harness.Finding{Line: 2, Column: 4}))
	assert.Equal(t, "a\n ^", PointAt("a", harness.Finding{Line: 1, Column: 2}))
	for _, f := range []harness.Finding{{}, {Line: 1}, {Line: 9, Column: 1}, {Line: 1, Column: 9}} {
		assert.Empty(t, PointAt("a", f))
	}
}
