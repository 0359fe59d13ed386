package report_test

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/holdline/holdline/controller"
	"github.com/holdline/holdline/harness"
	"github.com/holdline/holdline/harness/files"
	"github.com/holdline/holdline/harness/record"
	"github.com/holdline/holdline/harness/report"
)

// stored drives a launch and leaves it in a folder as the command does.
func stored(t *testing.T) (dir string, run *report.Run) {
	t.Helper()
	dir = t.TempDir()
	var out *record.TraceFiles
	run = launched(t, "saltmarsh-launch.toml", 3, &harness.Reference{}, func(cal *controller.Calibration) []harness.Sink {
		var err error
		out, err = record.CreateTraceFiles(dir, cal, false)
		require.NoError(t, err)
		return []harness.Sink{out}
	})
	require.NoError(t, out.Close())
	text, err := run.Results.JSON()
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(filepath.Join(dir, report.ResultsFile), text, 0o644))
	var margins bytes.Buffer
	require.NoError(t, report.WriteMargins(&margins, run.Margins))
	require.NoError(t, os.WriteFile(filepath.Join(dir, report.MarginsFile), margins.Bytes(), 0o644))
	require.NoError(t, files.WriteCalibration(filepath.Join(dir, report.CalibrationFile), run.Calibration, false))
	return dir, run
}

// A page rebuilt from the files is the page of the run, byte for byte.
func TestPageFromFolder(t *testing.T) {
	dir, run := stored(t)
	again, err := report.ReadFolder(dir)
	require.NoError(t, err)
	require.Equal(t, len(run.Trace.Columns), len(again.Trace.Columns))
	for i := range run.Trace.Columns {
		a, b := &run.Trace.Columns[i], &again.Trace.Columns[i]
		assert.Equal(t, a.Quantity, b.Quantity)
		assert.Equal(t, a.Held, b.Held, a.Name)
		if a.Words == nil {
			assert.Equal(t, a.Data, b.Data, a.Name)
		}
	}
	assert.Equal(t, run.Trace.Events, again.Trace.Events)
	assert.Equal(t, string(pageOf(t, run)), string(pageOf(t, again)))
}

func TestFolderWithoutTrace(t *testing.T) {
	dir, _ := stored(t)
	require.NoError(t, os.Remove(filepath.Join(dir, record.TraceFile)))
	run, err := report.ReadFolder(dir)
	require.NoError(t, err)
	assert.Nil(t, run.Trace)
	html := string(pageOf(t, run))
	assert.NotContains(t, html, "<script")
	assert.Contains(t, html, "Cycles withheld")
}

// Files that are not what they should be are refused with file and line.
func TestFolderRefusals(t *testing.T) {
	dir, _ := stored(t)
	spoil := func(name string, change func(string) string) error {
		path := filepath.Join(dir, name)
		was, err := os.ReadFile(path)
		require.NoError(t, err)
		require.NoError(t, os.WriteFile(path, []byte(change(string(was))), 0o644))
		_, err = report.ReadFolder(dir)
		require.NoError(t, os.WriteFile(path, was, 0o644))
		return err
	}
	line := func(n int, change func(string) string) func(string) string {
		return func(s string) string {
			lines := strings.Split(s, "\n")
			lines[n-1] = change(lines[n-1])
			return strings.Join(lines, "\n")
		}
	}
	assert.ErrorContains(t, spoil(report.ResultsFile, func(s string) string { return strings.Replace(s, "results-1", "results-9", 1) }), "schema")
	assert.ErrorContains(t, spoil(report.ResultsFile, func(string) string { return "{" }), "not the results")
	assert.ErrorContains(t, spoil(record.TraceFile, line(1, func(s string) string { return strings.Replace(s, "rpm", "radish", 1) })), "radish")
	assert.ErrorContains(t, spoil(record.TraceFile, line(7, func(s string) string { return strings.Replace(s, "0.005", "0.0051", 1) })), "line 7")
	assert.ErrorContains(t, spoil(record.TraceFile, line(9, func(s string) string { return s + ",1" })), "9")
	assert.ErrorContains(t, spoil(record.EventsFile, line(3, func(s string) string { return "x" + s })), "line 3")
	assert.ErrorContains(t, spoil(report.MarginsFile, line(2, func(s string) string { return s + ",x" })), `line 2: value "x"`)
	assert.ErrorContains(t, spoil(report.CalibrationFile, func(s string) string { return strings.Replace(s, "firing_order", "firing_odour", 1) }), "firing_odour")
	assert.ErrorContains(t, spoil(record.EventsFile, line(1, func(string) string { return "a,b" })), "no list of events")
}
