package main

import (
	"context"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/holdline/holdline/controller"
)

func someJobs(t *testing.T, n int) []*job {
	s := demoCars()[0].base
	jobs, err := s.jobs("test", demoOptions{repeats: n, seed: 1})
	require.NoError(t, err)
	for _, j := range jobs {
		j.Launch.Until = 5
	}
	return jobs
}

func TestRunAllKeepsTheOrder(t *testing.T) {
	told := make(chan int, 8)
	results, err := runAll(t.Context(), someJobs(t, 6), 3, func(done, all int) {
		assert.Equal(t, 6, all)
		told <- done
	})
	require.NoError(t, err)
	assert.Len(t, told, 6)
	for i := range results {
		assert.EqualValues(t, i+1, results[i].Seed)
		assert.True(t, results[i].Complete)
		assert.Positive(t, results[i].Launch.HoldSpeed)
	}
}

func TestRunAllStopsWhenToldTo(t *testing.T) {
	ctx, stop := context.WithCancel(t.Context())
	stop()
	results, err := runAll(ctx, someJobs(t, 3), 2, func(int, int) {})
	require.ErrorIs(t, err, context.Canceled)
	assert.Len(t, results, 3)
	var complaints strings.Builder
	assert.Equal(t, exitInterrupted, statusOf(interrupted(err), &complaints))
}

func TestRunAllNamesTheRunThatFailed(t *testing.T) {
	jobs := someJobs(t, 2)
	jobs[1].Name = "the second"
	cal := demoCars()[2].base.cal
	var p controller.Problems
	require.True(t, cal.Seal(&p))
	jobs[1].Cal = &cal
	results, err := runAll(t.Context(), jobs, 2, func(int, int) {})
	require.ErrorContains(t, err, "the second")
	require.ErrorContains(t, err, "another engine")
	assert.NotNil(t, results[0].Launch, "the others have run")
}

// A run that is stopped keeps what it has, and says where.
func TestStoppedRunKeepsItsTrace(t *testing.T) {
	j := someJobs(t, 1)[0]
	j.folder, j.truth = t.TempDir(), true
	ctx, stop := context.WithCancel(t.Context())
	stop()
	r, err := j.run(ctx)
	require.ErrorIs(t, err, context.Canceled)
	assert.ErrorContains(t, err, "what was recorded is kept in")
	assert.False(t, r.Complete)
	assert.Contains(t, r.Stopped, "interrupted")
	left, err := filepath.Glob(filepath.Join(j.folder, "*.partial"))
	require.NoError(t, err)
	assert.Len(t, left, 3, "trace, events and truth")
}
