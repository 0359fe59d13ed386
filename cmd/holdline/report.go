package main

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"github.com/holdline/holdline/harness"
	"github.com/holdline/holdline/harness/files"
	"github.com/holdline/holdline/harness/record"
	"github.com/holdline/holdline/harness/report"
)

const reportLong = `Report makes pages of stored results again: one of every run that it finds under
the folders, and for several runs an index of all, with how repeatable the launches
are; of several folders, what changed from the first, pair by pair. With --overlay it lays two runs
over each other, aligned at release, with what differs in their calibrations and
their weather. With --tables it draws the tables of a calibration.

A page is one file. It needs no network, and can be sent and printed.`

type reportOptions struct {
	out             string
	overlay, tables bool
}

func reportCommand() *cobra.Command {
	var o reportOptions
	c := &cobra.Command{
		Use:     "report DIR...",
		Short:   "Make pages of stored results",
		Long:    reportLong,
		Example: "  holdline report out\n  holdline report --overlay out/saltmarsh-launch-1 out/saltmarsh-launch-2",
		Args:    takes(1, -1),
		RunE: func(cmd *cobra.Command, args []string) error {
			switch {
			case o.overlay && o.tables:
				return errors.New("--overlay and --tables make different pages: choose one")
			case o.overlay:
				return reportOverlay(cmd, args, o)
			case o.tables:
				return reportTables(cmd, args, o)
			}
			return reportRuns(cmd, args, o)
		},
	}
	f := c.Flags()
	f.StringVarP(&o.out, "out", "o", "", "write the index or the further page to `FILE`")
	f.BoolVar(&o.overlay, "overlay", false, "lay two runs over each other")
	f.BoolVar(&o.tables, "tables", false, "draw the tables of calibration files")
	return c
}

// reportRuns makes the page of every run under the folders, and their index. One
// run is read at a time.
func reportRuns(cmd *cobra.Command, dirs []string, o reportOptions) error {
	var folders []string
	var groups []repeated
	for _, dir := range dirs {
		g := repeated{name: filepath.ToSlash(dir)}
		runs, err := storedRuns(dir)
		if err != nil {
			return err
		}
		for _, r := range runs {
			folders, g.runs = append(folders, r.dir), append(g.runs, r.result)
		}
		groups = append(groups, g)
	}
	for _, dir := range folders {
		if err := remakePage(dir); err != nil {
			return err
		}
	}
	w := cmd.OutOrStdout()
	if len(folders) == 1 && o.out == "" {
		fmt.Fprintln(w, filepath.Join(folders[0], report.PageFile))
		return nil
	}
	if o.out == "" {
		o.out = filepath.Join(dirs[0], report.IndexFile)
		if len(dirs) > 1 {
			o.out = report.IndexFile
		}
	}
	head := report.IndexHead{Title: harness.Count(len(folders), "run"), Facts: []report.Fact{{Name: "From", Text: strings.Join(dirs, ", ")}}}
	if err := writePage(o.out, true, func(w io.Writer) error { return report.Index(w, head, storedRows(o.out, folders)) }); err != nil {
		return err
	}
	fmt.Fprintf(w, "%s lists %s\n", o.out, harness.Count(len(folders), "run"))
	if cut := cutFolders(dirs); len(cut) > 0 {
		harness.Wrap(w, "left out: ", fmt.Sprintf("runs that did not come to their end and have no %s: %d, such as %s", report.ResultsFile, len(cut), cut[0]))
	}
	printRepeats(w, groups)
	return nil
}

// storedRun is a folder with the results of one run, and what of them says how
// repeatable it is: the rest is large.
type storedRun struct {
	dir    string
	result *harness.Results
}

// storedRuns lists the folders under dir that hold the results of one run, in the
// order of their names.
func storedRuns(dir string) (list []storedRun, err error) {
	err = filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.Name() != report.ResultsFile {
			return err
		}
		r, err := report.ReadResults(path)
		if err == nil && len(r.Runs) == 0 {
			list = append(list, storedRun{filepath.Dir(path), &harness.Results{Seed: r.Seed, Launch: r.Launch, Repeat: r.Repeat}})
		}
		return err
	})
	if err != nil {
		return nil, err
	}
	if len(list) == 0 {
		if cut := cutFolders([]string{dir}); len(cut) > 0 {
			return nil, fmt.Errorf("%s holds a run that did not come to its end, without %s: its trace is kept up to there, run it again for a page", cut[0], report.ResultsFile)
		}
		return nil, fmt.Errorf("%s holds no %s of a run: name a folder that was written with --out", dir, report.ResultsFile)
	}
	return unnested(list), nil
}

// cutFolders lists the folders under dirs that hold a trace, whole or in part, and
// no results: a process was killed there.
func cutFolders(dirs []string) (list []string) {
	for _, dir := range dirs {
		_ = filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
			if err != nil || strings.TrimSuffix(d.Name(), record.PartialSuffix) != record.TraceFile {
				return nil
			}
			folder := filepath.Dir(path)
			if _, err := os.Stat(filepath.Join(folder, report.ResultsFile)); errors.Is(err, os.ErrNotExist) {
				list = append(list, folder)
			}
			return nil
		})
	}
	return list
}

// unnested leaves out a folder above another: its results are those of the run
// below.
func unnested(list []storedRun) (out []storedRun) {
	above := map[string]bool{}
	for _, r := range list {
		for dir, up := r.dir, filepath.Dir(r.dir); up != dir && !above[up]; dir, up = up, filepath.Dir(up) {
			above[up] = true
		}
	}
	for _, r := range list {
		if !above[r.dir] {
			out = append(out, r)
		}
	}
	return out
}

func remakePage(dir string) error {
	run, err := report.ReadFolder(dir)
	if err != nil {
		return err
	}
	if run.Trace != nil && run.Trace.Ticks > mostPageTicks {
		run.Trace = nil
	}
	return writePage(filepath.Join(dir, report.PageFile), true, func(w io.Writer) error { return report.Page(w, run) })
}

// storedRows reads the results of one folder after the other.
func storedRows(index string, folders []string) func(func(report.IndexRow, error) bool) {
	return func(yield func(report.IndexRow, error) bool) {
		for _, dir := range folders {
			r, err := report.ReadResults(filepath.Join(dir, report.ResultsFile))
			if err != nil {
				yield(report.IndexRow{}, err)
				return
			}
			link, err := linkTo(filepath.Dir(index), dir)
			if !yield(report.RowOf(r, link), err) {
				return
			}
		}
	}
}

func reportOverlay(cmd *cobra.Command, dirs []string, o reportOptions) error {
	if len(dirs) != 2 {
		return fmt.Errorf("--overlay lays two runs over each other: %d folders were named", len(dirs))
	}
	var runs [2]*report.Run
	for i, dir := range dirs {
		run, err := oneRun(dir)
		if err != nil {
			return err
		}
		if run.Trace == nil {
			return fmt.Errorf("%s holds no %s: run it again with --out", dir, "trace.csv")
		}
		runs[i] = run
	}
	if o.out == "" {
		o.out = report.OverlayFile
	}
	if err := writePage(o.out, true, func(w io.Writer) error { return report.Overlay(w, runs[0], runs[1]) }); err != nil {
		return err
	}
	fmt.Fprintln(cmd.OutOrStdout(), o.out)
	return nil
}

// oneRun reads the only run under a folder.
func oneRun(dir string) (*report.Run, error) {
	runs, err := storedRuns(dir)
	if err != nil {
		return nil, err
	}
	if len(runs) > 1 {
		return nil, fmt.Errorf("%s holds %d runs: name the folder of one, such as %s", dir, len(runs), runs[0].dir)
	}
	return report.ReadFolder(runs[0].dir)
}

func reportTables(cmd *cobra.Command, paths []string, o reportOptions) error {
	if o.out != "" && len(paths) > 1 {
		return errors.New("--out names one page: name one calibration file")
	}
	var all harness.Findings
	for _, path := range paths {
		if s, err := os.Stat(path); err == nil && s.IsDir() {
			path = filepath.Join(path, report.CalibrationFile)
		}
		cal, findings := files.LoadCalibration(path)
		all = append(all, findings...)
		if findings.Failed() {
			continue
		}
		out := o.out
		if out == "" {
			out = harness.Slug(strings.TrimSuffix(filepath.Base(path), filepath.Ext(path))) + "-" + report.TablesFile
		}
		if err := writePage(out, true, func(w io.Writer) error { return report.Tables(w, cal) }); err != nil {
			return err
		}
		fmt.Fprintln(cmd.OutOrStdout(), out)
	}
	printFindings(cmd.ErrOrStderr(), all)
	if all.Failed() {
		return errors.New("mend the errors above")
	}
	return nil
}
