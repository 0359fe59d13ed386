package main

import (
	"encoding/json"
	"fmt"
	"sort"
	"strings"

	"github.com/spf13/cobra"

	"github.com/holdline/holdline/controller"
	"github.com/holdline/holdline/harness"
	"github.com/holdline/holdline/harness/advise"
	"github.com/holdline/holdline/harness/files"
	"github.com/holdline/holdline/harness/link"
	"github.com/holdline/holdline/harness/require"
	"github.com/holdline/holdline/harness/scenario"
	"github.com/holdline/holdline/harness/sweep"
)

const checkLong = `Check reads files of any kind that Holdline knows and lists everything that is
wrong with them at once: file, line, column, key, value, allowed range, and what
to do. The first line of a file says its kind.

A warning is something that its author should know; only errors fail the check.
A calibration with a shot or late ignition can destroy engines and burn people:
hardware cut-offs first.`

func checkCommand() *cobra.Command {
	var asJSON, describe bool
	var rules string
	c := &cobra.Command{
		Use:   "check FILE...",
		Short: "List every mistake in calibrations and other files",
		Long:  checkLong,
		RunE: func(cmd *cobra.Command, args []string) error {
			if describe {
				return describeKinds(cmd, args)
			}
			if err := takes(1, -1)(cmd, args); err != nil {
				return err
			}
			return runCheck(cmd, args, rules, asJSON)
		},
	}
	c.Flags().BoolVar(&asJSON, "json", false, "print the findings as JSON")
	c.Flags().StringVar(&rules, "rules", "", "also find what the rules profile `FILE` of a class forbids in calibrations")
	c.Flags().BoolVar(&describe, "keys", false, "print every key of a kind of file (or list the kinds) instead")
	return c
}

// fileKind is a kind of file that check knows, by its format line.
type fileKind struct {
	check    func(path string) harness.Findings
	describe func() string
}

var fileKinds = map[string]fileKind{
	"holdline-calibration-1": {
		check:    func(p string) harness.Findings { _, f := files.LoadCalibration(p); return f },
		describe: files.Calibration.Describe,
	},
	"holdline-columns-1": {
		check:    func(p string) harness.Findings { _, f := files.LoadColumns(p); return f },
		describe: files.ColumnsKind.Describe,
	},
	"holdline-car-1": {
		check:    func(p string) harness.Findings { _, f := files.LoadCar(p); return f },
		describe: files.Car.Describe,
	},
	"holdline-scenario-1": {
		check:    func(p string) harness.Findings { _, f := scenario.Load(p, scenario.AsWritten); return f },
		describe: scenario.Kind.Describe,
	},
	advise.RulesKind.Format: {
		check:    func(p string) harness.Findings { _, f := advise.LoadRules(p); return f },
		describe: advise.RulesKind.Describe,
	},
	sweep.PlanKind.Format: {
		check:    func(p string) harness.Findings { _, f := sweep.Load(p); return f },
		describe: sweep.PlanKind.Describe,
	},
	link.RigKind.Format: {
		check:    func(p string) harness.Findings { _, f := link.LoadRig(p); return f },
		describe: link.RigKind.Describe,
	},
	require.FileFormat: {
		check:    func(p string) harness.Findings { _, _, f := require.FileKind.Read(p); return f },
		describe: require.FileKind.Describe,
	},
}

func kindNames() []string {
	var names []string
	for n := range fileKinds {
		names = append(names, n)
	}
	sort.Strings(names)
	return names
}

func runCheck(cmd *cobra.Command, paths []string, rules string, asJSON bool) error {
	var all harness.Findings
	if rules != "" {
		all = append(all, forbidden(rules, paths)...)
	}
	for _, p := range paths {
		all = append(all, checkFile(p)...)
	}
	all = all.Sorted()
	if asJSON {
		text, err := json.MarshalIndent(append(harness.Findings{}, all...), "", "  ")
		if err != nil {
			return err
		}
		fmt.Fprintln(cmd.OutOrStdout(), string(text))
	} else {
		printFindings(cmd.OutOrStdout(), all)
	}
	errors := 0
	for _, f := range all {
		if f.Severity == harness.Error {
			errors++
		}
	}
	if errors > 0 {
		return fmt.Errorf("%s and %s in %s", harness.Count(errors, "error"), harness.Count(len(all)-errors, "warning"), harness.Count(len(paths), "file"))
	}
	if !asJSON {
		for _, p := range paths {
			if cal, _ := files.LoadCalibration(p); cal != nil && hot(cal) {
				harness.Wrap(cmd.OutOrStdout(), "caution: ", p+": "+cautionText)
			}
		}
		fmt.Fprintf(cmd.OutOrStdout(), "%s, no errors, %s\n", harness.Count(len(paths), "file"), harness.Count(len(all), "warning"))
	}
	return nil
}

// forbidden says what of the calibrations among some files a class forbids.
func forbidden(rules string, paths []string) harness.Findings {
	r, all := advise.LoadRules(rules)
	for _, p := range paths {
		if cal, _ := files.LoadCalibration(p); cal != nil && r != nil {
			for _, f := range r.Check(cal) {
				f.File = p
				all = append(all, f)
			}
		}
	}
	return all
}

// checkFile finds a file's kind by its format line and checks it.
func checkFile(path string) harness.Findings {
	text, err := files.ReadText(path)
	if err != nil {
		return harness.Findings{{Severity: harness.Error, File: path, Reason: "cannot be read: " + harness.ReasonOf(err)}}
	}
	doc, findings := files.Parse(path, text)
	kind, ok := fileKinds[files.FormatOf(doc)]
	if ok {
		return kind.check(path)
	}
	return append(findings, harness.Finding{
		Severity: harness.Error, File: path, Line: 1, Field: "format", Value: quoted(files.FormatOf(doc)),
		Allowed: strings.Join(kindNames(), ", "), Reason: "is no kind of file that can be checked",
		Fix: `start the file with a line like format = "holdline-calibration-1"`,
	})
}

func quoted(s string) string {
	if s == "" {
		return "none"
	}
	return fmt.Sprintf("%q", s)
}

// describeKinds prints the keys of the kinds named, or lists the kinds.
func describeKinds(cmd *cobra.Command, names []string) error {
	if len(names) == 0 {
		for _, n := range kindNames() {
			fmt.Fprintln(cmd.OutOrStdout(), n)
		}
		return nil
	}
	for _, n := range names {
		k, ok := fileKinds[n]
		if !ok {
			k, ok = fileKinds["holdline-"+n+"-1"]
		}
		if !ok {
			return fmt.Errorf("no kind of file is called %q; there are: %s", n, strings.Join(kindNames(), ", "))
		}
		fmt.Fprintln(cmd.OutOrStdout(), k.describe())
	}
	return nil
}

const cautionText = "added power and late ignition can destroy engines and burn people: hardware cut-offs first"

// hot reports whether a calibration moves ignition or opens a shot.
func hot(cal *controller.Calibration) bool {
	for i := range cal.Stages {
		if cal.Stages[i].Timing.Mode != controller.TimingBase {
			return true
		}
	}
	for i := range cal.Shots {
		if cal.Shots[i].When != controller.NoShot {
			return true
		}
	}
	return false
}
