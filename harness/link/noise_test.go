package link

import (
	"context"
	"fmt"
	"math/rand/v2"
	"testing"
	"testing/synctest"

	"github.com/holdline/holdline/harness"
	"github.com/holdline/holdline/harness/scenario"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// prefix requires that what was accepted before trouble is what the reference
// answers: nothing else was ever accepted.
func prefix(t testing.TB, want, got []answered) {
	require.LessOrEqual(t, len(got), len(want))
	sameAnswers(t, want[:len(got)], got)
}

// judged requires the right verdict from a run that came through, and a typed
// error and no good verdict from one that did not.
func judged(t testing.TB, want, got harness.Results, err error) {
	if err == nil {
		sameVerdict(t, want, got)
		return
	}
	var e *Error
	require.ErrorAs(t, err, &e, "every failure says what it is")
	assert.NotEmpty(t, e.What)
	assert.NotEqual(t, harness.VerdictHolds, got.Verdict, "an unfinished run does not hold")
}

// Up to a bit error rate of 1e-4 the verdict is right; at no rate is a wrong
// sample accepted or an unfinished run called good.
func TestBitErrors(t *testing.T) {
	j := shortened(shippedJobs(t)[2], 2)
	want, results, err := ride(t, j, &harness.Reference{})
	require.NoError(t, err)
	for i, rate := range []float64{1e-6, 1e-5, 1e-4, 1e-3, 5e-3, 3e-2} {
		virtual(t, fmt.Sprint(rate), func(t *testing.T) {
			seed := uint64(10 * i)
			b := &bench{toRig: (&noise{r: seeded(seed), bit: rate}).mangle, fromRig: (&noise{r: seeded(seed + 1), bit: rate}).mangle}
			u := NewUnit(b, Options{Limits: fast})
			got, r, err := ride(t, j, u)
			prefix(t, want, got)
			judged(t, results, r, err)
			if rate <= 1e-4 {
				require.NoError(t, err)
				require.Len(t, got, len(want))
			}
			f := u.Figures()
			t.Logf("%d of %d frames, %d retries, %d damaged, %d reports, %d stray: %v", len(got), len(want), f.Retries, f.Damaged, f.Reports, f.Stray, err)
			b.hangUp()
		})
	}
}

// Loss, duplication, reordering, truncation and babble of whole pieces, alone and
// together with bit errors.
func TestBadWires(t *testing.T) {
	j := shortened(shippedJobs(t)[0], 1.5)
	want, results, err := ride(t, j, &harness.Reference{})
	require.NoError(t, err)
	for name, n := range map[string]noise{
		"loss":        {drop: 0.02},
		"duplication": {twice: 0.2},
		"reorder":     {swap: 0.02},
		"truncation":  {cut: 0.02},
		"babble":      {babble: 0.02},
		"all":         {bit: 1e-4, drop: 0.01, twice: 0.02, swap: 0.01, cut: 0.01, babble: 0.01},
		"far gone":    {bit: 2e-3, drop: 0.1, twice: 0.1, swap: 0.1, cut: 0.1, babble: 0.1},
	} {
		virtual(t, name, func(t *testing.T) {
			there, back := n, n
			there.r, back.r = seeded(uint64(len(name))), seeded(uint64(len(name))+99)
			b := &bench{toRig: there.mangle, fromRig: back.mangle}
			u := NewUnit(b, Options{Limits: fast})
			got, r, err := ride(t, j, u)
			prefix(t, want, got)
			judged(t, results, r, err)
			if name != "far gone" {
				require.NoError(t, err)
			}
			b.hangUp()
		})
	}
}

// The same over an open loop with several steps under way.
func TestBadWiresAhead(t *testing.T) {
	j := shortened(shippedJobs(t)[2], 1.5)
	frames := questionsOf(t, j)
	want := playThrough(t, frames, &harness.Reference{}, nil, j.Cal)
	for seed := range uint64(6) {
		virtual(t, fmt.Sprint(seed), func(t *testing.T) {
			n := noise{bit: 3e-5, drop: 0.01, twice: 0.02, swap: 0.01, cut: 0.01, babble: 0.005}
			there, back := n, n
			there.r, back.r = seeded(seed), seeded(seed+50)
			b := &bench{toRig: there.mangle, fromRig: back.mangle}
			u := NewUnit(b, Options{Limits: fast})
			sameAnswers(t, want, playThrough(t, frames, u, u.Ahead, j.Cal))
			require.NotZero(t, u.Figures().Retries)
			b.hangUp()
		})
	}
}

// puller is a sink that calls back at given frames.
type puller struct {
	at map[int]func()
	n  int
}

func (p *puller) Record(*harness.Frame) error {
	if f := p.at[p.n]; f != nil {
		f()
	}
	p.n++
	return nil
}

// A cable that comes back to a rig that kept its memory goes on, at any moment;
// a rig that was reset ends the run, and says so.
func TestHangUpAndReturn(t *testing.T) {
	j := shortened(shippedJobs(t)[2], 2)
	want, results, err := ride(t, j, &harness.Reference{})
	require.NoError(t, err)
	r := rand.New(rand.NewPCG(3, 3))
	for i := range 8 {
		virtual(t, fmt.Sprint("return ", i), func(t *testing.T) {
			b := &bench{}
			at := map[int]func(){}
			for range 10 {
				at[r.IntN(len(want))] = b.hangUp
			}
			got, res, u, err := rideWith(t, j, b, at)
			require.NoError(t, err)
			sameAnswers(t, want, got)
			sameVerdict(t, results, res)
			require.NotZero(t, u.Figures().Reopened)
			b.hangUp()
		})
	}
	for i := range 8 {
		virtual(t, fmt.Sprint("reset ", i), func(t *testing.T) {
			b := &bench{}
			moment := 1 + r.IntN(len(want)-2)
			got, res, _, err := rideWith(t, j, b, map[int]func(){moment: func() { b.hangUp(); b.reset = true }})
			require.ErrorIs(t, err, RigReset)
			require.Len(t, got, moment+1, "the trace up to there is kept")
			prefix(t, want, got)
			judged(t, results, res, err)
			b.hangUp()
		})
	}
	virtual(t, "no return", func(t *testing.T) {
		b := &bench{}
		got, res, u, err := rideWith(t, j, b, map[int]func(){500: func() { b.hangUp(); b.dead = true }})
		require.ErrorIs(t, err, LinkLost)
		require.Len(t, got, 501)
		judged(t, results, res, err)
		require.EqualValues(t, 1, u.Figures().Losses)
	})
}

func rideWith(t testing.TB, j *scenario.Job, b *bench, at map[int]func()) ([]answered, harness.Results, *Unit, error) {
	var a answers
	u := NewUnit(b, Options{Limits: fast})
	res, err := j.Run(context.Background(), u, func(*scenario.Ride) ([]harness.Sink, error) {
		return []harness.Sink{&a, &puller{at: at}}, nil
	})
	return a.list, res, u, err
}

// virtual runs a subtest in virtual time: its waiting takes none.
func virtual(t *testing.T, name string, f func(*testing.T)) {
	t.Run(name, func(t *testing.T) { synctest.Test(t, f) })
}
