package wire

import (
	"go/parser"
	"go/token"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// The codec links into firmware without a heap: its imports are named here.
func TestImportsAreBareMetalSafe(t *testing.T) {
	allowed := map[string]bool{
		"encoding/binary": true, "math/bits": true, "errors": true,
		"github.com/holdline/holdline/controller": true,
	}
	files, err := filepath.Glob("*.go")
	require.NoError(t, err)
	for _, name := range files {
		if strings.HasSuffix(name, "_test.go") {
			continue
		}
		f, err := parser.ParseFile(token.NewFileSet(), name, nil, parser.ImportsOnly)
		require.NoError(t, err)
		for _, i := range f.Imports {
			path, _ := strconv.Unquote(i.Path.Value)
			require.True(t, allowed[path], "%s imports %s", name, path)
		}
	}
}
