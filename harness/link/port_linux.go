package link

import (
	"errors"
	"io"
	"os"
	"sync"
	"time"

	"golang.org/x/sys/unix"
)

// fdPort is a port over a file descriptor that does not block: every operation
// waits in poll, so that deadlines hold for writes as well, and Close wakes
// whoever waits.
type fdPort struct {
	fd     int
	wake   [2]int // a pipe
	closer io.Closer
	once   sync.Once
	err    error
	using  sync.RWMutex // held while fd is in use
}

// newFDPort takes over fd; closer, if not nil, is closed with it.
func newFDPort(fd int, closer io.Closer) (Port, error) {
	if err := unix.SetNonblock(fd, true); err != nil {
		return nil, err
	}
	p := &fdPort{fd: fd, closer: closer}
	if err := unix.Pipe2(p.wake[:], unix.O_CLOEXEC|unix.O_NONBLOCK); err != nil {
		return nil, err
	}
	return p, nil
}

// wait waits until fd is ready for what is asked.
func (p *fdPort) wait(events int16, until time.Time) error {
	if p.fd < 0 {
		return os.ErrClosed
	}
	set := [2]unix.PollFd{{Fd: int32(p.fd), Events: events}, {Fd: int32(p.wake[0]), Events: unix.POLLIN}}
	for {
		left := time.Until(until)
		ms := int((left + time.Millisecond - 1) / time.Millisecond)
		n, err := unix.Poll(set[:], max(ms, 0))
		switch {
		case errors.Is(err, unix.EINTR):
			continue
		case err != nil:
			return err
		case n == 0 && left <= 0:
			return ErrNothing
		case n == 0:
			continue
		case set[1].Revents != 0:
			return os.ErrClosed
		}
		return nil
	}
}

// Read implements Port.
func (p *fdPort) Read(b []byte, until time.Time) (int, error) {
	p.using.RLock()
	defer p.using.RUnlock()
	for {
		if err := p.wait(unix.POLLIN, until); err != nil {
			return 0, err
		}
		n, err := unix.Read(p.fd, b)
		switch {
		case n > 0:
			return n, nil
		case errors.Is(err, unix.EAGAIN) || errors.Is(err, unix.EINTR):
			continue
		case err == nil: // the other end hung up
			return 0, io.ErrClosedPipe
		}
		return 0, err
	}
}

// Write implements Port.
func (p *fdPort) Write(b []byte, until time.Time) (sent int, err error) {
	p.using.RLock()
	defer p.using.RUnlock()
	if p.fd < 0 {
		return 0, os.ErrClosed
	}
	for sent < len(b) {
		n, err := unix.Write(p.fd, b[sent:])
		if n > 0 {
			sent += n
			continue
		}
		if err != nil && !errors.Is(err, unix.EAGAIN) && !errors.Is(err, unix.EINTR) {
			return sent, err
		}
		if err := p.wait(unix.POLLOUT, until); err != nil {
			return sent, err
		}
	}
	return sent, nil
}

// Close implements Port.
func (p *fdPort) Close() error {
	p.once.Do(func() {
		unix.Write(p.wake[1], []byte{0})
		p.using.Lock()
		defer p.using.Unlock()
		p.err = unix.Close(p.fd)
		unix.Close(p.wake[0])
		unix.Close(p.wake[1])
		if p.closer != nil {
			p.err = errors.Join(p.err, p.closer.Close())
		}
		p.fd = -1
	})
	return p.err
}
