//go:build unix

package sweep

import (
	"os"
	"syscall"
)

// StopSignals ask a sweep to finish the launches under way and stop.
var StopSignals = []os.Signal{os.Interrupt, syscall.SIGTERM, syscall.SIGUSR1}
