package link

import "os"

// Ports lists the USB serial ports with their identity, without opening or
// writing to any.
func Ports() ([]Identity, error) { return sysfsPorts(os.DirFS("/sys")) }

func systemLatencyTimer(port string) int { return latencyTimer(os.DirFS("/sys"), port) }
