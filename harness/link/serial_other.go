//go:build !linux

package link

import (
	"go.bug.st/serial"
)

// twin is nothing here: bytes go through the library.
type twin struct{}

func openTwin(string) (twin, error) { return twin{}, nil }

func (twin) discard() {}

func (twin) port(lib serial.Port, lock *portLock) (Port, error) { return newLibPort(lib, lock), nil }

func isBusy(error) bool { return false }

func holders(string) string { return "" }

func processName(pid string) string { return "process " + pid }

func permissionFix(*Identity) string {
	return "ask the administrator of this machine for access to the port"
}
