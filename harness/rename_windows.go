package harness

import (
	"errors"
	"os"
	"syscall"
	"time"
)

const (
	sharingViolation syscall.Errno = 32 // ERROR_SHARING_VIOLATION

	renamePatience = 2 * time.Second
	renamePause    = 10 * time.Millisecond
)

// Rename is os.Rename. On this system a file cannot be renamed, nor replaced, while
// another program has it open, and virus scanners and indexers open every new file
// for a moment: Rename waits for them.
func Rename(from, to string) error {
	for began := time.Now(); ; time.Sleep(renamePause) {
		err := os.Rename(from, to)
		busy := errors.Is(err, sharingViolation) || errors.Is(err, syscall.ERROR_ACCESS_DENIED)
		if !busy || time.Since(began) > renamePatience {
			return err
		}
	}
}
