package link

import (
	"errors"
	"io"
	"time"

	"github.com/holdline/holdline/controller"
	"github.com/holdline/holdline/harness"
)

// ahead keeps several steps of an open loop under way.
type ahead struct {
	unit *Unit
	stim harness.Stimulus
	ring []slot
	from int   // oldest frame not yet given out
	n    int   // frames in the ring
	end  error // of stim
	err  error // of the link
}

type slot struct {
	f   harness.Frame
	due time.Time
}

// Ahead makes an open loop fast: it returns a stimulus that reads on in stim,
// which must ignore Apply, keeps as many steps under way as window and credit of
// the rig allow, several ticks to a step, and gives each frame out once it is
// answered. Call it after NewUnit; run the result with the same unit.
//
// In lockstep mode it goes as fast as wire and rig do. Paced, a step is sent when
// the last of its ticks is due, and an answer is late if it comes more than
// that many periods and one more after its tick.
func (u *Unit) Ahead(stim harness.Stimulus) harness.Stimulus {
	return &ahead{unit: u, stim: stim}
}

// aheadFrames is how many frames are read on at most.
const aheadFrames = 64

// Next implements harness.Stimulus.
func (a *ahead) Next(f *harness.Frame) error {
	u := a.unit
	u.ahead = a
	if u.dead != nil {
		return u.dead
	}
	if a.ring == nil {
		a.ring = make([]slot, aheadFrames)
	}
	if err := a.advance(); err != nil {
		if !errors.Is(err, io.EOF) {
			u.dead = err
		}
		return err
	}
	s := &a.ring[a.from]
	*f = s.f
	a.from = (a.from + 1) % len(a.ring)
	a.n--
	return nil
}

// Apply implements harness.Stimulus.
func (a *ahead) Apply(f *harness.Frame) error { return a.stim.Apply(f) }

// advance brings the oldest frame to its answer. After trouble the frames that
// have their answers are given out first.
func (a *ahead) advance() error {
	s := a.unit.s
	for {
		if a.err == nil {
			a.err = a.fill()
		}
		switch {
		case a.n > 0 && !a.waiting(&a.ring[a.from].f):
			a.judge()
			return nil
		case a.err != nil:
			return a.err
		case a.n == 0:
			return a.end
		case len(s.queue) == 0:
			a.err = s.flush()
		default:
			a.err = s.await()
		}
	}
}

// waiting reports whether a frame is still part of a step under way.
func (a *ahead) waiting(f *harness.Frame) bool {
	s := a.unit.s
	for _, q := range s.queue {
		for i := range q.parts {
			if q.parts[i].f == f {
				return true
			}
		}
	}
	if s.open != nil {
		for i := range s.open.parts {
			if s.open.parts[i].f == f {
				return true
			}
		}
	}
	return false
}

// fill reads on and asks, until window or ring are full.
func (a *ahead) fill() error {
	u := a.unit
	for a.end == nil && a.n < len(a.ring) && u.s.roomy() {
		s := &a.ring[(a.from+a.n)%len(a.ring)]
		f := &s.f
		f.N, f.EventsOnly, f.Flags, f.LatencyNs = 0, false, 0, 0
		f.Out = controller.Output{}
		if err := a.stim.Next(f); err != nil {
			a.end = err
			break
		}
		a.n++
		s.due = u.due(f)
		if u.paced() {
			if err := u.sleep(s.due); err != nil {
				return err
			}
		}
		if err := u.s.ask(f); err != nil {
			return err
		}
		if a.pressing() {
			if err := u.s.flush(); err != nil {
				return err
			}
		}
	}
	if a.end != nil {
		return u.s.flush()
	}
	return nil
}

// pressing reports whether the open step should go: paced, when it has as many
// ticks as keep the wire from idling; otherwise it fills up first.
func (a *ahead) pressing() bool {
	q := a.unit.s.open
	return q != nil && len(q.parts) >= int(a.unit.s.hello.Items)
}

// judge flags the oldest frame if it came late.
func (a *ahead) judge() {
	u := a.unit
	u.judge(&a.ring[a.from].f, a.ring[a.from].due, u.period*time.Duration(u.s.hello.Items+1))
}

// roomy reports whether another step may be sent without waiting.
func (s *session) roomy() bool {
	return len(s.queue) < int(s.hello.Window) && (len(s.queue) == 0 || s.flight+int(s.hello.Frame) <= int(s.hello.Buffer))
}
