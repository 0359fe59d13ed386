package main

import (
	"bytes"
	"strings"
	"testing"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"
	"github.com/stretchr/testify/assert"

	"github.com/holdline/holdline/harness"
)

// The help of every command fits a terminal of 80 columns, says what the command is
// for, and names every flag.
func TestHelpFitsAScreen(t *testing.T) {
	var each func(c *cobra.Command, path []string)
	each = func(c *cobra.Command, path []string) {
		var out, bad bytes.Buffer
		assert.Zero(t, realMain(append(path, "--help"), &out, &bad))
		assert.Empty(t, bad.String())
		for _, line := range strings.Split(out.String(), "\n") {
			assert.LessOrEqual(t, len([]rune(line)), harness.ScreenWidth, "%s: %s", c.CommandPath(), line)
		}
		assert.NotEmpty(t, c.Short, c.CommandPath())
		c.Flags().VisitAll(func(f *pflag.Flag) {
			assert.Contains(t, out.String(), "--"+f.Name, c.CommandPath())
		})
		for _, sub := range c.Commands() {
			each(sub, append(path[:len(path):len(path)], sub.Name()))
		}
	}
	each(newRoot(), nil)
}

func TestWideParagraphsAreBroken(t *testing.T) {
	long := strings.TrimSpace(strings.Repeat("word ", 30))
	got := onScreen("short\n\n" + long + "\n\n  " + long)
	assert.Equal(t, "short", strings.Split(got, "\n")[0])
	assert.Len(t, strings.Split(got, "\n"), 6, got)
	assert.True(t, strings.HasSuffix(got, "\n\n  "+long), "a list stands as it was written")
}
