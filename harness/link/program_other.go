//go:build !linux

package link

import (
	"os"
	"os/exec"
	"sync"
	"time"
)

// startOnTerminal starts a program with pipes as standard input and output.
func startOnTerminal(cmd *exec.Cmd) (Port, error) {
	stdin, out, err := os.Pipe()
	if err != nil {
		return nil, err
	}
	in, stdout, err := os.Pipe()
	if err != nil {
		closeAll(stdin, out)
		return nil, err
	}
	cmd.Stdin, cmd.Stdout = stdin, stdout
	err = cmd.Start()
	closeAll(stdin, stdout)
	if err != nil {
		closeAll(in, out)
		return nil, err
	}
	return &filePort{in: in, out: out}, nil
}

// killAll ends a program.
func killAll(cmd *exec.Cmd) { cmd.Process.Kill() }

// filePort is a Port over two files that know deadlines.
type filePort struct {
	in, out *os.File
	once    sync.Once
}

// Read implements Port.
func (p *filePort) Read(b []byte, until time.Time) (int, error) {
	if err := p.in.SetReadDeadline(until); err != nil {
		return 0, err
	}
	n, err := p.in.Read(b)
	if os.IsTimeout(err) {
		err = ErrNothing
	}
	return n, err
}

// Write implements Port.
func (p *filePort) Write(b []byte, until time.Time) (int, error) {
	if err := p.out.SetWriteDeadline(until); err != nil {
		return 0, err
	}
	n, err := p.out.Write(b)
	if os.IsTimeout(err) {
		err = ErrNothing
	}
	return n, err
}

// Close implements Port.
func (p *filePort) Close() error {
	p.once.Do(func() { closeAll(p.in, p.out) })
	return nil
}
