package link

import (
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/holdline/holdline/controller"
	"github.com/holdline/holdline/harness"
	"github.com/stretchr/testify/require"
)

// BenchmarkLockstep measures ticks a second over a pseudo-terminal to a rig in
// another process that hosts the reference controller, alternating with a plain
// C echo of as many bytes (testdata/echo.c). "of-C" is the ratio of the two.
func BenchmarkLockstep(b *testing.B) {
	cc, err := exec.LookPath("gcc")
	if err != nil {
		if os.Getenv("CI") == "true" {
			b.Fatal("gcc is missing")
		}
		b.Skip("gcc is missing: nothing to compare with")
	}
	echo := filepath.Join(b.TempDir(), "echo")
	out, err := exec.Command(cc, "-O2", "-o", echo, "testdata/echo.c").CombinedOutput()
	require.NoError(b, err, "%s", out)
	frames := questionsOf(b, shortened(shippedJobs(b)[2], 4))
	cal := shippedJobs(b)[2].Cal

	var ours, plain float64
	rounds := 0
	for b.Loop() {
		rounds++
		u := rigFile(b, "serves").Unit(Options{Limits: programLimits})
		_, err := u.Open(harness.Session{Calibration: cal})
		require.NoError(b, err)
		f := harness.Frame{}
		began := time.Now()
		for i := range frames {
			o := f.Out
			f = frames[i]
			f.Out = o
			if err := u.Step(&f); err != nil {
				b.Fatal(err)
			}
		}
		ours += float64(len(frames)) / time.Since(began).Seconds()
		x, y := u.Figures().BytesPerTick()
		require.NoError(b, u.Close())
		text, err := exec.Command(echo, strconv.Itoa(int(x+0.5)), strconv.Itoa(int(y+0.5)), "4000").Output()
		require.NoError(b, err)
		rate, err := strconv.ParseFloat(strings.TrimSpace(string(text)), 64)
		require.NoError(b, err)
		plain += rate
	}
	b.ReportMetric(ours/float64(rounds), "ticks/s")
	b.ReportMetric(plain/float64(rounds), "C-echo/s")
	b.ReportMetric(ours/plain, "of-C")
	b.ReportMetric(0, "ns/op")
}

// BenchmarkStep is the bench's own work for a tick: encoding, framing, reading,
// decoding, with the rig in the same process.
func BenchmarkStep(b *testing.B) {
	x := &bench{}
	u := NewUnit(x, Options{Limits: programLimits})
	_, err := u.Open(harness.Session{Calibration: shippedJobs(b)[2].Cal})
	require.NoError(b, err)
	f := harness.Frame{}
	b.ReportAllocs()
	for b.Loop() {
		f.Tick++
		f.In.Set(controller.EngineSpeed, int32(30000+f.Tick%100))
		if err := u.Step(&f); err != nil {
			b.Fatal(err)
		}
	}
	require.NoError(b, u.Close())
	x.hangUp()
}
