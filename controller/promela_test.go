package controller

import (
	"bufio"
	"bytes"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// modelCar is the shot of promela/shot.pml, with its times.
func modelCar() *Calibration {
	c := &Calibration{shots: 1}
	c.Standing.t = standingTicks{qualify: 2, latch: 1}
	c.Shots[0] = Shot{When: WhileHeld, Retard: 200, Enrich: 12000, EndDuty: One,
		t: shotTicks{trigger: 2, rearm: 2, longest: 3, lead: 1, flow: 1, tail: 2}}
	return c
}

// abstract is the mapping: what the model remembers, read off the code's state.
func abstract(p *powerState) string {
	s := &p.shots[0]
	return fmt.Sprint(b2i(p.offSeen), b2i(p.faults != 0), p.steady, p.outFor, uint8(s.phase), s.timer, s.trigger, s.rearm, s.open)
}

// codeSteps are all steps of the real code at the model's abstraction.
func codeSteps(step walkStep) map[string]bool {
	cal, steps := modelCar(), map[string]bool{}
	var start powerState
	seen := map[powerState]bool{start: true}
	for queue := []powerState{start}; len(queue) > 0; queue = queue[1:] {
		for number := range 18 {
			from, to := queue[0], queue[0]
			in := powerInput{arm: truth(number % 3), turning: true, turned: 1, standstill: true, letGo: true}
			in.standing = []ShotInhibits{0, ShotCoolant, ShotRange}[number/3%3]
			in.trigger[0] = []ShotInhibits{0, ShotThrottle}[number/9]
			step(&to, nil, cal, &in)
			steps[fmt.Sprintf("%s / %d %d %d / %s", abstract(&from), number%3, number/3%3, number/9, abstract(&to))] = true
			if !seen[to] {
				seen[to] = true
				queue = append(queue, to)
			}
		}
	}
	return steps
}

// need finds an outside tool, or skips; where CI runs it fails.
func need(t *testing.T, tools ...string) {
	for _, tool := range tools {
		if _, err := exec.LookPath(tool); err != nil {
			require.Empty(t, os.Getenv("CI"), "%s is needed and not installed", tool)
			t.Skipf("%s is not installed", tool)
		}
	}
}

// verify checks a model with spin, and gives its states and printed steps.
func verify(t *testing.T, model string) (out string, steps map[string]bool) {
	dir := t.TempDir()
	require.NoError(t, os.WriteFile(filepath.Join(dir, "shot.pml"), []byte(model), 0o600))
	for _, args := range [][]string{{"spin", "-a", "shot.pml"}, {"cc", "-O1", "-w", "-DSAFETY", "-o", "pan", "pan.c"}} {
		cmd := exec.Command(args[0], args[1:]...)
		cmd.Dir = dir
		said, err := cmd.CombinedOutput()
		require.NoError(t, err, "%s", said)
	}
	cmd := exec.Command(filepath.Join(dir, "pan"), "-m100000")
	cmd.Dir = dir
	said, err := cmd.Output()
	require.NoError(t, err)
	steps = map[string]bool{}
	for lines := bufio.NewScanner(bytes.NewReader(said)); lines.Scan(); {
		if step, ok := strings.CutPrefix(lines.Text(), "step "); ok {
			steps[step] = true
		} else {
			out += lines.Text() + "\n"
		}
	}
	return out, steps
}

// The rules hold in the model, and model and code make the same steps: every step
// of one is a step of the other.
func TestSpinAgreesWithAddedPower(t *testing.T) {
	need(t, "spin", "cc")
	model, err := os.ReadFile("promela/shot.pml")
	require.NoError(t, err)
	out, steps := verify(t, string(model))
	require.Contains(t, out, "errors: 0", "%s", out)
	require.NotContains(t, out, "search depth too small")
	code := codeSteps(realStep)
	for step := range steps {
		assert.True(t, code[step], "only the model makes this step: %s", step)
	}
	for step := range code {
		assert.True(t, steps[step], "only the code makes this step: %s", step)
	}
	stored := regexp.MustCompile(`(\d+) states, stored`).FindStringSubmatch(out)
	require.NotNil(t, stored)
	t.Logf("spin: %s states, 0 errors; %d steps of the model, %d of the code, all the same", stored[1], len(steps), len(code))
	assert.Greater(t, len(code), 500)
}

// A model with a mistake breaks its rule, and code with one makes other steps.
func TestSpinFindsPlantedFaults(t *testing.T) {
	need(t, "spin", "cc")
	text, err := os.ReadFile("promela/shot.pml")
	require.NoError(t, err)
	for _, x := range [][2]string{
		{"closing = (!armed ||", "closing = (0 ||"},
		{"phase == OPEN && closing ->", "phase == OPEN && closing && o_phase == LEADING ->"},
		{":: arm == LOST -> offSeen = 0\n", ":: arm == LOST -> skip\n"},
	} {
		require.Contains(t, string(text), x[0])
		out, _ := verify(t, strings.Replace(string(text), x[0], x[1], 1))
		assert.NotContains(t, out, "errors: 0", x[1])
	}
	good := codeSteps(realStep)
	bad := codeSteps(beforeStep(func(p *powerState, cal *Calibration, _ *powerInput) { p.shots[0].rearm = cal.Shots[0].t.rearm }))
	assert.NotEqual(t, len(good), len(bad))
}
