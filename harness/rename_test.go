package harness

import (
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// A file that another program looks at for a moment is replaced all the same, as a
// new page is while a virus scanner reads the old one.
func TestRenameOverAFileThatIsOpen(t *testing.T) {
	dir := t.TempDir()
	from, to := filepath.Join(dir, "new"), filepath.Join(dir, "old")
	require.NoError(t, os.WriteFile(from, []byte("new"), 0o644))
	require.NoError(t, os.WriteFile(to, []byte("old"), 0o644))
	other, err := os.Open(to)
	require.NoError(t, err)
	time.AfterFunc(100*time.Millisecond, func() { other.Close() })
	require.NoError(t, Rename(from, to))
	text, err := os.ReadFile(to)
	require.NoError(t, err)
	assert.Equal(t, "new", string(text))
	assert.ErrorIs(t, Rename(from, to), os.ErrNotExist)
}
