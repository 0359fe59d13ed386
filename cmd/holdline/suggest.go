package main

import (
	"errors"

	"github.com/spf13/cobra"

	"github.com/holdline/holdline/harness"
	"github.com/holdline/holdline/harness/files"
	"github.com/holdline/holdline/harness/record"
)

// suggestColumns prints a first columns file.
func suggestColumns(cmd *cobra.Command, path, columns string) error {
	options := record.Options{}
	if columns != "" {
		cols, findings := files.LoadColumns(columns)
		printFindings(cmd.ErrOrStderr(), findings)
		if findings.Failed() {
			return errors.New("no suggestion: mend the columns file or leave it out")
		}
		options = cols.Options()
	}
	options.Need = []string{} // what is written in words is part of the suggestion
	rec, findings := record.ReadFile(path, options)
	if rec == nil || findings.Failed() {
		// Without a time column the rate is what a person must state; titles and
		// values do not need it.
		options.Rate = 1
		if again, second := record.ReadFile(path, options); again != nil && !second.Failed() {
			rec, findings = again, append(second, harness.Finding{
				File: path, Reason: "no time column was found; rows are counted at 1 Hz here", Fix: "state rate_hz in the columns file"})
		}
	}
	printFindings(cmd.ErrOrStderr(), findings)
	if rec == nil || findings.Failed() {
		return errors.New("no suggestion: the recording cannot be read")
	}
	_, err := cmd.OutOrStdout().Write(files.SuggestColumns(rec))
	return err
}
