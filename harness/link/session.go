package link

import (
	"context"
	"errors"
	"time"

	"github.com/holdline/holdline/controller"
	"github.com/holdline/holdline/harness"
	"github.com/holdline/holdline/harness/link/wire"
)

// Limits are the time limits of a link. The zero value of each is its default.
type Limits struct {
	Open    time.Duration // from opening the port to the rig's first word: 10 s
	Answer  time.Duration // to a step, before it is repeated: 250 ms; grows up to fourfold
	Retries int           // of a step: 8
	Recover time.Duration // for a lost port to come back: 10 s
	Back    time.Duration // longest pause between two attempts: 2 s
}

func (l Limits) filled() Limits {
	set := func(d *time.Duration, x time.Duration) {
		if *d <= 0 {
			*d = x
		}
	}
	set(&l.Open, 10*time.Second)
	set(&l.Answer, 250*time.Millisecond)
	set(&l.Recover, 10*time.Second)
	set(&l.Back, 2*time.Second)
	if l.Retries <= 0 {
		l.Retries = 8
	}
	return l
}

// most hints that make the bench repeat one step before its time limit.
const mostHints = 20

// session is the host's side of the protocol over a port that may come and go.
type session struct {
	ctx    context.Context
	dial   Dialer
	port   Port
	limits Limits
	log    *Log
	fig    *Figures
	dog    watchdog

	hello wire.Hello
	nonce uint32 // 0: no session

	in   wire.Deframer
	rx   [4096]byte
	have []byte // of rx, not yet looked at
	out  wire.Frame
	r    wire.Reader

	mem   wire.Memory
	regs  wire.Registers
	item  wire.Item
	event wire.Event

	seq     uint16 // of the next step
	open    *request
	queue   []*request // sent, oldest first
	free    []*request
	flight  int // bytes of the queue
	hellos  int // without our session, since the last answer
	probed  bool
	answerN int // length of the frame being read
}

// request is a step under way.
type request struct {
	seq    uint16
	wire   []byte
	parts  []part
	events int
	sent   time.Time // for the first time
	due    time.Time // repeat it then
	tries  int
	hints  int
}

// part is a stretch of a bench frame that became an item.
type part struct {
	f    *harness.Frame
	from int
	n    int
	tick bool
	key  bool
}

// write sends bytes that are not part of a step.
func (s *session) write(p []byte) error {
	limit := time.Now().Add(s.limits.Answer)
	s.dog.watch(limit)
	n, err := s.port.Write(p, limit)
	s.dog.rest()
	s.fig.BytesOut += int64(n)
	s.log.note(toRig, p[:n])
	if errors.Is(err, ErrNothing) {
		return s.named(fault(LinkLost, "", "the port takes no more bytes"))
	}
	return err
}

// read gives the next good body, or ErrNothing at the deadline.
func (s *session) read(until time.Time) (wire.Type, error) {
	for {
		for i, b := range s.have {
			dropped := s.in.Dropped
			whole := s.in.Feed(b)
			if !whole && s.in.Dropped == dropped {
				continue
			}
			s.have = s.have[i+1:]
			body, ok := wire.Body(s.in.Data(), s.nonce)
			if !whole || !ok {
				s.fig.Damaged++
				return 0, nil
			}
			s.answerN = wire.StuffedLen(len(body) + 4)
			s.r.Reset(body)
			return wire.Type(s.r.U8()), nil
		}
		s.have = nil
		s.dog.watch(until)
		n, err := s.port.Read(s.rx[:], until)
		s.dog.rest()
		if err != nil {
			return 0, err
		}
		s.fig.BytesIn += int64(n)
		s.log.note(fromRig, s.rx[:n])
		s.have = s.rx[:n]
	}
}

// forget drops half a frame, after the port has been opened.
func (s *session) forget() {
	s.in, s.have = wire.Deframer{}, nil
}

func (s *session) named(e *Error) *Error {
	if e.Port == "" {
		e.Port = s.dial.String()
	}
	return e
}

// begin opens a request if none is open, or closes one that has no room left.
func (s *session) begin(events int, tick bool) error {
	need := 4 + 5*events
	if tick {
		need = wire.ItemRoom(events)
	}
	if q := s.open; q != nil {
		full := len(q.parts) >= int(s.hello.Items) || q.events+events > int(s.hello.Events) || s.out.W.Room() < need
		if !full {
			return nil
		}
		if err := s.flush(); err != nil {
			return err
		}
	}
	s.open = s.request()
	w := s.out.Begin(wire.Step)
	w.Reset(s.out.Body[:bodyRoom(int(s.hello.Frame))])
	w.U8(uint8(wire.Step))
	w.U16(s.seq)
	return nil
}

// bodyRoom is the longest body whose frame has the given length, with a leading
// delimiter to spare.
func bodyRoom(frame int) int {
	n := min(frame, wire.MaxFrame) - 1
	for wire.StuffedLen(n+4) > min(frame, wire.MaxFrame)-1 {
		n--
	}
	return min(n, wire.MaxBody)
}

func (s *session) request() *request {
	if n := len(s.free); n > 0 {
		q := s.free[n-1]
		s.free = s.free[:n-1]
		*q = request{wire: q.wire[:0], parts: q.parts[:0]}
		return q
	}
	return &request{}
}

// mostEvents is how many events fit an item in any case.
func (s *session) mostEvents() int {
	room := bodyRoom(int(s.hello.Frame)) - 3 - wire.ItemRoom(0)
	return max(1, min(int(s.hello.Events), room/5))
}

// ask adds a frame to the open request, in as many items as it takes.
func (s *session) ask(f *harness.Frame) error {
	tick := !f.EventsOnly
	most := s.mostEvents()
	for from := 0; tick || from < f.N; {
		n := min(f.N-from, most)
		if err := s.begin(n, tick); err != nil {
			return err
		}
		s.add(f, from, n, tick)
		from, tick = from+n, false
	}
	return nil
}

func (s *session) add(f *harness.Frame, from, n int, tick bool) {
	it := &s.item
	it.Tick, it.Only, it.Key, it.N = f.Tick, !tick, false, n
	if tick {
		it.Key = s.seq == 1 && len(s.open.parts) == 0 // and once in 65536 steps
		s.mask(&it.In, &f.In)
	}
	for i := range n {
		e := &f.Events[from+i]
		it.Events[i] = wire.Event{Angle: e.Angle, Cylinder: e.Cylinder, Cycle: e.Cycle, Kind: wire.Kind(e.Kind)}
	}
	s.mem.AppendItem(&s.out.W, it)
	s.open.parts = append(s.open.parts, part{f, from, n, tick, it.Key && tick})
	s.open.events += n
}

// mask leaves out what the rig does not take.
func (s *session) mask(to, in *controller.Input) {
	*to = *in
	to.Periods = max(in.Periods, 1)
	to.On &= s.hello.Switches
	to.Known &= s.hello.Switches
	for c := range to.Channels {
		if !s.hello.Channels.Has(controller.Channel(c)) {
			to.Channels[c] = controller.Sample{}
		}
	}
}

// flush sends the open request, once window and credit allow it.
func (s *session) flush() error {
	q := s.open
	if q == nil {
		return nil
	}
	s.open = nil
	p := s.out.Seal(s.nonce, false)
	if p == nil {
		return s.named(fault(Protocol, "", "a step does not fit the rig's longest frame of %d bytes", s.hello.Frame))
	}
	q.seq, q.wire = s.seq, append(q.wire[:0], p...)
	s.seq++
	for len(s.queue) >= int(s.hello.Window) || len(s.queue) > 0 && s.flight+len(q.wire) > int(s.hello.Buffer) {
		if err := s.await(); err != nil {
			return err
		}
	}
	q.sent = time.Now()
	q.due = q.sent.Add(s.limits.Answer)
	s.queue = append(s.queue, q)
	s.flight += len(q.wire)
	if err := s.write(q.wire); err != nil {
		return s.mend(err)
	}
	return nil
}

// await waits until the oldest step under way is answered.
func (s *session) await() error {
	for {
		q := s.queue[0]
		t, err := s.read(q.due)
		switch {
		case errors.Is(err, ErrNothing):
			err = s.repeat(q)
		case err != nil:
			err = s.mend(err)
		case t == wire.Answer:
			var done bool
			if done, err = s.answer(q); done {
				return nil
			}
		case t == 0:
			err = s.hint(q)
		default:
			err = s.other(t, q)
		}
		if err != nil {
			return err
		}
	}
}

// repeat sends everything under way again, from the oldest, after its time
// limit.
func (s *session) repeat(q *request) error {
	q.tries++
	if q.tries > s.limits.Retries {
		return s.named(fault(Timeout, "check wiring, power and baud rate, and that the rig is not stuck in its own code",
			"step %d was sent %d times without a good answer (%d damaged frames heard so far)", q.seq, q.tries, s.fig.Damaged))
	}
	if err := s.ctx.Err(); err != nil {
		return err
	}
	return s.resend()
}

// hint repeats at once, a bounded number of times: something was damaged.
func (s *session) hint(q *request) error {
	q.hints++
	if q.hints > mostHints {
		return nil
	}
	return s.resend()
}

// longestWait is how far the time limit of a step grows with its repetitions, so
// that a slow wire is not flooded.
const longestWait = 4

var delimiter = []byte{0}

func (s *session) resend() error {
	for i, q := range s.queue {
		s.fig.Retries++
		for _, p := range q.parts {
			p.f.Flags |= harness.LinkRetried
		}
		q.due = time.Now().Add(s.limits.Answer * time.Duration(min(1+q.tries, longestWait)))
		var err error
		if i == 0 {
			err = s.write(delimiter)
		}
		if err == nil {
			err = s.write(q.wire)
		}
		if err != nil {
			return s.mend(err)
		}
	}
	return nil
}

// other deals with messages that are no answer to a step.
func (s *session) other(t wire.Type, q *request) error {
	switch t {
	case wire.Report:
		var b wire.ReportBody
		if !b.Parse(&s.r) || b.Nonce != s.nonce {
			s.fig.Stray++
			return nil
		}
		s.fig.Reports++
		if b.Code == wire.ReportFailed {
			return s.named(fault(Failed, "read the rig's own log", "the rig reports that its controller will not go on (detail %d) %s", b.Detail, s.r.Rest()))
		}
		return s.hint(q)
	case wire.HelloMsg:
		return s.helloAgain()
	}
	s.fig.Stray++
	return nil
}

// helloAgain judges a hello in the middle of a session. A rig that still has the
// session answers the step; one that says hello twice, the second time in answer
// to a probe, has lost it.
func (s *session) helloAgain() error {
	var h wire.Hello
	if !h.Parse(&s.r) {
		return nil
	}
	if h.Nonce == s.nonce {
		s.fig.Stray++
		return nil
	}
	s.hellos++
	if s.probed && s.hellos >= 2 {
		return s.named(fault(RigReset, "check its supply and its watchdog, and that nothing pulls DTR or RTS",
			"the rig started anew in the middle of the run; its controller's memory cannot be restored"))
	}
	s.probed = true
	s.out.Begin(wire.Probe)
	if err := s.write(s.out.Seal(0, true)); err != nil {
		return s.mend(err)
	}
	return s.resend()
}

// answer takes the answer to the oldest step under way; done is false if it is
// the answer to another.
func (s *session) answer(q *request) (done bool, err error) {
	seq := s.r.U16()
	if seq != q.seq {
		s.fig.Stray++
		if ahead := seq - q.seq; int(ahead) < len(s.queue) {
			return false, s.hint(q)
		}
		return false, nil
	}
	flags := wire.AnswerFlags(s.r.U8())
	if flags&wire.HasTurnaround != 0 {
		s.fig.OwnTime.Add(time.Duration(s.r.U16()) * time.Microsecond)
	}
	if flags&wire.WasSilent != 0 {
		s.fig.Silences++
	}
	now := time.Now()
	for i := range q.parts {
		if !s.part(&q.parts[i], now.Sub(q.sent)) {
			return false, s.malformed(q)
		}
	}
	if !s.r.Done() {
		return false, s.malformed(q)
	}
	s.fig.Latency.Add(now.Sub(q.sent))
	s.fig.Steps++
	s.fig.StepBytes += int64(len(q.wire))
	s.fig.Answers += int64(s.answerN)
	s.hellos, s.probed = 0, false
	s.queue = append(s.queue[:0], s.queue[1:]...)
	s.free = append(s.free, q)
	s.flight -= len(q.wire)
	return true, nil
}

func (s *session) malformed(q *request) error {
	return s.named(fault(Protocol, "compare the rig's code with section 5 of WIRE.md", "the answer to step %d has the right checksum but not the right form", q.seq))
}

// part reads the answer to an item into its frame.
func (s *session) part(p *part, took time.Duration) bool {
	if p.key {
		s.regs.Reset()
	}
	f := p.f
	if p.tick {
		s.fig.Ticks++
		f.LatencyNs = took.Nanoseconds()
		if s.hello.Features&wire.ReportsOutputs != 0 {
			if !s.regs.ParseOutput(&s.r) {
				return false
			}
			f.Out = s.regs.Out
		}
	}
	for i := range f.Events[p.from : p.from+p.n] {
		e := &f.Events[p.from+i]
		s.event = wire.Event{Kind: wire.Kind(e.Kind)}
		s.regs.ParseDecision(&s.r, &s.event)
		e.Give, e.Why = s.event.Give, s.event.Why
		if e.Kind == harness.FuelCommit {
			e.Mixture = controller.Ratio(s.event.Value)
			continue
		}
		e.Timing, e.Unburnt, e.Drop = controller.Angle(s.event.Value), s.event.Unburnt, s.event.Drop
	}
	return s.r.OK()
}
