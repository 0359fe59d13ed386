package sweep

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"runtime/debug"
	"sync"
	"sync/atomic"
	"time"
)

// Options says how a shard is run.
type Options struct {
	Out     string // folder of results; it is made
	Shard   Shard  // the zero Shard is the whole sweep
	Workers int    // launches at a time; below 1: one
	// Progress is told about four times a second, from one goroutine at a time.
	// It may be nil.
	Progress func(Progress)
	// Checkpoint is the time between two points that a killed process can be
	// taken up from; 0: ten seconds.
	Checkpoint time.Duration
	// Version of the program, written into every shard: shards of different
	// versions are not merged. "": that of the build.
	Version string

	start func(*Plan) runner // tests run something shorter than a launch
}

// Progress is how far a shard is.
type Progress struct {
	Done, All int64
	Rate      float64       // launches a second, of this process
	Left      time.Duration // at that rate; 0 if there is none yet
}

// Report is what Run has done.
type Report struct {
	Path    string // of the shard's file
	Count   int64  // launches in it
	Ran     int64  // by this process
	Resumed int64  // taken over from an earlier try
	Already bool   // the file was there and valid
}

// InterruptedError says that a sweep was stopped and can go on: start it again
// in the same way. It wraps context.Canceled.
type InterruptedError struct{ Done, All int64 }

// Error implements error.
func (e *InterruptedError) Error() string {
	return fmt.Sprintf("interrupted after %d of %d launches: the same command goes on from there", e.Done, e.All)
}

// Unwrap gives context.Canceled.
func (e *InterruptedError) Unwrap() error { return context.Canceled }

// runner runs launches for one worker.
type runner interface {
	row(launch int64) (Row, error)
}

func (l *launcher) row(launch int64) (Row, error) {
	// A launch under way is finished whatever comes: it takes a moment.
	o, err := l.run(context.Background(), l.plan.settingsOf(launch), nil)
	if err != nil {
		return nil, fmt.Errorf("launch %d: %w", launch, err)
	}
	return l.plan.row(&o), nil
}

// Run runs one shard into its file. A file that is there and valid is left
// alone. When the context ends, launches under way are finished, what is done is
// put on the disk, and the error is an *InterruptedError; running the shard
// again goes on from there, also after a crash. Rows are the same however often
// that happens, with any number of workers.
func Run(ctx context.Context, p *Plan, o Options) (Report, error) {
	if o.Shard == (Shard{}) {
		o.Shard = Whole
	}
	if err := o.Shard.check(); err != nil {
		return Report{}, err
	}
	h := p.shardHeader(o)
	rep := Report{Path: filepath.Join(o.Out, o.Shard.fileName(p.Tag())), Count: h.Count}
	if err := os.MkdirAll(o.Out, 0o755); err != nil {
		return rep, err
	}
	if valid(rep.Path, h) {
		rep.Already = true
		clearParts(o.Out, h)
		return rep, nil
	}
	w, err := createShard(o.Out, h)
	if err != nil {
		return rep, err
	}
	if err := resume(o.Out, h, w); err != nil {
		w.drop()
		return rep, err
	}
	rep.Resumed = w.rows
	r := newRelay(p, o, h, w)
	err = r.run(ctx)
	rep.Ran = w.rows - rep.Resumed
	switch {
	case err != nil:
		return rep, errors.Join(err, w.checkpoint(), w.file.Close())
	case w.rows < h.Count:
		err = errors.Join(w.checkpoint(), w.file.Close())
		return rep, errors.Join(&InterruptedError{w.rows, h.Count}, err)
	}
	if err := w.finish(rep.Path); err != nil && !valid(rep.Path, h) { // another process of this shard may have been first
		return rep, err
	}
	clearParts(o.Out, h)
	return rep, nil
}

func (p *Plan) shardHeader(o Options) *shardHeader {
	first, end := o.Shard.span(p.size)
	version := o.Version
	if version == "" {
		version = buildVersion()
	}
	return &shardHeader{
		Format: ShardFormat, Plan: p.Hash(), Name: p.Name, MadeBy: version, Shard: o.Shard.I, Of: o.Shard.N,
		First: first, Count: end - first, Launches: p.size, Seed: p.Seed, Hot: p.hot, Judged: p.Judged(),
		Columns: p.Columns(), Pictures: p.pictures(),
	}
}

// buildVersion names the program: its release, or the commit it was built from.
func buildVersion() string {
	info, ok := debug.ReadBuildInfo()
	if !ok {
		return "unknown"
	}
	version := info.Main.Version
	for _, s := range info.Settings {
		if s.Key == "vcs.revision" && version == "(devel)" {
			version = s.Value
		}
	}
	return version
}

// relay hands launch numbers to workers and their rows, in order, to the file.
type relay struct {
	plan    *Plan
	options Options
	header  *shardHeader
	out     *shardWriter

	next    atomic.Int64 // launch to hand out
	stopped atomic.Bool
	rows    chan done
	room    chan struct{} // bounds how far workers run ahead of the file
}

type done struct {
	launch int64
	row    Row
	err    error
}

// ahead is how many rows a worker may be in front of the slowest.
const ahead = 64

func newRelay(p *Plan, o Options, h *shardHeader, w *shardWriter) *relay {
	workers := max(o.Workers, 1)
	r := &relay{plan: p, options: o, header: h, out: w, rows: make(chan done, workers), room: make(chan struct{}, ahead*workers)}
	r.next.Store(h.First + w.rows)
	return r
}

func (r *relay) run(ctx context.Context) error {
	stop := context.AfterFunc(ctx, func() { r.stopped.Store(true) })
	defer stop()
	if ctx.Err() != nil {
		r.stopped.Store(true)
	}
	var wg sync.WaitGroup
	for range max(r.options.Workers, 1) {
		wg.Go(r.work)
	}
	go func() {
		wg.Wait()
		close(r.rows)
	}()
	return r.collect()
}

// work runs launches until there are none, or until it is told to stop: then all
// launches that were handed out are finished, so that no gap is left.
func (r *relay) work() {
	start := r.options.start
	if start == nil {
		start = func(p *Plan) runner { return newLauncher(p) }
	}
	mine := start(r.plan)
	for {
		r.room <- struct{}{}
		if r.stopped.Load() {
			return
		}
		n := r.next.Add(1) - 1
		if n >= r.header.First+r.header.Count {
			return
		}
		row, err := mine.row(n)
		r.rows <- done{n, row, err}
	}
}

// collect writes rows in the order of the launches.
func (r *relay) collect() (err error) {
	waiting := map[int64]Row{}
	m := newMeter(r.options.Progress, r.out.rows, r.header.Count)
	every := r.options.Checkpoint
	if every <= 0 {
		every = 10 * time.Second
	}
	last := time.Now()
	fail := func(why error) {
		if err == nil {
			err = why
		}
		r.stopped.Store(true)
		r.release(cap(r.room)) // let go whoever waits for room
	}
	for d := range r.rows {
		if d.err != nil {
			fail(d.err)
			continue // what comes before it is still written
		}
		waiting[d.launch] = d.row
		if e := r.write(waiting); e != nil {
			fail(e)
		}
		m.tell(r.out.rows)
		if time.Since(last) >= every {
			if e := r.out.checkpoint(); e != nil {
				fail(e)
			}
			last = time.Now()
		}
	}
	m.end(r.out.rows)
	return err
}

// write writes the rows whose turn it is.
func (r *relay) write(waiting map[int64]Row) error {
	for {
		n := r.header.First + r.out.rows
		row, ok := waiting[n]
		if !ok {
			return nil
		}
		delete(waiting, n)
		if err := r.out.add(row); err != nil {
			return err
		}
		r.release(1)
	}
}

// release gives room for n more launches; workers that stopped keep theirs.
func (r *relay) release(n int) {
	for range n {
		select {
		case <-r.room:
		default:
		}
	}
}
