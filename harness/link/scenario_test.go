package link

import (
	"context"
	"path/filepath"
	"testing"
	"time"

	"github.com/holdline/holdline/controller"
	"github.com/holdline/holdline/harness"
	"github.com/holdline/holdline/harness/link/wire"
	"github.com/holdline/holdline/harness/scenario"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// answered is what a frame's answer was, without how it came about.
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

func (a *answers) watch(*scenario.Ride) ([]harness.Sink, error) { return []harness.Sink{a}, nil }

// shippedJobs is the first run of the first combination of every shipped
// scenario.
func shippedJobs(t testing.TB) (jobs []*scenario.Job) {
	paths, err := filepath.Glob("../../examples/scenarios/*.toml")
	require.NoError(t, err)
	require.NotEmpty(t, paths)
	for _, path := range paths {
		list, findings := scenario.Load(path, scenario.AsWritten)
		require.NotEmpty(t, list, "%s: %v", path, findings)
		jobs = append(jobs, list[0].Jobs("rig")[0])
	}
	return jobs
}

// shortened is a job that ends after a few simulated seconds.
func shortened(j *scenario.Job, seconds float64) *scenario.Job {
	c := *j
	if c.Launch != nil {
		l := *c.Launch
		l.Longest = min(l.Longest, seconds)
		c.Launch = &l
	}
	return &c
}

var fast = Limits{Open: 2 * time.Second, Answer: 30 * time.Millisecond, Retries: 8, Recover: time.Second, Back: 50 * time.Millisecond}

// ride runs a job with a unit and returns its answers and results.
func ride(t testing.TB, j *scenario.Job, u harness.Unit) ([]answered, harness.Results, error) {
	var a answers
	r, err := j.Run(context.Background(), u, a.watch)
	return a.list, r, err
}

// sameAnswers compares frame by frame and shows the first difference.
func sameAnswers(t testing.TB, want, got []answered) {
	for i := range min(len(want), len(got)) {
		if !assert.Equal(t, want[i], got[i], "frame %d", i) {
			t.FailNow()
		}
	}
	require.Equal(t, len(want), len(got), "frames")
}

// sameVerdict compares what was judged.
func sameVerdict(t testing.TB, want, got harness.Results) {
	require.Equal(t, want.Verdict, got.Verdict)
	require.Equal(t, want.Requirements, got.Requirements)
}

// The reference controller behind a wire gives the same decisions and outputs as
// in process, for every shipped scenario; and the average tick needs at most 32
// bytes each way.
func TestSameAsInProcess(t *testing.T) {
	for _, j := range shippedJobs(t) {
		t.Run(j.Name, func(t *testing.T) {
			want, results, err := ride(t, j, &harness.Reference{})
			require.NoError(t, err)
			b := &bench{}
			u := NewUnit(b, Options{Limits: fast})
			got, same, err := ride(t, j, u)
			require.NoError(t, err)
			sameAnswers(t, want, got)
			sameVerdict(t, results, same)
			f := u.Figures()
			require.Zero(t, f.Damaged)
			require.Zero(t, f.Losses)
			out, in := f.BytesPerTick()
			t.Logf("%d ticks, %.1f bytes out, %.1f in for each tick; verdict %s", f.Ticks, out, in, same.Verdict)
			assert.LessOrEqual(t, out, 32.0)
			assert.LessOrEqual(t, in, 32.0)
			b.hangUp()
		})
	}
}

// Hooks of the frame count for the sake of one reader.
var _ harness.Unit = (*Unit)(nil)

// Several ticks to a step change nothing either.
func TestAheadIsTheSame(t *testing.T) {
	j := shortened(shippedJobs(t)[0], 3)
	frames := questionsOf(t, j)
	want := playThrough(t, frames, &harness.Reference{}, nil, j.Cal)
	b := &bench{}
	u := NewUnit(b, Options{Limits: fast})
	got := playThrough(t, frames, u, u.Ahead, j.Cal)
	sameAnswers(t, want, got)
	require.Less(t, u.Figures().Steps, u.Figures().Ticks/2)
	b.hangUp()
}

// questionsOf keeps the questions of a run, for an open loop.
func questionsOf(t testing.TB, j *scenario.Job) []harness.Frame {
	var q questions
	_, err := j.Run(context.Background(), &harness.Reference{}, func(*scenario.Ride) ([]harness.Sink, error) { return []harness.Sink{&q}, nil })
	require.NoError(t, err)
	return q.frames
}

type questions struct{ frames []harness.Frame }

func (q *questions) Record(f *harness.Frame) error {
	c := *f
	c.Out = controller.Output{}
	for i := range c.Events[:c.N] {
		e := &c.Events[i]
		*e = harness.Event{Angle: e.Angle, Cylinder: e.Cylinder, Cycle: e.Cycle, Kind: e.Kind}
	}
	q.frames = append(q.frames, c)
	return nil
}

// replayed is a stimulus from kept questions.
type replayed struct {
	frames []harness.Frame
	at     int
}

func (r *replayed) Next(f *harness.Frame) error {
	if r.at == len(r.frames) {
		return errEnd
	}
	out := f.Out
	*f = r.frames[r.at]
	f.Out = out
	r.at++
	return nil
}

func (r *replayed) Apply(*harness.Frame) error { return nil }

func playThrough(t testing.TB, frames []harness.Frame, u harness.Unit, wrap func(harness.Stimulus) harness.Stimulus, cal *controller.Calibration) []answered {
	var stim harness.Stimulus = &replayed{frames: frames}
	if wrap != nil {
		stim = wrap(stim)
	}
	var a answers
	_, err := harness.Run(context.Background(), stim, u, harness.Session{Calibration: cal}, &a)
	require.NoError(t, err)
	return a.list
}

var _ = wire.Lockstep
