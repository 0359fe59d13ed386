//go:build tinygo

package main

import (
	"device/arm"

	"github.com/holdline/holdline/controller"
	board "github.com/holdline/holdline/examples/boards/lm3s6965evb"
	"github.com/holdline/holdline/examples/boards/work"
)

// All that a firmware keeps lives in globals: there is no heap.
var (
	cal   controller.Calibration
	drive work.Drive
)

func main() {
	board.Start()
	start()
	line("end", 0)
	for {
	}
}

func start() {
	page := board.Page()
	length := int(page[6]) | int(page[7])<<8
	if err := cal.LoadImage(page[:min(length, len(page))], nil); err != nil {
		line("image-refused", 0)
		return
	}
	calibrate()
	for i := range work.Parts {
		measure(&work.Parts[i])
	}
}

// calibrate prints what the clock shows for loops of known length: two
// instructions a turn.
func calibrate() {
	line("clock-empty", known(0))
	line("clock-2000", known(1000))
	line("clock-4000", known(2000))
}

func known(turns uint32) uint32 {
	from := board.Clock()
	if turns > 0 {
		_ = arm.AsmFull(`
			mov {}, {turns}
		1:	subs {}, {}, #1
			bne 1b
		`, map[string]interface{}{"turns": turns})
	}
	return board.Since(from)
}

// cost keeps the sum and the worst of clock readings.
type cost struct {
	calls, worst, at uint32
	clocks, wraps    uint32 // of 2^16 clocks
}

func (c *cost) add(clocks, at uint32) {
	c.calls++
	if clocks > c.worst {
		c.worst, c.at = clocks, at
	}
	c.clocks += clocks
	c.wraps += c.clocks >> 16
	c.clocks &= 1<<16 - 1
}

func (c *cost) print(part, name string) {
	text(part)
	text(name)
	number(c.calls)
	number(c.wraps)
	number(c.clocks)
	number(c.worst)
	number(c.at)
	end()
}

var tick, fuel, spark cost

func measure(p *work.Part) {
	tick, fuel, spark = cost{}, cost{}, cost{}
	paint()
	if drive.Begin(&cal, p.Kind, p.Seed) != nil {
		return
	}
	for t := range uint32(p.Ticks) {
		step(t)
	}
	text(p.Name)
	text("-sum")
	hex(drive.Sum)
	end()
	tick.print(p.Name, "-tick")
	fuel.print(p.Name, "-fuel")
	spark.print(p.Name, "-spark")
	line("stack", deepest())
}

func step(t uint32) {
	drive.Prepare()
	from := board.Clock()
	drive.Tick()
	tick.add(board.Since(from), t)
	drive.NoteTick()
	for e, ok := drive.Next(); ok; e, ok = drive.Next() {
		if e.Spark {
			from = board.Clock()
			d := drive.Spark(e)
			spark.add(board.Since(from), t)
			drive.NoteSpark(d)
		} else {
			from = board.Clock()
			d := drive.Fuel(e)
			fuel.add(board.Since(from), t)
			drive.NoteFuel(d)
		}
	}
}
