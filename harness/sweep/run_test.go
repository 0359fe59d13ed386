package sweep

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"github.com/holdline/holdline/harness"
)

// quickPlan is a plan whose launches are made up in no time.
func quickPlan(launches int64) *Plan {
	p := &Plan{PlanFile: PlanFile{Name: "quick", Seed: 5, Repeats: launches}, size: launches, bases: []base{{name: "made-up", sets: []string{"standard"}}}}
	p.Parameters = []Parameter{{Path: "surface.grip", Values: []string{"1.2", "1.6"}}, {Path: "calibration.stage.launch.style", Values: []string{`"hard"`, `"soft"`}}}
	p.design = newDesign(&p.PlanFile)
	copy(p.hash[:], fmt.Sprintf("quick plan of %d launches", launches))
	return p
}

// quick makes up launches: pure functions of the plan and the number.
type quick struct {
	plan *Plan
	made func(launch int64) error
}

func (q *quick) row(launch int64) (Row, error) {
	if q.made != nil {
		if err := q.made(launch); err != nil {
			return nil, err
		}
	}
	seed := LaunchSeed(uint64(q.plan.Seed), uint64(launch))
	r := rand.New(rand.NewPCG(seed, 1))
	o := outcome{settings: settings{launch: launch, seed: seed}, word: Ran}
	o.point.values = []string{[]string{"1.2", "1.6"}[r.IntN(2)], []string{"hard", "soft"}[r.IntN(2)]}
	o.point.repeat = launch
	limits := []string{harness.LimitSpin, harness.LimitBog, harness.LimitEngine}
	o.results.Launch = &harness.LaunchResult{HoldSpeed: 3000 + 100*r.NormFloat64(), Feet60: 1.8 + 0.1*r.NormFloat64(), Eighth: 8 + r.Float64(), Spin: r.Float64(), Limit: limits[r.IntN(3)]}
	o.results.Verdict = harness.VerdictHolds
	o.results.Requirements = []harness.RequirementResult{{ID: "launch.made-up", Verdict: harness.VerdictHolds, Margin: 1, Scaled: r.Float64()}}
	if r.IntN(50) == 0 {
		o.results.Verdict, o.results.Requirements[0].Verdict = harness.VerdictFails, harness.VerdictFails
		o.results.Requirements[0].Scaled *= -1
	}
	if r.IntN(300) == 0 {
		o.word, o.why, o.results = Refused, "made up, with, commas and \"quotes\" <&>", harness.Results{Verdict: harness.VerdictNone}
	}
	return q.plan.row(&o), nil
}

func quickly(made func(launch int64) error) func(*Plan) runner {
	return func(p *Plan) runner { return &quick{p, made} }
}

// merged runs a plan in n shards and gives what Merge writes, by file name.
func merged(t require.TestingT, folders []string, out string) map[string]string {
	_, err := Merge(folders, out, true)
	require.NoError(t, err)
	files := map[string]string{}
	for _, name := range []string{RowsFile, LinesFile, SummaryFile, PageFile} {
		text, err := os.ReadFile(filepath.Join(out, name))
		require.NoError(t, err)
		files[name] = string(text)
	}
	return files
}

func folder(t *rapid.T) string {
	dir, err := os.MkdirTemp("", "sweep")
	require.NoError(t, err)
	t.Cleanup(func() { os.RemoveAll(dir) })
	return dir
}

// Figure R13: one shard or many, any number of workers, any order of shards,
// stopped and taken up again wherever it may be: the same bytes.
func TestAnyCutGivesTheSameBytes(t *testing.T) {
	p := quickPlan(300)
	whole := t.TempDir()
	_, err := Run(context.Background(), p, Options{Out: whole, start: quickly(nil)})
	require.NoError(t, err)
	want := merged(t, []string{whole}, whole)
	require.Equal(t, 301, strings.Count(want[RowsFile], "\n"))

	cases, most := 0, 25 // every file is synced to the disk
	if os.Getenv("HOLDLINE_LONG") == "1" {
		most = 1000
	}
	rapid.Check(t, func(t *rapid.T) {
		if cases++; cases > most {
			return
		}
		n := rapid.Int64Range(1, 8).Draw(t, "shards")
		folders := []string{folder(t), folder(t)}
		order := rapid.Permutation(numbers(n)).Draw(t, "order")
		for _, i := range order {
			out := folders[rapid.IntRange(0, 1).Draw(t, "folder")]
			workers := rapid.IntRange(1, 4).Draw(t, "workers")
			runWithStops(t, p, Options{Out: out, Shard: Shard{i, n}, Workers: workers})
		}
		got := merged(t, folders, folder(t))
		for name, text := range want {
			require.Equal(t, text, got[name], name)
		}
		for _, dir := range folders {
			left, _ := filepath.Glob(filepath.Join(dir, ".shard-*"))
			assert.Empty(t, left, "nothing unfinished is left")
		}
	})
}

func numbers(n int64) (list []int64) {
	for i := int64(1); i <= n; i++ {
		list = append(list, i)
	}
	return list
}

// runWithStops runs a shard to its end, with signals and crashes on the way.
func runWithStops(t *rapid.T, p *Plan, o Options) {
	for {
		after := rapid.Int64Range(0, 200).Draw(t, "stop after")
		ctx, cancel := context.WithCancel(context.Background())
		var made atomic.Int64
		o.start = quickly(func(int64) error {
			if made.Add(1) > after {
				cancel()
			}
			return nil
		})
		rep, err := Run(ctx, p, o)
		cancel()
		if err == nil {
			return
		}
		var stopped *InterruptedError
		require.ErrorAs(t, err, &stopped)
		require.ErrorIs(t, err, context.Canceled)
		require.Equal(t, rep.Resumed+rep.Ran, stopped.Done)
		if rapid.Bool().Draw(t, "crash") {
			damage(t, o, p)
		}
	}
}

// damage leaves the unfinished file as a crash could: cut anywhere, or with
// rubbish behind.
func damage(t *rapid.T, o Options, p *Plan) {
	for _, path := range parts(o.Out, p.shardHeader(o)) {
		text, err := os.ReadFile(path)
		require.NoError(t, err)
		text = text[:rapid.IntRange(0, len(text)).Draw(t, "cut")]
		if rapid.Bool().Draw(t, "rubbish") {
			text = append(text, "\x00\x00[12,null,\n"...)
		}
		require.NoError(t, os.WriteFile(path, text, 0o644))
	}
}

func TestFinishedShardIsLeftAlone(t *testing.T) {
	p, dir := quickPlan(50), t.TempDir()
	o := Options{Out: dir, Shard: Shard{2, 3}, start: quickly(nil)}
	first, err := Run(context.Background(), p, o)
	require.NoError(t, err)
	before, err := os.Stat(first.Path)
	require.NoError(t, err)
	assert.Equal(t, "shard-2-of-3."+p.Tag(), filepath.Base(first.Path))
	o.start = quickly(func(int64) error { return errors.New("ran again") })
	again, err := Run(context.Background(), p, o)
	require.NoError(t, err)
	after, err := os.Stat(first.Path)
	require.NoError(t, err)
	assert.True(t, again.Already)
	assert.Equal(t, before.ModTime(), after.ModTime())

	text, err := os.ReadFile(first.Path)
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(first.Path, text[:len(text)-40], 0o644))
	_, err = Run(context.Background(), p, o)
	assert.ErrorContains(t, err, "ran again", "a file that is not whole does not count")
}

func TestBrokenLaunchStopsTheShard(t *testing.T) {
	p, dir := quickPlan(200), t.TempDir()
	boom := errors.New("boom")
	rep, err := Run(context.Background(), p, Options{Out: dir, Workers: 4, start: quickly(func(n int64) error {
		if n == 77 {
			return boom
		}
		return nil
	})})
	require.ErrorIs(t, err, boom)
	assert.Equal(t, int64(77), rep.Ran, "what comes before it is kept")
	rep, err = Run(context.Background(), p, Options{Out: dir, start: quickly(nil)})
	require.NoError(t, err)
	assert.Equal(t, int64(77), rep.Resumed)
}

func TestTwoProcessesOfOneShard(t *testing.T) {
	p, dir := quickPlan(300), t.TempDir()
	errs := make(chan error, 2)
	for range 2 {
		go func() {
			_, err := Run(context.Background(), p, Options{Out: dir, Workers: 2, start: quickly(nil)})
			errs <- err
		}()
	}
	assert.NoError(t, errors.Join(<-errs, <-errs))
	_, err := Merge([]string{dir}, t.TempDir(), false)
	assert.NoError(t, err)
}

func TestProgressEndsAtTheEnd(t *testing.T) {
	var told []Progress
	_, err := Run(context.Background(), quickPlan(60), Options{Out: t.TempDir(), Workers: 3, Progress: func(p Progress) { told = append(told, p) }, start: quickly(nil)})
	require.NoError(t, err)
	require.NotEmpty(t, told)
	last := told[len(told)-1]
	assert.Equal(t, int64(60), last.Done)
	assert.Zero(t, last.Left)
	assert.Equal(t, "300 of 1200 launches, 40 a second, about 23s left", Progress{300, 1200, 40, 22500 * time.Millisecond}.String())
}

func TestMeterRate(t *testing.T) {
	m := newMeter(nil, 100, 1000)
	p := m.at(300, m.start.Add(10*time.Second))
	assert.Equal(t, 20.0, p.Rate, "launches of this process only")
	assert.Equal(t, 35*time.Second, p.Left)
	assert.Zero(t, m.at(100, m.start.Add(time.Second)).Left)
}

func TestSuggestedTasksLastTenToSixtySeconds(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		launches := rapid.Int64Range(1, 1e9).Draw(t, "launches")
		each := time.Duration(rapid.Int64Range(1, int64(10*time.Second)).Draw(t, "each"))
		workers := rapid.IntRange(1, 64).Draw(t, "workers")
		s := suggest(launches, each, workers)
		assert.GreaterOrEqual(t, s.Launches*s.Shards, launches)
		total := float64(launches) * max(each, time.Microsecond).Seconds() / float64(workers)
		if total > longestTask.Seconds() && s.Shards < min(launches, maxShards) {
			assert.GreaterOrEqual(t, s.Task, shortestTask)
		}
		if each < 10*time.Second && s.Shards < maxShards {
			assert.LessOrEqual(t, s.Task, longestTask+each)
		}
	})
}
