package main

import (
	"errors"
	"io"
	"os"

	"github.com/spf13/cobra"

	"github.com/holdline/holdline/harness"
	"github.com/holdline/holdline/harness/link"
)

// isByteLog reports whether a file is the byte log of a rig.
func isByteLog(path string) bool {
	f, err := os.Open(path)
	if err != nil {
		return false
	}
	defer f.Close()
	head := make([]byte, len(link.LogFormat))
	_, err = io.ReadFull(f, head)
	return err == nil && string(head) == link.LogFormat
}

// replayLog judges a run again from what its wire carried: the scenario asks the
// same questions, the log gives the rig's answers.
func replayLog(cmd *cobra.Command, path string, o replayOptions) error {
	if o.scenario == "" {
		return errors.New("a byte log holds a rig's answers only: name what was asked with --scenario FILE, and --seed N; the results beside the log say both")
	}
	jobs, findings := scenarioJobs("rig", []string{o.scenario}, runOptions{set: o.set, seed: o.seed, repeats: 1, out: o.out, force: o.force})
	printFindings(cmd.ErrOrStderr(), findings)
	switch {
	case findings.Failed():
		return errors.New("nothing was replayed: mend the errors above")
	case len(jobs) != 1:
		return errors.New("the scenario varies values: settle them with --set PATH=VALUE, as the results beside the log say")
	}
	if o.out != "" {
		if err := prepareDir(o.out, o.force); err != nil {
			return err
		}
		jobs[0].folder = o.out
	}
	log, err := link.OpenPlayback(path)
	if err != nil && !errors.Is(err, link.ErrLogCut) {
		return err
	}
	b := &rigBench{job: jobs[0], rig: &link.Rig{Name: "played back", Notes: path}, progress: cmd.ErrOrStderr()}
	r, runErr := b.drive(cmd.Context(), log.Unit(link.Options{Context: cmd.Context()}))
	return rigOutcome(cmd, jobs, []harness.Results{r}, runErr, nil, rigOptions{runOptions: runOptions{json: o.json}})
}
