package link

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"strings"
	"sync"
	"time"
)

// program dials a rig that is a program on its standard streams: a rig built
// for the host, or an emulated board. Every Dial starts it anew.
type program struct {
	argv   []string
	dir    string
	settle time.Duration
}

// String implements Dialer.
func (d *program) String() string { return strings.Join(d.argv, " ") }

// Dial implements Dialer.
func (d *program) Dial(ctx context.Context) (Port, error) {
	cmd := exec.Command(d.argv[0], d.argv[1:]...)
	cmd.Dir = d.dir
	cmd.WaitDelay = time.Second
	words := &tail{}
	cmd.Stderr = words
	p, err := startOnTerminal(cmd)
	if err != nil {
		fix := "build the rig first, or correct command in the rig file"
		return nil, &Error{Kind: Refused, Port: d.String(), What: "the rig's program does not start", Fix: fix, Err: err}
	}
	run := &running{Port: p, cmd: cmd, words: words, ended: make(chan struct{})}
	go run.wait()
	if err := pause(ctx, d.settle); err != nil {
		run.Close()
		return nil, err
	}
	return run, nil
}

// running is the port of a program that runs.
type running struct {
	Port
	cmd   *exec.Cmd
	words *tail
	ended chan struct{}
	err   error // of the program, once ended
	once  sync.Once
}

func (r *running) wait() {
	r.err = r.cmd.Wait()
	close(r.ended)
}

// Read implements Port, and says why the program ended if it did.
func (r *running) Read(p []byte, until time.Time) (int, error) {
	n, err := r.Port.Read(p, until)
	if err != nil && !errors.Is(err, ErrNothing) {
		err = r.why(err)
	}
	return n, err
}

// why adds what the program said last.
func (r *running) why(err error) error {
	select {
	case <-r.ended:
	case <-time.After(100 * time.Millisecond):
		return err
	}
	what := "the rig's program ended"
	if r.err != nil {
		what += " (" + r.err.Error() + ")"
	}
	if w := r.words.String(); w != "" {
		what += fmt.Sprintf(", saying %q", w)
	}
	return &Error{Kind: LinkLost, What: what, Err: err}
}

const programGrace = 300 * time.Millisecond

// Close implements Port: it hangs up, and ends the program if it does not end by
// itself.
func (r *running) Close() error {
	var err error
	r.once.Do(func() {
		err = r.Port.Close()
		t := time.NewTimer(programGrace)
		defer t.Stop()
		select {
		case <-r.ended:
			return
		case <-t.C:
		}
		killAll(r.cmd)
		<-r.ended // bounded: WaitDelay
	})
	return err
}

// tail keeps the end of what a program says.
type tail struct {
	mu sync.Mutex
	b  []byte
}

const tailBytes = 500

func (t *tail) Write(p []byte) (int, error) {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.b = append(t.b, p...)
	if n := len(t.b) - tailBytes; n > 0 {
		t.b = append(t.b[:0], t.b[n:]...)
	}
	return len(p), nil
}

func (t *tail) String() string {
	t.mu.Lock()
	defer t.mu.Unlock()
	return string(bytes.TrimSpace(t.b))
}

// closeAll closes files that are there.
func closeAll(list ...*os.File) {
	for _, f := range list {
		if f != nil {
			f.Close()
		}
	}
}
