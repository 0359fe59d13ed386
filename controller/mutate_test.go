package controller

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"go/ast"
	"go/parser"
	"go/printer"
	"go/token"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Mutation: every operator of the files that decide is replaced by another, one at
// a time, and the tests must notice. The mutants are compiled through an overlay: no
// file is changed. (A tool of our own: those that we looked at run a package's whole
// tests on copies, hours for this one.)

// mutated are the files that decide; reading and sealing a calibration have tests
// field by field.
var mutated = []string{"interlock.go", "limiter.go", "commit.go", "power.go", "stage.go", "sequence.go", "pattern.go", "timing.go", "condition.go", "arbitrate.go", "tick.go", "speed.go"}

// swaps are the operators that a mutant puts in place of another.
var swaps = map[token.Token][]token.Token{
	token.LSS: {token.LEQ, token.GEQ}, token.LEQ: {token.LSS, token.GTR},
	token.GTR: {token.GEQ, token.LEQ}, token.GEQ: {token.GTR, token.LSS},
	token.EQL: {token.NEQ}, token.NEQ: {token.EQL},
	token.LAND: {token.LOR}, token.LOR: {token.LAND},
	token.ADD: {token.SUB}, token.SUB: {token.ADD},
}

// mutant is a changed file.
type mutant struct {
	file, name string // name is where it stands, and what it puts in place of what
	rule       string // the same for a reader who has no line: file, function, expression
	text       []byte
}

// mutantsOf gives every mutant of a file.
func mutantsOf(t *testing.T, file string) (list []mutant) {
	fset := token.NewFileSet()
	f, err := parser.ParseFile(fset, file, nil, parser.ParseComments)
	require.NoError(t, err)
	within := ""
	textOf := func(n any) string {
		var b bytes.Buffer
		require.NoError(t, printer.Fprint(&b, fset, n))
		return b.String()
	}
	add := func(pos token.Pos, was string, from, to token.Token) {
		p, what := fset.Position(pos), from.String()+" -> "+to.String()
		list = append(list, mutant{
			file: file, name: fmt.Sprintf("%s:%d:%d %s", file, p.Line, p.Column, what),
			rule: fmt.Sprintf("%s %s: %s: %s", file, within, was, what), text: []byte(textOf(f)),
		})
	}
	ast.Inspect(f, func(n ast.Node) bool {
		switch e := n.(type) {
		case *ast.FuncDecl:
			within = e.Name.Name
		case *ast.GenDecl:
			if e.Tok == token.CONST {
				within = "const"
			}
		case *ast.BinaryExpr:
			old, was := e.Op, textOf(e)
			for _, op := range swaps[old] {
				e.Op = op
				add(e.OpPos, was, old, op)
			}
			e.Op = old
		case *ast.IncDecStmt:
			old, was := e.Tok, textOf(e)
			e.Tok = map[token.Token]token.Token{token.INC: token.DEC, token.DEC: token.INC}[old]
			add(e.TokPos, was, old, e.Tok)
			e.Tok = old
		case *ast.AssignStmt:
			if old, to := e.Tok, steps[e.Tok]; to != 0 {
				was := textOf(e)
				e.Tok = to
				add(e.TokPos, was, old, to)
				e.Tok = old
			}
		}
		return true
	})
	return list
}

// steps are assignments that a mutant puts in place of another.
var steps = map[token.Token]token.Token{
	token.ADD_ASSIGN: token.SUB_ASSIGN, token.SUB_ASSIGN: token.ADD_ASSIGN,
	token.OR_ASSIGN: token.AND_ASSIGN, token.AND_ASSIGN: token.OR_ASSIGN,
}

// equivalent names mutants that no test can kill, because they decide the same, and
// says why.
var equivalent = map[string]string{
	"limiter.go softDemand: over <= 0: <= -> <":                               "at 0 the line gives 0 too",
	"limiter.go softDemand: over >= band: >= -> >":                            "at the band the line gives all",
	"limiter.go integrate: step > 0: > -> >=":                                 "a step of 0 moves nothing",
	"limiter.go integrate: step < 0: < -> <=":                                 "a step of 0 moves nothing",
	"commit.go fuelAnswer: s.cmd.refire > 0: > -> >=":                         "adds nothing",
	"stage.go enter: v.start < s.ceiling: < -> <=":                            "puts an equal in place of an equal",
	"stage.go rest: st.RampLimit > 0: > -> >=":                                "the value is used only where an axis is lost: the lowest cell, ramp or not",
	"stage.go rest: st.RampLimit > 0: > -> <=":                                "the value is used only where an axis is lost: the lowest cell, ramp or not",
	"stage.go rest: st.RestTo >= next: >= -> >":                               "a way from a ceiling to itself",
	"stage.go slew: d > 0: > -> >=":                                           "a way of 0",
	"stage.go slew: d < 0: < -> <=":                                           "a way of 0",
	"timing.go const: 1<<15 - 1: - -> +":                                      "either is a step over all angles",
	"condition.go judge: c >= int(NumChannels): >= -> >":                      "no such channel is ever fitted: a bound for the compiler",
	"arbitrate.go rise: v.risen |= 1 << m: |= -> &=":                          "a memo that is forgotten is worked out anew",
	"arbitrate.go richest: Ratio(x) > w.mixture: > -> >=":                     "puts an equal in place of an equal",
	"tick.go moveSequence: cal.launch < MaxStages: < -> <=":                   "a sealed launch sequence has a launch stage: a bound for the compiler",
	"tick.go moveStages: state.presence == absent && in.when != no: && -> ||": "entry is pure, and asked only where it is used",
	"speed.go phaseOf: n <= 0: <= -> <":                                       "the phase of 0 is 0",
	"speed.go stale: s.last <= 0: <= -> <":                                    "at 0 no phase is long enough",
	"speed.go follow: gap > 1: > -> >=":                                       "a division by 1",
	"arbitrate.go command: more > One: > -> >=":                               "a factor of 1",
	"speed.go ahead: s.slope <= 0: <= -> <":                                   "a slope of 0 rises nothing",
	"speed.go aheadFor: s.slope <= 0: <= -> <":                                "a slope of 0 rises nothing",
	"speed.go distance: a > b: > -> >=":                                       "equal ones are 0 apart either way",
	"speed.go disagrees: seen <= s.phase: <= -> <":                            "equal ones do not disagree",
}

// fate of a mutant.
type fate int

const (
	alive fate = iota
	dead
	unfit  // it does not compile
	halted // its tests did not end
)

// tryMutant runs the tests on a mutant: one that fails, or does not end within the
// limit, kills it.
func tryMutant(m *mutant, dir string, limit time.Duration) (fate, error) {
	here, err := filepath.Abs(".")
	if err != nil {
		return alive, err
	}
	changed, overlay, program := filepath.Join(dir, m.file), filepath.Join(dir, "overlay.json"), filepath.Join(dir, "mutant")
	data, err := json.Marshal(map[string]any{"Replace": map[string]string{filepath.Join(here, m.file): changed}})
	if err := errors.Join(err, os.WriteFile(changed, m.text, 0o600), os.WriteFile(overlay, data, 0o600)); err != nil {
		return alive, err
	}
	if exec.Command("go", "test", "-c", "-vet=off", "-overlay", overlay, "-o", program, ".").Run() != nil {
		return unfit, nil
	}
	ctx, end := context.WithTimeout(context.Background(), limit)
	defer end()
	for _, skip := range []string{slowTests + "|" + deafTests, deafTests} { // most die of a quick one
		cmd := exec.CommandContext(ctx, program, "-test.failfast", "-test.skip", skip)
		cmd.Env = append(os.Environ(), "HOLDLINE_MUTATE=", "HOLDLINE_LONG=")
		err := cmd.Run()
		switch {
		case ctx.Err() != nil:
			return halted, nil
		case err != nil:
			return dead, nil
		}
	}
	return alive, nil
}

const (
	deafTests = "Spin|Allocates|OtherProcessors|Mutants" // run the unchanged code, or other programs
	slowTests = "Walk|C5|Random|C1|C4"
)

// HOLDLINE_MUTATE=n tries every n-th mutant; 1 tries all. HOLDLINE_MUTANT names the
// beginnings of those to try, such as limiter.go or limiter.go:84, with commas
// between.
func TestMutantsAreKilled(t *testing.T) {
	step, err := strconv.Atoi(os.Getenv("HOLDLINE_MUTATE"))
	if err != nil || step < 1 {
		t.Skip("set HOLDLINE_MUTATE=1, or n for every n-th mutant")
	}
	need(t, "go")
	var all, list []mutant
	for _, file := range mutated {
		all = append(all, mutantsOf(t, file)...)
	}
	for i := step / 2; i < len(all); i += step {
		for _, begin := range strings.Split(os.Getenv("HOLDLINE_MUTANT"), ",") {
			if strings.HasPrefix(all[i].name, begin) {
				list = append(list, all[i])
				break
			}
		}
	}
	// A slow machine must not pass for mutants that do not end.
	text, err := os.ReadFile(mutated[0])
	require.NoError(t, err)
	began := time.Now()
	whole, err := tryMutant(&mutant{file: mutated[0], text: text}, t.TempDir(), time.Hour)
	require.NoError(t, err)
	require.Equal(t, alive, whole, "the tests fail on what is no mutant")
	limit := max(3*time.Minute, 6*time.Since(began))
	fates, errs := make([]fate, len(list)), make([]error, len(list))
	next := make(chan int)
	var wait sync.WaitGroup
	var done atomic.Int32
	for range 2 {
		dir := t.TempDir()
		wait.Go(func() {
			for i := range next {
				fates[i], errs[i] = tryMutant(&list[i], dir, limit)
				if fates[i] == alive && equivalent[list[i].rule] == "" {
					t.Log("alive: " + list[i].name + "  " + list[i].rule)
				}
				if fates[i] == halted {
					t.Log("not ended after " + limit.String() + ": " + list[i].name + "  " + list[i].rule)
				}
				if n := done.Add(1); n%50 == 0 {
					t.Logf("%d of %d tried", n, len(list))
				}
			}
		})
	}
	for i := range list {
		next <- i
	}
	close(next)
	wait.Wait()
	require.NoError(t, errors.Join(errs...))
	count, unexplained := map[fate]int{}, 0
	for _, f := range fates {
		count[f]++
	}
	for i := range list {
		if fates[i] == alive && equivalent[list[i].rule] == "" {
			unexplained++
		}
	}
	killed := count[dead] + count[halted]
	tried := count[alive] + killed
	t.Logf("%d of %d mutants killed (%d did not end), of %d in all; %d of the others are equivalent, %d are not explained", killed, tried, count[halted], len(all), count[alive]-unexplained, unexplained)
	assert.Zero(t, unexplained)
	if len(list) == len(all) {
		assert.GreaterOrEqual(t, count[dead]*100, tried*95)
	}
}

// What is said of equivalent mutants is said of mutants that there are.
func TestEquivalentMutantsExist(t *testing.T) {
	rules := map[string]bool{}
	for _, file := range mutated {
		for _, m := range mutantsOf(t, file) {
			rules[m.rule] = true
		}
	}
	for rule := range equivalent {
		assert.True(t, rules[rule], rule)
	}
}
