package link

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/holdline/holdline/harness"
	"github.com/holdline/holdline/harness/link/wire"
)

// Measured is what the doctor found out about a link and its rig.
type Measured struct {
	Hello     wire.Hello
	Port      string
	RoundTrip Histogram // of echoes of EchoBytes
	Lost      int       // echoes that did not come back
	Rate      float64   // bytes a second each way, as they arrive; 0: too fast to tell
	Timer     int       // ms for which the USB chip holds bytes back, as the system says; 0: unknown
}

// EchoBytes is the length of the doctor's small echoes: that of a usual tick.
const EchoBytes = 24

const (
	echoes    = 400
	echoTime  = 4 * time.Second // at most, for each size
	echoLimit = 300 * time.Millisecond
)

// Examine opens a rig's port, asks who is there and sends echoes of two sizes.
// It starts no session: the rig's outputs stay off.
func Examine(ctx context.Context, d Dialer, l Limits) (*Measured, error) {
	m := &Measured{Port: d.String()}
	var fig Figures
	s := &session{ctx: ctx, dial: d, limits: l.filled(), fig: &fig}
	defer s.hangUp()
	if err := s.connect(); err != nil {
		return nil, err
	}
	m.Hello = s.hello
	if err := s.echo(&m.RoundTrip, &m.Lost, EchoBytes, echoes); err != nil {
		return nil, err
	}
	if m.RoundTrip.N == 0 {
		return nil, s.named(fault(Timeout, "check that the rig answers echoes, see WIRE.md", "the rig says hello, but not one of %d echoes came back", m.Lost))
	}
	long := min(bodyRoom(int(s.hello.Frame))-1, 1000)
	var large Histogram
	if err := s.echo(&large, &m.Lost, long, echoes/4); err != nil {
		return nil, err
	}
	if gap := large.Quantile(0.5) - m.RoundTrip.Quantile(0.5); large.N > 0 && gap > 0 {
		m.Rate = 2 * float64(long-EchoBytes) / gap.Seconds()
	}
	if id, ok := d.(*serialPort); ok {
		if p, err := id.find(); err == nil {
			m.Timer = systemLatencyTimer(p.Path)
		}
	}
	return m, nil
}

// echo sends n echoes one after the other.
func (s *session) echo(h *Histogram, lost *int, size, n int) error {
	text := make([]byte, size)
	end := time.Now().Add(echoTime)
	for i := 0; i < n && time.Now().Before(end); i++ {
		for k := range text {
			text[k] = byte(i + k*7)
		}
		s.out.Begin(wire.Echo).Put(text)
		sent := time.Now()
		if err := s.write(s.out.Seal(0, i == 0)); err != nil {
			return err
		}
		back, err := s.echoed(text, sent.Add(echoLimit))
		if err != nil {
			return err
		}
		if !back {
			*lost++
			continue
		}
		h.Add(time.Since(sent))
	}
	return s.ctx.Err()
}

func (s *session) echoed(text []byte, limit time.Time) (bool, error) {
	for {
		t, err := s.read(limit)
		if errors.Is(err, ErrNothing) {
			return false, nil
		}
		if err != nil {
			return false, err
		}
		if t == wire.Echoed && bytes.Equal(s.r.Rest(), text) {
			return true, nil
		}
	}
}

// Jitter is how far the slowest hundredth of the round trips exceeds the median.
func (m *Measured) Jitter() time.Duration {
	return m.RoundTrip.Quantile(0.99) - m.RoundTrip.Quantile(0.5)
}

// Resolution is the shortest time that a run in a mode can tell apart: a tick
// in lockstep, where simulated time waits; paced, a tick and the slowest
// thousandth of the round trips.
func (m *Measured) Resolution(mode wire.Mode, period time.Duration) time.Duration {
	if mode == wire.Lockstep {
		return period
	}
	return period + m.RoundTrip.Quantile(0.999)
}

// LockstepTicks is how many ticks a second a closed loop in lockstep makes.
func (m *Measured) LockstepTicks() float64 {
	return 1 / max(m.RoundTrip.Quantile(0.5), time.Microsecond).Seconds()
}

// Need is what a scenario asks of a link.
type Need struct {
	Name    string
	Mode    wire.Mode
	Period  time.Duration
	Seconds float64       // simulated, at most
	Closed  bool          // the next tick depends on this one's answer
	Bytes   float64       // for each tick, the larger way; 0: 32
	Bound   time.Duration // the tightest time in its requirements; 0: none
}

// Fits says whether a link carries a scenario. Errors mean that it does not;
// warnings say what to expect.
func (m *Measured) Fits(n Need) (list harness.Findings) {
	add := func(sev harness.Severity, field, value, allowed, reason, fix string) {
		list = append(list, harness.Finding{Severity: sev, File: n.Name, Field: field, Value: value, Allowed: allowed, Reason: reason, Fix: fix})
	}
	per := n.Bytes
	if per <= 0 {
		per = 32
	}
	if r := m.Resolution(n.Mode, n.Period); n.Bound > 0 && n.Bound < r {
		add(harness.Error, "requirement", n.Bound.String(), r.String()+" or longer",
			"a required time is tighter than what this link can tell apart", "run it in lockstep, or on a faster link")
	}
	slow := m.RoundTrip.Quantile(0.99)
	switch {
	case n.Mode == wire.Lockstep:
		if speed := m.LockstepTicks() * n.Period.Seconds(); speed < 0.2 {
			add(harness.Warning, "mode", "lockstep", "", fmt.Sprintf("a simulated second takes about %.0f s", 1/speed), m.slowFix())
		}
	case n.Closed && slow > n.Period:
		add(harness.Error, "mode", "paced", "",
			fmt.Sprintf("a round trip takes up to %v, a tick %v: closed loop, every answer would be late", slow, n.Period), "run it in lockstep. "+m.slowFix())
	case m.Rate > 0 && per/n.Period.Seconds() > m.Rate:
		add(harness.Error, "mode", "paced", "",
			fmt.Sprintf("%.0f bytes a tick need %.0f bytes a second, the link carries %.0f", per, per/n.Period.Seconds(), m.Rate), "raise the baud rate, or run it in lockstep")
	}
	return list
}

func (m *Measured) slowFix() string {
	if m.Timer > 1 {
		return fmt.Sprintf("the USB chip holds bytes back for %d ms: write 1 to latency_timer of the port", m.Timer)
	}
	if half := m.RoundTrip.Quantile(0.5); half > 10*time.Millisecond && half < 20*time.Millisecond {
		return "round trips near 16 ms point to the latency timer of the USB chip: set it to 1 ms"
	}
	return "use a native USB port or a higher baud rate"
}

// Lines is the examination for people, a line each.
func (m *Measured) Lines() []string {
	h := &m.Hello
	name := h.Name.String() + " " + h.Version.String()
	list := []string{
		fmt.Sprintf("rig          %s, protocol %d to %d", name, h.Lowest, h.Highest),
		fmt.Sprintf("takes        %d cylinders, ticks from %d us, frames of %d bytes, window %d, credit %d bytes", h.Cylinders, h.Shortest, h.Frame, h.Window, h.Buffer),
		fmt.Sprintf("round trip   median %v, 99 %% %v, longest %v (%d bytes, %d times, %d lost)", m.RoundTrip.Quantile(0.5), m.RoundTrip.Quantile(0.99), m.RoundTrip.Max, EchoBytes, m.RoundTrip.N, m.Lost),
		fmt.Sprintf("jitter       %v", m.Jitter()),
		fmt.Sprintf("lockstep     about %.0f ticks a second", m.LockstepTicks()),
	}
	if m.Rate > 0 {
		list = append(list, fmt.Sprintf("throughput   %.0f bytes a second each way", m.Rate))
	}
	if m.Timer > 0 {
		list = append(list, fmt.Sprintf("chip timer   %d ms: how long the USB chip holds bytes back", m.Timer))
	}
	return list
}
