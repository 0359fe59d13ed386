// Package boards_test builds the firmware of the emulated boards, runs it and
// holds it against the same code on a desk.
package boards_test

import (
	"bufio"
	"bytes"
	"context"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"github.com/holdline/holdline/controller"
	"github.com/holdline/holdline/harness/files"
)

// missing skips a test whose tools are not there, except in CI, where it fails.
func missing(t testing.TB, format string, args ...any) {
	t.Helper()
	if os.Getenv("CI") == "true" {
		require.Failf(t, "tools missing", format+": run examples/boards/build.sh all", args...)
	}
	t.Skipf(format+": run examples/boards/build.sh all", args...)
}

func tool(t testing.TB, names ...string) {
	t.Helper()
	for _, name := range names {
		if _, err := exec.LookPath(name); err != nil {
			missing(t, "%s is not installed", name)
		}
	}
}

// cache is where build.sh keeps the Go compiler for microcontrollers.
func cache() string {
	if dir := os.Getenv("HOLDLINE_BOARDS"); dir != "" {
		return dir
	}
	dir, _ := os.UserCacheDir()
	return filepath.Join(dir, "holdline-boards")
}

var needs = map[string][]string{
	"measure":   {"qemu-system-arm", "arm-none-eabi-gcc"},
	"yardstick": {"qemu-system-arm", "arm-none-eabi-gcc"},
	"rig-go":    {"qemu-system-arm", "arm-none-eabi-gcc"},
	"rig-m3":    {"qemu-system-arm", "arm-none-eabi-gcc"},
	"wild":      {"qemu-system-arm", "arm-none-eabi-gcc"},
	"rig-avr":   {"qemu-system-avr", "avr-gcc"},
	"rig-host":  {"gcc"},
}

var (
	builtLock sync.Mutex
	built     = map[string]string{}
	builtIn   string
)

// build makes a firmware once for all tests and gives its path.
func build(t testing.TB, what string) string {
	t.Helper()
	tool(t, needs[what]...)
	tool(t, "bash")
	if what == "measure" || what == "rig-go" {
		if found, _ := filepath.Glob(filepath.Join(cache(), "tinygo-*", "goroot", "ready")); len(found) == 0 {
			missing(t, "the Go compiler for microcontrollers is not built")
		}
	}
	builtLock.Lock()
	defer builtLock.Unlock()
	if built[what] == "" {
		out := filepath.Join(builtIn, what+".elf")
		said, err := exec.Command("bash", "build.sh", what, out).CombinedOutput()
		require.NoError(t, err, "%s", said)
		built[what] = out
	}
	return built[what]
}

func TestMain(m *testing.M) {
	dir, err := os.MkdirTemp("", "boards")
	if err != nil {
		panic(err)
	}
	builtIn = dir
	code := m.Run()
	_ = os.RemoveAll(dir)
	os.Exit(code)
}

// everyCalibration runs a test on each calibration of the examples.
func everyCalibration(t *testing.T, test func(t *testing.T, name string)) {
	paths, err := filepath.Glob("../calibrations/*.toml")
	require.NoError(t, err)
	require.NotEmpty(t, paths)
	for _, path := range paths {
		name := strings.TrimSuffix(filepath.Base(path), ".toml")
		t.Run(name, func(t *testing.T) { test(t, name) })
	}
}

// image writes the image of a calibration from the examples and gives its path.
func image(t testing.TB, name string) (string, *controller.Calibration) {
	cal, findings := files.LoadCalibration("../calibrations/" + name + ".toml")
	require.NotNil(t, cal, "%v", findings)
	return imageOf(t, cal), cal
}

func imageOf(t testing.TB, cal *controller.Calibration) string {
	buf := make([]byte, controller.MaxImage)
	n, err := cal.Image(buf)
	require.NoError(t, err)
	path := filepath.Join(t.TempDir(), "calibration.img")
	require.NoError(t, os.WriteFile(path, buf[:n], 0o644))
	return path
}

// cortexM3 is the command line of the emulator.
func cortexM3(elf, image string, more ...string) []string {
	args := []string{"qemu-system-arm", "-machine", "lm3s6965evb", "-display", "none", "-monitor", "none", "-kernel", elf}
	if image != "" {
		args = append(args, "-device", "loader,file="+image+",addr=0x30000,force-raw=on")
	}
	return append(args, more...)
}

func avr(elf string, more ...string) []string {
	return append([]string{"qemu-system-avr", "-machine", "mega2560", "-display", "none", "-monitor", "none", "-bios", elf}, more...)
}

// printed runs a firmware until it says "end", and gives its lines.
func printed(t testing.TB, args []string) map[string][]string {
	ctx, cancel := context.WithTimeout(context.Background(), 2*time.Minute)
	defer cancel()
	cmd := exec.CommandContext(ctx, args[0], args[1:]...)
	out, err := cmd.StdoutPipe()
	require.NoError(t, err)
	require.NoError(t, cmd.Start())
	defer func() {
		cancel()
		_ = cmd.Wait()
	}()
	lines := map[string][]string{}
	for in := bufio.NewScanner(out); in.Scan(); {
		words := strings.Fields(in.Text())
		if len(words) > 0 && words[0] == "end" {
			return lines
		}
		if len(words) > 0 {
			lines[words[0]] = words[1:]
		}
	}
	require.Fail(t, "the firmware never came to its end", "%v", lines)
	return nil
}

// board is an emulator, or a program, whose serial port is a pseudo-terminal.
type board struct {
	cmd  *exec.Cmd
	path string // of the pseudo-terminal

	lock sync.Mutex
	said bytes.Buffer // on the second port, for people
}

var terminal = regexp.MustCompile(`/dev/pts/\d+`)

// power starts a board. It is off when the test ends.
func power(t testing.TB, args []string) *board {
	b := &board{cmd: exec.Command(args[0], args[1:]...)}
	out, in, err := os.Pipe()
	require.NoError(t, err)
	b.cmd.Stdout = in
	b.cmd.Stderr = b
	require.NoError(t, b.cmd.Start())
	_ = in.Close()
	t.Cleanup(b.off)
	t.Cleanup(func() { _ = out.Close() })
	lines := bufio.NewReader(out)
	for b.path == "" {
		line, err := lines.ReadString('\n')
		b.path = terminal.FindString(line)
		require.NoError(t, err, "%v said %q", args, line)
	}
	// The emulator looks once a second whether somebody has opened the terminal.
	held, err := os.OpenFile(b.path, os.O_RDWR|syscall.O_NOCTTY, 0)
	require.NoError(t, err)
	t.Cleanup(func() { _ = held.Close() })
	go func() { // the rest is the second serial port
		for {
			line, err := lines.ReadString('\n')
			_, _ = b.Write([]byte(line))
			if err != nil {
				return
			}
		}
	}()
	return b
}

// Write keeps what the board says to people.
func (b *board) Write(p []byte) (int, error) {
	b.lock.Lock()
	defer b.lock.Unlock()
	return b.said.Write(p)
}

func (b *board) heard() string {
	b.lock.Lock()
	defer b.lock.Unlock()
	return b.said.String()
}

func (b *board) off() {
	if b.cmd.ProcessState == nil {
		_ = b.cmd.Process.Kill()
		_ = b.cmd.Wait()
	}
}

// boards are the four ways of running a rig without hardware.
var boards = []struct {
	name string
	args func(t testing.TB, image string) []string
}{
	{"rig-host", func(t testing.TB, _ string) []string { return []string{build(t, "rig-host"), "-p"} }},
	{"rig-m3", func(t testing.TB, _ string) []string {
		return cortexM3(build(t, "rig-m3"), "", "-serial", "pty", "-serial", "stdio")
	}},
	{"rig-go", func(t testing.TB, image string) []string {
		return cortexM3(build(t, "rig-go"), image, "-serial", "pty", "-serial", "stdio")
	}},
	{"rig-avr", func(t testing.TB, _ string) []string {
		return avr(build(t, "rig-avr"), "-serial", "pty", "-serial", "stdio")
	}},
}
