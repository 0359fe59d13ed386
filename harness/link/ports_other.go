//go:build !linux && (!darwin || cgo) && !noenum

package link

import (
	"fmt"
	"strings"

	"go.bug.st/serial/enumerator"
)

// Ports lists the USB serial ports with their identity, without opening or
// writing to any.
func Ports() ([]Identity, error) {
	found, err := enumerator.GetDetailedPortsList()
	if err != nil {
		return nil, fmt.Errorf("list serial ports: %w", err)
	}
	var list []Identity
	for _, p := range found {
		if p.IsUSB && !strings.HasPrefix(p.Name, "/dev/tty.") {
			list = append(list, Identity{Path: p.Name, Vendor: strings.ToLower(p.VID), Product: strings.ToLower(p.PID),
				Serial: p.SerialNumber, Maker: p.Manufacturer, Text: p.Product})
		}
	}
	return list, nil
}

func systemLatencyTimer(string) int { return 0 }
