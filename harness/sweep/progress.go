package sweep

import (
	"fmt"
	"time"
)

// meter measures the rate of a shard and tells it now and then.
type meter struct {
	tellTo func(Progress)
	first  int64
	all    int64
	start  time.Time
	told   time.Time
}

func newMeter(tell func(Progress), first, all int64) *meter {
	now := time.Now()
	return &meter{tellTo: tell, first: first, all: all, start: now, told: now}
}

const tellEvery = time.Second / 4

func (m *meter) tell(rows int64) {
	if now := time.Now(); m.tellTo != nil && now.Sub(m.told) >= tellEvery {
		m.told = now
		m.tellTo(m.at(rows, now))
	}
}

func (m *meter) end(rows int64) {
	if m.tellTo != nil {
		m.tellTo(m.at(rows, time.Now()))
	}
}

func (m *meter) at(rows int64, now time.Time) Progress {
	p := Progress{Done: rows, All: m.all}
	if s := now.Sub(m.start).Seconds(); s > 0 && rows > m.first {
		p.Rate = float64(rows-m.first) / s
		p.Left = time.Duration(float64(m.all-rows) / p.Rate * float64(time.Second))
	}
	return p
}

// String gives a line such as "1200 of 5000 launches, 38 a second, about 1m40s
// left".
func (p Progress) String() string {
	text := fmt.Sprintf("%d of %d launches", p.Done, p.All)
	if p.Rate > 0 {
		text += fmt.Sprintf(", %.3g a second", p.Rate)
	}
	if p.Left > 0 {
		text += fmt.Sprintf(", about %s left", p.Left.Round(time.Second))
	}
	return text
}
