package report_test

import (
	"bytes"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/holdline/holdline/controller"
	"github.com/holdline/holdline/harness/files"
	"github.com/holdline/holdline/harness/report"
	"github.com/holdline/holdline/harness/require/proving"
)

func tablesOf(t testing.TB, cal *controller.Calibration) []byte {
	t.Helper()
	var out bytes.Buffer
	require.NoError(t, report.Tables(&out, cal))
	return out.Bytes()
}

func TestTablesShowEveryNumber(t *testing.T) {
	cal := proving.Car()
	b := open(t, tablesOf(t, cal), 1280)
	first := &cal.Tables[0]
	cells := eval[[][]string](b, `[...document.querySelectorAll(".grid")[0].tBodies[0].rows].map((r) => [...r.cells].slice(1).map((c) => c.textContent))`)
	require.Len(t, cells, int(first.Rows.N))
	for r := range cells {
		require.Len(t, cells[r], int(first.Columns.N))
		for c := range cells[r] {
			assert.Equal(t, plainNumber(float64(first.Cells[r][c])/10), cells[r][c])
		}
	}
	lines := eval[int](b, `document.querySelector(".family svg").querySelectorAll("path[fill=none][stroke-linejoin]").length`)
	assert.Equal(t, int(first.Rows.N), lines)
}

func TestTablesOfExamples(t *testing.T) {
	for _, name := range []string{"saltmarsh-20t", "turbo-four-clutch", "v8-trans-brake"} {
		cal, findings := files.LoadCalibration("../../examples/calibrations/" + name + ".toml")
		require.False(t, findings.Failed(), findings)
		assert.Contains(t, string(tablesOf(t, cal)), "launch: ceiling")
	}
	assert.Error(t, report.Tables(&bytes.Buffer{}, nil))
	assert.Contains(t, string(tablesOf(t, &controller.Calibration{})), "no tables")
}
