package files

import (
	"io/fs"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestWriteFileIsWholeOrNothing(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "a.toml")
	require.NoError(t, WriteFile(path, []byte("one"), false))
	err := WriteFile(path, []byte("two"), false)
	assert.ErrorIs(t, err, fs.ErrExist)
	assert.Contains(t, err.Error(), "--force")
	got, _ := os.ReadFile(path)
	assert.Equal(t, "one", string(got))
	require.NoError(t, WriteFile(path, []byte("two"), true))
	got, _ = os.ReadFile(path)
	assert.Equal(t, "two", string(got))

	require.NoError(t, os.Mkdir(filepath.Join(dir, "folder"), 0o755))
	assert.Error(t, WriteFile(filepath.Join(dir, "folder"), nil, true))
	assert.Error(t, WriteFile(filepath.Join(dir, "none", "b.toml"), nil, false))

	left, err := os.ReadDir(dir)
	require.NoError(t, err)
	assert.Len(t, left, 2, "no temporary file is left")
}

// Two that write at once without force: one wins, the other is told.
func TestPlaceDoesNotOverwriteARival(t *testing.T) {
	dir := t.TempDir()
	tmp, path := filepath.Join(dir, "tmp"), filepath.Join(dir, "a")
	require.NoError(t, os.WriteFile(tmp, []byte("mine"), 0o644))
	require.NoError(t, os.WriteFile(path, []byte("rival"), 0o644))
	assert.ErrorIs(t, place(tmp, path, false), fs.ErrExist)
	got, _ := os.ReadFile(path)
	assert.Equal(t, "rival", string(got))
}

func TestReadAndWriteKind(t *testing.T) {
	path := filepath.Join(t.TempDir(), "g.toml")
	g, _, findings := gardenKind.Decode("g", []byte(goodGarden))
	require.Empty(t, findings)
	require.NoError(t, gardenKind.Write(path, g, false))
	back, _, findings := gardenKind.Read(path)
	require.Empty(t, findings)
	assert.Equal(t, g, back)

	_, _, findings = gardenKind.Read(path + ".none")
	require.Len(t, findings, 1)
	assert.Contains(t, findings[0].Reason, "cannot be read: no such file")

	require.NoError(t, os.WriteFile(path, make([]byte, MaxSize+5), 0o644))
	_, _, findings = gardenKind.Read(path)
	require.Len(t, findings, 1)
	assert.Contains(t, findings[0].Reason, "too large")

	g.Angle = 9999
	other := path + ".other"
	assert.Error(t, gardenKind.Write(other, g, false))
	assert.NoFileExists(t, other)
}

func TestBesideIsFromTheFileThatNames(t *testing.T) {
	for in, want := range map[[2]string]string{
		{"a/b.toml", "c.toml"}: "a/c.toml", {"a/b.toml", "../c.toml"}: "c.toml", {"b.toml", "c/d.toml"}: "c/d.toml",
	} {
		assert.Equal(t, filepath.FromSlash(want), Beside(filepath.FromSlash(in[0]), in[1]))
	}
	root := t.TempDir()
	assert.Equal(t, root, Beside("a/b.toml", root+string(filepath.Separator)), "a whole path stands")
}
