package report_test

import (
	"bytes"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/holdline/holdline/controller"
	"github.com/holdline/holdline/harness"
	"github.com/holdline/holdline/harness/files"
	"github.com/holdline/holdline/harness/record"
	"github.com/holdline/holdline/harness/report"
)

const (
	killVariable = "HOLDLINE_WRITE_UNTIL_KILLED" // a folder: this process writes traces into it
	tracedTicks  = 8000
)

func tracedCar(t *testing.T) *controller.Calibration {
	cal, findings := files.LoadCalibration("../../examples/calibrations/street-four.toml")
	require.NoError(t, findings.Err())
	return cal
}

// writeARun leaves in a folder what a run does: both traces, and then results as
// a whole file.
func writeARun(t *testing.T, dir string, cal *controller.Calibration) {
	out, err := record.CreateTraceFiles(dir, cal, true)
	require.NoError(t, err)
	r := rand.New(rand.NewPCG(1, 2))
	var f harness.Frame
	for tick := range uint32(tracedTicks) {
		f.Tick, f.N = tick, int(r.Uint32N(3))
		f.In.Channels[controller.EngineSpeed] = controller.Sample{Value: r.Int32N(90000), Good: true}
		f.Out.Demand = controller.Demand(r.Uint32N(10000))
		f.Out.Lost = controller.ChannelSet(r.Uint32N(16))
		for i := range f.Events[:f.N] {
			f.Events[i] = harness.Event{Angle: r.Int32N(72000), Cylinder: uint8(1 + r.Uint32N(4)), Kind: harness.EventKind(i & 1), Timing: controller.Angle(r.Int32N(4000))}
		}
		require.NoError(t, out.Record(&f))
	}
	require.NoError(t, out.Close())
	require.NoError(t, files.WriteFile(filepath.Join(dir, report.ResultsFile), bytes.Repeat([]byte("whole "), 40000), true))
}

// TestWritesUntilKilled is the process that the next test kills.
func TestWritesUntilKilled(t *testing.T) {
	dir := os.Getenv(killVariable)
	if dir == "" {
		t.Skip("the process that TestAKilledRunReadsBack kills")
	}
	cal := tracedCar(t)
	for {
		writeARun(t, dir, cal)
	}
}

// Whenever a process is killed, what it wrote is a beginning of what it would
// have written, reads back up to its last whole row, and no file that looks
// complete is not. HOLDLINE_KILLS=1000 for a campaign.
func TestAKilledRunReadsBack(t *testing.T) {
	kills := 12
	if n, err := strconv.Atoi(os.Getenv("HOLDLINE_KILLS")); err == nil {
		kills = n
	}
	cal := tracedCar(t)
	whole := t.TempDir()
	began := time.Now()
	writeARun(t, whole, cal)
	took := time.Since(began)
	seed := uint64(time.Now().UnixNano())
	t.Logf("seed %d", seed)
	r := rand.New(rand.NewPCG(seed, 3))
	met := map[string]int{}
	for range kills {
		dir := t.TempDir()
		killed(t, dir, time.Duration(r.Int64N(int64(2*took))))
		rows := map[string]int{}
		for _, name := range []string{record.TraceFile, record.EventsFile, report.ResultsFile} {
			want, err := os.ReadFile(filepath.Join(whole, name))
			require.NoError(t, err)
			if got, err := os.ReadFile(filepath.Join(dir, name)); err == nil {
				met["whole"]++
				require.True(t, bytes.Equal(want, got), "%s has its name and is not complete", name)
			}
			if name == report.ResultsFile {
				continue
			}
			got, err := os.ReadFile(filepath.Join(dir, name+record.PartialSuffix))
			if err != nil {
				continue
			}
			require.True(t, bytes.HasPrefix(want, got), name)
			if len(got) == 0 {
				met["empty"]++
				continue
			}
			rows[name] = bytes.Count(got, []byte{'\n'}) - 1 // without the titles
			if met["part"]++; got[len(got)-1] != '\n' {
				met["torn"]++
			}
		}
		_, err := os.Stat(filepath.Join(dir, record.TraceFile)) // of the run before: it goes first
		if n := rows[record.TraceFile]; n > 0 && rows[record.EventsFile] > 0 && err != nil {
			met["read back"]++
			trace, err := report.ReadTrace(dir)
			require.NoError(t, err)
			require.Equal(t, n, trace.Ticks)
			require.Len(t, trace.Events, rows[record.EventsFile])
		}
	}
	t.Logf("%d kills: %v", kills, met)
	assert.Positive(t, met["part"])
}

// killed runs a writer and kills it some time after its first rows.
func killed(t *testing.T, dir string, after time.Duration) {
	program, err := os.Executable()
	require.NoError(t, err)
	c := exec.Command(program, "-test.run=^TestWritesUntilKilled$")
	c.Env = append(os.Environ(), killVariable+"="+dir)
	require.NoError(t, c.Start())
	path := filepath.Join(dir, record.TraceFile+record.PartialSuffix)
	require.Eventually(t, func() bool { _, err := os.Stat(path); return err == nil }, time.Minute, time.Millisecond)
	time.Sleep(after)
	require.NoError(t, c.Process.Kill())
	require.Error(t, c.Wait())
}
