package sweep

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"
)

// Shard is one of the parts into which a sweep is cut: number I of N, from 1.
type Shard struct{ I, N int64 }

// Whole is a sweep in one piece.
var Whole = Shard{1, 1}

// String gives "3/10".
func (s Shard) String() string { return fmt.Sprintf("%d/%d", s.I, s.N) }

// ParseShard reads "3/10".
func ParseShard(text string) (Shard, error) {
	a, b, ok := strings.Cut(text, "/")
	i, errI := strconv.ParseInt(a, 10, 64)
	n, errN := strconv.ParseInt(b, 10, 64)
	if !ok || errI != nil || errN != nil {
		return Shard{}, fmt.Errorf("shard %q is not read: write I/N, such as 3/10", text)
	}
	s := Shard{i, n}
	return s, s.check()
}

func (s Shard) check() error {
	if s.N < 1 || s.N > maxShards || s.I < 1 || s.I > s.N {
		return fmt.Errorf("shard %s is out of range: I counts from 1 to N, N up to %d", s, maxShards)
	}
	return nil
}

const maxShards = 1_000_000

// span is the stretch of launches of a shard, from first up to but without end.
// Shards of one N are as even as can be and leave no gap.
func (s Shard) span(launches int64) (first, end int64) {
	return part(s.I-1, s.N, launches), part(s.I, s.N, launches)
}

// part is i launches/n, rounded down, without overflow.
func part(i, n, launches int64) int64 {
	return i*(launches/n) + i*(launches%n)/n
}

// fileName is where a shard's rows end up.
func (s Shard) fileName(tag string) string {
	return fmt.Sprintf("shard-%d-of-%d.%s", s.I, s.N, tag)
}

var shardName = regexp.MustCompile(`^shard-(\d{1,7})-of-(\d{1,7})\.([0-9a-f]{16})$`)

// parseFileName reads the name of a finished shard's file.
func parseFileName(name string) (s Shard, tag string, ok bool) {
	m := shardName.FindStringSubmatch(name)
	if m == nil {
		return Shard{}, "", false
	}
	s.I, _ = strconv.ParseInt(m[1], 10, 64)
	s.N, _ = strconv.ParseInt(m[2], 10, 64)
	return s, m[3], s.check() == nil
}
