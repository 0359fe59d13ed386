package main

import (
	"bytes"
	"encoding/json"
	"encoding/xml"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/holdline/holdline/controller"
	"github.com/holdline/holdline/harness"
)

func demoOutput(t *testing.T, args ...string) string {
	var out, complaints bytes.Buffer
	require.Equal(t, exitHeld, realMain(append([]string{"demo", "--repeats", "1"}, args...), &out, &complaints), complaints.String())
	assert.Empty(t, complaints.String(), "quiet where nobody looks")
	return out.String()
}

func TestDemoFitsAScreenAndSaysWhatItSaw(t *testing.T) {
	text := demoOutput(t)
	for _, line := range strings.Split(text, "\n") {
		assert.LessOrEqual(t, utf8.RuneCountInString(line), screenWidth, line)
	}
	assert.LessOrEqual(t, strings.Count(text, "\n"), 60)
	for _, want := range []string{"SALTMARSH 20T", "IRON HERON", "DRAY MARE", "Steadiest hold", "is reached by", "small shot", "best at", "Invented cars"} {
		assert.Contains(t, text, want)
	}
	assert.Equal(t, text, demoOutput(t, "--workers", "3"), "the order of the workers must not show")
}

func TestDemoLeavesItsFiles(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "out")
	demoOutput(t, "-o", dir)
	var all harness.Results
	text, err := os.ReadFile(filepath.Join(dir, resultsFile))
	require.NoError(t, err)
	require.NoError(t, json.Unmarshal(text, &all))
	assert.Equal(t, harness.ResultsSchema, all.Schema)
	assert.Greater(t, len(all.Runs), 40)
	pictures, err := filepath.Glob(filepath.Join(dir, "*", "*", pictureFile))
	require.NoError(t, err)
	assert.Len(t, pictures, len(all.Runs), "one folder a choice, none shared")
	for _, p := range pictures {
		wellFormed(t, p)
	}
	var complaints bytes.Buffer
	assert.Equal(t, exitInput, realMain([]string{"demo", "--repeats", "1", "-o", dir}, io.Discard, &complaints))
	assert.Contains(t, complaints.String(), "--force")
}

func wellFormed(t *testing.T, path string) {
	f, err := os.Open(path)
	require.NoError(t, err)
	defer f.Close()
	d := xml.NewDecoder(f)
	for {
		_, err := d.Token()
		if err == io.EOF {
			return
		}
		require.NoError(t, err, path)
	}
}

// Lessons are worked out from the rows: other rows, other lessons.
func TestLessonsFollowTheResults(t *testing.T) {
	rows := []row{{name: "hard", sd: 90}, {name: "soft", sd: 30}, {name: "spread", sd: 45}}
	assert.Equal(t, "Steadiest hold: soft, +-30 rpm; roughest: hard, 3.0 times that.", rippleLesson(rows))
	rows[0].sd = 10
	assert.Equal(t, "Steadiest hold: hard, +-10 rpm; roughest: spread, 4.5 times that.", rippleLesson(rows))

	boost := boostLesson(150 * controller.Kilopascal)
	rows = []row{{name: "fuel", pressure: 121, feet60: 2}, {name: "late", pressure: 162, toTarget: 1.4, feet60: 1.9}}
	assert.Equal(t, "150 kPa is reached by late (1.4 s); not by fuel 121 kPa. 60 ft: late 0.10 s before fuel.", boost(rows))
	rows[1].toTarget = 0
	assert.Contains(t, boost(rows), "Nothing reaches 150 kPa")
	rows[0].toTarget, rows[1].toTarget = 1, 1
	assert.Contains(t, boost(rows), "Everything reaches")

	rows = []row{{name: "base", toTarget: 3}, {name: "shot", toTarget: 2}, {name: "retard", hold: 2700}, {name: "tight", toTarget: 4}}
	assert.Equal(t, "Against base: shot 1.0 s sooner; retard never gets there, it stops at 2700 rpm; tight 1.0 s later.", comeUpLesson(rows))

	cmp := &comparison{choices: []choice{{name: "road, wet"}}, speeds: []controller.Speed{20000, 30000, 40000}}
	rows = []row{
		{speed: 20000, feet60: 2.5, limit: harness.LimitBog},
		{speed: 30000, feet60: 2.0, spin: 0.1},
		{speed: 40000, feet60: 2.1, spin: 0.9, limit: harness.LimitSpin},
	}
	assert.Equal(t, "road best at 3000, below it it bogs (+0.50 s), above it it spins (+0.10 s).", speedLesson(cmp, rows))
	rows[0] = row{speed: 20000, stalled: true}
	assert.Contains(t, speedLesson(cmp, rows), "below it it stalls,")
	for i := range rows {
		rows[i].feet60 = 0
	}
	assert.Contains(t, speedLesson(cmp, rows), "never leaves")
}

func TestPictureOfNothing(t *testing.T) {
	cal := demoCars()[0].base.cal
	var p controller.Problems
	require.True(t, cal.Seal(&p))
	svg := picture(harness.NewTrace(&cal), &harness.Results{Source: `a <car> & "more"`})
	assert.NotContains(t, string(svg), "NaN")
	path := filepath.Join(t.TempDir(), "a.svg")
	require.NoError(t, os.WriteFile(path, svg, 0o600))
	wellFormed(t, path)
}
