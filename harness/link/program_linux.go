package link

import (
	"os/exec"
	"syscall"

	"github.com/creack/pty"
	"golang.org/x/sys/unix"
)

// startOnTerminal starts a program with a raw pseudo-terminal as standard input
// and output.
func startOnTerminal(cmd *exec.Cmd) (Port, error) {
	master, slave, err := pty.Open()
	if err != nil {
		return nil, err
	}
	defer closeAll(master, slave)
	if err := makeRaw(int(slave.Fd())); err != nil {
		return nil, err
	}
	fd, err := unix.FcntlInt(master.Fd(), unix.F_DUPFD_CLOEXEC, 3)
	if err != nil {
		return nil, err
	}
	cmd.Stdin, cmd.Stdout = slave, slave
	cmd.SysProcAttr = &syscall.SysProcAttr{Setsid: true}
	if err := cmd.Start(); err != nil {
		unix.Close(fd)
		return nil, err
	}
	return newFDPort(fd, nil)
}

// makeRaw makes a terminal pass every byte as it is, both ways.
func makeRaw(fd int) error {
	t, err := unix.IoctlGetTermios(fd, unix.TCGETS)
	if err != nil {
		return err
	}
	t.Iflag &^= unix.IGNBRK | unix.BRKINT | unix.PARMRK | unix.ISTRIP | unix.INLCR | unix.IGNCR | unix.ICRNL | unix.IXON
	t.Oflag = 0 // a program may turn OPOST on again, as emulators do
	t.Lflag &^= unix.ECHO | unix.ECHONL | unix.ICANON | unix.ISIG | unix.IEXTEN
	t.Cflag = t.Cflag&^(unix.CSIZE|unix.PARENB) | unix.CS8
	t.Cc[unix.VMIN], t.Cc[unix.VTIME] = 1, 0
	return unix.IoctlSetTermios(fd, unix.TCSETS, t)
}

// killAll ends a program with all that it started.
func killAll(cmd *exec.Cmd) {
	unix.Kill(-cmd.Process.Pid, unix.SIGKILL)
}
