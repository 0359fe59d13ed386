package main

import (
	"fmt"
	"os"
	"strings"
	"time"

	"github.com/holdline/holdline/controller"
	"github.com/holdline/holdline/harness/link/wire"
)

// ownRig is a user's controller as a program on its standard streams: the
// reference behind the wire, or by its arguments "deaf" one that cuts nothing,
// "quits" one that dies in the middle of a run, "commits" one that reports no
// outputs.
type ownRig struct {
	wire.Hosted
	rig   wire.Rig
	store [controller.MaxImage]byte
	began time.Time
	ways  string
	ticks int
}

func ownRigMain() {
	r := &ownRig{began: time.Now()}
	r.ways = strings.Join(os.Args[1:], " ")
	r.rig = wire.Rig{Hello: wire.HostedHello(), Handler: r, Store: r.store[:]}
	if strings.Contains(r.ways, "commits") {
		r.rig.Hello.Features &^= wire.ReportsOutputs
	}
	r.rig.Hello.Token = uint32(time.Now().UnixNano())
	pieces := make(chan []byte)
	go func() {
		defer close(pieces)
		for {
			piece := make([]byte, 4096)
			n, err := os.Stdin.Read(piece)
			if err != nil {
				return
			}
			pieces <- piece[:n]
		}
	}()
	for {
		r.rig.Poll()
		select {
		case piece, open := <-pieces:
			if !open {
				return
			}
			r.rig.Receive(piece)
		case <-time.After(10 * time.Millisecond):
		}
	}
}

// Tick implements wire.Handler.
func (r *ownRig) Tick(n uint32, in *controller.Input, out *controller.Output) {
	r.Hosted.Tick(n, in, out)
	if r.ticks++; strings.Contains(r.ways, "quits") && r.ticks == 2000 {
		fmt.Fprintln(os.Stderr, "own rig: out of smoke")
		os.Exit(1)
	}
}

// Commit implements wire.Handler.
func (r *ownRig) Commit(e *wire.Event) {
	r.Hosted.Commit(e)
	if strings.Contains(r.ways, "deaf") {
		e.Give = true
		if e.Kind == wire.Fuel {
			e.Value = int32(controller.One)
		}
	}
}

// Off implements wire.Handler: it has no pins.
func (r *ownRig) Off() {}

// Micros implements wire.Handler.
func (r *ownRig) Micros() uint32 { return uint32(time.Since(r.began).Microseconds()) }

// Write implements wire.Handler.
func (r *ownRig) Write(p []byte) { _, _ = os.Stdout.Write(p) }
