package main

import (
	"fmt"
	"io"
	"strings"

	"github.com/holdline/holdline/controller"
	"github.com/holdline/holdline/harness"
)

// row is a line of a table: means over the seeds of a choice. A time that only
// some launches reached counts as not reached.
type row struct {
	name                         string
	speed                        controller.Speed
	hold, sd, pressure, toTarget float64
	feet60, eighth, quarter      float64
	limit                        string
	stalled                      bool
	spin                         float64
}

func rowOf(c *cell) row {
	r := row{name: c.name, speed: c.speed}
	n := float64(len(c.results))
	limits := map[string]int{}
	var targets, sixties, eighths, quarters []float64
	for i := range c.results {
		l := c.results[i].Launch
		r.hold += l.HoldSpeed / n
		r.sd += l.HoldSD / n
		r.pressure += l.Pressure / n
		r.spin += l.Spin / n
		r.stalled = r.stalled || l.Stalled
		targets, sixties = append(targets, l.ToTarget), append(sixties, l.Feet60)
		eighths, quarters = append(eighths, l.Eighth), append(quarters, l.Quarter)
		limits[l.Limit]++
	}
	r.toTarget, r.feet60, r.eighth, r.quarter = allOf(targets), allOf(sixties), allOf(eighths), allOf(quarters)
	r.limit = mostOf(limits)
	return r
}

// allOf is the mean, or 0 if any value is 0.
func allOf(list []float64) float64 {
	sum := 0.0
	for _, x := range list {
		if x == 0 {
			return 0
		}
		sum += x
	}
	return sum / float64(len(list))
}

// mostOf is the most frequent word; of equals the first in the alphabet.
func mostOf(counts map[string]int) string {
	best := ""
	for w, n := range counts {
		if n > counts[best] || n == counts[best] && w < best {
			best = w
		}
	}
	return best
}

const demoNote = "Invented cars and tracks: directions, not your numbers. Closed courses only."

// printDemo shows the tables of every car on one screen of 80 columns.
func printDemo(w io.Writer, cars []demoCar, cells []cell, o demoOptions) {
	fmt.Fprintf(w, "%s\n", demoNote)
	for i := range cars {
		fmt.Fprintf(w, "\n%s: %s\n", strings.ToUpper(cars[i].base.car.Name), cars[i].headline)
		for k := range cars[i].comparisons {
			cmp := &cars[i].comparisons[k]
			rows := rowsOf(cells, i, k)
			if len(cmp.speeds) > 0 {
				printSpeeds(w, cmp, rows)
				harness.Wrap(w, "> ", speedLesson(cmp, rows))
				continue
			}
			printChoices(w, cmp, rows)
			harness.Wrap(w, "> ", cmp.lesson(rows))
		}
	}
	fmt.Fprintln(w)
	harness.Wrap(w, "note: ", fmt.Sprintf("each figure is the mean of the launches with seeds %d to %d. target: from full throttle to the target. late timing, retard: ignition 20 degrees after dead centre while held. limited by: what took most of the way to 60 ft.", o.seed, o.seed+uint64(o.repeats)-1))
	if o.out != "" {
		fmt.Fprintf(w, "Pages, traces and pictures of the first seed: %s\n", pageOf(o.out, nil))
	}
}

func rowsOf(cells []cell, car, comparison int) (rows []row) {
	for i := range cells {
		if cells[i].car == car && cells[i].comparison == comparison {
			rows = append(rows, rowOf(&cells[i]))
		}
	}
	return rows
}

const choiceWidth = 21

func printChoices(w io.Writer, c *comparison, rows []row) {
	fmt.Fprintf(w, "%-*s %5s %5s %5s %6s %6s %6s %6s  %s\n", choiceWidth, c.title, "hold", "+-rpm", "kPa", "target", "60 ft", "1/8", "1/4", "limited by")
	for _, r := range rows {
		fmt.Fprintf(w, "  %-*s %5.0f %5.0f %5.0f %6s %6s %6s %6s  %s\n", choiceWidth-2, cutTo(r.name, choiceWidth-2),
			r.hold, r.sd, r.pressure, clock(r.toTarget, 2), clock(r.feet60, 2), clock(r.eighth, 2), clock(r.quarter, 2), r.limit)
	}
}

// clock shows a time, or a dash where there is none.
func clock(s float64, digits int) string {
	if s == 0 {
		return "-"
	}
	return fmt.Sprintf("%.*f", digits, s)
}

// printSpeeds is a line a surface: 60 ft over launch speeds, the best one marked.
func printSpeeds(w io.Writer, c *comparison, rows []row) {
	fmt.Fprintf(w, "%-*s", choiceWidth+2, c.title)
	for _, s := range c.speeds {
		fmt.Fprintf(w, "%8d ", s/controller.RPM)
	}
	fmt.Fprintln(w)
	for i := range c.choices {
		part := rows[i*len(c.speeds) : (i+1)*len(c.speeds)]
		best := fastest(part)
		fmt.Fprintf(w, "  %-*s", choiceWidth, c.choices[i].name)
		for k, r := range part {
			mark := " "
			if k == best {
				mark = "*"
			}
			text := clock(r.feet60, 2)
			if r.stalled {
				text = "stall"
			}
			fmt.Fprintf(w, "%8s%s", text, mark)
		}
		fmt.Fprintln(w)
	}
}

// fastest is the row with the least time to 60 ft, or -1.
func fastest(rows []row) int {
	best := -1
	for i, r := range rows {
		if r.feet60 > 0 && !r.stalled && (best < 0 || r.feet60 < rows[best].feet60) {
			best = i
		}
	}
	return best
}
