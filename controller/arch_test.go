package controller

import (
	"go/ast"
	"go/parser"
	"go/token"
	"os"
	"reflect"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// allowed are the only imports: firmware links them without a heap.
var allowed = map[string]string{
	"encoding/binary": "byte order of the image",
	"errors":          "one sentinel",
	"math/bits":       "counting bits without a loop",
}

// sources parses the package without its tests.
func sources(t *testing.T) map[string]*ast.File {
	entries, err := os.ReadDir(".")
	require.NoError(t, err)
	files := map[string]*ast.File{}
	for _, e := range entries {
		name := e.Name()
		if !strings.HasSuffix(name, ".go") || strings.HasSuffix(name, "_test.go") {
			continue
		}
		f, err := parser.ParseFile(token.NewFileSet(), name, nil, parser.ParseComments)
		require.NoError(t, err)
		files[name] = f
	}
	require.Greater(t, len(files), 15)
	return files
}

func TestImportsStayBareMetal(t *testing.T) {
	for name, f := range sources(t) {
		for _, imp := range f.Imports {
			path, err := strconv.Unquote(imp.Path.Value)
			require.NoError(t, err)
			assert.Contains(t, allowed, path, "%s: this import does not link without a heap, or brings floats or a clock", name)
		}
	}
}

// banned syntax: what allocates, blocks or rounds has no place in the step.
func TestNoFloatsMapsChannelsOrGoroutines(t *testing.T) {
	floats := map[string]bool{"float32": true, "float64": true, "complex64": true, "complex128": true}
	for name, f := range sources(t) {
		ast.Inspect(f, func(n ast.Node) bool {
			switch x := n.(type) {
			case *ast.Ident:
				assert.False(t, floats[x.Name], "%s: floats differ between processors", name)
			case *ast.BasicLit:
				assert.NotEqual(t, token.FLOAT, x.Kind, "%s: %s", name, x.Value)
			case *ast.GoStmt, *ast.ChanType, *ast.SelectStmt, *ast.MapType, *ast.DeferStmt, *ast.FuncLit:
				assert.Fail(t, "not in the core", "%s: %T", name, x)
			case *ast.CallExpr:
				if id, ok := x.Fun.(*ast.Ident); ok {
					assert.NotContains(t, []string{"make", "new", "append", "panic", "print", "println"}, id.Name, "%s", name)
				}
			}
			return true
		})
	}
}

// documented lists the exported names of a declaration that lack a comment. A
// comment on a group, or beside the name, counts.
func documented(d ast.Decl) (bare []string) {
	check := func(id *ast.Ident, docs ...*ast.CommentGroup) {
		for _, doc := range docs {
			if doc != nil {
				return
			}
		}
		if id.IsExported() {
			bare = append(bare, id.Name)
		}
	}
	switch d := d.(type) {
	case *ast.FuncDecl:
		check(d.Name, d.Doc)
	case *ast.GenDecl:
		for _, s := range d.Specs {
			switch s := s.(type) {
			case *ast.TypeSpec:
				check(s.Name, d.Doc, s.Doc, s.Comment)
			case *ast.ValueSpec:
				for _, id := range s.Names {
					check(id, d.Doc, s.Doc, s.Comment)
				}
			}
		}
	}
	return bare
}

func TestExportedNamesAreDocumented(t *testing.T) {
	doc := false
	for name, f := range sources(t) {
		doc = doc || f.Doc != nil
		for _, d := range f.Decls {
			assert.Empty(t, documented(d), name)
		}
	}
	assert.True(t, doc, "the package needs a comment")
}

// holds walks a type for anything that is not a plain value.
func unplain(typ reflect.Type, path string) (bad []string) {
	switch typ.Kind() {
	case reflect.Struct:
		for i := range typ.NumField() {
			bad = append(bad, unplain(typ.Field(i).Type, path+"."+typ.Field(i).Name)...)
		}
	case reflect.Array:
		return unplain(typ.Elem(), path)
	case reflect.Bool, reflect.Int8, reflect.Int16, reflect.Int32, reflect.Uint8, reflect.Uint16, reflect.Uint32:
	default:
		bad = append(bad, path+" "+typ.Kind().String())
	}
	return bad
}

// C2: only integers of a fixed size, so that every processor decides alike; and
// a state that can be copied and compared.
func TestC2StateAndIOArePlainIntegers(t *testing.T) {
	for _, x := range []any{State{}, Calibration{}, Input{}, Output{}, FuelDecision{}, SparkDecision{}} {
		typ := reflect.TypeOf(x)
		assert.Empty(t, unplain(typ, typ.Name()))
		assert.True(t, typ.Comparable())
	}
}

// C3: nothing is allocated, at any entry point, in a live state.
func TestC3NoEntryPointAllocates(t *testing.T) {
	cal, s, in := liveState(t)
	var out Output
	var problems Problems
	buf := make([]byte, MaxImage)
	n, err := cal.Image(buf)
	require.NoError(t, err)
	loaded := new(Calibration)
	cycle := Cycle(0)
	for name, f := range map[string]func(){
		"Tick":        func() { s.Tick(cal, &in, &out) },
		"FuelCommit":  func() { cycle++; s.FuelCommit(cal, 1, cycle) },
		"SparkCommit": func() { cycle++; s.SparkCommit(cal, 2, cycle) },
		"LostSync":    func() { s.LostSync() },
		"Reset":       func() { _ = s.Reset(cal) },
		"At":          func() { cal.Tables[0].At(5000, 150000) },
		"Image":       func() { _, _ = cal.Image(buf) },
		"LoadImage":   func() { _ = loaded.LoadImage(buf[:n], &problems) },
		"Seal":        func() { loaded.Seal(&problems) },
		"CRC32C":      func() { CRC32C(0, buf[:64]) },
	} {
		assert.Zero(t, testing.AllocsPerRun(50, f), name)
	}
}

// Names of reasons go into traces and are promised to stay: each is there, and
// no two are the same.
func TestStableNames(t *testing.T) {
	var names []string
	for i := range numStageInhibits {
		names = append(names, "stage "+StageInhibits(1<<i).Name())
	}
	for i := range numShotInhibits {
		names = append(names, "shot "+ShotInhibits(1<<i).Name())
	}
	for i := range numFaults {
		names = append(names, "fault "+Faults(1<<i).Name())
	}
	for r := range numReasons {
		names = append(names, "why "+r.String())
	}
	for x := range numSequenceStates {
		names = append(names, "sequence "+x.String())
	}
	for x := range numSpeedStates {
		names = append(names, "speed "+x.String())
	}
	for x := range numShotPhases {
		names = append(names, "phase "+x.String())
	}
	seen := map[string]bool{}
	for _, n := range names {
		assert.False(t, seen[n] || strings.HasSuffix(n, " "), "%q", n)
		seen[n] = true
	}
	assert.Empty(t, StageInhibits(0).Name()+ShotInhibits(0).Name()+Faults(0).Name())
	for _, s := range []string{Reason(200).String(), SequenceState(200).String(), SpeedState(200).String(), ShotPhase(200).String()} {
		assert.Equal(t, "invalid", s)
	}
	assert.Equal(t, "sixteen letters!", NameOf("sixteen letters! and more").String())
	assert.Equal(t, "short", NameOf("short").String())
}
