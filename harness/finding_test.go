package harness

import (
	"testing"

	"github.com/stretchr/testify/assert"
)

func TestFindingSaysWhereWhatAndWhatToDo(t *testing.T) {
	f := Finding{Severity: Error, File: "a.toml", Line: 3, Column: 9, Field: "stage.launch.band_rpm",
		Value: "5", Allowed: "20 to 3000", Reason: "out of range", Fix: "state a band"}
	assert.Equal(t, "a.toml:3:9: error: stage.launch.band_rpm: out of range (got 5; allowed 20 to 3000); state a band", f.String())
	assert.Equal(t, "line 1, column 4: warning: odd", Finding{Line: 1, Column: 4, Reason: "odd"}.String())
	assert.Equal(t, "a.toml: warning: odd (got 1)", Finding{File: "a.toml", Value: "1", Reason: "odd"}.String())
	assert.Equal(t, "warning: odd (allowed 2)", Finding{Allowed: "2", Reason: "odd"}.String())
}

func TestFindingsAreErrorsOnlyWithAnError(t *testing.T) {
	fs := Findings{{Reason: "b", File: "x", Line: 2}, {Reason: "a", File: "x", Line: 1}}
	assert.NoError(t, fs.Err())
	assert.Equal(t, "a", fs.Sorted()[0].Reason)
	fs = append(fs, Finding{Severity: Error, Reason: "c"})
	assert.Error(t, fs.Err())
	assert.Equal(t, "error", fs.Sorted()[0].Level)
	assert.Contains(t, fs.Error(), "x:2: warning: b\n")
}
