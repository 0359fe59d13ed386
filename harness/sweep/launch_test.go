package sweep

import (
	"context"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/holdline/holdline/harness"
	"github.com/holdline/holdline/harness/files"
	"github.com/holdline/holdline/harness/scenario"
)

// shortPlan is a dozen launches that end early.
const shortPlan = saltmarsh + `
repeats = 2
[[parameter]]
path = "distance_m"
values = [25]
[[parameter]]
path = "surface.grip"
values = [1.4, 1.8]
[[parameter]]
path = "calibration.stage.launch.ceiling_rpm"
values = [3800, 4200, 4600]
[[scatter]]
path = "surface.grip"
spread = 0.05
[[scatter]]
path = "car.tyre.mu"
spread = 0.02
relative = true
`

// Figure R13, on real launches: workers and shards do not show.
func TestLaunchesAreTheSameHoweverTheyAreRun(t *testing.T) {
	p := mustDecode(t, shortPlan)
	require.Equal(t, int64(12), p.Launches())
	one, many := t.TempDir(), t.TempDir()
	_, err := Run(context.Background(), p, Options{Out: one, Workers: 1})
	require.NoError(t, err)
	for _, i := range []int64{3, 1, 2} {
		_, err := Run(context.Background(), mustDecode(t, shortPlan), Options{Out: many, Shard: Shard{i, 3}, Workers: 3})
		require.NoError(t, err)
	}
	want, got := merged(t, []string{one}, one), merged(t, []string{many}, many)
	for name := range want {
		assert.Equal(t, want[name], got[name], name)
	}
	lines := strings.Split(want[RowsFile], "\n")
	assert.Len(t, lines, 14)
	assert.Contains(t, lines[0], "launch,seed,scenario,repeat,distance_m,surface.grip,calibration.stage.launch.ceiling_rpm,surface.grip drawn,car.tyre.mu drawn,hold_speed [rpm]")
	for _, line := range lines {
		assert.LessOrEqual(t, len(line), MaxRow)
	}
}

// A launch of a sweep is the launch that holdline run makes of the same values
// and seed.
func TestLaunchIsTheOneOfRun(t *testing.T) {
	p := mustDecode(t, saltmarsh+`
[[parameter]]
path = "surface.grip"
values = [1.5]
[[parameter]]
path = "distance_m"
values = [25]
[[parameter]]
path = "calibration.stage.launch.ceiling_rpm"
values = [4300]
`)
	seed := LaunchSeed(uint64(p.Seed), 0)
	o, err := newLauncher(p).run(context.Background(), p.settingsOf(0), nil)
	require.NoError(t, err)
	list, fs := scenario.Load(filepath.Join(examples, "../scenarios/saltmarsh-launch.toml"), scenario.Options{Seed: int64(seed), Repeats: 1, Changes: []files.Change{
		{Path: "surface.grip", Value: "1.5"}, {Path: "distance_m", Value: "25"}, {Path: "calibration.stage.launch.ceiling_rpm", Value: "4300"},
	}})
	require.NoError(t, fs.Err())
	want, err := list[0].Jobs("run")[0].Run(context.Background(), &harness.Reference{}, nil)
	require.NoError(t, err)
	assert.Equal(t, *want.Launch, *o.results.Launch)
	assert.Equal(t, want.Requirements, o.results.Requirements)
	assert.Equal(t, want.Verdict, o.results.Verdict)
}

// failing asks for what the launches do not do, and keeps what failed.
const failing = `format = "holdline-requirements-1"
[[requirement]]
id = "own.never-above"
text = "the engine stays below 4000 rpm"
formula = "always engine_speed <= 4000 rpm"
`

func TestFailuresAreCountedAndKept(t *testing.T) {
	dir := copyExamples(t)
	require.NoError(t, os.WriteFile(filepath.Join(dir, "sweeps", "own.toml"), []byte(failing), 0o644))
	text := "format = \"holdline-plan-1\"\nname = \"test\"\nrequire = [\"own.toml\"]\n" + shortPlan + "[keep]\nfailures = 1\nworst = 1\nlaunches = [5]\n"
	text = strings.Replace(text, "repeats = 2", "repeats = 1", 1)
	p, fs := Decode(filepath.Join(dir, "sweeps", "plan.toml"), []byte(text))
	require.NoError(t, fs.Err())
	out := t.TempDir()
	_, err := Run(context.Background(), p, Options{Out: out, Workers: 2})
	require.NoError(t, err)
	s, err := Merge([]string{out}, out, false)
	require.NoError(t, err)
	assert.Equal(t, harness.VerdictFails, s.Verdict)
	require.NotEmpty(t, s.Failures)
	assert.Equal(t, "own.never-above", s.Worst[0].Closest)
	assert.Negative(t, s.Worst[0].Margin)
	assert.Equal(t, int64(len(s.Failures)), s.FailedBy[0].Launches)
	assert.Contains(t, s.Caution, "hardware cut-offs first", "this calibration moves timing")

	require.NoError(t, KeepTraces(context.Background(), p, s, out))
	kept := p.Kept(s)
	assert.Contains(t, kept, int64(5))
	assert.Contains(t, kept, s.Worst[0].Launch)
	assert.Contains(t, kept, s.Failures[0].Launch)
	for _, n := range kept {
		for _, name := range []string{"trace.csv", "events.csv", "results.json"} {
			assert.FileExists(t, filepath.Join(out, fmt.Sprintf("launch-%d", n), name))
		}
	}
	folders, err := filepath.Glob(filepath.Join(out, "launch-*"))
	require.NoError(t, err)
	assert.Len(t, folders, len(kept), "and of no other launch")
	r := s.Results("sweep", "holdline sweep plan.toml")
	assert.Equal(t, harness.VerdictFails, r.Verdict)
	assert.Equal(t, "own.never-above", r.Requirements[0].ID)

	other := mustDecode(t, saltmarsh)
	assert.ErrorContains(t, KeepTraces(context.Background(), other, s, out), "is not the plan of these results")
	_, err = Repeat(context.Background(), p, p.Launches(), t.TempDir(), false)
	assert.ErrorContains(t, err, "launches 0 to 5")
}

// Scatter can leave the range of a value that is fine by itself: such a launch
// is a row with the reason, not the end of the sweep.
func TestRefusedLaunchesAreRows(t *testing.T) {
	p := mustDecode(t, "repeats = 6\n"+saltmarsh+`
[[parameter]]
path = "distance_m"
values = [5]
[[parameter]]
path = "surface.grip"
values = [1.6, 3.95]
[[scatter]]
path = "surface.grip"
spread = 0.1
`)
	out := t.TempDir()
	_, err := Run(context.Background(), p, Options{Out: out, Workers: 2})
	require.NoError(t, err)
	s, err := Merge([]string{out}, out, false)
	require.NoError(t, err)
	require.Len(t, s.Outcomes, 2)
	assert.Equal(t, Refused, s.Outcomes[1].Word)
	assert.Equal(t, harness.VerdictInconclusive, s.Verdict)
	last := s.Failures[len(s.Failures)-1]
	assert.Contains(t, last.Why, "surface.grip: out of range (got 4.")
	assert.NotContains(t, p.Kept(s), last.Launch, "there is nothing to trace")
}

// startTask starts the test binary as a shard of a plan.
func startTask(t *testing.T, plan, out string) *exec.Cmd {
	t.Helper()
	c := exec.Command(os.Args[0], "sweep", plan, "-o", out)
	c.Env = append(os.Environ(), taskVariable+"=1")
	c.Stderr = io.Discard
	require.NoError(t, c.Start())
	return c
}

// waitForRows waits until a new unfinished file holds something.
func waitForRows(t *testing.T, out string, before []string) {
	t.Helper()
	for range 600 {
		if done, _ := filepath.Glob(filepath.Join(out, "shard-*")); len(done) > 0 {
			return
		}
		for _, path := range unfinished(out) {
			if slices.Contains(before, path) {
				continue
			}
			if text, err := os.ReadFile(path); err == nil && strings.Count(string(text), "\n") > 2 {
				return
			}
		}
		time.Sleep(50 * time.Millisecond)
	}
	t.Fatal("the task has written nothing in 30 s")
}

func unfinished(out string) []string {
	paths, _ := filepath.Glob(filepath.Join(out, ".shard-*"+partSuffix))
	return paths
}

func TestSuggestMeasures(t *testing.T) {
	s, err := Suggest(context.Background(), mustDecode(t, shortPlan), 2)
	require.NoError(t, err)
	assert.Equal(t, int64(1), s.Shards, "a dozen launches are one task")
	assert.Positive(t, s.Each)
	assert.Contains(t, s.String(), "1 shard of up to 12 launches")
}

// BenchmarkWorkers measures launches a second; hold 2 workers against 1, side by
// side on an otherwise idle machine.
func BenchmarkWorkers(b *testing.B) {
	for _, workers := range []int{1, 2, 4} {
		b.Run(fmt.Sprint(workers), func(b *testing.B) {
			text := strings.Replace(shortPlan, "repeats = 2", fmt.Sprintf("repeats = %d", (b.N+5)/6), 1)
			p, fs := Decode(filepath.Join(examples, "test.toml"), []byte("format = \"holdline-plan-1\"\nname = \"test\"\n"+text))
			if fs.Failed() {
				b.Fatal(fs)
			}
			b.ResetTimer()
			if _, err := Run(context.Background(), p, Options{Out: b.TempDir(), Workers: workers}); err != nil {
				b.Fatal(err)
			}
			b.ReportMetric(float64(p.Launches())/b.Elapsed().Seconds(), "launches/s")
		})
	}
}

func BenchmarkPrepare(b *testing.B) {
	p, fs := Decode(filepath.Join(examples, "test.toml"), []byte("format = \"holdline-plan-1\"\nname = \"test\"\n"+shortPlan))
	if fs.Failed() {
		b.Fatal(fs)
	}
	l := newLauncher(p)
	for i := range b.N {
		if _, fs := l.prepare(p.settingsOf(int64(i) % p.Launches())); fs.Failed() {
			b.Fatal(fs)
		}
	}
}
