package controller

import (
	"encoding/binary"
	"hash/fnv"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// goldenTrace is the digest of every output of the golden runs, made on amd64.
const goldenTrace uint64 = 0xa42e319ac961824c

// C2: the same decisions on every processor. A digest of all outputs and answers
// of seeded runs over a family of calibrations.
func TestGoldenTrace(t *testing.T) {
	sum := fnv.New64a()
	write := func(x any) { require.NoError(t, binary.Write(sum, binary.BigEndian, x)) }
	for seed := range uint64(60) {
		data := randomCalls(rand.New(rand.NewPCG(seed, 23)))
		cal := fuzzedCar(data[0])
		if cal == nil {
			continue
		}
		f := stateFuzz{t: t, cal: cal}
		f.tamper = func(o *Output) { write(o) }
		f.spoil = func(d *SparkDecision) { write(d) }
		f.run(data[1:])
	}
	assert.Equal(t, goldenTrace, sum.Sum64(), "the golden runs decide otherwise: %#x", sum.Sum64())
}

func goRoot(t *testing.T) string {
	said, err := exec.Command("go", "env", "GOROOT").Output()
	require.NoError(t, err)
	return strings.TrimSpace(string(said))
}

// Every architecture that an emulator is here for gives the golden trace.
func TestGoldenTraceOnOtherProcessors(t *testing.T) {
	if !long() {
		t.Skip("set HOLDLINE_LONG=1")
	}
	for _, arch := range strings.Fields("arm arm64 riscv64 mips mipsle ppc64le s390x 386 wasm") {
		t.Run(arch, func(t *testing.T) {
			emulator := map[string]string{"arm64": "aarch64", "mipsle": "mipsel"}[arch]
			if emulator == "" {
				emulator = arch
			}
			run := []string{"qemu-" + emulator + "-static"}
			if arch == "386" {
				if runtime.GOARCH != "amd64" {
					t.Skip("386 runs on amd64 itself")
				}
				run = nil
			}
			system := "linux"
			if arch == "wasm" {
				system, run = "js", []string{"node", "--stack-size=8192", filepath.Join(goRoot(t), "lib", "wasm", "wasm_exec_node.js")}
			}
			need(t, run[:min(len(run), 1)]...)
			need(t, "go")
			program := filepath.Join(t.TempDir(), "golden")
			build := exec.Command("go", "test", "-c", "-vet=off", "-o", program, ".")
			build.Env = append(os.Environ(), "GOOS="+system, "GOARCH="+arch, "GOARM=5", "GOMIPS=softfloat", "CGO_ENABLED=0")
			said, err := build.CombinedOutput()
			require.NoError(t, err, "%s", said)
			run = append(run, program, "-test.run", "^TestGoldenTrace$")
			said, err = exec.Command(run[0], run[1:]...).CombinedOutput()
			require.NoError(t, err, "%s", said)
		})
	}
}
