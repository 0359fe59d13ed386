package link

import (
	"bytes"
	"context"
	"os"
	"time"

	"github.com/holdline/holdline/harness/link/wire"
)

// Playback is a rig that answers from a byte log. It is a Dialer: a unit behind
// it asks the same questions, byte for byte, and gets the same answers, or ends
// with an error that says where the two differ.
type Playback struct {
	name     string
	sessions []*recorded // one for each start of the unit within the run
	now      *recorded
	opened   int
}

// recorded is one session of a log.
type recorded struct {
	nonce uint32
	mode  wire.Mode
	talk  map[wire.Type][]exchange // of the handshake, in order
	steps []exchange
	at    int // next step
	ended bool
}

// exchange is a question of the bench and the rig's answer, as bodies.
type exchange struct{ ask, answer []byte }

// NewPlayback takes a log apart. Damaged frames, repetitions and all that stands
// between frames are left out.
func NewPlayback(name string, records []LogRecord) (*Playback, error) {
	p := &Playback{name: name}
	p.begin()
	var ways [2]wire.Deframer
	for _, r := range records {
		w := toRig
		if r.FromRig {
			w = fromRig
		}
		for _, b := range r.Bytes {
			if !ways[w].Feed(b) {
				continue
			}
			if body, ok := wire.Body(ways[w].Data(), p.now.nonce); ok {
				p.add(w, append([]byte(nil), body...))
			}
		}
	}
	if p.sessions[0].nonce == 0 {
		return nil, fault(Unlike, "", "%s: the log holds no session", name)
	}
	return p, nil
}

func (p *Playback) begin() {
	p.now = &recorded{talk: map[wire.Type][]exchange{}}
	p.sessions = append(p.sessions, p.now)
}

// replies says which message answers which.
var replies = map[wire.Type]wire.Type{
	wire.HelloMsg: wire.Probe, wire.Started: wire.StartMsg, wire.Loaded: wire.Load, wire.Echoed: wire.Echo,
}

func (p *Playback) add(w way, body []byte) {
	t := wire.Type(body[0])
	if p.now.ended && w == toRig && !t.InSession() {
		p.begin()
	}
	x := p.now
	switch {
	case w == toRig && t == wire.Step:
		x.asked(body)
	case w == toRig && t == wire.Bye:
		x.ended = true
	case w == toRig:
		x.open(t, body)
	case t == wire.Answer:
		x.answered(body)
	default:
		list := x.talk[replies[t]]
		if n := len(list); n > 0 {
			list[n-1].answer = body // the last one counts
		}
	}
}

// open notes a message of the handshake.
func (x *recorded) open(t wire.Type, body []byte) {
	if t == wire.StartMsg {
		var m wire.Start
		var r wire.Reader
		if r.Reset(body[1:]); m.Parse(&r) {
			x.nonce, x.mode = m.Nonce, m.Mode
		}
	}
	list := x.talk[t]
	if n := len(list); n == 0 || !bytes.Equal(list[n-1].ask, body) {
		x.talk[t] = append(list, exchange{ask: body})
	}
}

func seqOf(body []byte) uint16 { return uint16(body[1]) | uint16(body[2])<<8 }

func (p *recorded) asked(body []byte) {
	if len(body) < 3 {
		return
	}
	if n := len(p.steps); n > 0 && seqOf(body) != seqOf(p.steps[n-1].ask)+1 {
		return // a repetition
	}
	p.steps = append(p.steps, exchange{ask: body})
}

func (p *recorded) answered(body []byte) {
	for i := len(p.steps) - 1; i >= max(0, len(p.steps)-2*wire.MaxWindow) && len(body) >= 3; i-- {
		if s := &p.steps[i]; seqOf(s.ask) == seqOf(body) {
			s.answer = body
			return
		}
	}
}

// Unit is a unit that plays the log back. o gives its limits; mode and nonce are
// those of the log, and ticks are not paced again.
func (p *Playback) Unit(o Options) *Unit {
	u := NewUnit(p, o)
	u.o.Mode, u.unpaced, u.nonceOf = p.sessions[0].mode, true, func() uint32 { return p.now.nonce }
	return u
}

// OpenPlayback reads a byte log for playback. A log that was cut off plays up to
// there.
func OpenPlayback(path string) (*Playback, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	records, err := ReadLog(f)
	if err != nil && err != ErrLogCut {
		return nil, err
	}
	return NewPlayback(path, records)
}

// Left is how many recorded steps have not been asked for: after a run, more
// than none means that the run was shorter than the recorded one.
func (p *Playback) Left() (n int) {
	for _, x := range p.sessions[min(max(p.opened-1, 0), len(p.sessions)):] {
		n += len(x.steps) - x.at
	}
	return n
}

// String implements Dialer.
func (p *Playback) String() string { return p.name }

// Dial implements Dialer: each opens the next recorded session. After the last
// one the first comes again.
func (p *Playback) Dial(context.Context) (Port, error) {
	if p.opened == len(p.sessions) {
		p.opened = 0
	}
	p.now = p.sessions[p.opened]
	p.now.at = 0
	p.opened++
	return &playPort{name: p.name, p: p.now}, nil
}

// playPort gives the answers of a log.
type playPort struct {
	name string
	p    *recorded
	in   wire.Deframer
	out  wire.Frame
	have []byte
}

// Read implements Port.
func (q *playPort) Read(b []byte, until time.Time) (int, error) {
	if len(q.have) == 0 {
		time.Sleep(min(time.Until(until), time.Millisecond))
		return 0, ErrNothing
	}
	n := copy(b, q.have)
	q.have = q.have[n:]
	return n, nil
}

// Write implements Port.
func (q *playPort) Write(b []byte, until time.Time) (int, error) {
	for _, c := range b {
		if !q.in.Feed(c) {
			continue
		}
		if body, ok := wire.Body(q.in.Data(), q.p.nonce); ok {
			if err := q.ask(body); err != nil {
				return 0, err
			}
		}
	}
	return len(b), nil
}

func (q *playPort) ask(body []byte) error {
	t := wire.Type(body[0])
	switch t {
	case wire.Step:
		return q.step(body)
	case wire.Off, wire.Bye:
		w := q.out.Begin(wire.Done)
		w.U8(uint8(t))
		q.have = append(q.have, q.out.Seal(q.p.nonce, false)...)
		return nil
	}
	for _, x := range q.p.talk[t] {
		if bytes.Equal(x.ask, body) && x.answer != nil {
			q.say(x.answer, 0)
			return nil
		}
	}
	return fault(Unlike, "play it back with the same files", "%s: the recorded run was set up differently", q.name)
}

func (q *playPort) step(body []byte) error {
	p := q.p
	if p.at == len(p.steps) || p.steps[p.at].answer == nil {
		return fault(Unlike, "", "%s: the recorded run ended after %d steps", q.name, p.at)
	}
	x := p.steps[p.at]
	if !bytes.Equal(x.ask, body) {
		return fault(Unlike, "play it back with the same files and seed", "%s: step %d asks something else than the recorded run did", q.name, p.at+1)
	}
	p.at++
	q.say(x.answer, p.nonce)
	return nil
}

func (q *playPort) say(body []byte, nonce uint32) {
	q.out.Begin(wire.Type(body[0])).Put(body[1:])
	q.have = append(q.have, q.out.Seal(nonce, false)...)
}

// Close implements Port.
func (q *playPort) Close() error { return nil }
