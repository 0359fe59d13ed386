package boards_test

import (
	"errors"
	"io"
	"math/rand/v2"
	"net"
	"os"
	"path/filepath"
	"regexp"
	"runtime"
	"strconv"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/holdline/holdline/harness"
	"github.com/holdline/holdline/harness/link"
	"github.com/holdline/holdline/harness/scenario"
)

// What a board may do to a bench; see wild/wild.c.
const (
	bootsSlowly = 1 << iota
	printsABanner
	resets
	answersLate
	sendsOneByte
)

func wild(t testing.TB, behaviour int) *board {
	page := filepath.Join(t.TempDir(), "page")
	require.NoError(t, os.WriteFile(page, []byte{byte(behaviour), 0, 0, 0}, 0o644))
	return power(t, cortexM3(build(t, "wild"), page, "-serial", "pty", "-serial", "stdio"))
}

// A board that is slow, talks first, or is late gives the same decisions as one
// that is not.
func TestBoardsInTheWild(t *testing.T) {
	const seconds = 1.2
	plain := wild(t, 0)
	want, _, err := ride(job(t, boardScenario, seconds), plain.bench())
	require.NoError(t, err)
	plain.off()
	for name, behaviour := range map[string]int{
		"boots slowly":             bootsSlowly,
		"prints a banner":          printsABanner,
		"boots slowly and talks":   bootsSlowly | printsABanner,
		"answers late":             answersLate,
		"sends one byte at a time": sendsOneByte,
		"late by bytes and talks":  answersLate | sendsOneByte | printsABanner,
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			b := wild(t, behaviour)
			u := b.bench()
			got, _, err := ride(job(t, boardScenario, seconds), u)
			require.NoError(t, err)
			same(t, want, got)
			t.Logf("%d retries, %d damaged, %d silences", u.Figures().Retries, u.Figures().Damaged, u.Figures().Silences)
		})
	}
}

// A board that resets in the middle ends the run: no verdict from half a run, and
// what was seen is kept.
func TestABoardThatResetsEndsTheRun(t *testing.T) {
	b := wild(t, resets)
	got, results, err := ride(job(t, boardScenario, 30), b.bench())
	require.Error(t, err)
	assert.ErrorIs(t, err, link.RigReset)
	assert.NotEmpty(t, got)
	assert.False(t, results.Complete)
	assert.NotEqual(t, harness.VerdictHolds, results.Verdict)
}

// Loss of the link: outputs are off within 100 ms of the board's own clock, counted
// from the last message that was heard, and not before 80 ms. The emulated
// Cortex-M3 counts time by instructions, 64 ns each, so that a busy machine does not
// stretch it; the emulated AVR cannot, and may try again. A line that never rests,
// such as one at a wrong speed, is silence too.
func TestOutputsGoOffOnEveryBoard(t *testing.T) {
	each := func(t *testing.T, babble bool) {
		for _, kind := range boards[1:] {
			t.Run(kind.name, func(t *testing.T) {
				j := job(t, boardScenario, 30)
				args, tries := kind.args(t, imageOf(t, j.Cal)), 3
				if kind.name != "rig-avr" {
					args, tries = append(args, "-icount", "shift=6"), 1
				}
				us := 100_000
				for try := 0; try < tries && us >= 100_000; try++ {
					us = silence(t, power(t, args), j, babble)
					t.Logf("off after %d us", us)
				}
				assert.Less(t, us, 100_000)
				assert.GreaterOrEqual(t, us, 80_000, "earlier than WIRE.md says")
			})
		}
	}
	t.Run("nothing comes", func(t *testing.T) { each(t, false) })
	t.Run("noise comes", func(t *testing.T) { each(t, true) })
}

var off = regexp.MustCompile(`off after (\d+) us`)

// silence turns an output on, says no more (or nothing that means anything), and
// gives the microseconds until the board turned it off.
func silence(t testing.TB, b *board, j *scenario.Job, babble bool) int {
	defer b.off()
	u := b.bench()
	_, err := u.Open(harness.Session{Calibration: j.Cal})
	require.NoError(t, err)
	defer u.Close()
	f := harness.Frame{Tick: 1, N: 1}
	f.Events[0] = harness.Event{Cylinder: 1, Cycle: 1, Kind: harness.FuelCommit}
	require.NoError(t, u.Step(&f))
	require.True(t, f.Events[0].Give, "an output is on")
	if babble {
		line, err := os.OpenFile(b.path, os.O_WRONLY, 0)
		require.NoError(t, err)
		defer line.Close()
		go func() {
			for err := error(nil); err == nil; {
				_, err = line.WriteString("UUUUUUUUUUUUUUUU")
			}
		}()
	}
	require.Eventually(t, func() bool { return off.MatchString(b.heard()) }, 20*time.Second, 10*time.Millisecond)
	us, err := strconv.Atoi(off.FindStringSubmatch(b.heard())[1])
	require.NoError(t, err)
	return us
}

// monitored starts a board with a way to press its reset button.
func monitored(t testing.TB, args []string) (*board, func()) {
	socket := filepath.Join(t.TempDir(), "monitor")
	for i := range args {
		if args[i] == "-monitor" {
			args[i+1] = "unix:" + socket + ",server=on,wait=off"
		}
	}
	b := power(t, args)
	var c net.Conn
	require.Eventually(t, func() bool {
		var err error
		c, err = net.Dial("unix", socket)
		return err == nil
	}, 10*time.Second, 10*time.Millisecond)
	go func() { _, _ = io.Copy(io.Discard, c) }()
	t.Cleanup(func() { _ = c.Close() })
	return b, func() { _, _ = io.WriteString(c, "system_reset\n") }
}

// Restarts at random moments: the run ends with an error, never with a good
// verdict; what was answered before is right and kept; nothing is leaked.
// HOLDLINE_RESTARTS sets their number.
func TestRestartsAtRandomMoments(t *testing.T) {
	restarts := 6
	if n, err := strconv.Atoi(os.Getenv("HOLDLINE_RESTARTS")); err == nil {
		restarts = n
	}
	j := job(t, boardScenario, 30)
	want, _, err := ride(j, &harness.Reference{})
	require.NoError(t, err)
	b, reset := monitored(t, boards[2].args(t, imageOf(t, j.Cal)))
	random := rand.New(rand.NewPCG(uint64(restarts), 7))
	var goroutines, descriptors, ticks int
	for i := range restarts {
		got, results, err := ride(j, b.bench(), &presser{at: 1 + random.IntN(3000), late: time.Duration(random.IntN(3000)) * time.Microsecond, press: reset})
		require.Error(t, err, "restart %d", i)
		var trouble *link.Error
		require.True(t, errors.As(err, &trouble), "%v", err)
		require.NotEqual(t, harness.VerdictHolds, results.Verdict)
		require.False(t, results.Complete)
		require.Less(t, len(got), len(want))
		same(t, want[:len(got)], got)
		ticks += len(got)
		if i == 1 {
			goroutines, descriptors = runtime.NumGoroutine(), open(t)
		}
	}
	t.Logf("%d restarts, %d frames kept", restarts, ticks)
	assert.LessOrEqual(t, runtime.NumGoroutine(), goroutines)
	assert.LessOrEqual(t, open(t), descriptors)
	whole, _, err := ride(job(t, boardScenario, 1), b.bench())
	require.NoError(t, err, "and after all that the board runs")
	same(t, want[:len(whole)], whole)
}

// presser is a sink that presses a button a moment after a frame. (Pressed before
// the session begins, it would only make the board start later.)
type presser struct {
	at    int
	late  time.Duration
	press func()
}

func (p *presser) Record(*harness.Frame) error {
	if p.at--; p.at == 0 {
		time.AfterFunc(p.late, p.press)
	}
	return nil
}

// open counts this process's file descriptors.
func open(t testing.TB) int {
	entries, err := os.ReadDir("/proc/self/fd")
	require.NoError(t, err)
	return len(entries)
}
