//go:build !unix

package link

// portLock is nothing here: the system itself gives a port to one program only.
type portLock struct{}

func lockPort(*Identity) (*portLock, error) { return nil, nil }

// Close gives the lock back.
func (*portLock) Close() error { return nil }
