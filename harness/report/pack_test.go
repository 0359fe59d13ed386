package report

import (
	"encoding/binary"
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"pgregory.net/rapid"
)

// unpack reverses pack; as the script does.
func unpack(p packed, n int) []int32 {
	out := make([]int32, 0, n)
	last := int64(0)
	for len(p) > 0 && len(out) < n {
		u, k := binary.Uvarint(p)
		if k <= 0 {
			break
		}
		p = p[k:]
		if u == 0 {
			still, k := binary.Uvarint(p)
			p = p[max(k, 0):]
			for ; still > 0 && len(out) < n; still-- {
				out = append(out, int32(last))
			}
			continue
		}
		last += int64(u>>1) ^ -int64(u&1)
		out = append(out, int32(last))
	}
	return out
}

// Whatever the numbers, they come back; a value that stands costs next to nothing.
func TestPackedNumbersComeBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		value := rapid.OneOf(rapid.Int32(), rapid.Int32Range(-2, 2), rapid.SampledFrom([]int32{math.MinInt32, math.MaxInt32, 0}))
		data := rapid.SliceOf(value).Draw(t, "data")
		if got := unpack(pack(data), len(data)); !assert.ObjectsAreEqual(append([]int32{}, data...), got) {
			t.Fatalf("%v came back as %v", data, got)
		}
	})
	assert.Less(t, len(pack(make([]int32, 1_000_000))), 6)
}
