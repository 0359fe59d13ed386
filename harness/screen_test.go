package harness_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"

	"github.com/holdline/holdline/harness"
)

func TestCount(t *testing.T) {
	for want, got := range map[string]string{
		"0 launches": harness.Count(0, "launch"),
		"1 launch":   harness.Count(1, "launch"),
		"2 files":    harness.Count(int64(2), "file"),
		"1 error":    harness.Count(1, "error"),
	} {
		assert.Equal(t, want, got)
	}
}

func TestWrap(t *testing.T) {
	wrapped := func(label, text string) string {
		var b strings.Builder
		harness.Wrap(&b, label, text)
		return b.String()
	}
	assert.Equal(t, "note: short\n", wrapped("note: ", "short"))
	assert.Equal(t, "no label\n", wrapped("", "no  label"))
	long := wrapped("note: ", strings.Repeat("seven00 ", 20))
	for i, line := range strings.Split(strings.TrimSpace(long), "\n") {
		assert.LessOrEqual(t, len(line), harness.ScreenWidth)
		if i > 0 {
			assert.True(t, strings.HasPrefix(line, "      seven00"), line)
		}
	}
	word := strings.Repeat("x", 100)
	assert.Equal(t, "note:\n      "+word+"\n", wrapped("note: ", word), "a word is never broken")
}
