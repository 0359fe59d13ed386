package sim

import (
	"go/parser"
	"go/token"
	"hash/fnv"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"runtime"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// runHash folds the truth of three launches, every channel at every tick, into
// one number.
func runHash() uint64 {
	h := fnv.New64a()
	row := make([]float64, ChannelCount)
	var b [8]byte
	for _, car := range DemoCars() {
		c := Standard()
		c.JitterDeg, c.LoseTooth, c.ExtraTooth = 0.02, 0.001, 0.001
		p := New(MustCompile(car), c)
		watch := func() {
			p.Truth(row)
			for _, x := range append(row, p.State.Sensors.MapPa, p.State.Sensors.Lambda) {
				bits := math.Float64bits(x)
				for i := range b {
					b[i] = byte(bits >> (8 * i))
				}
				h.Write(b[:])
			}
		}
		d := pass{holdS: 1, launch: 3500, shift: 6400, until: 30, maxS: 5, soft: true, shot: 2, shotFrom: 0.3}
		_, r := drive(p, d)
		watch()
		r.each = func(*rig) { watch() }
		r.run(0.5)
		for _, e := range p.Teeth(nil) {
			h.Write([]byte{byte(e.TimeNs), byte(e.TimeNs >> 8), byte(e.TimeNs >> 16), byte(e.TimeNs >> 24)})
		}
	}
	return h.Sum64()
}

// wantRun changes whenever the physics or a demo car changes: then, and only
// then, put in the new number that this test prints.
const wantRun = uint64(0x755cc81a6891c8d8)

func TestHashSameEverywhere(t *testing.T) {
	assert.Equal(t, wantRun, runHash())
}

var emulators = map[string]string{"arm64": "aarch64", "riscv64": "riscv64", "s390x": "s390x"}

func skipOrFail(t *testing.T, why string) {
	t.Helper()
	if os.Getenv("CI") == "true" {
		t.Fatal(why)
	}
	t.Skip(why)
}

// The hash test, built for three other processors and run under user-mode
// emulation (Debian package qemu-user-static). Skipped where that is missing,
// except in CI.
func TestHashUnderEmulation(t *testing.T) {
	if runtime.GOARCH != "amd64" {
		t.Skip("cross-runs start on amd64")
	}
	if testing.Short() {
		t.Skip("builds for three processors")
	}
	goTool := goCommand(t)
	for arch, cpu := range emulators {
		emu, err := exec.LookPath("qemu-" + cpu + "-static")
		if err != nil {
			emu, err = exec.LookPath("qemu-" + cpu)
		}
		if err != nil {
			skipOrFail(t, "no user-mode emulator for "+cpu)
		}
		for _, pkg := range []string{".", "./fmath"} {
			bin := filepath.Join(t.TempDir(), arch+".test")
			build := exec.Command(goTool, "test", "-c", "-o", bin, pkg)
			build.Env = append(os.Environ(), "GOARCH="+arch, "GOOS=linux", "CGO_ENABLED=0")
			out, err := build.CombinedOutput()
			require.NoError(t, err, "%s", out)
			run := exec.Command(emu, bin, "-test.run", "^TestHashSameEverywhere$")
			out, err = run.CombinedOutput()
			assert.NoError(t, err, "%s %s: %s", arch, pkg, out)
		}
	}
}

func goCommand(t *testing.T) string {
	t.Helper()
	path, err := exec.LookPath("go")
	if err != nil {
		skipOrFail(t, "no go command")
	}
	return path
}

var fused = regexp.MustCompile(`\(([^()\s]+\.go:\d+)\)\t(FN?M(?:ADD|SUB)[DS]?|WFN?M[AS]DB)\t`)

// No sum of a product may be left to the compiler to fuse: the assembly of
// three processors that would is searched for it.
func TestNothingIsFused(t *testing.T) {
	if testing.Short() {
		t.Skip("compiles for three processors")
	}
	goTool := goCommand(t)
	for arch := range emulators {
		for _, pkg := range []string{".", "./fmath"} {
			cmd := exec.Command(goTool, "build", "-gcflags=-S", pkg)
			cmd.Env = append(os.Environ(), "GOARCH="+arch, "GOOS=linux", "CGO_ENABLED=0")
			out, err := cmd.CombinedOutput()
			require.NoError(t, err)
			require.True(t, strings.Contains(string(out), "TEXT"), "no assembly printed")
			for _, m := range fused.FindAllStringSubmatch(string(out), -1) {
				t.Errorf("%s: %s fuses a product and a sum: wrap the product in float64()", arch, filepath.Base(m[1]))
			}
		}
	}
}

var notSame = regexp.MustCompile(`\bmath\.(Exp|Exp2|Expm1|Log|Log2|Log10|Log1p|Pow|Sin|Cos|Tan|Sincos|Asin|Acos|Atan|Atan2|Sinh|Cosh|Tanh|Cbrt|Hypot|FMA|Gamma)\(`)

var allowedImports = []string{`"fmt"`, `"math"`, `"reflect"`, `"strconv"`, `"strings"`,
	`"github.com/holdline/holdline/sim/fmath"`}

// The plant uses its own elementary functions and imports nothing of the
// project but those.
func TestPlantKeepsToItself(t *testing.T) {
	files, err := filepath.Glob("*.go")
	require.NoError(t, err)
	for _, f := range files {
		if strings.HasSuffix(f, "_test.go") {
			continue
		}
		b, err := os.ReadFile(f)
		require.NoError(t, err)
		text := string(b)
		assert.Empty(t, notSame.FindString(text), "%s: differs between processors, use fmath", f)
		src, err := parser.ParseFile(token.NewFileSet(), f, b, parser.ImportsOnly)
		require.NoError(t, err)
		for _, i := range src.Imports {
			assert.Contains(t, allowedImports, i.Path.Value, f)
		}
	}
}
