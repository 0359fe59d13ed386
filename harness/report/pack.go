package report

import (
	"encoding/base64"
	"encoding/binary"
)

// packed is a column in the page: the difference of each number to the one before,
// zigzag-coded as a variable-length number of seven bits a byte, least first. A 0
// stands for a stretch without change and is followed by its length.
//
// The alphabet is that of URLs, which needs no escaping in HTML.
type packed []byte

func pack(data []int32) packed {
	var out packed
	last, still := int32(0), uint64(0)
	flush := func() {
		if still > 0 {
			out = binary.AppendUvarint(append(out, 0), still)
			still = 0
		}
	}
	for _, x := range data {
		d := int64(x) - int64(last)
		last = x
		if d == 0 {
			still++
			continue
		}
		flush()
		out = binary.AppendUvarint(out, uint64(d<<1)^uint64(d>>63))
	}
	flush()
	return out
}

func (p packed) text() string { return base64.RawURLEncoding.EncodeToString(p) }
