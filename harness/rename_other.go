//go:build !windows

package harness

import "os"

// Rename is os.Rename: on this system an open file can be renamed and replaced.
func Rename(from, to string) error { return os.Rename(from, to) }
