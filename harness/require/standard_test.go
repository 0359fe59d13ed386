package require_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	stl "github.com/holdline/holdline/harness/require"
	"github.com/holdline/holdline/harness/require/proving"
)

// The sets bind to a trace of the invented car, together and each alone, and
// "standard" stands for all of them.
func TestStandardSetsCompile(t *testing.T) {
	cal := proving.Car()
	all, err := stl.Standard(cal)
	require.NoError(t, err)
	_, err = stl.NewCourt(cal, all)
	require.NoError(t, err)
	count := 0
	for _, name := range stl.StandardSets() {
		reqs, err := stl.Include(cal, name)
		require.NoError(t, err, name)
		count += len(reqs)
	}
	assert.Len(t, all, count)
	same, err := stl.Include(cal, "standard")
	require.NoError(t, err)
	assert.Equal(t, all, same)
}
