package link

import (
	"context"
	"time"
)

// Port is a stream of bytes with a time limit on every operation. Only one
// goroutine reads and only one writes; Close may be called from any, ends both,
// and may be called again.
type Port interface {
	// Read waits for the first byte, until the deadline at the latest, and
	// returns what is there. Nothing by then is ErrNothing; a port that is gone
	// is any other error.
	Read(p []byte, until time.Time) (int, error)
	// Write writes all of p. Where that takes longer it returns what was written
	// and ErrNothing.
	Write(p []byte, until time.Time) (int, error)
	Close() error
}

// Dialer opens a port, also again after a loss.
type Dialer interface {
	// Dial opens the port. Errors are *Error; those that may pass, as a device
	// that is still coming up, are NotFound, Busy or LinkLost.
	Dial(context.Context) (Port, error)
	String() string // the port as a person knows it
}
