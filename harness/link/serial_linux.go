package link

import (
	"errors"
	"fmt"
	"os"
	"os/user"
	"path/filepath"
	"strconv"
	"strings"

	"go.bug.st/serial"
	"golang.org/x/sys/unix"
)

// twin is a second descriptor of a port, opened before the library takes it for
// itself alone. The library sets the line up; bytes go through the twin, which
// keeps deadlines for writes too.
type twin struct{ fd int }

func openTwin(path string) (twin, error) {
	fd, err := unix.Open(path, unix.O_RDWR|unix.O_NOCTTY|unix.O_NONBLOCK|unix.O_CLOEXEC, 0)
	if err != nil {
		return twin{-1}, os.NewSyscallError("open", err)
	}
	return twin{fd}, nil
}

func (t twin) discard() { unix.Close(t.fd) }

type closers []func() error

func (c closers) Close() error {
	var all error
	for _, f := range c {
		all = errors.Join(all, f())
	}
	return all
}

func (t twin) port(lib serial.Port, lock *portLock) (Port, error) {
	p, err := newFDPort(t.fd, closers{lib.Close, lock.Close})
	if err != nil {
		t.discard()
		lib.Close()
	}
	return p, err
}

func isBusy(err error) bool { return errors.Is(err, unix.EBUSY) }

// holders names the processes that have a device file open, as far as this user
// may see.
func holders(path string) string {
	var list []string
	fds, _ := filepath.Glob("/proc/[0-9]*/fd/*")
	seen := map[string]bool{strconv.Itoa(os.Getpid()): true}
	for _, fd := range fds {
		target, err := os.Readlink(fd)
		if err != nil || target != path {
			continue
		}
		pid := strings.Split(fd, "/")[2]
		if !seen[pid] {
			seen[pid] = true
			list = append(list, processName(pid))
		}
	}
	if len(list) == 0 {
		return ""
	}
	return ": " + strings.Join(list, ", ")
}

// processName is a process as a person knows it.
func processName(pid string) string {
	comm, err := os.ReadFile("/proc/" + pid + "/comm")
	if err != nil {
		return "process " + pid
	}
	return fmt.Sprintf("process %s (%s)", pid, strings.TrimSpace(string(comm)))
}

// permissionFix says which group or rule lets this user open a port.
func permissionFix(id *Identity) string {
	var st unix.Stat_t
	group := "its group"
	if unix.Stat(id.Path, &st) == nil {
		group = "group " + strconv.Itoa(int(st.Gid))
		if g, err := user.LookupGroupId(strconv.Itoa(int(st.Gid))); err == nil {
			group = "group " + g.Name
		}
	}
	fix := "become a member of " + group + " (as administrator: usermod -aG GROUP USER) and log in again"
	if id.Vendor != "" {
		fix += fmt.Sprintf(`, or add the udev rule SUBSYSTEM=="tty", ATTRS{idVendor}=="%s", ATTRS{idProduct}=="%s", TAG+="uaccess"`, id.Vendor, id.Product)
	}
	return fix
}
