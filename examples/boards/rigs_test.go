package boards_test

import (
	"context"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/holdline/holdline/controller"
	"github.com/holdline/holdline/harness"
	"github.com/holdline/holdline/harness/link"
	"github.com/holdline/holdline/harness/scenario"
)

// answered is what a unit made of a frame, without how it came about.
type answered struct {
	tick   uint32
	only   bool
	out    controller.Output
	events []harness.Event
}

// answers is a sink that keeps all of them.
type answers struct{ list []answered }

func (a *answers) Record(f *harness.Frame) error {
	a.list = append(a.list, answered{f.Tick, f.EventsOnly, f.Out, append([]harness.Event(nil), f.Events[:f.N]...)})
	return nil
}

// job is the first run of a scenario from the examples, cut to some seconds.
func job(t testing.TB, name string, seconds float64) *scenario.Job {
	list, findings := scenario.Load("../scenarios/"+name+".toml", scenario.AsWritten)
	require.NotEmpty(t, list, "%v", findings)
	j := *list[0].Jobs("rig")[0]
	launch := *j.Launch
	launch.Longest = min(launch.Longest, seconds)
	j.Launch = &launch
	return &j
}

func ride(j *scenario.Job, u harness.Unit, more ...harness.Sink) ([]answered, harness.Results, error) {
	var a answers
	r, err := j.Run(context.Background(), u, func(*scenario.Ride) ([]harness.Sink, error) { return append([]harness.Sink{&a}, more...), nil })
	return a.list, r, err
}

var limits = link.Limits{Open: 10 * time.Second, Answer: 300 * time.Millisecond, Retries: 8, Recover: 2 * time.Second, Back: 100 * time.Millisecond}

// bench is a unit on the board's serial port.
func (b *board) bench() *link.Unit {
	rig := link.Rig{Port: link.PortSpec{Wish: link.Identity{Path: b.path}, Baud: 115200}, Outputs: link.Disconnected, Limits: limits}
	return link.NewUnit(rig.Dialer(), link.Options{Limits: limits})
}

const boardScenario = "saltmarsh-launch"

// The same scenario on each board: the Go rig decides as the reference in
// process does, byte for byte; the C rig decides alike wherever it is compiled
// for, and gets a verdict.
func TestTheSameScenarioOnEveryBoard(t *testing.T) {
	j := job(t, boardScenario, 30)
	want, reference, err := ride(j, &harness.Reference{})
	require.NoError(t, err)
	plain, _, err := ride(j, power(t, boards[0].args(t, "")).bench())
	require.NoError(t, err)
	for _, kind := range boards {
		t.Run(kind.name, func(t *testing.T) {
			t.Parallel()
			b := power(t, kind.args(t, imageOf(t, j.Cal)))
			u := b.bench()
			began := time.Now()
			got, results, err := ride(j, u)
			require.NoError(t, err)
			f := u.Figures()
			t.Logf("%d ticks in %.1f s; verdict %s (reference %s); %d retries", f.Ticks, time.Since(began).Seconds(),
				results.Verdict, reference.Verdict, f.Retries)
			assert.NotEqual(t, harness.VerdictNone, results.Verdict)
			if kind.name == "rig-go" {
				same(t, want, got)
				assert.Equal(t, reference.Requirements, results.Requirements)
				return
			}
			same(t, plain, got)
		})
	}
}

func same(t testing.TB, want, got []answered) {
	t.Helper()
	for i := range min(len(want), len(got)) {
		require.Equal(t, want[i], got[i], "frame %d", i)
	}
	require.Equal(t, len(want), len(got), "frames")
}

// The rig files of the examples build their board, start it and get a verdict, as
// the command line does with them.
func TestRigFilesGetAVerdict(t *testing.T) {
	for file, what := range map[string]string{
		"../rig-c/rig.toml": "rig-host", "../rig-go/rig.toml": "rig-go", "cortexm3-c.toml": "rig-m3", "avr.toml": "rig-avr",
	} {
		t.Run(what, func(t *testing.T) {
			build(t, what) // or skip
			rig, findings := link.LoadRig(file)
			require.False(t, findings.Failed(), findings)
			got, results, err := ride(job(t, boardScenario, 3), rig.Unit(link.Options{}))
			require.NoError(t, err)
			assert.NotEmpty(t, got)
			assert.NotEqual(t, harness.VerdictNone, results.Verdict)
		})
	}
}
