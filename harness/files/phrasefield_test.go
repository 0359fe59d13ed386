package files

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/holdline/holdline/harness"
)

type trip struct {
	Inputs Script
	Limit  int32
	Floor  int32
}

var tripKind = Kind[trip]{Name: "trip", Format: "holdline-trip-1", Fields: func(b *Block, v *trip) {
	Phrases(b, &v.Inputs, "inputs", testWords, Optional())
	Int(b, &v.Limit, "limit_rpm", RPM, Default(5000))
	Int(b, &v.Floor, "floor_rpm", RPM, Default(3000))
	if b.Decoding() && b.Good("limit_rpm", "floor_rpm") && v.Floor >= v.Limit {
		b.Fail("floor_rpm", harness.Finding{Reason: "must be below limit_rpm", Allowed: "below " + RPM.Shown(int64(v.Limit))})
	}
	if v.Limit > 9000 {
		b.Warn("limit_rpm", harness.Finding{Reason: "high"})
	}
}}

func TestPhrasesInAFile(t *testing.T) {
	const text = `format = "holdline-trip-1"
inputs = ["clutch on at 1 s", 'cluch off at 2 s', 5, """
arm on; arm of
"""]
`
	_, _, findings := tripKind.Decode("t", []byte(text))
	require.Len(t, findings, 3, "%s", show(findings))
	assert.Contains(t, findings[0].String(), "t:2:32: error: inputs[2]: expected a switch or channel")
	assert.Contains(t, findings[1].String(), "t:2:51: error: inputs[3]: must be text, not a number (got 5)")
	assert.Contains(t, findings[2].String(), "t:3:13: error: inputs[4]: expected on or off (got of)")

	v, _, findings := tripKind.Decode("t", []byte("format = \"holdline-trip-1\"\ninputs = 'arm on; clutch on at 2 s'\n"))
	require.Empty(t, findings)
	assert.Equal(t, Pos{2, 19}, v.Inputs.Actions[1].Pos)
	out, err := tripKind.Encode(v)
	require.NoError(t, err)
	assert.Contains(t, string(out), "inputs = [\n  \"arm on at 0 s\",\n  \"clutch on at 2 s\",\n]\n")
	back, _, findings := tripKind.Decode("t", out)
	require.Empty(t, findings)
	assert.Equal(t, v.Inputs.String(), back.Inputs.String())
}

func TestChecksOverSeveralFields(t *testing.T) {
	_, _, findings := tripKind.Decode("t", []byte("format = \"holdline-trip-1\"\nlimit_rpm = 2000\n"))
	assert.Equal(t, "t:1:1: error: floor_rpm: must be below limit_rpm (allowed below 2000 rpm)\n", show(findings))
	_, _, findings = tripKind.Decode("t", []byte("format = \"holdline-trip-1\"\nlimit_rpm = true\nfloor_rpm = 6000\n"))
	assert.Len(t, findings, 1, "a field in error is not judged again: %s", show(findings))
	_, _, findings = tripKind.Decode("t", []byte("format = \"holdline-trip-1\"\nlimit_rpm = 9001\n"))
	assert.Equal(t, "t:2:13: warning: limit_rpm: high (got 9001)\n", show(findings))
	assert.NoError(t, findings.Err())
}

func TestFormatOf(t *testing.T) {
	doc, _ := Parse("", []byte(goodGarden))
	assert.Equal(t, "holdline-garden-1", FormatOf(doc))
	doc, _ = Parse("", []byte("format = 3"))
	assert.Empty(t, FormatOf(doc))
}
