package rigc_test

import (
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// fuzzer builds the fuzzer around a rig.c, or skips.
func fuzzer(t *testing.T, folder string) string {
	args := []string{"-std=c99", "-g", "-O1", "-Wall", "-Wextra", "-Wpedantic", "-Werror",
		"-fsanitize=fuzzer,address,undefined", "-fno-sanitize-recover=all",
		"-I", folder, filepath.Join(folder, "rig.c"), "c/fuzz.c"}
	return compile(t, "clang-19", args...)
}

func fuzz(t *testing.T, program string, runs string) (string, error) {
	corpus := t.TempDir()
	cmd := exec.Command(program, "-seed=1", "-runs="+runs, "-max_len=600", "-artifact_prefix="+corpus+"/", corpus)
	out, err := cmd.CombinedOutput()
	return string(out), err
}

// HOLDLINE_LONG=1 runs it a hundred times as long.
func TestFuzzedWithSanitizers(t *testing.T) {
	runs := "50000"
	if os.Getenv("HOLDLINE_LONG") == "1" {
		runs = "5000000"
	}
	out, err := fuzz(t, fuzzer(t, ".."), runs)
	require.NoError(t, err, out)
	t.Log(out[strings.LastIndex(strings.TrimSpace(out), "\n")+1:])
}

// The fuzzer finds faults that are planted in a copy of the rig.
func TestTheFuzzerFindsPlantedFaults(t *testing.T) {
	for name, planted := range map[string][2]string{
		"a cylinder of 0":        {"e->cylinder < 1 || ", ""},
		"outputs stay on":        {"OFF_AFTER 85000u", "OFF_AFTER 185000u"},
		"a frame that is longer": {"== sizeof r->in)", "== sizeof r->in + 8)"},
	} {
		t.Run(name, func(t *testing.T) {
			folder := t.TempDir()
			for _, file := range []string{"rig.c", "rig.h"} {
				text, err := os.ReadFile(filepath.Join("..", file))
				require.NoError(t, err)
				if file == "rig.c" {
					require.Equal(t, 1, strings.Count(string(text), planted[0]))
				}
				text = []byte(strings.Replace(string(text), planted[0], planted[1], 1))
				require.NoError(t, os.WriteFile(filepath.Join(folder, file), text, 0o644))
			}
			out, err := fuzz(t, fuzzer(t, folder), "2000000")
			assert.Error(t, err, "not found")
			assert.Regexp(t, "runtime error|ERROR", out)
		})
	}
}
