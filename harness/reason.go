package harness

import (
	"errors"
	"io/fs"
	"os"
)

// ReasonOf says why a file could not be used, without the path that the os package
// puts before its reasons: a finding has its own. The commonest one reads the same on
// every system.
func ReasonOf(err error) string {
	if errors.Is(err, fs.ErrNotExist) {
		return "no such file or directory"
	}
	var pe *fs.PathError
	if errors.As(err, &pe) {
		return pe.Err.Error()
	}
	var le *os.LinkError
	if errors.As(err, &le) {
		return le.Err.Error()
	}
	return err.Error()
}
