// Package rigc_test compiles the C rig and holds it against the page that
// describes the wire and against the Go rig.
package rigc_test

import (
	"bufio"
	"encoding/hex"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

var strict = []string{"-O2", "-Wall", "-Wextra", "-Wpedantic", "-Werror", "-I", ".."}

// tool skips a test whose tool is missing, except in CI, where it is a fault.
func tool(t *testing.T, name string) string {
	path, err := exec.LookPath(name)
	if err == nil {
		return path
	}
	if os.Getenv("CI") == "true" {
		require.Fail(t, "tool missing", "%s: see examples/boards/build.sh packages", name)
	}
	t.Skipf("%s is not installed: see examples/boards/build.sh packages", name)
	return ""
}

// compile builds a program with a compiler and gives its path.
func compile(t *testing.T, compiler string, args ...string) string {
	out := filepath.Join(t.TempDir(), "program")
	runTool(t, compiler, append([]string{"-o", out}, args...)...)
	return out
}

func runTool(t *testing.T, name string, args ...string) string {
	t.Helper()
	out, err := exec.Command(tool(t, name), args...).CombinedOutput()
	require.NoError(t, err, "%s %s\n%s", name, strings.Join(args, " "), out)
	return string(out)
}

// driven is a C rig that is driven by lines of text: see drive.c.
type driven struct {
	t     *testing.T
	in    io.Writer
	lines *bufio.Reader

	begins, ticks, commits, offs int
}

func drive(t *testing.T, defines ...string) *driven {
	args := append([]string{"-std=c99"}, strict...)
	program := compile(t, "gcc", append(append(args, defines...), "../rig.c", "c/drive.c")...)
	cmd := exec.Command(program)
	in, err := cmd.StdinPipe()
	require.NoError(t, err)
	out, err := cmd.StdoutPipe()
	require.NoError(t, err)
	require.NoError(t, cmd.Start())
	t.Cleanup(func() {
		_ = in.Close()
		_ = cmd.Wait()
	})
	return &driven{t: t, in: in, lines: bufio.NewReaderSize(out, 1<<18)}
}

// line sends a line and returns the bytes that the rig sent because of it.
func (d *driven) line(format string, args ...any) []byte {
	d.t.Helper()
	_, err := fmt.Fprintf(d.in, format+"\n", args...)
	require.NoError(d.t, err)
	text, err := d.lines.ReadString('\n')
	require.NoError(d.t, err)
	bytes, counts, ok := strings.Cut(text, " ")
	require.True(d.t, ok)
	_, err = fmt.Sscan(counts, &d.begins, &d.ticks, &d.commits, &d.offs)
	require.NoError(d.t, err)
	sent, err := hex.DecodeString(bytes)
	require.NoError(d.t, err)
	return sent
}

func (d *driven) receive(bytes []byte) []byte { return d.line("r %x", bytes) }
func (d *driven) clock(micros uint32) []byte  { return d.line("t %d", micros) }
func (d *driven) poll() []byte                { return d.line("p") }
