//go:build !linux && (noenum || (darwin && !cgo))

package link

import "errors"

// Ports cannot list ports in this build, which has no C library: name the port
// by its path.
func Ports() ([]Identity, error) {
	return nil, errors.New("this build cannot list serial ports (it was made without cgo): give path = \"/dev/cu.NAME\" in the rig file")
}

func systemLatencyTimer(string) int { return 0 }
