//go:build unix

package link

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"golang.org/x/sys/unix"
)

// portLock is an advisory lock on a device, by its identity: the exclusive mode
// of a port does not stop an administrator or a container.
type portLock struct{ f *os.File }

// lockPort takes the lock, or says who has it.
func lockPort(id *Identity) (*portLock, error) {
	name := strings.Map(func(r rune) rune {
		if r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= '0' && r <= '9' || r == '-' || r == '.' {
			return r
		}
		return '_'
	}, id.key())
	path := filepath.Join(os.TempDir(), "holdline-port"+name+".lock")
	f, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE, 0o666)
	if err != nil {
		f, err = os.Open(path) // another user's: enough to lock
	}
	if err != nil {
		return nil, &Error{Kind: Busy, Port: id.Path, What: "its lock file cannot be opened", Fix: "remove it if no bench is running", Err: err}
	}
	if err := unix.Flock(int(f.Fd()), unix.LOCK_EX|unix.LOCK_NB); err != nil {
		defer f.Close()
		pid := make([]byte, 20)
		n, _ := f.ReadAt(pid, 0)
		who := "another bench"
		if p := strings.TrimSpace(string(pid[:n])); p != "" {
			who = processName(p)
		}
		return nil, &Error{Kind: Busy, Port: id.Path, What: who + " is using this rig", Fix: "wait until it has ended"}
	}
	f.Truncate(0)
	f.WriteAt(fmt.Appendf(nil, "%d\n", os.Getpid()), 0)
	return &portLock{f}, nil
}

// Close gives the lock back. The file stays: removing it would race.
func (l *portLock) Close() error {
	if l == nil || l.f == nil {
		return nil
	}
	l.f.Truncate(0)
	return l.f.Close()
}
