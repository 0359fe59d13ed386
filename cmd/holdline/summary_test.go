package main

import (
	"bytes"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/holdline/holdline/harness"
)

// The summary fits a screen of 80 columns, with the longest names and reasons
// that there are.
func TestSummaryFitsTheScreen(t *testing.T) {
	var out, errs bytes.Buffer
	require.Equal(t, exitHeld, realMain([]string{
		"replay", "../../examples/recordings/obd-drive-1hz.csv",
		"--cal", "../../examples/calibrations/street-four.toml", "--columns", "../../examples/columns/obd-drive.toml",
	}, &out, &errs), errs.String())
	long := []harness.Inhibited{{Reason: "standing-qualify", Seconds: 2709, Longest: harness.Span{From: 1000, To: 2709}}}
	printSummary(&out, &harness.Results{
		Unit: "reference controller", Source: strings.Repeat("long/", 30), Seconds: 2709, Complete: true,
		Stages: []harness.StageResult{{Name: strings.Repeat("n", 16), Inhibited: long}},
		Shots:  []harness.ShotResult{{Name: strings.Repeat("n", 16), Inhibited: long}},
	})
	assert.Contains(t, out.String(), "never active")
	for line := range strings.Lines(out.String()) {
		assert.LessOrEqual(t, len([]rune(strings.TrimSuffix(line, "\n"))), screenWidth, line)
	}
}
