package link

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"github.com/holdline/holdline/controller"
	"github.com/holdline/holdline/harness"
	"github.com/holdline/holdline/harness/link/wire"
)

// pause between two attempts of a handshake message.
const knockEvery = 250 * time.Millisecond

// connect opens the port and waits for the rig's hello.
func (s *session) connect() error {
	limit := time.Now().Add(s.limits.Open)
	if err := s.reopen(limit); err != nil {
		return err
	}
	return s.greet(limit)
}

// greet asks until the rig says hello.
func (s *session) greet(limit time.Time) error {
	s.out.Begin(wire.Probe)
	knock := append([]byte(nil), s.out.Seal(0, true)...)
	return s.converse(knock, limit, "the rig says no hello", func(t wire.Type) (bool, error) {
		var h wire.Hello
		if t != wire.HelloMsg || !h.Parse(&s.r) {
			return false, nil
		}
		s.hello = h
		return true, nil
	})
}

// converse sends a message again and again until take has seen what it waits
// for. A port that is lost in between is opened again.
func (s *session) converse(message []byte, limit time.Time, missing string, take func(wire.Type) (bool, error)) error {
	var lost error
	for {
		if err := s.ctx.Err(); err != nil {
			return err
		}
		if !time.Now().Before(limit) {
			return s.silent(missing, lost)
		}
		err := s.write(message)
		next := time.Now().Add(knockEvery)
		for err == nil {
			var t wire.Type
			if t, err = s.read(earlier(next, limit)); err != nil {
				break
			}
			done, e := take(t)
			if done || e != nil {
				return e
			}
		}
		if errors.Is(err, ErrNothing) {
			continue
		}
		if !gone(err) {
			return err
		}
		s.fig.Losses++
		lost = err
		if err := pause(s.ctx, knockEvery); err != nil {
			return err
		}
		if err := s.reopen(limit); err != nil {
			return err
		}
	}
}

func (s *session) silent(missing string, lost error) *Error {
	what := fmt.Sprintf("%s within %v", missing, s.limits.Open)
	fix := "check that the rig runs, and that port and baud rate are right"
	switch {
	case lost != nil:
		what += fmt.Sprintf("; the port was lost %d times", s.fig.Losses)
		fix = "check cable and supply, and that the rig's program runs"
	case s.fig.BytesIn == 0:
		what += "; not one byte was heard"
		fix = "check power and wiring, and that transmit and receive are not swapped"
	case s.fig.Damaged > 0:
		what += fmt.Sprintf("; %d bytes and %d damaged frames were heard", s.fig.BytesIn, s.fig.Damaged)
		fix = "check the baud rate: bytes come, but no good frame"
	}
	return s.named(&Error{Kind: Timeout, What: what, Fix: fix, Err: lost})
}

func earlier(a, b time.Time) time.Time {
	if a.Before(b) {
		return a
	}
	return b
}

// fits holds a calibration against the hello before anything is started.
func (s *session) fits(cal *controller.Calibration, mode wire.Mode) *Error {
	h := &s.hello
	need := wire.TakesLockstep
	if mode == wire.Paced {
		need = wire.TakesPaced
	}
	fix := "choose another scenario or rig"
	switch {
	case h.Highest < wire.Version || h.Lowest > wire.Version:
		return fault(Refused, "update the older of the two", "the rig speaks protocol versions %d to %d, the bench %d", h.Lowest, h.Highest, wire.Version)
	case h.Features&need == 0:
		return fault(Refused, "change mode in the rig file", "the rig does not take this mode")
	case cal.Engine.Cylinders > h.Cylinders:
		return fault(Refused, fix, "the engine has %d cylinders, the rig takes %d", cal.Engine.Cylinders, h.Cylinders)
	case cal.Period < h.Shortest:
		return fault(Refused, "use a calibration with a longer period", "the tick period is %d us, the rig's shortest %d us", cal.Period, h.Shortest)
	}
	if h.Features&wire.OwnCalibration != 0 {
		return nil
	}
	if missing := s.missing(cal); missing != "" {
		return fault(Refused, fix, "the rig does not take what the calibration has fitted: %s", missing)
	}
	return nil
}

// missing lists the fitted channels and switches that the rig does not take.
func (s *session) missing(cal *controller.Calibration) string {
	var list []string
	for c := range cal.Channels {
		if cal.Channels[c].Fitted && !s.hello.Channels.Has(controller.Channel(c)) {
			list = append(list, harness.Channels[c].Name)
		}
	}
	for sw := range controller.NumSwitches {
		if cal.Switches.Has(sw) && !s.hello.Switches.Has(sw) {
			list = append(list, harness.Switches[sw])
		}
	}
	return strings.Join(list, ", ")
}

// start begins a session.
func (s *session) start(cal *controller.Calibration, mode wire.Mode, nonce uint32) error {
	if e := s.fits(cal, mode); e != nil {
		return s.named(e)
	}
	image := make([]byte, controller.MaxImage)
	n, err := cal.Image(image)
	if err != nil {
		return err
	}
	image = image[:n]
	if s.hello.Features&wire.TakesImages != 0 && s.hello.Calibration != wire.ImageChecksum(image) {
		if err := s.load(image); err != nil {
			return err
		}
	}
	m := startOf(cal, wire.ImageChecksum(image))
	m.Nonce, m.Mode = nonce, mode
	for range 3 { // an old hello may have brought an old token
		m.Token = s.hello.Token
		why, detail, err := s.knock(m)
		if err != nil {
			return err
		}
		switch why {
		case wire.Fits:
			s.nonce = nonce
			s.seq = 1
			s.mem.Reset()
			s.regs.Reset()
			return nil
		case wire.RefuseToken:
			s.hello.Token = detail
			continue
		}
		return s.named(refusal(why, detail, m))
	}
	return s.named(fault(Protocol, "", "the rig refuses the token that it gave"))
}

func startOf(cal *controller.Calibration, checksum uint32) *wire.Start {
	m := &wire.Start{Version: wire.Version, Period: cal.Period, Calibration: checksum, Cylinders: cal.Engine.Cylinders, Order: cal.Engine.Order}
	n := int(m.Cylinders)
	sum := controller.Angle(0)
	for i := range n {
		m.Intervals[i] = cal.Engine.Intervals[i]
		sum += m.Intervals[i]
	}
	if sum == 0 && n > 1 { // even, to the nearest 1/100 degree
		full := 720 * controller.Degree
		for i := range n {
			m.Intervals[i] = full*controller.Angle(i+1)/controller.Angle(n) - full*controller.Angle(i)/controller.Angle(n)
		}
	}
	if n == 1 {
		m.Intervals[0] = 0
	}
	return m
}

// knock sends a start until the rig answers it.
func (s *session) knock(m *wire.Start) (why wire.Refusal, detail uint32, err error) {
	m.Append(s.out.Begin(wire.StartMsg))
	frame := append([]byte(nil), s.out.Seal(0, true)...)
	err = s.converse(frame, time.Now().Add(s.limits.Open), "the rig does not answer the start of a session", func(t wire.Type) (bool, error) {
		if t != wire.Started || s.r.U32() != m.Nonce {
			return false, nil
		}
		why, detail = wire.Refusal(s.r.U8()), s.r.U32()
		return s.r.Done(), nil
	})
	return why, detail, err
}

func refusal(why wire.Refusal, detail uint32, m *wire.Start) *Error {
	switch why {
	case wire.RefuseVersion:
		return fault(Refused, "update the older of the two", "protocol version %d; the rig's highest is %d", m.Version, detail)
	case wire.RefuseMode:
		return fault(Refused, "change mode in the rig file", "the rig does not take this mode")
	case wire.RefusePeriod:
		return fault(Refused, "use a calibration with the rig's period", "a tick period of %d us; the rig wants %d us", m.Period, detail)
	case wire.RefuseCylinders:
		return fault(Refused, "choose another scenario or rig", "%d cylinders; the rig takes %d", m.Cylinders, detail)
	case wire.RefuseOrder:
		return fault(Refused, "check firing order and intervals of the calibration", "the firing order or its intervals")
	case wire.RefuseCalibration:
		return fault(Refused, "flash the rig with this calibration, or run the scenario with the rig's",
			"the scenario's calibration has checksum %08X, the rig holds %08X", m.Calibration, detail)
	case wire.RefuseOutputs:
		return fault(Refused, "see the rig's own documentation", "the rig cannot make its outputs safe")
	}
	return fault(Refused, "see the rig's own documentation", "the rig's own reason, number %d", detail)
}

// loadPiece is short enough to get through a bad wire.
const loadPiece = 96

// load sends a calibration image, piece by piece.
func (s *session) load(image []byte) error {
	piece := min(bodyRoom(int(s.hello.Frame))-5, loadPiece)
	for next := 0; next < len(image); {
		w := s.out.Begin(wire.Load)
		w.U16(uint16(len(image)))
		w.U16(uint16(next))
		w.Put(image[next:min(next+piece, len(image))])
		frame := append([]byte(nil), s.out.Seal(0, true)...)
		var code wire.LoadCode
		want := next
		err := s.converse(frame, time.Now().Add(s.limits.Open), "the rig does not answer the loading of a calibration", func(t wire.Type) (bool, error) {
			if t != wire.Loaded {
				return false, nil
			}
			n, c, detail := int(s.r.U16()), wire.LoadCode(s.r.U8()), s.r.U32()
			if !s.r.Done() {
				return false, nil
			}
			if c == wire.LoadRefused {
				return false, s.named(fault(Refused, "update the rig's firmware", "the rig does not take the calibration (detail %d)", detail))
			}
			want, code = n, c
			return n != next, nil
		})
		if err != nil {
			return err
		}
		next = want
		if code == wire.LoadComplete {
			return nil
		}
	}
	return nil
}

// reopen opens the port, with pauses that grow, until the limit.
func (s *session) reopen(limit time.Time) error {
	s.hangUp()
	pause := 20 * time.Millisecond
	for {
		ctx, cancel := context.WithDeadline(s.ctx, limit)
		p, err := s.dial.Dial(ctx)
		cancel()
		if err == nil {
			s.port = p
			s.dog.guard(p)
			s.forget()
			return nil
		}
		if s.ctx.Err() != nil {
			return s.ctx.Err()
		}
		mayPass := errors.Is(err, NotFound) || errors.Is(err, Busy) || errors.Is(err, LinkLost)
		if !mayPass || !time.Now().Add(pause).Before(limit) {
			return err
		}
		select {
		case <-s.ctx.Done():
			return s.ctx.Err()
		case <-time.After(pause):
		}
		pause = min(2*pause, s.limits.Back)
	}
}

// mend opens a lost port again and repeats what was under way. Other errors come
// back as they are.
func (s *session) mend(err error) error {
	if !gone(err) {
		return err
	}
	s.fig.Losses++
	limit := time.Now().Add(s.limits.Recover)
	if e := s.reopen(limit); e != nil {
		if s.ctx.Err() != nil {
			return e
		}
		return s.named(&Error{Kind: LinkLost, What: fmt.Sprintf("it went away at step %d and did not come back within %v (%v)", s.seq, s.limits.Recover, err),
			Fix: "check cable and supply", Err: e})
	}
	s.fig.Reopened++
	if len(s.queue) == 0 {
		return nil
	}
	if s.fig.Losses > maxLosses {
		return s.named(fault(LinkLost, "check cable and supply", "it went away %d times in one run", s.fig.Losses))
	}
	return s.resend()
}

// maxLosses in one run: more is no link.
const maxLosses = 100

// hangUp closes the port, waiting a bounded time.
func (s *session) hangUp() {
	if s.port == nil {
		return
	}
	p := s.port
	s.port = nil
	if !bounded(func() { p.Close() }, closeLimit) {
		s.fig.Abandoned++
	}
}

const closeLimit = 2 * time.Second

// bounded runs f, and reports whether it came back in time; if not it is left
// behind.
func bounded(f func(), limit time.Duration) bool {
	done := make(chan struct{})
	go func() { defer close(done); f() }()
	t := time.NewTimer(limit)
	defer t.Stop()
	select {
	case <-done:
		return true
	case <-t.C:
		return false
	}
}
