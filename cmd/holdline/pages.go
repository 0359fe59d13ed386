package main

import (
	"bytes"
	"errors"
	"io"
	"iter"
	"path/filepath"

	"github.com/holdline/holdline/controller"
	"github.com/holdline/holdline/harness"
	"github.com/holdline/holdline/harness/files"
	"github.com/holdline/holdline/harness/report"
	"github.com/holdline/holdline/harness/require"
)

const (
	marginStretches = 400     // along a run
	mostPageTicks   = 120_000 // a longer run has a page without charts
)

// writePage writes a page as a whole or not at all.
func writePage(path string, force bool, draw func(io.Writer) error) error {
	var text bytes.Buffer
	if err := draw(&text); err != nil {
		return err
	}
	return files.WriteFile(path, text.Bytes(), force)
}

// saveRun writes what a run's page is made of, and the page. trace may be nil.
func saveRun(dir string, r *harness.Results, trace *harness.Trace, cal *controller.Calibration, required []require.Requirement) error {
	calText, err := files.EncodeCalibration(cal)
	if err == nil {
		err = files.WriteFile(filepath.Join(dir, report.CalibrationFile), calText, true)
	} else { // one of a program can have what the text has no place for
		r.Notes, err = append(r.Notes, "no "+report.CalibrationFile+" is kept: "+err.Error()), nil
	}
	text, wrong := r.JSON()
	if err = errors.Join(err, wrong); err != nil {
		return err
	}
	run := &report.Run{Results: r, Trace: trace, Calibration: cal}
	if trace != nil && len(required) > 0 {
		if run.Margins, err = report.Margins(trace, cal, required, r.Complete, marginStretches); err != nil {
			return err
		}
		err = writePage(filepath.Join(dir, report.MarginsFile), true, func(w io.Writer) error { return report.WriteMargins(w, run.Margins) })
	}
	return errors.Join(err,
		files.WriteFile(filepath.Join(dir, report.ResultsFile), text, true),
		writePage(filepath.Join(dir, report.PageFile), true, func(w io.Writer) error { return report.Page(w, run) }),
	)
}

// saveIndex writes the page that lists several runs. folders are where their own
// pages are, "" for a run that kept none.
func saveIndex(dir string, head report.IndexHead, runs []harness.Results, folders []string) error {
	return writePage(filepath.Join(dir, report.IndexFile), true, func(w io.Writer) error {
		return report.Index(w, head, indexRows(dir, runs, folders))
	})
}

func indexRows(dir string, runs []harness.Results, folders []string) iter.Seq2[report.IndexRow, error] {
	return func(yield func(report.IndexRow, error) bool) {
		for i := range runs {
			if runs[i].Verb == "" {
				continue // interrupted before its turn
			}
			link, err := linkTo(dir, folders[i])
			if !yield(report.RowOf(&runs[i], link), err) {
				return
			}
		}
	}
}

// linkTo is the address of a folder's page from another folder.
func linkTo(from, folder string) (string, error) {
	if folder == "" {
		return "", nil
	}
	rel, err := filepath.Rel(from, filepath.Join(folder, report.PageFile))
	return filepath.ToSlash(rel), err
}

func foldersOf(jobs []*job, n int) []string {
	list := make([]string, n)
	for i := range list {
		list[i] = jobs[i].folder
	}
	return list
}

// saveRuns writes what a verb with several runs leaves beside them.
func saveRuns(dir string, all *harness.Results, runs []harness.Results, folders []string) error {
	err := errors.Join(saveResults(dir, all), saveSummary(dir, runs), saveJUnit(dir, runs))
	if len(runs) > 1 {
		head := report.IndexHead{Title: harness.Count(len(runs), "run"), Repeat: all.Repeat}
		err = errors.Join(err, saveIndex(dir, head, runs, folders))
	}
	return err
}

// pageOf is the page to look at first.
func pageOf(dir string, folders []string) string {
	if len(folders) == 1 && folders[0] != "" {
		return filepath.Join(folders[0], report.PageFile)
	}
	return filepath.Join(dir, report.IndexFile)
}
