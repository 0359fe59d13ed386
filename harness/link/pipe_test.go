package link

import (
	"context"
	"math/rand/v2"
	"os"
	"sync"
	"time"

	"github.com/holdline/holdline/harness/link/wire"
)

// programLimits leave a program time to start on a busy machine.
var programLimits = Limits{Open: 10 * time.Second, Answer: 250 * time.Millisecond, Recover: 5 * time.Second}

// pipe is an in-memory stream of bytes one way. It works in virtual time.
type pipe struct {
	mu     sync.Mutex
	buf    []byte
	news   chan struct{}
	shut   chan struct{}
	once   sync.Once
	mangle func([]byte) []byte // what the wire does to bytes
	perNS  time.Duration       // of wire time for a byte; 0: none
	free   time.Time           // when the wire has sent all so far
	busy   time.Duration       // wire time used
	ready  []time.Time         // when each byte of buf has arrived, if perNS is set
}

func newPipe() *pipe { return &pipe{news: make(chan struct{}, 1), shut: make(chan struct{})} }

func (p *pipe) close() { p.once.Do(func() { close(p.shut) }) }

func (p *pipe) write(b []byte) (int, error) {
	select {
	case <-p.shut:
		return 0, os.ErrClosed
	default:
	}
	p.mu.Lock()
	out := append([]byte(nil), b...)
	if p.mangle != nil {
		out = p.mangle(out)
	}
	p.buf = append(p.buf, out...)
	if p.perNS > 0 {
		p.free = later(p.free, time.Now())
		for range out {
			p.free = p.free.Add(p.perNS)
			p.busy += p.perNS
			p.ready = append(p.ready, p.free)
		}
	}
	p.mu.Unlock()
	select {
	case p.news <- struct{}{}:
	default:
	}
	return len(b), nil
}

func later(a, b time.Time) time.Time {
	if a.After(b) {
		return a
	}
	return b
}

// take copies what has arrived, or says when the next byte will have.
func (p *pipe) take(b []byte) (n int, next time.Time) {
	p.mu.Lock()
	defer p.mu.Unlock()
	n = len(p.buf)
	if p.perNS > 0 {
		now := time.Now()
		n = 0
		for n < len(p.ready) && !p.ready[n].After(now) {
			n++
		}
		if n == 0 && len(p.ready) > 0 {
			next = p.ready[0]
		}
	}
	n = copy(b, p.buf[:n])
	p.buf = append(p.buf[:0], p.buf[n:]...)
	if p.perNS > 0 {
		p.ready = append(p.ready[:0], p.ready[n:]...)
	}
	return n, next
}

func (p *pipe) read(b []byte, until time.Time) (int, error) {
	for {
		n, next := p.take(b)
		if n > 0 {
			return n, nil
		}
		wait := until
		if !next.IsZero() && next.Before(until) {
			wait = next
		}
		t := time.NewTimer(time.Until(wait))
		select {
		case <-p.news:
		case <-p.shut:
			t.Stop()
			return 0, os.ErrClosed
		case <-t.C:
			if !time.Now().Before(until) {
				return 0, ErrNothing
			}
		}
		t.Stop()
	}
}

// end is one end of a pair of pipes, as a Port.
type end struct{ in, out *pipe }

func (e *end) Read(p []byte, until time.Time) (int, error)  { return e.in.read(p, until) }
func (e *end) Write(p []byte, until time.Time) (int, error) { return e.out.write(p) }
func (e *end) Close() error                                 { e.in.close(); e.out.close(); return nil }

// testRig hosts the reference controller behind a port. Its methods run in its
// own goroutine.
type testRig struct {
	wire.Hosted
	rig   wire.Rig
	port  Port
	began time.Time
	offs  []time.Duration // since began
	quit  chan struct{}
	done  chan struct{}
}

func newTestRig() *testRig {
	r := &testRig{began: time.Now()}
	r.rig.Hello = wire.HostedHello()
	r.rig.Hello.Token = 0x51
	r.rig.Handler = r
	r.rig.Store = make([]byte, 12<<10)
	return r
}

func (r *testRig) Off()           { r.offs = append(r.offs, time.Since(r.began)) }
func (r *testRig) Micros() uint32 { return uint32(time.Since(r.began).Microseconds()) }
func (r *testRig) Write(b []byte) { r.port.Write(b, time.Now().Add(time.Second)) }

// serve runs the rig on a port until that closes or stop is called.
func (r *testRig) serve(p Port) {
	r.port = p
	r.quit, r.done = make(chan struct{}), make(chan struct{})
	go r.loop(p, r.quit, r.done)
}

func (r *testRig) loop(p Port, quit, done chan struct{}) {
	defer close(done)
	buf := make([]byte, 4096)
	for {
		select {
		case <-quit:
			return
		default:
		}
		n, err := p.Read(buf, time.Now().Add(5*time.Millisecond))
		if err != nil && err != ErrNothing {
			return
		}
		r.rig.Receive(buf[:n])
		r.rig.Poll()
	}
}

func (r *testRig) stop() {
	close(r.quit)
	<-r.done
}

// bench connects units to a test rig over in-memory pipes: a Dialer whose every
// Dial is a new connection to the same rig.
type bench struct {
	rig     *testRig
	toRig   func([]byte) []byte
	fromRig func([]byte) []byte
	perByte time.Duration
	last    *end
	dials   int
	dead    bool // nothing answers to a dial any more
	reset   bool // the next dial finds a rig that has been reset
	there   *pipe
	back    *pipe
	banner  string
}

func (b *bench) String() string { return "test rig" }

func (b *bench) Dial(ctx context.Context) (Port, error) {
	if b.dead {
		return nil, &Error{Kind: NotFound, Port: "test rig"}
	}
	b.hangUp()
	if b.rig == nil || b.reset {
		b.rig, b.reset = newTestRig(), false
	}
	b.dials++
	there, back := newPipe(), newPipe()
	there.mangle, back.mangle = b.toRig, b.fromRig
	there.perNS, back.perNS = b.perByte, b.perByte
	b.there, b.back = there, back
	b.last = &end{in: back, out: there}
	back.write([]byte(b.banner))
	b.rig.serve(&end{in: there, out: back})
	return b.last, nil
}

// hangUp pulls the cable.
func (b *bench) hangUp() {
	if b.last != nil {
		b.last.Close()
		<-b.rig.done
		b.last = nil
	}
}

// noise damages bytes, seeded.
type noise struct {
	r                              *rand.Rand
	bit                            float64 // rate of bit errors
	drop, twice, swap, cut, babble float64 // rates for each chunk
}

func (n *noise) mangle(b []byte) []byte {
	if n.bit > 0 {
		for left := n.gap(); left < 8*len(b); left += 1 + n.gap() {
			b[left/8] ^= 1 << (left % 8)
		}
	}
	chance := func(rate float64) bool { return rate > 0 && n.r.Float64() < rate }
	switch {
	case len(b) == 0:
	case chance(n.drop):
		i := n.r.IntN(len(b))
		return append(b[:i], b[min(len(b), i+1+n.r.IntN(8)):]...)
	case chance(n.twice):
		return append(b, b...)
	case chance(n.swap):
		i := n.r.IntN(len(b))
		b[i], b[0] = b[0], b[i]
	case chance(n.cut):
		return b[:n.r.IntN(len(b))]
	case chance(n.babble):
		for range n.r.IntN(600) {
			b = append(b, byte(n.r.Uint32()))
		}
	}
	return b
}

// gap is the number of good bits up to the next bad one.
func (n *noise) gap() int { return int(n.r.ExpFloat64() / n.bit) }

func seeded(n uint64) *rand.Rand { return rand.New(rand.NewPCG(n, 0)) }
