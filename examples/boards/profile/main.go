//go:build unix

// Command profile says where the instructions of a firmware go: it runs the
// firmware on the emulated board one instruction at a time and adds them up by
// source line and by function, inlined or not.
//
//	profile [-steps N] ELF IMAGE
//
// It needs qemu-system-arm, and source paths as the firmware was built with. The
// figures are per call of main.step, that is per tick with its commits.
package main

import (
	"bufio"
	"flag"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"

	"github.com/holdline/holdline/examples/boards/lines"
)

func main() {
	steps := flag.Int("steps", 1500, "how many ticks to run")
	flag.Parse()
	if flag.NArg() != 2 {
		fmt.Fprintln(os.Stderr, "usage: profile [-steps N] ELF IMAGE")
		os.Exit(2)
	}
	if err := run(flag.Arg(0), flag.Arg(1), *steps); err != nil {
		fmt.Fprintln(os.Stderr, "profile:", err)
		os.Exit(1)
	}
}

func run(elfPath, image string, steps int) error {
	firmware, err := lines.Open(elfPath)
	if err != nil {
		return err
	}
	counts, done, err := emulate(elfPath, image, firmware.Symbol("main.step"), steps)
	if err != nil {
		return err
	}
	if done == 0 {
		return fmt.Errorf("%s never called main.step", elfPath)
	}
	report(os.Stdout, firmware, counts, done)
	return nil
}

// emulate counts how often each address is executed, from the first step on.
func emulate(elfPath, image string, step uint32, steps int) (map[uint32]int, int, error) {
	dir, err := os.MkdirTemp("", "profile")
	if err != nil {
		return nil, 0, err
	}
	defer os.RemoveAll(dir)
	log := filepath.Join(dir, "log")
	if err := syscall.Mkfifo(log, 0o600); err != nil {
		return nil, 0, err
	}
	cmd := exec.Command("qemu-system-arm", "-machine", "lm3s6965evb", "-display", "none", "-monitor", "none",
		"-serial", "null", "-kernel", elfPath, "-device", "loader,file="+image+",addr=0x30000,force-raw=on",
		"-singlestep", "-d", "exec,nochain", "-D", log)
	if err := cmd.Start(); err != nil {
		return nil, 0, err
	}
	defer func() {
		_ = cmd.Process.Kill()
		_ = cmd.Wait()
	}()
	f, err := os.Open(log)
	if err != nil {
		return nil, 0, err
	}
	defer f.Close()
	counts, done := count(f, step, steps)
	return counts, done, nil
}

func count(r io.Reader, step uint32, steps int) (map[uint32]int, int) {
	counts, done := map[uint32]int{}, 0
	lines := bufio.NewScanner(r)
	for lines.Scan() {
		address, ok := executed(lines.Text())
		if !ok {
			continue
		}
		if address == step {
			if done == steps {
				break
			}
			done++
		}
		if done > 0 {
			counts[address]++
		}
	}
	return counts, done
}

// executed reads the address from a line such as
//
//	Trace 0: 0x7f08b0000100 [00000000/00000414/00000110/ff000000]
func executed(line string) (uint32, bool) {
	_, rest, ok := strings.Cut(line, "/")
	if !ok || len(rest) < 8 || !strings.HasPrefix(line, "Trace") {
		return 0, false
	}
	v, err := strconv.ParseUint(rest[:8], 16, 32)
	return uint32(v), err == nil
}
