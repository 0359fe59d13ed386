package link

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"path/filepath"
	"runtime"
	"strings"
	"sync"
	"time"

	"go.bug.st/serial"
)

// serialPort dials a serial port, or any terminal, by identity or path.
type serialPort struct {
	spec  PortSpec
	ports func() ([]Identity, error)
}

// String implements Dialer.
func (d *serialPort) String() string { return d.spec.Wish.String() }

// ttyRefused says why a path is not taken; "" if it is.
func ttyRefused(path string) string {
	if runtime.GOOS == "darwin" && strings.HasPrefix(path, "/dev/tty.") {
		return "a tty. port of this system waits for a carrier signal that rigs do not give"
	}
	return ""
}

// find gives the port's present path and identity.
func (d *serialPort) find() (*Identity, error) {
	if d.spec.Wish.Path != "" {
		p := d.spec.Wish
		if real, err := filepath.EvalSymlinks(p.Path); err == nil {
			p.Path = real
		}
		return &p, nil
	}
	list, err := d.ports()
	if err != nil {
		return nil, &Error{Kind: NotFound, Port: d.String(), What: "the ports cannot be listed", Err: err}
	}
	return Select(list, &d.spec.Wish)
}

// Dial implements Dialer.
func (d *serialPort) Dial(ctx context.Context) (Port, error) {
	id, err := d.find()
	if err != nil {
		return nil, err
	}
	if why := ttyRefused(id.Path); why != "" {
		return nil, &Error{Kind: NotFound, Port: id.Path, What: why, Fix: "use the cu. port of the same name"}
	}
	lock, err := lockPort(id)
	if err != nil {
		return nil, err
	}
	p, err := d.open(id, lock)
	if err != nil {
		lock.Close()
		return nil, err
	}
	if err := pause(ctx, d.spec.Settle); err != nil {
		p.Close()
		return nil, err
	}
	return p, nil
}

func (d *serialPort) open(id *Identity, lock *portLock) (Port, error) {
	twin, err := openTwin(id.Path)
	if err != nil {
		return nil, openError(id, err)
	}
	lib, err := serial.Open(id.Path, &serial.Mode{BaudRate: int(d.spec.Baud), DataBits: 8})
	if err != nil {
		twin.discard()
		return nil, openError(id, err)
	}
	if err := d.reset(lib); err != nil {
		twin.discard()
		lib.Close()
		return nil, err
	}
	return twin.port(lib, lock)
}

// resetPulse is how long a reset line is held.
const resetPulse = 50 * time.Millisecond

func (d *serialPort) reset(p serial.Port) error {
	set := p.SetDTR
	switch d.spec.Reset {
	case ResetNone:
		return nil
	case ResetRTS:
		set = p.SetRTS
	}
	err := set(false)
	if err == nil {
		time.Sleep(resetPulse)
		err = set(true)
	}
	if err != nil {
		return &Error{Kind: Refused, Port: d.String(), What: "the port has no such line to reset the rig with", Fix: "state reset = \"none\" in the rig file", Err: err}
	}
	return nil
}

// openError turns what the system says into what a person can do.
func openError(id *Identity, err error) error {
	e := &Error{Port: id.Path, Err: err}
	var p *serial.PortError
	code := serial.PortErrorCode(-1)
	if errors.As(err, &p) {
		code = p.Code()
	}
	switch {
	case code == serial.PortBusy || isBusy(err):
		e.Kind, e.What, e.Fix = Busy, "someone else has it open"+holders(id.Path), "end that program, or wait"
	case code == serial.PermissionDenied || errors.Is(err, fs.ErrPermission):
		e.Kind, e.What, e.Fix = Permission, "you may not open it", permissionFix(id)
	case code == serial.PortNotFound || errors.Is(err, fs.ErrNotExist):
		e.Kind, e.Fix = NotFound, "plug the rig in, or correct the rig file's [port]"
	case gone(err):
		e.Kind, e.Fix = LinkLost, "check cable and supply"
	case code == serial.InvalidSpeed:
		e.Kind, e.Fix = Refused, "choose a baud rate that the port takes"
	default:
		e.Kind, e.Fix = NotFound, "name a serial port or a pseudo-terminal"
	}
	return e
}

func pause(ctx context.Context, d time.Duration) error {
	if d <= 0 {
		return nil
	}
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-t.C:
		return nil
	case <-ctx.Done():
		return fmt.Errorf("opening the port: %w", ctx.Err())
	}
}

// libPort is a Port over the serial library, for systems where nothing better
// is at hand. Its writes cannot be ended, so they run in a goroutine of their
// own, which is left behind if it gets stuck.
type libPort struct {
	p      serial.Port
	lock   *portLock
	writes chan []byte
	wrote  chan writeDone
	stuck  bool
	once   sync.Once
	err    error
}

type writeDone struct {
	n   int
	err error
}

func newLibPort(p serial.Port, lock *portLock) *libPort {
	q := &libPort{p: p, lock: lock, writes: make(chan []byte), wrote: make(chan writeDone, 1)}
	go func() {
		for b := range q.writes {
			n, err := p.Write(b)
			q.wrote <- writeDone{n, err}
		}
	}()
	return q
}

// Read implements Port: a read of the library that times out gives no byte and
// no error.
func (q *libPort) Read(b []byte, until time.Time) (int, error) {
	for {
		left := time.Until(until)
		if err := q.p.SetReadTimeout(max(left, time.Millisecond)); err != nil {
			return 0, err
		}
		n, err := q.p.Read(b)
		switch {
		case n > 0:
			return n, nil
		case err != nil:
			return 0, err
		case !time.Now().Before(until):
			return 0, ErrNothing
		}
	}
}

// Write implements Port.
func (q *libPort) Write(b []byte, until time.Time) (int, error) {
	if q.stuck {
		return 0, fault(LinkLost, "", "an earlier write is stuck")
	}
	t := time.NewTimer(max(time.Until(until), time.Millisecond))
	defer t.Stop()
	q.writes <- append([]byte(nil), b...)
	select {
	case d := <-q.wrote:
		return d.n, d.err
	case <-t.C:
		q.stuck = true
		return 0, ErrNothing
	}
}

// Close implements Port.
func (q *libPort) Close() error {
	q.once.Do(func() {
		q.err = q.p.Close()
		q.lock.Close()
		close(q.writes)
	})
	return q.err
}
