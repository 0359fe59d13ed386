package fit

import (
	"math"
	"sort"

	"gonum.org/v1/gonum/stat"

	"github.com/holdline/holdline/controller"
	"github.com/holdline/holdline/harness/stats"
)

// Ratio is one gear as a recording shows it.
type Ratio struct {
	RPM       float64 // engine speed for 1 m/s: median
	Low, High float64 // of the median, 95 %, between order statistics
	N         int
	Overall   float64 // gear times final drive, with the tyre radius of the car file
}

// Bounds of what belongs to one gear.
const (
	slowestGear = 3.0  // m/s
	gearWidth   = 0.10 // of the logarithm of the ratio: gears of cars stand wider apart (common practice)
	leastShare  = 0.06 // of all samples that a gear holds
	unsteady    = 0.04 // change from one sample to the next: the signals of a slow logger are not of one moment
)

// Ratios finds the gears in which a car was driven: where many samples have the
// same engine speed for a road speed. radius is that of the driven tyre, in m.
func (l *Log) Ratios(radius float64) (list []Ratio) {
	var logs []float64
	last := [2]float64{}
	for t := 0; t < len(l.On); t += l.Every {
		n, v := l.Values[0][t], l.Values[1][t]
		if math.IsNaN(v) {
			v = l.Values[2][t]
		}
		steady := n != last[0] && math.Abs(n/last[0]-1) < unsteady && math.Abs(v/last[1]-1) < unsteady
		last = [2]float64{n, v}
		if steady && n > 900 && v > slowestGear && !l.On[t].Has(controller.ClutchDown) {
			logs = append(logs, math.Log(n/v))
		}
	}
	sort.Float64s(logs)
	used := make([]bool, len(logs))
	for {
		from, to := densest(logs, used)
		if to-from < max(6, int(leastShare*float64(len(logs)))) {
			break
		}
		part := logs[from:to]
		for i := range logs { // what a slow logger smears beside a gear is no gear
			used[i] = used[i] || logs[i] > part[0]-gearWidth && logs[i] < part[len(part)-1]+gearWidth
		}
		low, high, ok := stats.MedianRanks(len(part))
		if !ok {
			break
		}
		rpm := func(x float64) float64 { return math.Exp(x) }
		mid := stats.Quantile(len(part), 0.5, func(i int) float64 { return part[i-1] })
		r := Ratio{RPM: rpm(mid), Low: rpm(part[low-1]), High: rpm(part[high-1]), N: len(part)}
		r.Overall = r.RPM * math.Pi / 30 * radius
		list = append(list, r)
	}
	sort.Slice(list, func(i, k int) bool { return list[i].RPM > list[k].RPM })
	return list
}

// densest is the stretch of one gear's width with most samples that are free.
func densest(logs []float64, used []bool) (from, to int) {
	best, end := 0, 0
	for i := range logs {
		if used[i] {
			continue
		}
		end = max(end, i)
		for end < len(logs) && !used[end] && logs[end]-logs[i] <= gearWidth {
			end++
		}
		if end-i > best {
			best, from, to = end-i, i, end
		}
	}
	return from, to
}

// Drag is how a car slows down with the throttle shut.
type Drag struct {
	Speed, At float64 // m/s, m/s2
	Low, High float64 // 95 %, Student's
	N         int     // stretches
}

// Slowing looks at stretches of some seconds with the throttle shut. Each counts
// once: within a stretch samples are not independent.
func (l *Log) Slowing() *Drag {
	var rates, speeds []float64
	least := int(3e6 / float64(l.PeriodUS))
	for t := 0; t < len(l.On); t++ {
		from := t
		for t < len(l.On) && l.Throttle[t] < 3*controller.Percent && l.Values[1][t] > 5 && !l.On[t].Has(controller.FootBrake) {
			t++
		}
		if t-from < least {
			continue
		}
		a, b := l.Values[1][from], l.Values[1][t-1]
		rates = append(rates, (a-b)*1e6/(float64(t-1-from)*float64(l.PeriodUS)))
		speeds = append(speeds, (a+b)/2)
	}
	if len(rates) < 3 {
		return nil
	}
	mean, sd := stat.MeanStdDev(rates, nil)
	in := stats.MeanInterval(len(rates), mean, sd)
	return &Drag{Speed: stat.Mean(speeds, nil), At: mean, Low: in.Low, High: in.High, N: len(rates)}
}

// Driving learns from a recording without a launch.
func Driving(l *Log, radius float64) *Report {
	return &Report{Notes: l.Notes, Ratios: l.Ratios(radius), Drag: l.Slowing()}
}
