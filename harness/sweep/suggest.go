package sweep

import (
	"context"
	"fmt"
	"math"
	"time"

	"github.com/holdline/holdline/harness"
)

// Bounds of a task: long enough that a scheduler's half second does not show,
// short enough that little is lost with a task.
const (
	shortestTask = 10 * time.Second
	aimedTask    = 30 * time.Second
	longestTask  = 60 * time.Second
)

// Suggestion is a number of shards that makes tasks of 10 to 60 s.
type Suggestion struct {
	Shards   int64
	Launches int64         // in the largest shard
	Task     time.Duration // of the largest shard, with the workers asked for
	Each     time.Duration // of one launch on one core
}

// String says it in a line.
func (s Suggestion) String() string {
	return fmt.Sprintf("%s of up to %s, about %s each (%s a launch)", harness.Count(s.Shards, "shard"), harness.Count(s.Launches, "launch"), s.Task.Round(time.Second/10), s.Each.Round(time.Millisecond/10))
}

// Suggest times a few launches, spread over the plan, on this machine.
func Suggest(ctx context.Context, p *Plan, workers int) (Suggestion, error) {
	const tries = 5
	l := newLauncher(p)
	start, n := time.Now(), int64(0)
	for i := range int64(tries) {
		if ctx.Err() != nil {
			return Suggestion{}, ctx.Err()
		}
		if _, err := l.row(part(i, tries, p.size)); err != nil {
			return Suggestion{}, err
		}
		n++
	}
	return suggest(p.size, time.Since(start)/time.Duration(n), workers), nil
}

func suggest(launches int64, each time.Duration, workers int) Suggestion {
	each, workers = max(each, time.Microsecond), max(workers, 1)
	total := float64(launches) * each.Seconds() / float64(workers)
	shards := int64(math.Ceil(total / aimedTask.Seconds()))
	if total < longestTask.Seconds() {
		shards = 1
	}
	shards = max(1, min(shards, launches, maxShards))
	most := (launches + shards - 1) / shards
	return Suggestion{shards, most, time.Duration(float64(most) * each.Seconds() / float64(workers) * float64(time.Second)), each}
}
