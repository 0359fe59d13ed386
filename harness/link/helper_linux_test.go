package link

import (
	"context"
	"os"

	"go.bug.st/serial"
	"golang.org/x/sys/unix"
)

func dup(f *os.File) (int, error) { return unix.FcntlInt(f.Fd(), unix.F_DUPFD_CLOEXEC, 3) }

// libDialer opens a terminal through the library alone.
type libDialer struct{ path string }

func (d *libDialer) String() string { return d.path }

func (d *libDialer) Dial(context.Context) (Port, error) {
	p, err := serial.Open(d.path, &serial.Mode{BaudRate: 115200, DataBits: 8})
	if err != nil {
		return nil, err
	}
	return newLibPort(p, nil), nil
}
