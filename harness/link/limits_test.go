package link

import (
	"context"
	"os"
	"sync"
	"testing"
	"time"

	"github.com/holdline/holdline/controller"
	"github.com/holdline/holdline/harness"
	"github.com/holdline/holdline/harness/link/wire"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// The times of these tests are virtual: each limit is met to the microsecond.

func anyCal(t testing.TB) *controller.Calibration { return shippedJobs(t)[2].Cal }

func (b *bench) tickOnce(u *Unit, tick uint32) (harness.Frame, error) {
	f := harness.Frame{Tick: tick}
	f.In.Set(controller.EngineSpeed, 30000)
	return f, u.Step(&f)
}

func TestNobodyThere(t *testing.T) {
	cal := anyCal(t)
	virtual(t, "no port", func(t *testing.T) {
		began := time.Now()
		_, err := NewUnit(&bench{dead: true}, Options{}).Open(harness.Session{Calibration: cal})
		require.ErrorIs(t, err, NotFound)
		assert.InDelta(t, 10, time.Since(began).Seconds(), 2, "it may be plugged in within 10 s")
	})
	virtual(t, "silent port", func(t *testing.T) {
		b := &bench{fromRig: func([]byte) []byte { return nil }}
		began := time.Now()
		u := NewUnit(b, Options{})
		_, err := u.Open(harness.Session{Calibration: cal})
		require.ErrorIs(t, err, Timeout)
		assert.Contains(t, err.Error(), "not one byte")
		assert.Equal(t, 10*time.Second, time.Since(began))
		b.hangUp()
		require.NoError(t, u.Close())
	})
	virtual(t, "wrong baud rate", func(t *testing.T) {
		b := &bench{fromRig: func(p []byte) []byte {
			for i := range p {
				p[i] = p[i]>>1 | 0x80
			}
			return append(p, 0)
		}}
		_, err := NewUnit(b, Options{}).Open(harness.Session{Calibration: cal})
		require.ErrorIs(t, err, Timeout)
		assert.Contains(t, err.Error(), "baud rate")
		b.hangUp()
	})
	virtual(t, "interrupted", func(t *testing.T) {
		ctx, cancel := context.WithTimeout(context.Background(), time.Second)
		defer cancel()
		began := time.Now()
		_, err := NewUnit(&bench{dead: true}, Options{Context: ctx}).Open(harness.Session{Calibration: cal})
		require.ErrorIs(t, err, context.DeadlineExceeded)
		assert.Equal(t, time.Second, time.Since(began))
	})
}

// A rig that falls silent costs a growing limit for each repetition, then the run
// ends; every further step gives the same error at once.
func TestRigFallsSilent(t *testing.T) {
	cal := anyCal(t)
	virtual(t, "silent", func(t *testing.T) {
		mute := false
		b := &bench{fromRig: func(p []byte) []byte {
			if mute {
				return nil
			}
			return p
		}}
		u := NewUnit(b, Options{Limits: Limits{Answer: 100 * time.Millisecond, Retries: 3}})
		_, err := u.Open(harness.Session{Calibration: cal})
		require.NoError(t, err)
		_, err = b.tickOnce(u, 0)
		require.NoError(t, err)
		mute = true
		began := time.Now()
		_, err = b.tickOnce(u, 1)
		require.ErrorIs(t, err, Timeout)
		assert.Equal(t, "cable", Timeout.Blame())
		assert.Equal(t, (1+2+3+4)*100*time.Millisecond, time.Since(began))
		began = time.Now()
		_, again := b.tickOnce(u, 2)
		assert.Equal(t, err, again)
		assert.Zero(t, time.Since(began))
		require.NoError(t, u.Close())
		b.hangUp()
	})
}

// A port that is gone is tried for its limit, and not longer.
func TestRecoveryIsBounded(t *testing.T) {
	cal := anyCal(t)
	virtual(t, "gone", func(t *testing.T) {
		b := &bench{}
		u := NewUnit(b, Options{Limits: Limits{Recover: 3 * time.Second}})
		_, err := u.Open(harness.Session{Calibration: cal})
		require.NoError(t, err)
		b.hangUp()
		b.dead = true
		began := time.Now()
		_, err = b.tickOnce(u, 0)
		require.ErrorIs(t, err, LinkLost)
		took := time.Since(began)
		assert.LessOrEqual(t, took, 3*time.Second)
		assert.Greater(t, took, time.Second)
		require.NoError(t, u.Close())
	})
	virtual(t, "back within the limit", func(t *testing.T) {
		b := &bench{}
		u := NewUnit(b, Options{})
		_, err := u.Open(harness.Session{Calibration: cal})
		require.NoError(t, err)
		b.hangUp()
		b.dead = true
		time.AfterFunc(7*time.Second, func() { b.dead = false })
		_, err = b.tickOnce(u, 0)
		require.NoError(t, err)
		assert.EqualValues(t, 1, u.Figures().Reopened)
		require.NoError(t, u.Close())
		b.hangUp()
	})
}

// Without a word from the bench the rig drops its outputs within 100 ms of its
// own clock; the session goes on where it was, and the bench is told.
func TestOutputsOffAfterSilence(t *testing.T) {
	cal := anyCal(t)
	virtual(t, "silence", func(t *testing.T) {
		b := &bench{}
		u := NewUnit(b, Options{})
		_, err := u.Open(harness.Session{Calibration: cal})
		require.NoError(t, err)
		for tick := range uint32(50) {
			time.Sleep(20 * time.Millisecond)
			_, err = b.tickOnce(u, tick)
			require.NoError(t, err)
		}
		before := len(b.rig.offs) // that of the start
		quiet := time.Since(b.rig.began)
		time.Sleep(time.Second)
		require.Len(t, b.rig.offs, before+1)
		took := b.rig.offs[before] - quiet
		assert.GreaterOrEqual(t, took, 80*time.Millisecond)
		assert.LessOrEqual(t, took, 100*time.Millisecond)
		assert.InDelta(t, 1_000_000, b.rig.rig.Silence(), 20_000, "a second, in microseconds")
		_, err = b.tickOnce(u, 50)
		require.NoError(t, err)
		assert.EqualValues(t, 1, u.Figures().Silences)
		require.NoError(t, u.Close())
		assert.Len(t, b.rig.offs, before+2, "the end of a session drops them too")
		b.hangUp()
	})
}

// Rigs as they are met: none of this changes an answer.
func TestOddRigs(t *testing.T) {
	j := shortened(shippedJobs(t)[2], 0.5)
	want, _, err := ride(t, j, &harness.Reference{})
	require.NoError(t, err)
	virtual(t, "banner before the protocol", func(t *testing.T) {
		b := &bench{banner: "\r\nboot loader 2.1\x00\xffstarting...\r\n"}
		got, _, err := ride(t, j, NewUnit(b, Options{Limits: fast}))
		require.NoError(t, err)
		sameAnswers(t, want, got)
		b.hangUp()
	})
	virtual(t, "boots for five seconds and loses all it is told", func(t *testing.T) {
		var b *bench
		began := time.Now()
		deaf := func(p []byte) []byte {
			if time.Since(began) < 5*time.Second {
				return nil
			}
			return p
		}
		b = &bench{toRig: deaf, fromRig: deaf}
		got, _, err := ride(t, j, NewUnit(b, Options{}))
		require.NoError(t, err)
		sameAnswers(t, want, got)
		b.hangUp()
	})
	virtual(t, "a byte at a time, slowly", func(t *testing.T) {
		b := &bench{perByte: time.Second / 960} // 9600 baud
		u := NewUnit(b, Options{})
		got, _, err := ride(t, j, u)
		require.NoError(t, err)
		sameAnswers(t, want, got)
		b.hangUp()
	})
	virtual(t, "answers later than the bench repeats", func(t *testing.T) {
		b := &bench{perByte: time.Second / 960}
		u := NewUnit(b, Options{Limits: Limits{Answer: 20 * time.Millisecond, Retries: 20}})
		got, _, err := ride(t, j, u)
		require.NoError(t, err)
		sameAnswers(t, want, got)
		require.NotZero(t, u.Figures().Retries)
		b.hangUp()
	})
}

// Paced, a tick is not sent before its time, and an answer that comes later than
// a period after it is flagged as late.
func TestPaced(t *testing.T) {
	cal := anyCal(t)
	virtual(t, "in time", func(t *testing.T) {
		b := &bench{perByte: time.Second / 100_000}
		u := NewUnit(b, Options{Mode: wire.Paced})
		_, err := u.Open(harness.Session{Calibration: cal})
		require.NoError(t, err)
		began := time.Now()
		for tick := range uint32(100) {
			f, err := b.tickOnce(u, tick)
			require.NoError(t, err)
			assert.Zero(t, f.Flags)
			assert.Positive(t, f.LatencyNs)
			assert.GreaterOrEqual(t, time.Since(began), time.Duration(tick)*time.Millisecond)
		}
		assert.Less(t, time.Since(began), 101*time.Millisecond)
		require.NoError(t, u.Close())
		b.hangUp()
	})
	virtual(t, "too slow a wire", func(t *testing.T) {
		b := &bench{perByte: time.Second / 9600}
		u := NewUnit(b, Options{Mode: wire.Paced})
		_, err := u.Open(harness.Session{Calibration: cal})
		require.NoError(t, err)
		for tick := range uint32(100) {
			f, err := b.tickOnce(u, tick)
			require.NoError(t, err)
			assert.Equal(t, harness.LinkLate, f.Flags)
		}
		assert.EqualValues(t, 100, u.Figures().Late)
		require.NoError(t, u.Close())
		b.hangUp()
	})
}

// Paced over an open loop, several ticks to a step, 115200 baud are kept busy.
func TestWireTimeIsUsed(t *testing.T) {
	frames := questionsOf(t, shortened(shippedJobs(t)[2], 3))
	cal := anyCal(t)
	virtual(t, "115200 baud", func(t *testing.T) {
		b := &bench{perByte: time.Second * 10 / 115200}
		u := NewUnit(b, Options{})
		var began time.Time
		var before time.Duration
		first := true
		stim := u.Ahead(&replayed{frames: frames})
		_, err := harness.Run(context.Background(), stim, u, harness.Session{Calibration: cal}, recordFunc(func(*harness.Frame) error {
			if first {
				first, began, before = false, time.Now(), b.there.busy
			}
			return nil
		}))
		require.NoError(t, err)
		took := time.Since(began)
		share := float64(b.there.busy-before) / float64(took)
		t.Logf("%d ticks in %v: %.0f a second; share of wire time used %.3f", len(frames), took, float64(len(frames))/took.Seconds(), share)
		assert.GreaterOrEqual(t, share, 0.9)
		b.hangUp()
	})
}

type recordFunc func(*harness.Frame) error

func (f recordFunc) Record(x *harness.Frame) error { return f(x) }

// What does not fit is refused before anything moves, with the reason.
func TestRefusals(t *testing.T) {
	cal := anyCal(t)
	for name, c := range map[string]struct {
		spoil func(*wire.Hello)
		says  string
	}{
		"version":   {func(h *wire.Hello) { h.Lowest, h.Highest = 2, 3 }, "versions 2 to 3"},
		"mode":      {func(h *wire.Hello) { h.Features &^= wire.TakesLockstep }, "mode"},
		"cylinders": {func(h *wire.Hello) { h.Cylinders = 2 }, "cylinders"},
		"period":    {func(h *wire.Hello) { h.Shortest = 5000 }, "shortest 5000 us"},
		"channels":  {func(h *wire.Hello) { h.Channels &^= 1 << controller.Throttle }, "throttle"},
		"checksum":  {func(h *wire.Hello) { h.Features &^= wire.TakesImages; h.Calibration = 0xabcd }, "0000ABCD"},
	} {
		virtual(t, name, func(t *testing.T) {
			b := &bench{rig: newTestRig()}
			c.spoil(&b.rig.rig.Hello)
			u := NewUnit(b, Options{Limits: fast})
			_, err := u.Open(harness.Session{Calibration: cal})
			require.ErrorIs(t, err, Refused)
			assert.Contains(t, err.Error(), c.says)
			assert.False(t, b.rig.rig.InSession())
			require.NoError(t, u.Close())
			b.hangUp()
		})
	}
}

// stuckPort ignores deadlines, as some drivers do; Close ends what waits, unless
// that gets stuck too.
type stuckPort struct {
	Port
	stuck, shut, free chan struct{}
	once              sync.Once
}

func (p *stuckPort) Read(b []byte, until time.Time) (int, error) {
	select {
	case <-p.stuck:
		<-p.shut
		return 0, os.ErrClosed
	default:
		return p.Port.Read(b, until)
	}
}

func (p *stuckPort) Close() error {
	p.once.Do(func() { close(p.shut) })
	if p.free != nil {
		<-p.free
	}
	return p.Port.Close()
}

// stuckDialer makes the first port stuck.
type stuckDialer struct {
	*bench
	first *stuckPort
}

func (d *stuckDialer) Dial(ctx context.Context) (Port, error) {
	p, err := d.bench.Dial(ctx)
	if err != nil || d.first.Port != nil {
		return p, err
	}
	d.first.Port = p
	return d.first, nil
}

// A port that outlives its deadline is closed by the watchdog and opened again;
// one whose Close gets stuck is left behind, and counted.
func TestStuckPorts(t *testing.T) {
	cal := anyCal(t)
	virtual(t, "read", func(t *testing.T) {
		d := &stuckDialer{&bench{}, &stuckPort{stuck: make(chan struct{}), shut: make(chan struct{})}}
		u := NewUnit(d, Options{})
		_, err := u.Open(harness.Session{Calibration: cal})
		require.NoError(t, err)
		close(d.first.stuck)
		_, err = d.tickOnce(u, 0)
		require.NoError(t, err)
		require.NoError(t, u.Close())
		assert.EqualValues(t, 1, u.Figures().Reopened)
		assert.EqualValues(t, 1, u.Figures().Abandoned)
		d.hangUp()
	})
	virtual(t, "close", func(t *testing.T) {
		d := &stuckDialer{&bench{}, &stuckPort{stuck: make(chan struct{}), shut: make(chan struct{}), free: make(chan struct{})}}
		u := NewUnit(d, Options{})
		_, err := u.Open(harness.Session{Calibration: cal})
		require.NoError(t, err)
		began := time.Now()
		require.NoError(t, u.Close())
		assert.Equal(t, closeLimit, time.Since(began))
		assert.EqualValues(t, 1, u.Figures().Abandoned)
		close(d.first.free)
		d.hangUp()
	})
}
