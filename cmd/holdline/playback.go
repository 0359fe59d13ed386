package main

import (
	"errors"
	"fmt"
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

const bytesLong = `Bytes shows what went over the wire of a rig, from the byte log that a run leaves
beside its results: time in seconds, direction (-> to the rig, <- from it), bytes.`

func bytesCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "bytes LOG",
		Short: "Show what went over a rig's wire",
		Long:  bytesLong,
		Args:  takes(1, 1),
		RunE: func(cmd *cobra.Command, args []string) error {
			f, err := os.Open(args[0])
			if err != nil {
				return err
			}
			defer f.Close()
			list, err := link.ReadLog(f)
			if e := link.PrintLog(cmd.OutOrStdout(), list); e != nil {
				return e
			}
			if err != nil {
				return fmt.Errorf("%s: %s; good records before that: %d", args[0], harness.ReasonOf(err), len(list))
			}
			return nil
		},
	}
}

// replayLog judges a run again from what its wire carried: the scenario asks the
// same questions, the log gives the rig's answers.
func replayLog(cmd *cobra.Command, path string, o replayOptions) error {
	if o.scenario == "" {
		return errors.New("a byte log holds a rig's answers only: name what was asked with --scenario FILE, and --seed N; the results beside the log say both")
	}
	if err := idle(cmd, "only with a recording, and "+path+" is a rig's byte log", "cal", "columns", "script", "from", "to", "no-trace", "suggest-columns"); err != nil {
		return err
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
