package link

import (
	"errors"
	"fmt"
	"io"
	"os"
	"syscall"

	"go.bug.st/serial"
)

// Kind says what went wrong with a link. It is an error itself, for errors.Is.
type Kind uint8

// The kinds of link trouble.
const (
	_          Kind = iota
	LinkLost        // the port is gone, and did not come back in time
	RigReset        // the rig lost its session: its controller's memory is gone
	Refused         // the rig, or the bench, found that the session does not fit
	Timeout         // the port is there, the rig does not answer
	Busy            // someone else holds the port
	Permission      // the port may not be opened
	NotFound        // no such port
	Ambiguous       // several ports fit
	Protocol        // the rig does not keep to the protocol
	Failed          // the rig reported that its controller failed
	Unfit           // the link is too slow for what is asked
	Unlike          // a played back log does not belong to this run
)

var kindWords = [...]string{
	"", "link lost", "rig was reset", "refused", "no answer", "port busy", "no permission", "no such port",
	"several ports fit", "protocol violated", "controller failed", "link too slow", "byte log differs",
}

// Error implements error.
func (k Kind) Error() string { return kindWords[k] }

// Blame says where to look: "cable", "controller" or "bench".
func (k Kind) Blame() string {
	switch k {
	case LinkLost, Timeout:
		return "cable"
	case RigReset, Protocol, Failed:
		return "controller"
	}
	return "bench"
}

// Error is trouble with a link.
type Error struct {
	Kind Kind
	Port string // as a person knows it
	What string // what happened
	Fix  string // what to do
	Err  error  // the cause, if there is one
}

// Error implements error.
func (e *Error) Error() string {
	s := e.Kind.Error()
	if e.Port != "" {
		s = e.Port + ": " + s
	}
	if e.What != "" {
		s += ": " + e.What
	}
	if e.Err != nil {
		s += ": " + e.Err.Error()
	}
	if e.Fix != "" {
		s += "; " + e.Fix
	}
	return s
}

// Unwrap gives the cause.
func (e *Error) Unwrap() error { return e.Err }

// Is makes errors.Is(err, LinkLost) work.
func (e *Error) Is(target error) bool {
	k, ok := target.(Kind)
	return ok && k == e.Kind
}

func fault(k Kind, fix, what string, args ...any) *Error {
	return &Error{Kind: k, What: fmt.Sprintf(what, args...), Fix: fix}
}

// ErrNothing is what a Port returns when the deadline of a read or write passed.
var ErrNothing = errors.New("deadline passed")

// gone reports whether an error of a port means that the port is no longer
// there, whatever the operating system calls it.
func gone(err error) bool {
	var p *serial.PortError
	if errors.As(err, &p) {
		return p.Code() == serial.PortClosed || p.Code() == serial.PortNotFound
	}
	for _, e := range []error{syscall.EIO, syscall.ENXIO, syscall.ENODEV, syscall.EBADF, syscall.EPIPE, os.ErrClosed, io.ErrClosedPipe} {
		if errors.Is(err, e) {
			return true
		}
	}
	return errors.Is(err, LinkLost)
}
