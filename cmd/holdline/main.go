// Command holdline checks calibrations, replays recordings and runs simulated
// launches through a launch controller.
package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"os/signal"

	"github.com/spf13/cobra"

	"github.com/holdline/holdline/harness"
	"github.com/holdline/holdline/harness/sweep"
)

// Exit statuses.
const (
	exitHeld        = 0  // all held, or nothing was required
	exitFailed      = 1  // a requirement failed or stayed inconclusive
	exitInput       = 2  // the input or usage is wrong
	exitLink        = 3  // the rig or the link failed
	exitInterrupted = 75 // stopped by a signal; can be resumed or repeated
)

// statusError carries an exit status with an error that has been, or will be,
// told.
type statusError struct {
	status int
	err    error
}

func (e *statusError) Error() string { return e.err.Error() }
func (e *statusError) Unwrap() error { return e.err }

// withStatus gives an error an exit status; nil stays nil.
func withStatus(status int, err error) error {
	if err == nil {
		return nil
	}
	return &statusError{status, err}
}

func main() { os.Exit(realMain(os.Args[1:], os.Stdout, os.Stderr)) }

// realMain runs the command line and gives its exit status. Tests call it.
func realMain(args []string, stdout, stderr io.Writer) int {
	ctx, stop := signal.NotifyContext(context.Background(), sweep.StopSignals...)
	defer stop()
	root := newRoot()
	root.SetArgs(args)
	root.SetOut(stdout)
	root.SetErr(stderr)
	return statusOf(root.ExecuteContext(ctx), stderr)
}

// statusOf prints an error once and turns it into an exit status. An error
// without a status is one of usage or input.
func statusOf(err error, stderr io.Writer) int {
	if err == nil {
		return exitHeld
	}
	status := exitInput
	var s *statusError
	if errors.As(err, &s) {
		status = s.status
	} else if errors.Is(err, context.Canceled) {
		status = exitInterrupted
	}
	if p, bare := err.(*fs.PathError); bare { // the name of the system call tells nobody anything
		err = fmt.Errorf("%s: %s", p.Path, harness.ReasonOf(p))
	}
	fmt.Fprintln(stderr, err)
	return status
}

const rootLong = `Holdline is a reference launch controller and a bench that proves launch
controllers: on recorded logs and on simulated cars.

  holdline demo                       see it work
  holdline check FILE...              find every mistake in a file at once
  holdline replay RECORDING --cal FILE
                                      what a correct controller would have done
  holdline run SCENARIO...            launch a simulated car
  holdline rig --rig FILE SCENARIO... run it on your own controller
  holdline sweep PLAN -o DIR          launch many times, over values you choose
  holdline advise SCENARIO            say what to change for a surface
  holdline fit RECORDING --car CAR    learn from a log what it can tell of a car
  holdline report DIR...              make pages of stored results

Exit status: 0 all held; 1 a requirement failed or stayed inconclusive; 2 the
input or usage is wrong; 3 the rig or link failed; 75 interrupted.

For competition and closed courses only. A reference and a test bench, certified
for nothing: late ignition and nitrous can destroy engines and burn people.
Hardware cut-offs come first.`

func newRoot() *cobra.Command {
	root := &cobra.Command{
		Use:           "holdline",
		Short:         "Launch control: a reference controller and a test bench",
		Long:          rootLong,
		SilenceUsage:  true,
		SilenceErrors: true,
	}
	root.AddCommand(verbs()...)
	fitHelp(root)
	return root
}

// verbs lists the commands in the order of use.
func verbs() []*cobra.Command {
	return []*cobra.Command{demoCommand(), checkCommand(), replayCommand(), runCommand(), rigCommand(), portsCommand(), sweepCommand(), mergeCommand(), adviseCommand(), fitCommand(), reportCommand()}
}

// printFindings lists findings, one a line, in the order of file and line.
func printFindings(w io.Writer, fs harness.Findings) {
	for _, f := range fs.Sorted() {
		fmt.Fprintln(w, f.String())
	}
}
