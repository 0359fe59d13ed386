package link

import (
	"bytes"
	"fmt"
	"math/rand/v2"
	"os"
	"runtime"
	"strconv"
	"sync"
	"testing"

	"github.com/holdline/holdline/harness/link/wire"
	"github.com/stretchr/testify/require"
)

// sentFrame is a frame of a real run.
type sentFrame struct {
	wire []byte // with its delimiter
	body []byte
}

// framesOfARun takes the frames of a session from a byte log.
func framesOfARun(t testing.TB) (list []sentFrame, nonce uint32) {
	var log bytes.Buffer
	b := &bench{}
	u := NewUnit(b, Options{Limits: programLimits, Log: NewLog(&log), Nonce: 0x5eed1e55})
	_, _, err := ride(t, shortened(shippedJobs(t)[2], 4), u)
	require.NoError(t, err)
	b.hangUp()
	records, err := ReadLog(&log)
	require.NoError(t, err)
	var ways [2]wire.Deframer
	var raw [2][]byte
	for _, r := range records {
		w := 0
		if r.FromRig {
			w = 1
		}
		for _, c := range r.Bytes {
			raw[w] = append(raw[w], c)
			if ways[w].Feed(c) {
				body, ok := wire.Body(ways[w].Data(), 0x5eed1e55)
				require.True(t, ok)
				list = append(list, sentFrame{raw[w], append([]byte(nil), body...)})
			}
			if c == 0 {
				raw[w] = nil
			}
		}
	}
	return list, 0x5eed1e55
}

// spoiler damages frames in every way that is known from real wires.
type spoiler struct {
	r    *rand.Rand
	list []sentFrame
	buf  []byte
}

// next gives damaged bytes, ended by a delimiter, and the frames they came from.
func (s *spoiler) next() (damaged []byte, a, b *sentFrame) {
	a = &s.list[s.r.IntN(len(s.list))]
	b = &s.list[s.r.IntN(len(s.list))]
	s.buf = append(s.buf[:0], a.wire...)
	n := len(s.buf)
	switch s.r.IntN(8) {
	case 0, 1, 2: // a few bits
		for range 1 + s.r.IntN(6) {
			s.buf[s.r.IntN(n)] ^= 1 << s.r.IntN(8)
		}
	case 3: // a burst
		at := s.r.IntN(n)
		for i := at; i < min(n, at+1+s.r.IntN(12)); i++ {
			s.buf[i] = byte(s.r.Uint32())
		}
	case 4: // bytes lost
		at := s.r.IntN(n)
		end := min(n, at+1+s.r.IntN(4))
		s.buf = append(s.buf[:at], s.buf[end:]...)
	case 5: // bytes twice
		at := s.r.IntN(n)
		s.buf = append(s.buf[:at], a.wire[max(0, at-1-s.r.IntN(4)):]...)
	case 6: // two frames run together
		s.buf = append(s.buf[:n-1-s.r.IntN(min(n-1, 6))], b.wire[s.r.IntN(min(len(b.wire), 6)):]...)
	case 7: // neighbours swapped, and a bit
		i := s.r.IntN(n - 1)
		s.buf[i], s.buf[i+1] = s.buf[i+1], s.buf[i]
		s.buf[s.r.IntN(n)] ^= 1 << s.r.IntN(8)
	}
	return append(s.buf, 0), a, b
}

// tally of a slice of the campaign.
type tally struct {
	frames, sums, wrong int64 // damaged frames, right checksums by chance, of those also the right form
	seen                []string
}

// slice sends damaged frames to the decoder.
func (s *spoiler) slice(n int64, nonce uint32) (c tally) {
	var d wire.Deframer
	var m wire.Memory
	var it wire.Item
	var r wire.Reader
	for ; c.frames < n; c.frames++ {
		damaged, a, b := s.next()
		for _, x := range damaged {
			if !d.Feed(x) {
				continue
			}
			body, ok := wire.Body(d.Data(), nonce)
			if !ok || bytes.Equal(body, a.body) || bytes.Equal(body, b.body) {
				continue
			}
			c.sums++
			if len(c.seen) < 20 {
				c.seen = append(c.seen, fmt.Sprintf("%x and %x became %x: body %x", a.wire, b.wire, damaged, body))
			}
			if len(body) < 3 || !bytes.Equal(body[:3], a.body[:3]) {
				continue // another type or number: nobody waits for it
			}
			r.Reset(body[3:])
			if wire.Type(body[0]) != wire.Step || m.ParseItem(&r, &it) && r.Done() {
				c.wrong++
			}
		}
	}
	return c
}

// No damaged frame is taken for a good one. HOLDLINE_FRAMES says how many are
// tried; 1e9 were, in slices, before this was written down (see the log line).
func TestDamagedFramesAreNeverTaken(t *testing.T) {
	n := int64(2_000_000)
	if s := os.Getenv("HOLDLINE_FRAMES"); s != "" {
		n, _ = strconv.ParseInt(s, 10, 64)
	}
	list, nonce := framesOfARun(t)
	workers := int64(runtime.GOMAXPROCS(0))
	slices := make([]tally, workers)
	var wait sync.WaitGroup
	for i := range slices {
		wait.Go(func() {
			s := &spoiler{r: rand.New(rand.NewPCG(uint64(i), uint64(n))), list: list}
			slices[i] = s.slice(n/workers, nonce)
		})
	}
	wait.Wait()
	var all tally
	for _, c := range slices {
		all.frames, all.sums, all.wrong = all.frames+c.frames, all.sums+c.sums, all.wrong+c.wrong
		for _, x := range c.seen {
			t.Log(x)
		}
	}
	t.Logf("%d damaged frames, %d with a right checksum by chance, %d taken", all.frames, all.sums, all.wrong)
	require.Zero(t, all.wrong)
}

// The campaign finds a decoder that looks at half the checksum only.
func TestDamagedFramesFindAPlantedFault(t *testing.T) {
	list, nonce := framesOfARun(t)
	s := &spoiler{r: rand.New(rand.NewPCG(1, 1)), list: list}
	var d wire.Deframer
	taken := 0
	for range 2_000_000 {
		damaged, a, b := s.next()
		for _, x := range damaged {
			if !d.Feed(x) || len(d.Data()) < 5 {
				continue
			}
			data := d.Data()
			body := data[:len(data)-4]
			sum := wire.Checksum(nonce, body)
			half := data[len(data)-4] == byte(sum) && data[len(data)-3] == byte(sum>>8)
			if half && !bytes.Equal(body, a.body) && !bytes.Equal(body, b.body) {
				taken++
			}
		}
	}
	require.NotZero(t, taken)
}
