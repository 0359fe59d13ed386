package link

import (
	"context"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/creack/pty"
	"github.com/holdline/holdline/harness"
	"github.com/holdline/holdline/harness/scenario"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/sys/unix"
)

// rigFile writes a rig file whose program is this test binary.
func rigFile(t testing.TB, how string) *Rig {
	exe, err := os.Executable()
	require.NoError(t, err)
	path := filepath.Join(t.TempDir(), "rig.toml")
	text := fmt.Sprintf("format = \"holdline-rig-1\"\nname = \"test\"\noutputs = \"disconnected\"\n[port]\ncommand = [\"/usr/bin/env\", \"%s=%s\", %q]\n", rigEnv, how, exe)
	require.NoError(t, os.WriteFile(path, []byte(text), 0o600))
	r, findings := LoadRig(path)
	require.NoError(t, findings.Err())
	return r
}

// A rig that is another program, on a pseudo-terminal, gives the same answers.
func TestProgramIsTheSame(t *testing.T) {
	j := shortened(shippedJobs(t)[2], 3)
	want, results, err := ride(t, j, &harness.Reference{})
	require.NoError(t, err)
	u := rigFile(t, "serves").Unit(Options{Limits: programLimits})
	got, same, err := ride(t, j, u)
	require.NoError(t, err)
	sameAnswers(t, want, got)
	sameVerdict(t, results, same)
	f := u.Figures()
	t.Logf("round trip %v to %v, median %v, 99 %% %v; the rig's own time: median %v", f.Latency.Min, f.Latency.Max, f.Latency.Quantile(0.5), f.Latency.Quantile(0.99), f.OwnTime.Quantile(0.5))
}

// A program that ends at once says why.
func TestProgramThatEnds(t *testing.T) {
	u := rigFile(t, "dies").Unit(Options{Limits: Limits{Open: 500 * time.Millisecond}})
	_, err := u.Open(harness.Session{Calibration: shippedJobs(t)[0].Cal})
	require.Error(t, err)
	var e *Error
	require.ErrorAs(t, err, &e)
	require.ErrorIs(t, err, Timeout)
	assert.Contains(t, err.Error(), "no board found")
	require.NoError(t, u.Close())
}

// The rig's program is killed and started again at random moments: no hang,
// nothing left behind, the trace kept, never a good verdict.
// HOLDLINE_RESTARTS says how often.
func TestKilledAndRestarted(t *testing.T) {
	n := 20
	if s := os.Getenv("HOLDLINE_RESTARTS"); s != "" {
		n, _ = strconv.Atoi(s)
	}
	j := shortened(shippedJobs(t)[2], 3)
	want, _, err := ride(t, j, &harness.Reference{})
	require.NoError(t, err)
	rig := rigFile(t, "serves")
	r := rand.New(rand.NewPCG(11, 11))
	patient := programLimits
	patient.Retries = 60 // the program takes its time to start on a busy machine
	files, threads := openFiles(t), runtime.NumGoroutine()
	for i := range n {
		moment := 1 + r.IntN(len(want)-2)
		var a answers
		u := rig.Unit(Options{Limits: patient})
		kill := func() { killAll(u.s.port.(*running).cmd) }
		res, err := j.Run(context.Background(), u, func(*scenario.Ride) ([]harness.Sink, error) {
			return []harness.Sink{&a, &puller{at: map[int]func(){moment: kill}}}, nil
		})
		require.ErrorIs(t, err, RigReset, "cycle %d", i)
		require.GreaterOrEqual(t, len(a.list), moment+1)
		prefix(t, want, a.list)
		require.NotEqual(t, harness.VerdictHolds, res.Verdict)
		require.Zero(t, u.Figures().Abandoned)
	}
	require.LessOrEqual(t, openFiles(t), files+2)
	for range 100 {
		if runtime.NumGoroutine() <= threads {
			break
		}
		time.Sleep(10 * time.Millisecond)
	}
	require.LessOrEqual(t, runtime.NumGoroutine(), threads)
	t.Logf("%d cycles", n)
}

func openFiles(t testing.TB) int {
	list, err := os.ReadDir("/proc/self/fd")
	require.NoError(t, err)
	return len(list)
}

// terminal is a rig at the other end of a pseudo-terminal whose path a bench
// opens as a port.
func terminal(t testing.TB) (path string, stop func()) {
	master, slave, err := pty.Open()
	require.NoError(t, err)
	require.NoError(t, makeRaw(int(slave.Fd())))
	fd, err := dup(master)
	require.NoError(t, err)
	p, err := newFDPort(fd, nil)
	require.NoError(t, err)
	master.Close()
	r := newTestRig()
	r.serve(p)
	return slave.Name(), func() { r.stop(); p.Close(); slave.Close() }
}

// A pseudo-terminal opened by path goes through the serial library, and a second
// bench is told who has it.
func TestTerminalByPath(t *testing.T) {
	j := shortened(shippedJobs(t)[2], 1)
	want, _, err := ride(t, j, &harness.Reference{})
	require.NoError(t, err)
	path, stop := terminal(t)
	defer stop()
	rig := &Rig{Port: PortSpec{Wish: Identity{Path: path}, Baud: 1_000_000}}
	u := rig.Unit(Options{Limits: programLimits})
	got, _, err := ride(t, j, u)
	require.NoError(t, err)
	sameAnswers(t, want, got)

	_, err = u.Open(harness.Session{Calibration: j.Cal})
	require.NoError(t, err)
	other := rig.Unit(Options{Limits: Limits{Open: 100 * time.Millisecond}})
	_, err = other.Open(harness.Session{Calibration: j.Cal})
	require.ErrorIs(t, err, Busy)
	assert.Contains(t, err.Error(), strconv.Itoa(os.Getpid()))
	require.NoError(t, u.Close())

	rig.Port.Reset = ResetDTR
	_, err = rig.Unit(Options{Limits: Limits{Open: 100 * time.Millisecond}}).Open(harness.Session{Calibration: j.Cal})
	require.ErrorIs(t, err, Refused, "a pseudo-terminal has no DTR")
}

// The Port over the library alone, as other systems use it.
func TestLibraryPort(t *testing.T) {
	j := shortened(shippedJobs(t)[2], 1)
	want, _, err := ride(t, j, &harness.Reference{})
	require.NoError(t, err)
	path, stop := terminal(t)
	defer stop()
	u := NewUnit(&libDialer{path}, Options{Limits: programLimits})
	got, _, err := ride(t, j, u)
	require.NoError(t, err)
	sameAnswers(t, want, got)
}

// A port that nobody reads from fills up: the write ends at its deadline.
func TestWriteKeepsItsDeadline(t *testing.T) {
	master, slave, err := pty.Open()
	require.NoError(t, err)
	defer slave.Close()
	defer master.Close()
	require.NoError(t, makeRaw(int(slave.Fd())))
	fd, err := dup(slave)
	require.NoError(t, err)
	p, err := newFDPort(fd, nil)
	require.NoError(t, err)
	defer p.Close()
	n, err := p.Write(make([]byte, 1<<20), time.Now().Add(50*time.Millisecond))
	require.ErrorIs(t, err, ErrNothing)
	assert.Greater(t, n, 1000)
	_, err = p.Read(make([]byte, 1), time.Now().Add(time.Millisecond))
	require.ErrorIs(t, err, ErrNothing)
	require.NoError(t, p.Close())
	_, err = p.Read(make([]byte, 1), time.Now().Add(time.Millisecond))
	require.True(t, gone(err), "%v", err)
}

// Close wakes a read that waits.
func TestCloseEndsARead(t *testing.T) {
	master, slave, err := pty.Open()
	require.NoError(t, err)
	defer slave.Close()
	fd, err := dup(master)
	require.NoError(t, err)
	master.Close()
	p, err := newFDPort(fd, nil)
	require.NoError(t, err)
	got := make(chan error)
	go func() {
		_, err := p.Read(make([]byte, 1), time.Now().Add(time.Minute))
		got <- err
	}()
	time.Sleep(10 * time.Millisecond)
	require.NoError(t, p.Close())
	require.True(t, gone(<-got))
}

func TestOpenErrorsSayWhatToDo(t *testing.T) {
	open := func(path string) error {
		d := &serialPort{spec: PortSpec{Wish: Identity{Path: path}, Baud: 9600}}
		_, err := d.Dial(context.Background())
		return err
	}
	require.ErrorIs(t, open("/dev/no-such-port"), NotFound)
	plain := filepath.Join(t.TempDir(), "file")
	require.NoError(t, os.WriteFile(plain, nil, 0o600))
	err := open(plain)
	require.Error(t, err)
	assert.True(t, strings.Contains(err.Error(), "name a serial port"), err.Error())
}

// A busy port names who has it, a forbidden one says what to do.
func TestBusyAndForbiddenPorts(t *testing.T) {
	master, slave, err := pty.Open()
	require.NoError(t, err)
	defer master.Close()
	defer slave.Close()
	other := exec.Command("sleep", "60")
	other.Stdin = slave
	require.NoError(t, other.Start())
	defer func() { other.Process.Kill(); other.Wait() }()
	id := &Identity{Path: slave.Name(), Vendor: "1a2b", Product: "0001"}
	err = openError(id, os.NewSyscallError("open", unix.EBUSY))
	require.ErrorIs(t, err, Busy)
	assert.Contains(t, err.Error(), fmt.Sprintf("process %d (sleep)", other.Process.Pid))
	err = openError(id, os.NewSyscallError("open", unix.EACCES))
	require.ErrorIs(t, err, Permission)
	assert.Contains(t, err.Error(), "member of group")
	assert.Contains(t, err.Error(), `ATTRS{idVendor}=="1a2b"`)
	assert.Equal(t, "bench", Permission.Blame())
}
