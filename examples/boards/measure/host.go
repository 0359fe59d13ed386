//go:build !tinygo

package main

import (
	"fmt"
	"os"

	"github.com/holdline/holdline/controller"
	"github.com/holdline/holdline/examples/boards/work"
)

func main() {
	if len(os.Args) != 2 {
		fmt.Fprintln(os.Stderr, "usage: measure IMAGE\nIMAGE is a calibration image, as a board keeps it in flash.")
		os.Exit(2)
	}
	image, err := os.ReadFile(os.Args[1])
	if err == nil {
		err = run(image)
	}
	if err != nil {
		fmt.Fprintln(os.Stderr, "measure:", err)
		os.Exit(1)
	}
}

func run(image []byte) error {
	var cal controller.Calibration
	if err := cal.LoadImage(image, nil); err != nil {
		return err
	}
	for i := range work.Parts {
		part := &work.Parts[i]
		sum, err := part.Sum(&cal)
		if err != nil {
			return err
		}
		fmt.Printf("%s-sum %08x\n", part.Name, sum)
	}
	return nil
}
