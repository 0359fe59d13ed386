package harness_test

import (
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

const module = "github.com/holdline/holdline"

// mayImport says which packages of the module a folder may import, each with
// its reason. Subfolders count with the longest match.
var mayImport = []struct {
	folder string
	allow  []string
	reason string
}{
	{"controller", nil, "the core knows nothing but itself"},
	{"sim", []string{"sim/"}, "the plant knows no controller and never parses"},
	{"sim/", []string{"sim"}, "a program beside the plant may drive it"},
	{"harness", []string{"controller", "sim"}, "harness owns the shared types and imports none of its subpackages"},
	{"harness/", []string{"controller", "sim", "harness"}, "subpackages build on harness"},
	{"cmd", []string{"controller", "sim", "harness", "examples"}, "the command uses everything"},
	{"examples", []string{"controller", "sim", "harness", "examples"}, "what a user copies"},
}

// imports calls f with each import of each non-test Go file below the root.
func imports(t *testing.T, f func(folder, path string)) {
	err := filepath.WalkDir("..", func(path string, d fs.DirEntry, err error) error {
		require.NoError(t, err)
		if d.IsDir() && strings.HasPrefix(d.Name(), ".") && d.Name() != ".." {
			return filepath.SkipDir
		}
		if d.IsDir() || !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go") {
			return nil
		}
		file, err := parser.ParseFile(token.NewFileSet(), path, nil, parser.ImportsOnly)
		require.NoError(t, err)
		folder := filepath.ToSlash(filepath.Dir(strings.TrimPrefix(filepath.ToSlash(path), "../")))
		for _, i := range file.Imports {
			p, _ := strconv.Unquote(i.Path.Value)
			f(folder, p)
		}
		return nil
	})
	require.NoError(t, err)
}

func TestImportsRunOneWay(t *testing.T) {
	seen := 0
	imports(t, func(folder, path string) {
		inner, ours := strings.CutPrefix(path, module+"/")
		if !ours {
			return
		}
		seen++
		for i := len(mayImport) - 1; i >= 0; i-- {
			rule := mayImport[i]
			if folder != rule.folder && !strings.HasPrefix(folder+"/", strings.TrimSuffix(rule.folder, "/")+"/") {
				continue
			}
			if strings.HasSuffix(rule.folder, "/") && folder == strings.TrimSuffix(rule.folder, "/") {
				continue
			}
			ok := false
			for _, a := range rule.allow {
				whole := !strings.HasSuffix(a, "/") && (rule.folder == "harness" || a == "controller")
				ok = ok || inner == a || !whole && strings.HasPrefix(inner, strings.TrimSuffix(a, "/")+"/")
			}
			assert.True(t, ok, "%s imports %s: %s", folder, inner, rule.reason)
			return
		}
		assert.Fail(t, "no rule", "%s is in no known folder", folder)
	})
	assert.Greater(t, seen, 20)
}

// golang.org/x/exp promises no stability: it stays where large recordings are
// mapped, out of everything that others import.
func TestUnstableModulesStayInside(t *testing.T) {
	imports(t, func(folder, path string) {
		if strings.HasPrefix(path, "golang.org/x/exp") {
			assert.Equal(t, "harness/record", folder)
		}
	})
}

// The top level is fixed.
func TestTopLevel(t *testing.T) {
	known := map[string]bool{
		"controller": true, "harness": true, "sim": true, "examples": true, "cmd": true, "go.mod": true, "go.sum": true,
		"README.md": true, "DEVELOPERS.md": true, "LICENSE": true, ".ci": true, ".git": true, ".gitignore": true, ".editorconfig": true,
	}
	entries, err := os.ReadDir("..")
	require.NoError(t, err)
	for _, e := range entries {
		assert.True(t, known[e.Name()] || e.Name() == "out", "%s does not belong at the top level", e.Name())
	}
}

// Every package says what it is for.
func TestEveryPackageIsDocumented(t *testing.T) {
	docs := map[string]bool{}
	err := filepath.WalkDir("..", func(path string, d fs.DirEntry, err error) error {
		require.NoError(t, err)
		if d.IsDir() || !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go") {
			return nil
		}
		file, err := parser.ParseFile(token.NewFileSet(), path, nil, parser.ParseComments|parser.PackageClauseOnly)
		require.NoError(t, err)
		folder := filepath.Dir(path)
		docs[folder] = docs[folder] || file.Doc != nil
		return nil
	})
	require.NoError(t, err)
	for folder, ok := range docs {
		assert.True(t, ok, "%s has no package documentation", folder)
	}
}

// Licences that go with ours, by a sentence of their text.
var permissive = []string{
	"Mozilla Public License Version 2.0",                // of files that we leave as they are; tests only
	"Permission is hereby granted, free of charge",      // MIT
	"Redistribution and use in source and binary forms", // BSD
	"Apache License", // Apache 2.0
	"Permission to use, copy, modify, and/or distribute",     // ISC
	"Permission to use, copy, modify, and distribute this",   // ISC
	"This software is provided 'as-is', without any express", // zlib
}

// Every module that is built or tested with has a licence that goes with ours, and
// there are not many of them.
func TestDependenciesArePermissiveAndFew(t *testing.T) {
	out, err := exec.Command("go", "list", "-deps", "-test", "-f", "{{with .Module}}{{if not .Main}}{{.Path}}\t{{.Dir}}{{end}}{{end}}", "../...").Output()
	require.NoError(t, err)
	seen := map[string]bool{}
	for _, line := range strings.Split(string(out), "\n") {
		path, dir, ok := strings.Cut(line, "\t")
		if !ok || seen[path] {
			continue
		}
		seen[path] = true
		list, _ := filepath.Glob(filepath.Join(dir, "[Ll][Ii][Cc][Ee][Nn][CcSs][Ee]*"))
		require.NotEmpty(t, list, "%s has no licence file", path)
		text, err := os.ReadFile(list[0])
		require.NoError(t, err)
		fits := slices.ContainsFunc(permissive, func(s string) bool { return strings.Contains(strings.Join(strings.Fields(string(text)), " "), s) })
		assert.True(t, fits, "%s: the licence is none of those that we know to go with ours", path)
		t.Log(path)
	}
	assert.LessOrEqual(t, len(seen), 40, "say in DEVELOPERS.md what a new one is for")
}
