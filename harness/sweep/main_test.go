package sweep

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"os"
	"os/signal"
	"runtime"
	"testing"
	"time"
)

// The test binary is also a task, as the command line is: SWEEP PLAN --shard I/N
// -o DIR in as few lines as can be.
const taskVariable = "HOLDLINE_TEST_TASK"

func TestMain(m *testing.M) {
	if os.Getenv(taskVariable) != "" && len(os.Args) > 2 && os.Args[1] == "sweep" {
		os.Exit(task(os.Args[2], os.Args[3:]))
	}
	os.Exit(m.Run())
}

// task runs a shard; its exit status is the contract's.
func task(planFile string, args []string) int {
	var shard, out string
	var merge bool
	f := flag.NewFlagSet("sweep", flag.ExitOnError)
	f.StringVar(&shard, "shard", "", "")
	f.StringVar(&out, "o", "", "")
	f.BoolVar(&merge, "merge", false, "")
	_ = f.Parse(args)

	ctx, stop := signal.NotifyContext(context.Background(), StopSignals...)
	defer stop()
	p, fs := Load(planFile)
	if fs.Failed() {
		fmt.Fprintln(os.Stderr, fs)
		return 2
	}
	t, err := DetectShard(shard, p.Shards, os.LookupEnv)
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		return 2
	}
	rep, err := Run(ctx, p, Options{Out: out, Shard: t.Shard, Workers: Workers(0, runtime.GOMAXPROCS(0), os.LookupEnv), Checkpoint: time.Second / 5})
	fmt.Fprintf(os.Stderr, "%s, attempt %q: shard %s, ran %d, resumed %d, already %v\n", t.From, t.Attempt, t.Shard, rep.Ran, rep.Resumed, rep.Already)
	var stopped *InterruptedError
	switch {
	case errors.As(err, &stopped):
		fmt.Fprintln(os.Stderr, err)
		return 75
	case err != nil:
		fmt.Fprintln(os.Stderr, err)
		return 3
	}
	if !merge {
		return 0
	}
	s, err := Merge([]string{out}, out, true)
	if err == nil {
		err = KeepTraces(ctx, p, s, out)
	}
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		return 3
	}
	fmt.Fprintln(os.Stderr, s.Verdict)
	return 0
}
