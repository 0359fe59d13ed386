//go:build !tinygo

package main

import (
	"fmt"
	"os"
	"time"
)

var self unit

func main() {
	var image []byte
	if len(os.Args) > 1 {
		var err error
		if image, err = os.ReadFile(os.Args[1]); err != nil {
			fmt.Fprintln(os.Stderr, "rig-go:", err)
			os.Exit(2)
		}
	}
	self.setUp(uint32(time.Now().UnixNano()), image)
	serve()
}

// serve polls between reads; the reader is a goroutine because a read of
// standard input cannot be given a time limit.
func serve() {
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
		self.rig.Poll()
		select {
		case piece, open := <-pieces:
			if !open {
				self.Off()
				return
			}
			self.rig.Receive(piece)
		case <-time.After(10 * time.Millisecond):
		}
	}
}

var began = time.Now()

// Micros is the rig's own clock.
func (u *unit) Micros() uint32 { return uint32(time.Since(began).Microseconds()) }

// Write sends bytes to the bench.
func (u *unit) Write(p []byte) { _, _ = os.Stdout.Write(p) }

func setPins(Outputs) {}

func dropped(after uint32) { fmt.Fprintf(os.Stderr, "off after %d us\n", after) }
