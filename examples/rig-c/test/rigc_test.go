package rigc_test

import (
	"encoding/hex"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

var all = []string{"../rig.c", "../limiter.c", "../glue.c", "../host.c"}

func TestCompilesAsCAndAsCPlusPlusWithoutAWarning(t *testing.T) {
	for _, compiler := range [][]string{
		{"gcc", "-std=c99", "-Wconversion"},
		{"clang-19", "-std=c99", "-Wconversion"},
		{"g++", "-xc++", "-std=c++11"},
		{"clang++-19", "-xc++", "-std=c++11"},
		{"gcc", "-std=c99", "-DRIG_OUTPUTS=0", "-DRIG_FRAME=256", "-DRIG_EVENTS=8", "-DRIG_ITEMS=1"},
	} {
		t.Run(strings.Join(compiler, " "), func(t *testing.T) {
			args := append(append([]string{}, compiler[1:]...), strict...)
			compile(t, compiler[0], append(args, all...)...)
		})
	}
}

// The rig keeps under 2 KiB beside its buffers, and asks nothing of the system
// but to copy and clear memory.
func TestStaysSmallAndCallsNobody(t *testing.T) {
	probe := filepath.Join(t.TempDir(), "size.c")
	require.NoError(t, os.WriteFile(probe, []byte(`#include "rig.h"
typedef char small_enough[sizeof(rig) - RIG_FRAME - RIG_WINDOW * RIG_ANSWER < 2048 ? 1 : -1];
int main(void) { return (int)(sizeof(small_enough) - 1); }
`), 0o644))
	compile(t, "gcc", append([]string{"-std=c99"}, append(strict, probe)...)...)

	object := filepath.Join(t.TempDir(), "rig.o")
	runTool(t, "gcc", append([]string{"-std=c99", "-fno-stack-protector", "-c", "-o", object}, append(strict, "../rig.c")...)...)
	for _, name := range strings.Fields(runTool(t, "nm", "-u", object)) {
		if name != "U" {
			assert.Contains(t, []string{"memcpy", "memset", "_GLOBAL_OFFSET_TABLE_"}, name)
		}
	}
}

// row is one line of the examples in the page.
type row struct {
	host bool
	what string
	wire []byte
}

// page reads the examples of the page that describes the wire.
func page(t *testing.T) (rows []row) {
	raw, err := os.ReadFile("../../../harness/link/wire/WIRE.md")
	require.NoError(t, err)
	for line := range strings.Lines(string(raw)) {
		text := strings.TrimSpace(line)
		switch {
		case !strings.HasPrefix(line, "    "):
		case strings.HasPrefix(text, "->"), strings.HasPrefix(text, "<-"):
			rows = append(rows, row{host: text[0] == '-', what: text[2:]})
		case len(rows) > 0:
			b, err := hex.DecodeString(strings.ReplaceAll(text, " ", ""))
			require.NoError(t, err, line)
			last := &rows[len(rows)-1]
			last.wire = append(last.wire, b...)
		}
	}
	require.Greater(t, len(rows), 20)
	return rows
}

// The bytes of the page's host bring the bytes of the page's rig.
func TestThePageDrivesTheCRig(t *testing.T) {
	rig := drive(t, "-DPAGE", "-DRIG_OUTPUTS=0", "-DRIG_WINDOW=2", "-DRIG_ITEMS=2", "-DRIG_EVENTS=8",
		"-DRIG_FRAME=256", "-DRIG_BUFFER=512")
	sent := rig.poll()
	require.Empty(t, rig.receive([]byte("a banner that the rig hears changes nothing\r\n")))
	for _, r := range page(t) {
		switch {
		case r.host:
			require.Empty(t, sent, "more than the page says, before %s", r.what)
			sent = rig.receive(r.wire)
		case strings.Contains(r.what, "reports outputs"): // of another rig
		default:
			require.Equal(t, r.wire, sent, r.what)
			sent = nil
		}
	}
}

// A silent bench: outputs go off after 80 to 100 ms of the rig's own clock, once,
// and a step takes them back.
func TestOutputsGoOffAfterSilence(t *testing.T) {
	rig, pair := drive(t), newPair(1)
	rig.receive(pair.start())
	require.Equal(t, 1, rig.begins)
	before := rig.offs
	rig.clock(79_999)
	rig.poll()
	require.Equal(t, before, rig.offs)
	rig.clock(90_000)
	rig.poll()
	rig.clock(500_000)
	rig.poll()
	require.Equal(t, before+1, rig.offs)
	answer := rig.receive(pair.step())
	require.Positive(t, rig.ticks)
	body := pair.body(t, answer)
	assert.EqualValues(t, 1, body[3]&1, "the answer says that outputs had been dropped")
	rig.clock(590_000)
	rig.poll()
	require.Equal(t, before+2, rig.offs)
}
