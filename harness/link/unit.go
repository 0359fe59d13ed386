package link

import (
	"context"
	"crypto/rand"
	"encoding/binary"
	"errors"
	"time"

	"github.com/holdline/holdline/harness"
	"github.com/holdline/holdline/harness/link/wire"
)

// Options says how a rig is driven.
type Options struct {
	Mode    wire.Mode
	Limits  Limits
	Log     *Log            // of the bytes both ways; nil: none
	Context context.Context // ends waiting; nil: none does
	Nonce   uint32          // of the session; 0: drawn
}

// Unit is a rig as a unit of the bench.
type Unit struct {
	o       Options
	dial    Dialer
	s       *session
	fig     Figures
	dead    error // what ended the session
	period  time.Duration
	began   time.Time
	ticks   int64
	ahead   *ahead
	started bool
	unpaced bool // a playback
	nonceOf func() uint32
}

// NewUnit prepares a unit behind the port that d opens.
func NewUnit(d Dialer, o Options) *Unit {
	o.Limits = o.Limits.filled()
	if o.Context == nil {
		o.Context = context.Background()
	}
	return &Unit{o: o, dial: d}
}

// Open implements harness.Unit: it opens the port, waits for the rig's hello and
// starts a session. It may be called again after Close, for a restart within a
// run: figures and log go on.
func (u *Unit) Open(h harness.Session) (harness.Caps, error) {
	if u.s != nil {
		u.s.hangUp()
	}
	u.dead, u.ticks, u.ahead, u.started = nil, 0, nil, false
	u.s = &session{ctx: u.o.Context, dial: u.dial, limits: u.o.Limits, log: u.o.Log, fig: &u.fig}
	u.period = time.Duration(h.Calibration.Period) * time.Microsecond
	err := u.s.connect()
	if err == nil {
		err = u.s.start(h.Calibration, u.o.Mode, u.nonce())
	}
	if err != nil {
		u.s.hangUp()
		u.dead = err
		return harness.Caps{}, err
	}
	u.started = true
	u.began = time.Now()
	hello := &u.s.hello
	return harness.Caps{
		Name: hello.Name.String(), Version: hello.Version.String(),
		Reference:  hello.Features&wire.IsReference != 0,
		OutputLess: hello.Features&wire.ReportsOutputs == 0,
	}, nil
}

// nonce draws the number of a session. It decides nothing but which frames
// belong together.
func (u *Unit) nonce() uint32 {
	if u.nonceOf != nil {
		return u.nonceOf()
	}
	var b [4]byte
	for u.o.Nonce == 0 {
		rand.Read(b[:])
		if n := binary.LittleEndian.Uint32(b[:]); n != 0 && n != wire.NoSession {
			return n
		}
	}
	return u.o.Nonce
}

// Hello is what the rig said of itself.
func (u *Unit) Hello() wire.Hello {
	if u.s == nil {
		return wire.Hello{}
	}
	return u.s.hello
}

// Figures is what the link has seen so far.
func (u *Unit) Figures() *Figures { return &u.fig }

var errNotOpen = errors.New("link: the unit is not open")

// Step implements harness.Unit. In paced mode it waits for the tick's time
// first. An error ends the session: every further Step gives it again.
func (u *Unit) Step(f *harness.Frame) error {
	switch {
	case u.dead != nil:
		return u.dead
	case !u.started:
		return errNotOpen
	case u.ahead != nil:
		return nil // answered when Ahead gave it out
	}
	u.dead = u.step(f)
	return u.dead
}

func (u *Unit) step(f *harness.Frame) error {
	due := u.due(f)
	if u.paced() {
		if err := u.sleep(due); err != nil {
			return err
		}
	}
	if err := u.s.ask(f); err != nil {
		return err
	}
	if err := u.s.drain(); err != nil {
		return err
	}
	u.judge(f, due, u.period)
	return nil
}

func (u *Unit) paced() bool { return u.o.Mode == wire.Paced && !u.unpaced }

// due is the wall clock time of a frame, in paced mode.
func (u *Unit) due(f *harness.Frame) time.Time {
	if !f.EventsOnly {
		u.ticks++
	}
	return u.began.Add(time.Duration(u.ticks-1) * u.period)
}

// judge flags a paced frame whose answer came after its deadline: within a
// period of its own time.
func (u *Unit) judge(f *harness.Frame, due time.Time, within time.Duration) {
	if u.paced() && time.Since(due) > within {
		f.Flags |= harness.LinkLate
		u.fig.Late++
	}
}

func (u *Unit) sleep(until time.Time) error {
	d := time.Until(until)
	if d <= 0 {
		return nil
	}
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-t.C:
		return nil
	case <-u.o.Context.Done():
		return u.o.Context.Err()
	}
}

// Close implements harness.Unit: it tells the rig that the session ends, if the
// link stands, and closes the port, each within a bounded time.
func (u *Unit) Close() error {
	if u.s == nil {
		return nil
	}
	if u.dead == nil && u.started {
		u.s.bye()
	}
	u.started = false
	u.s.hangUp()
	u.fig.Abandoned += u.s.dog.bites.Load()
	return nil
}

// drain sends what is open and waits for all answers.
func (s *session) drain() error {
	if err := s.flush(); err != nil {
		return err
	}
	for len(s.queue) > 0 {
		if err := s.await(); err != nil {
			return err
		}
	}
	return nil
}

// bye ends the session; a rig that does not answer drops its outputs for
// silence.
func (s *session) bye() {
	for range 3 {
		s.out.Begin(wire.Bye)
		if s.write(s.out.Seal(s.nonce, true)) != nil {
			return
		}
		limit := time.Now().Add(s.limits.Answer)
		for {
			t, err := s.read(limit)
			if err != nil {
				break
			}
			if t == wire.Done {
				return
			}
		}
	}
}
