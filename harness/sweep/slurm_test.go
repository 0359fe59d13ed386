package sweep

import (
	"context"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// cluster is a Slurm of one node on the loopback address.
type cluster struct {
	*testing.T
	dir string
}

func startCluster(t *testing.T) *cluster {
	if os.Getenv("CI") != "true" && os.Getenv("HOLDLINE_LONG") != "1" {
		t.Skip("half a minute with a real Slurm: set HOLDLINE_LONG=1")
	}
	for _, tool := range []string{"slurmctld", "slurmd", "sbatch", "munged", "setpriv"} {
		if _, err := exec.LookPath(tool); err != nil || os.Geteuid() != 0 {
			if os.Getenv("CI") == "true" {
				t.Fatalf("%s is needed, and root: install slurmctld slurmd slurm-client munge", tool)
			}
			t.Skipf("needs root and %s: install slurmctld slurmd slurm-client munge", tool)
		}
	}
	dir, err := os.MkdirTemp("", "slurm")
	require.NoError(t, err)
	require.NoError(t, os.Chmod(dir, 0o755)) // munged looks at every folder above its socket
	c := &cluster{t, dir}
	t.Cleanup(func() {
		c.run("testdata/slurm/cluster", "stop", dir)
		os.RemoveAll(dir)
	})
	c.run("testdata/slurm/cluster", "start", dir, freePort(t), freePort(t))
	return c
}

func freePort(t *testing.T) string {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	defer l.Close()
	return strconv.Itoa(l.Addr().(*net.TCPAddr).Port)
}

func (c *cluster) command(name string, args ...string) *exec.Cmd {
	cmd := exec.Command(name, args...)
	cmd.Env = append(os.Environ(), "SLURM_CONF="+filepath.Join(c.dir, "slurm.conf"), taskVariable+"=1", "HOLDLINE="+os.Args[0])
	return cmd
}

// try runs a tool that Slurm may ask to try again later.
func (c *cluster) try(name string, args ...string) bool {
	return c.command(name, args...).Run() == nil
}

// run runs a tool of the cluster and gives what it says.
func (c *cluster) run(name string, args ...string) string {
	c.Helper()
	out, err := c.command(name, args...).CombinedOutput()
	if err != nil {
		c.Fatalf("%s %s: %v\n%s", name, strings.Join(args, " "), err, out)
	}
	return strings.TrimSpace(string(out))
}

// states counts the tasks of a job by state.
func (c *cluster) states(job string) map[string]int {
	n := map[string]int{}
	for _, word := range strings.Fields(c.run("squeue", "--array", "-h", "-t", "all", "-j", job, "-o", "%T")) {
		n[word]++
	}
	return n
}

func (c *cluster) until(what string, met func() bool) {
	c.Helper()
	for range 400 {
		if met() {
			return
		}
		time.Sleep(150 * time.Millisecond)
	}
	logs, _ := filepath.Glob(filepath.Join(c.dir, "*.log"))
	for _, l := range logs {
		text, _ := os.ReadFile(l)
		c.Logf("%s:\n%s", l, text)
	}
	c.Fatalf("waited a minute until %s", what)
}

// The example script as an array of six: one task is cancelled, one is signalled
// and goes back into the queue, the array is submitted again, and what comes out
// is what one process makes.
func TestSlurmArray(t *testing.T) {
	c := startCluster(t)
	work := copyExamples(t)
	plan, out := filepath.Join(work, "sweeps", "plan.toml"), filepath.Join(c.dir, "out")
	text := "format = \"holdline-plan-1\"\nname = \"test\"\n" + strings.Replace(shortPlan, "repeats = 2", "repeats = 80", 1)
	require.NoError(t, os.WriteFile(plan, []byte(text), 0o644))
	script, err := filepath.Abs(filepath.Join(examples, "slurm.sh"))
	require.NoError(t, err)
	submit := func() string {
		return c.run("sbatch", "--parsable", "--array=0-5", "--chdir="+c.dir, "--export=ALL", script, plan, out)
	}

	job := submit()
	c.until("two tasks run", func() bool { return len(unfinished(out)) >= 2 })
	c.until("the first task is cancelled", func() bool { return c.try("scancel", job+"_0") })
	signal := c.command("scancel", "--signal=USR1", "--batch", job+"_1") // tries on while the task requeues itself
	require.NoError(t, signal.Start())
	c.until("the cancelled task has left a checkpoint", func() bool { return strings.Contains(c.log(job, "0"), "interrupted after") })
	assert.Contains(t, c.log(job, "0"), "the same command goes on from there")
	c.until("the signalled task is back in the queue", func() bool {
		return strings.Contains(c.log(job, "1"), "interrupted after") && strings.Contains(c.run("squeue", "--array", "-h", "-j", job+"_1", "-o", "%T %r"), "PENDING BeginTime")
	})
	_ = signal.Process.Kill()
	_ = signal.Wait()
	c.run("scontrol", "update", "JobId="+job+"_1", "StartTime=now") // Slurm itself waits two minutes
	c.until("all but the cancelled one are through", func() bool { return c.states(job)["COMPLETED"] == 5 })
	assert.Equal(t, 1, c.states(job)["CANCELLED"])
	assert.Contains(t, c.log(job, "1"), `attempt "1"`, "Slurm's restart count")

	_, err = Merge([]string{out}, out, false)
	assert.ErrorContains(t, err, "run shard 1/6")

	again := submit()
	c.until("all are through", func() bool { return c.states(again)["COMPLETED"] == 6 })
	assert.NotContains(t, c.log(again, "0"), "resumed 0,", "goes on from the checkpoint")
	assert.Contains(t, c.log(again, "3"), "ran 0, resumed 0, already true")

	p, fs := Load(plan)
	require.NoError(t, fs.Err())
	calm := t.TempDir()
	_, err = Run(context.Background(), p, Options{Out: calm, Workers: 2})
	require.NoError(t, err)
	assert.Equal(t, merged(t, []string{calm}, calm), merged(t, []string{out}, out))
}

// log is what a task has said.
func (c *cluster) log(job, task string) string {
	text, _ := os.ReadFile(filepath.Join(c.dir, "sweep-"+job+"_"+task+".log"))
	return string(text)
}
