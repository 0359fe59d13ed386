package require_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/holdline/holdline/harness"
	stl "github.com/holdline/holdline/harness/require"
	"github.com/holdline/holdline/harness/require/proving"
)

func TestStandardSetsCompile(t *testing.T) {
	cal := proving.Car()
	reqs, err := stl.Standard(cal)
	require.NoError(t, err)
	_, err = stl.NewCourt(cal, reqs)
	require.NoError(t, err)
	t.Log(len(reqs))
	_ = harness.Frame{}
}
