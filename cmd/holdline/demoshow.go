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
				printWrapped(w, "> ", speedLesson(cmp, rows))
				continue
			}
			printChoices(w, cmp, rows)
			printWrapped(w, "> ", cmp.lesson(rows))
		}
	}
	fmt.Fprintln(w)
	printWrapped(w, "note: ", fmt.Sprintf("each figure is the mean of the launches with seeds %d to %d. target: from full throttle to the target. limited by: what took most of the way to 60 ft.", o.seed, o.seed+uint64(o.repeats)-1))
	if o.out != "" {
		fmt.Fprintf(w, "Traces and pictures of the first seed: %s\n", o.out)
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

const choiceWidth = 22

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

// rippleLesson names the steadiest and the roughest hold.
func rippleLesson(rows []row) string {
	least, most := 0, 0
	for i, r := range rows {
		if r.sd < rows[least].sd {
			least = i
		}
		if r.sd > rows[most].sd {
			most = i
		}
	}
	a, b := rows[least], rows[most]
	return fmt.Sprintf("Steadiest hold: %s, +-%.0f rpm; roughest: %s, %.1f times that.", a.name, a.sd, b.name, b.sd/a.sd)
}

// boostLesson says which choices reach a pressure, and how far the others come.
func boostLesson(target controller.Pressure) func([]row) string {
	kpa := harness.Channels[controller.ManifoldPressure].Units(int32(target))
	return func(rows []row) string {
		var there, short []string
		for _, r := range rows {
			if r.toTarget > 0 {
				there = append(there, fmt.Sprintf("%s (%.1f s)", r.name, r.toTarget))
			} else {
				short = append(short, fmt.Sprintf("%s %.0f", r.name, r.pressure))
			}
		}
		switch {
		case len(there) == 0:
			return fmt.Sprintf("Nothing reaches %.0f kPa: %s.", kpa, strings.Join(short, ", "))
		case len(short) == 0:
			return fmt.Sprintf("Everything reaches %.0f kPa: %s.", kpa, strings.Join(there, ", "))
		}
		return fmt.Sprintf("%.0f kPa is reached by %s; not by %s kPa. %s", kpa, strings.Join(there, ", "), strings.Join(short, ", "), gain(rows))
	}
}

// gain is what the quickest choice has over the slowest to 60 ft.
func gain(rows []row) string {
	quick := fastest(rows)
	if quick < 0 {
		return ""
	}
	slow := quick
	for i, r := range rows {
		if r.feet60 > rows[slow].feet60 {
			slow = i
		}
	}
	return fmt.Sprintf("60 ft: %s %.2f s before %s.", rows[quick].name, rows[slow].feet60-rows[quick].feet60, rows[slow].name)
}

// comeUpLesson holds every choice against the first.
func comeUpLesson(rows []row) string {
	base := rows[0]
	var parts []string
	for _, r := range rows[1:] {
		switch {
		case r.toTarget == 0:
			parts = append(parts, fmt.Sprintf("%s never gets there, it stops at %.0f rpm", r.name, r.hold))
		case base.toTarget == 0:
			parts = append(parts, fmt.Sprintf("%s gets there, after %.1f s", r.name, r.toTarget))
		case r.toTarget < base.toTarget:
			parts = append(parts, fmt.Sprintf("%s %.1f s sooner", r.name, base.toTarget-r.toTarget))
		default:
			parts = append(parts, fmt.Sprintf("%s %.1f s later", r.name, r.toTarget-base.toTarget))
		}
	}
	return fmt.Sprintf("Against %s: %s.", base.name, strings.Join(parts, "; "))
}

// speedLesson gives the best launch speed of each surface, and what ails the
// ends.
func speedLesson(c *comparison, rows []row) string {
	var parts []string
	for i := range c.choices {
		part := rows[i*len(c.speeds) : (i+1)*len(c.speeds)]
		best := fastest(part)
		if best < 0 {
			parts = append(parts, c.choices[i].name+": never leaves")
			continue
		}
		surface, _, _ := strings.Cut(c.choices[i].name, ",")
		text := fmt.Sprintf("%s best at %d", surface, part[best].speed/controller.RPM)
		if best > 0 {
			text += fmt.Sprintf(", below it %s", ails(part[0], part[best]))
		}
		if best < len(part)-1 {
			text += fmt.Sprintf(", above it %s", ails(part[len(part)-1], part[best]))
		}
		parts = append(parts, text)
	}
	return strings.Join(parts, "; ") + "."
}

// ails says what a launch does worse than the best one.
func ails(r, best row) string {
	lost := ""
	if r.feet60 > 0 {
		lost = fmt.Sprintf(" (+%.2f s)", r.feet60-best.feet60)
	}
	switch {
	case r.stalled:
		return "it stalls"
	case r.limit == harness.LimitBog:
		return "it bogs" + lost
	case r.spin > best.spin+0.05:
		return "it spins" + lost
	}
	return "it lacks pull" + lost
}
