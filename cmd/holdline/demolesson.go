package main

import (
	"fmt"
	"strings"

	"github.com/holdline/holdline/controller"
	"github.com/holdline/holdline/harness"
)

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
