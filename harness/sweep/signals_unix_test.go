//go:build unix

package sweep

import (
	"context"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// A process that is asked to stop exits with 75, one that is killed leaves what
// it has put on the disk; the next goes on, and nothing of it shows.
func TestSignalsKillsAndResumes(t *testing.T) {
	dir := copyExamples(t)
	plan := filepath.Join(dir, "sweeps", "plan.toml")
	text := "format = \"holdline-plan-1\"\nname = \"test\"\n" + strings.Replace(shortPlan, "repeats = 2", "repeats = 12", 1)
	require.NoError(t, os.WriteFile(plan, []byte(text), 0o644))
	p, fs := Load(plan)
	require.NoError(t, fs.Err())
	out, calm := t.TempDir(), t.TempDir()

	for _, sig := range []os.Signal{syscall.SIGTERM, syscall.SIGKILL, syscall.SIGUSR1} {
		before := unfinished(out)
		c := startTask(t, plan, out)
		waitForRows(t, out, before)
		require.NoError(t, c.Process.Signal(sig))
		_ = c.Wait()
		if sig != syscall.SIGKILL && c.ProcessState.ExitCode() != 0 { // 0: it was through already
			assert.Equal(t, 75, c.ProcessState.ExitCode(), sig)
		}
	}
	c := startTask(t, plan, out)
	require.NoError(t, c.Wait())
	c = startTask(t, plan, out)
	require.NoError(t, c.Wait(), "a finished shard is finished")
	_, err := Run(context.Background(), p, Options{Out: calm, Workers: 2})
	require.NoError(t, err)
	want, got := merged(t, []string{calm}, calm), merged(t, []string{out}, out)
	assert.Equal(t, want, got)
	left, _ := filepath.Glob(filepath.Join(out, ".shard-*"))
	assert.Empty(t, left)
}
