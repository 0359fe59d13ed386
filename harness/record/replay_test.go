package record_test

import (
	"context"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/holdline/holdline/controller"
	"github.com/holdline/holdline/harness"
	"github.com/holdline/holdline/harness/files"
	"github.com/holdline/holdline/harness/record"
)

const (
	drive    = "../../examples/recordings/obd-drive-1hz.csv"
	driveCal = "../../examples/calibrations/street-four.toml"
	driveMap = "../../examples/columns/obd-drive.toml"
)

// driveStimulus replays the shipped recording without its script.
func driveStimulus(t testing.TB) (*controller.Calibration, *record.Stimulus) {
	cal, findings := files.LoadCalibration(driveCal)
	require.NoError(t, findings.Err())
	cols, findings := files.LoadColumns(driveMap)
	require.NoError(t, findings.Err())
	rec, findings := record.ReadFile(drive, cols.Options())
	require.NoError(t, findings.Err())
	feeds, switches, findings := cols.Bind(rec)
	require.NoError(t, findings.Err())
	return cal, &record.Stimulus{
		Feeds: feeds, Switches: switches, Schedule: harness.NewSchedule(&cal.Engine, cal.Period, cols.Commit),
		FromUS: rec.StartUS, ToUS: rec.EndUS, PeriodUS: int64(cal.Period),
	}
}

// A tick of a replay, from the recording to the digest, with no trace written.
func BenchmarkReplayTick(b *testing.B) {
	cal, s := driveStimulus(b)
	unit, digest := &harness.Reference{}, harness.NewDigest(cal)
	_, err := unit.Open(harness.Session{Calibration: cal})
	require.NoError(b, err)
	var f harness.Frame
	b.ReportAllocs()
	for b.Loop() {
		f.N = 0
		if s.Next(&f) != nil {
			_, s = driveStimulus(b)
		}
		_ = unit.Step(&f)
		_ = digest.Record(&f)
	}
}

// What the recording says at a row is what the controller sees at that time.
func TestReplaySeesWhatWasRecorded(t *testing.T) {
	cal, s := driveStimulus(t)
	s.ToUS = s.FromUS + 600e6
	trace := harness.NewTrace(cal)
	_, err := harness.Run(context.Background(), s, &harness.Reference{}, harness.Session{Calibration: cal}, trace)
	require.NoError(t, err)
	require.Equal(t, 600001, trace.Ticks)
	rec, _ := record.ReadFile(drive, record.Options{Rate: 1})
	speed, _ := rec.Find("ENGINE_RPM")
	seen := trace.Column("engine-speed").Data
	for row := range 600 {
		require.InDelta(t, rec.Channels[speed].Value[row], float64(seen[row*1000])/10, 0.051, "row %d", row)
	}
}

func TestTraceFilesReadBack(t *testing.T) {
	cal, s := driveStimulus(t)
	s.FromUS += 1740e6
	s.ToUS = s.FromUS + 2e6
	dir := t.TempDir()
	out, err := record.CreateTraceFiles(dir, cal, false)
	require.NoError(t, err)
	trace := harness.NewTrace(cal)
	_, err = harness.Run(context.Background(), s, &harness.Reference{}, harness.Session{Calibration: cal}, trace, out)
	require.NoError(t, err)
	require.NoError(t, out.Close())

	rec, findings := record.ReadFile(filepath.Join(dir, record.TraceFile), record.Options{Ignore: wordColumns(trace)})
	require.NoError(t, findings.Err())
	for i := range trace.Columns {
		c := &trace.Columns[i]
		if c.Words != nil {
			continue
		}
		k, ok := rec.Find(c.Name)
		require.True(t, ok, c.Name)
		for row, raw := range c.Data {
			require.Equal(t, raw, c.Raw(rec.Channels[k].Value[row]), "%s row %d", c.Name, row)
		}
	}
}

func wordColumns(t *harness.Trace) (names []string) {
	for i := range t.Columns {
		if t.Columns[i].Words != nil {
			names = append(names, t.Columns[i].Name)
		}
	}
	return names
}

// What was recorded before a failure stays, and is not taken for complete.
func TestTraceFilesKeepWhatWasRecorded(t *testing.T) {
	cal, s := driveStimulus(t)
	s.ToUS = s.FromUS + 1e6
	dir := t.TempDir()
	out, err := record.CreateTraceFiles(dir, cal, false)
	require.NoError(t, err)
	_, err = harness.Run(context.Background(), s, &harness.Reference{}, harness.Session{Calibration: cal}, out)
	require.NoError(t, err)
	where := out.Abort(context.Canceled)
	assert.Contains(t, where, record.TraceFile+record.PartialSuffix)
	_, err = os.Stat(filepath.Join(dir, record.TraceFile))
	assert.ErrorIs(t, err, os.ErrNotExist)
	text, err := os.ReadFile(filepath.Join(dir, record.TraceFile+record.PartialSuffix))
	require.NoError(t, err)
	assert.Equal(t, byte('\n'), text[len(text)-1])
	out, err = record.CreateTraceFiles(dir, cal, false)
	require.NoError(t, err, "a partial file of an earlier run does not block the next one")
	out.Abort(context.Canceled)
}
