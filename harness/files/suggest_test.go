package files

import (
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"github.com/holdline/holdline/harness/record"
)

func TestSuggestColumnsForTheDrive(t *testing.T) {
	rec, findings := record.ReadFile(filepath.Join(examples, "recordings", "obd-drive-1hz.csv"), record.Options{Rate: 1})
	require.NoError(t, findings.Err())
	text := string(SuggestColumns(rec))
	assert.Contains(t, text, "rate_hz = 1 ")
	assert.Contains(t, text, "[channel.engine-speed]\ncolumn = \"ENGINE_RPM ()\"\n")
	assert.Contains(t, text, "[channel.road-speed]\ncolumn = \"VEHICLE_SPEED ()\"\n")
	columns, findings := DecodeColumns("suggested", []byte(text))
	require.NoError(t, findings.Err(), "it reads back; the units are asked for when it is used")
	_, _, findings = columns.Bind(rec)
	assert.NotEmpty(t, findings)
	for _, f := range findings {
		assert.Contains(t, f.Reason, "no unit is stated")
		assert.Positive(t, f.Line)
	}
}

func TestSuggestColumnsWithUnits(t *testing.T) {
	const csv = "Time [s],Engine Speed [rpm],Throttle [V],Boost [bar],Gear,Batt [V]\n0,900,0.5,0.1,1,13.8\n0.1,950,0.7,0.2,1,13.8\n0.2,1000,0.9,0.3,2,13.7\n"
	rec, findings := record.Read(strings.NewReader(csv), "run.csv", record.Options{})
	require.NoError(t, findings.Err())
	text := string(SuggestColumns(rec))
	assert.Contains(t, text, "unit = \"rpm\"\n")
	assert.Contains(t, text, "# line = [[WRITTEN, MEANT], [WRITTEN, MEANT]]\n# unit = \"?\"  # one of %, ratio\n")
	_, findings = DecodeColumns("suggested", []byte(text))
	require.Len(t, findings, 1, "%s\n%s", text, show(findings))
	assert.Equal(t, "channel.manifold-pressure.reference", findings[0].Field)
}

// Whatever titles a recording has, the suggestion stays a text of the kind.
func TestSuggestColumnsSurvivesTitles(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		title := rapid.StringMatching(`(rpm|throttle|map|lambda|coolant)? ?[ -~äµ°\x00-\x1f"#]{0,12}(\[(rpm|V|%|kPa|C)\])?`)
		r := &record.Recording{File: title.Draw(t, "file"), IntervalUS: 100000}
		for i := range rapid.IntRange(1, 6).Draw(t, "n") {
			name := title.Draw(t, "title")
			unit := rapid.SampledFrom([]string{"", "rpm", "V", "%", "kPa", "kPa abs", "C", "odd\n"}).Draw(t, "unit")
			r.Channels = append(r.Channels, record.Channel{Title: name, Name: name, Unit: unit, Column: i + 1, Value: []float64{0, 1, 2}})
		}
		text := SuggestColumns(r)
		_, findings := DecodeColumns("s", text)
		for _, f := range findings {
			if !strings.HasSuffix(f.Field, ".reference") {
				t.Fatalf("%s\n%s", f, text)
			}
		}
	})
}
