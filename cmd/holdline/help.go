package main

import (
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"github.com/holdline/holdline/harness"
)

// fitHelp makes the help of a command and of all below it fit a terminal: flags are
// wrapped, and paragraphs that are too wide are broken anew. Indented lines stand.
func fitHelp(root *cobra.Command) {
	cobra.AddTemplateFunc("onScreen", onScreen)
	root.SetHelpTemplate(strings.Replace(root.HelpTemplate(), "{{. |", "{{onScreen . |", 1))
	wrapped := fmt.Sprintf("FlagUsagesWrapped %d", harness.ScreenWidth)
	root.SetFlagErrorFunc(func(c *cobra.Command, err error) error {
		return fmt.Errorf("%w; %s --help lists what it takes", err, c.CommandPath())
	})
	root.SetUsageTemplate(strings.ReplaceAll(root.UsageTemplate(), "Flags.FlagUsages", "Flags."+wrapped))
}

// takes wants from least to most things named behind a command, most under 0 being
// any number, and otherwise shows how the command is written.
func takes(least, most int) cobra.PositionalArgs {
	return func(c *cobra.Command, args []string) error {
		var wrong string
		switch {
		case len(args) < least:
			wrong = "nothing was named"
		case most >= 0 && len(args) > most:
			wrong = fmt.Sprintf("%q is too many", args[most])
		default:
			return nil
		}
		return fmt.Errorf("%s: %s\n%s --help says more", wrong, strings.TrimSuffix(c.UseLine(), " [flags]"), c.CommandPath())
	}
}

// idle refuses flags that were given but would do nothing, and says why.
func idle(c *cobra.Command, why string, names ...string) error {
	var given []string
	for _, n := range names {
		if c.Flags().Changed(n) {
			given = append(given, "--"+n)
		}
	}
	if len(given) == 0 {
		return nil
	}
	return fmt.Errorf("%s: %s", strings.Join(given, ", "), why)
}

// onScreen breaks the paragraphs that are wider than a screen.
func onScreen(text string) string {
	parts := strings.Split(text, "\n\n")
	for i, p := range parts {
		wide, plain := false, true
		for _, line := range strings.Split(p, "\n") {
			wide = wide || len([]rune(line)) > harness.ScreenWidth
			plain = plain && !strings.HasPrefix(line, " ")
		}
		if wide && plain {
			var b strings.Builder
			harness.Wrap(&b, "", p)
			parts[i] = strings.TrimRight(b.String(), "\n")
		}
	}
	return strings.Join(parts, "\n\n")
}
