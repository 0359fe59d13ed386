package controller

import (
	"bytes"
	"encoding/json"
	"go/ast"
	"go/parser"
	"go/printer"
	"go/token"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Modified condition/decision coverage: every condition of a decision is shown to
// decide its outcome alone, by two evaluations that the tests really make. The
// package is built with each condition recorded (an overlay: no file is changed),
// and its enumerations, walks and commit tests are run on that.

// decided is where interlocks and cuts are decided.
var decided = []string{"interlock.go", "limiter.go", "commit.go"}

// decidedBy are the tests that enumerate and walk those decisions.
const decidedBy = "Alone|Interlocks|Walk|C5|Fuel|Spark|Commit|Regulat|Overrun|RandomCalls|StateFuzz|NotThere|Soft|Hard|Speed|Gear|Lambda|Mixture|Image"

// recorder text is the file that the overlay adds.
const recording = `package controller

import (
	"encoding/json"
	"fmt"
	"os"
	"testing"
)

var (
	mcdcNow  [400][16]byte
	mcdcSeen [400]map[[17]byte]bool
)

func mcdc(id, k int, x bool) bool {
	mcdcNow[id][k] = 'F'
	if x {
		mcdcNow[id][k] = 'T'
	}
	return x
}

func mcdcEnd(id int, x bool) bool {
	var v [17]byte
	copy(v[1:], mcdcNow[id][:])
	v[0] = 'F'
	if x {
		v[0] = 'T'
	}
	if !mcdcSeen[id][v] {
		if mcdcSeen[id] == nil {
			mcdcSeen[id] = map[[17]byte]bool{}
		}
		mcdcSeen[id][v] = true
	}
	mcdcNow[id] = [16]byte{}
	return x
}

func TestMain(m *testing.M) {
	code := m.Run()
	seen := map[int][]string{}
	for id, set := range mcdcSeen {
		for v := range set {
			text := ""
			for _, b := range v {
				if b == 0 {
					b = '-'
				}
				text += string(rune(b))
			}
			seen[id] = append(seen[id], text)
		}
	}
	data, err := json.Marshal(seen)
	if err == nil {
		err = os.WriteFile(os.Getenv("MCDC_OUT"), data, 0o600)
	}
	if err != nil {
		fmt.Println(err)
		code = 1
	}
	os.Exit(code)
}
`

// decision is one recorded decision.
type decision struct {
	file   string
	line   int
	text   string
	leaves []string
}

// instrumenter rewrites decisions so that each condition is recorded.
type instrumenter struct {
	fset *token.FileSet
	list []decision
}

func (x *instrumenter) text(e ast.Expr) string {
	var b bytes.Buffer
	if printer.Fprint(&b, x.fset, e) != nil {
		return "?"
	}
	return b.String()
}

func call(name string, id int, rest ...ast.Expr) ast.Expr {
	args := append([]ast.Expr{&ast.BasicLit{Kind: token.INT, Value: strconv.Itoa(id)}}, rest...)
	return &ast.CallExpr{Fun: ast.NewIdent(name), Args: args}
}

func (x *instrumenter) decision(e ast.Expr) ast.Expr {
	id := len(x.list)
	p := x.fset.Position(e.Pos())
	x.list = append(x.list, decision{file: filepath.Base(p.Filename), line: p.Line, text: x.text(e)})
	return call("mcdcEnd", id, x.leaves(id, e))
}

func (x *instrumenter) leaves(id int, e ast.Expr) ast.Expr {
	switch n := e.(type) {
	case *ast.ParenExpr:
		return &ast.ParenExpr{X: x.leaves(id, n.X)}
	case *ast.UnaryExpr:
		if n.Op == token.NOT {
			return &ast.UnaryExpr{Op: token.NOT, X: x.leaves(id, n.X)}
		}
	case *ast.BinaryExpr:
		if compound(e) {
			return &ast.BinaryExpr{X: x.leaves(id, n.X), Op: n.Op, Y: x.leaves(id, n.Y)}
		}
	}
	d := &x.list[id]
	d.leaves = append(d.leaves, x.text(e))
	return call("mcdc", id, &ast.BasicLit{Kind: token.INT, Value: strconv.Itoa(len(d.leaves) - 1)}, e)
}

func compound(e ast.Expr) bool {
	n, ok := e.(*ast.BinaryExpr)
	return ok && (n.Op == token.LAND || n.Op == token.LOR)
}

func (x *instrumenter) all(list []ast.Expr) {
	for i, e := range list {
		if compound(e) {
			list[i] = x.decision(e)
		}
	}
}

// visit rewrites what an if or a case decides on, and && and || anywhere else.
func (x *instrumenter) visit(n ast.Node) bool {
	switch n := n.(type) {
	case *ast.IfStmt:
		n.Cond = x.decision(n.Cond)
	case *ast.SwitchStmt:
		if n.Tag != nil {
			break
		}
		for _, c := range n.Body.List {
			list := c.(*ast.CaseClause).List
			for i := range list {
				list[i] = x.decision(list[i])
			}
		}
	case *ast.ReturnStmt:
		x.all(n.Results)
	case *ast.AssignStmt:
		x.all(n.Rhs)
	case *ast.KeyValueExpr:
		if compound(n.Value) {
			n.Value = x.decision(n.Value)
		}
	case *ast.CallExpr:
		if id, ok := n.Fun.(*ast.Ident); !ok || id.Name != "mcdcEnd" {
			x.all(n.Args)
		}
	}
	return true
}

// shown reports whether two evaluations differ in outcome and in condition k, and
// in no other that both evaluated: one that is passed over by && or || has no say.
func shown(vectors []string, k int) bool {
	for _, a := range vectors {
		for _, b := range vectors {
			if a[0] == b[0] || a[1+k] != 'T' || b[1+k] != 'F' {
				continue
			}
			alone := true
			for i := 1; i < len(a); i++ {
				alone = alone && (i == 1+k || a[i] == b[i] || a[i] == '-' || b[i] == '-')
			}
			if alone {
				return true
			}
		}
	}
	return false
}

// infeasible conditions, by where they stand, with the reason.
var infeasible = map[string]string{
	"limiter.go: m.fresh && was / was": "a regulator that takes over restarts the mean, which is then not fresh",
	"commit.go: !b.has(fuelCut) && !(b.has(slotPair) && b.has(sparkLed)) / b.has(sparkLed)": "a pair whose fuel came first withholds spark only with its fuel; overrun ends the pair",
}

func TestDecisionsOfInterlocksAndCutsAreCovered(t *testing.T) {
	if !long() {
		t.Skip("set HOLDLINE_LONG=1")
	}
	need(t, "go")
	here, err := filepath.Abs(".")
	require.NoError(t, err)
	dir := t.TempDir()
	x := instrumenter{fset: token.NewFileSet()}
	overlay := map[string]string{filepath.Join(here, "zz_mcdc_test.go"): filepath.Join(dir, "main_test.go"), filepath.Join(here, "zz_mcdc.go"): filepath.Join(dir, "zz_mcdc.go")}
	record, main, _ := strings.Cut(recording, "func TestMain")
	head, vars, _ := strings.Cut(record, "var (")
	require.NoError(t, os.WriteFile(filepath.Join(dir, "zz_mcdc.go"), []byte("package controller\n\nvar ("+vars), 0o600))
	require.NoError(t, os.WriteFile(filepath.Join(dir, "main_test.go"), []byte(head+"func TestMain"+main), 0o600))
	for _, name := range decided {
		f, err := parser.ParseFile(x.fset, name, nil, parser.SkipObjectResolution)
		require.NoError(t, err)
		ast.Inspect(f, x.visit)
		var b bytes.Buffer
		require.NoError(t, printer.Fprint(&b, x.fset, f))
		overlay[filepath.Join(here, name)] = filepath.Join(dir, name)
		require.NoError(t, os.WriteFile(filepath.Join(dir, name), b.Bytes(), 0o600))
	}
	data, err := json.Marshal(map[string]any{"Replace": overlay})
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(filepath.Join(dir, "overlay.json"), data, 0o600))
	cmd := exec.Command("go", "test", "-count=1", "-overlay", filepath.Join(dir, "overlay.json"), "-run", decidedBy, ".")
	out := filepath.Join(dir, "seen.json")
	cmd.Env = append(os.Environ(), "MCDC_OUT="+out, "HOLDLINE_LONG=")
	said, err := cmd.CombinedOutput()
	require.NoError(t, err, "%s", said)
	x.judge(t, out)
}

func (x *instrumenter) judge(t *testing.T, out string) {
	data, err := os.ReadFile(out)
	require.NoError(t, err)
	seen := map[int][]string{}
	require.NoError(t, json.Unmarshal(data, &seen))
	conditions, covered := 0, 0
	for id, d := range x.list {
		for k, leaf := range d.leaves {
			conditions++
			key := d.file + ": " + d.text + " / " + leaf
			switch reason := infeasible[key]; {
			case shown(seen[id], k):
				covered++
				assert.Empty(t, reason, "%s is said to be infeasible and is not", key)
			default:
				assert.NotEmpty(t, reason, "line %d: no pair shows that this decides alone: %s (seen %v)", d.line, key, seen[id])
			}
		}
	}
	t.Logf("%d decisions, %d conditions, %d with an independence pair", len(x.list), conditions, covered)
	assert.Greater(t, conditions, 100)
}

// A condition that never decides is noticed.
func TestShownNeedsAPairThatDiffersInOneCondition(t *testing.T) {
	assert.True(t, shown([]string{"TTT", "FTF"}, 1))
	assert.False(t, shown([]string{"TTT", "FFF"}, 1), "both differ")
	assert.True(t, shown([]string{"TTT", "FF-"}, 0), "the second was passed over")
	assert.False(t, shown([]string{"TTT", "TFT"}, 0), "the outcome is the same")
}
