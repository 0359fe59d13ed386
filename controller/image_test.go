package controller

import (
	"encoding/binary"
	"math/rand/v2"
	"reflect"
	"testing"
	"unsafe"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func imageOf(t testing.TB, c *Calibration) []byte {
	t.Helper()
	buf := make([]byte, MaxImage)
	n, err := c.Image(buf)
	require.NoError(t, err)
	return buf[:n]
}

// Check values of the CRC catalogue, CRC-32C (iSCSI).
func TestCRC32CAgainstTheCatalogue(t *testing.T) {
	for data, want := range map[string]uint32{
		"123456789": 0xE3069283, "": 0, "\x00": 0x527D5351, "\xff\xff": 0xFFFF0000,
	} {
		assert.Equal(t, want, CRC32C(0, []byte(data)), "%q", data)
	}
	assert.Equal(t, uint32(0xE3069283), CRC32C(CRC32C(0, []byte("1234")), []byte("56789")), "continued")
}

// variant changes a sound calibration at random, within what Seal accepts.
func variant(r *rand.Rand) Calibration {
	c := testCar()
	c.Name = NameOf([]string{"", "a", "sixteen letters!"}[r.IntN(3)])
	c.Period = Duration(100 + r.IntN(9900))
	c.Engine.Ignition, c.Engine.KeepFiring, c.Engine.RateCheck = Ignition(r.IntN(3)), r.IntN(2) == 0, r.IntN(2) == 0
	c.Engine.CommitLead = uint8(r.IntN(16))
	for i, p := range r.Perm(8) {
		c.Engine.Order[i] = uint8(p + 1)
	}
	if r.IntN(2) == 0 {
		c.Engine.Intervals = [MaxCylinders]Angle{7000, 11000, 9000, 9000, 9000, 9000, 9000, 9000}
	}
	for i := range c.Channels {
		c.Channels[i].OnLoss = LossAction(r.IntN(2))
	}
	c.Tables[0].Cells[1][1] = int32(300*RPM) + int32(r.IntN(100000))
	c.Tables[15] = Table{Columns: Axis{Channel: Throttle, N: 8, Points: [8]int32{-2147483648, -5, 0, 1, 2, 3, 4, 2147483646}}}
	st := &c.Stages[r.IntN(3)]
	st.When.Any[0] = Term{Kind: Within, Channel: Throttle, Low: -int32(r.IntN(100)), High: int32(r.IntN(10000))}
	st.When.Any[1] = Term{Kind: SequenceIn, States: uint8(1 + r.IntN(31))}
	st.Refire, st.RefireFor, st.Mixture = Ratio(r.IntN(10000)), uint8(r.IntN(100)), Curve{Const: int32(One) + int32(r.IntN(5000))}
	c.Stages[7] = Stage{
		Kind: User, Moving: r.IntN(2) == 0, Ceiling: Curve{Const: int32(7000 * RPM)},
		When: Condition{All: [MaxTerms]Term{{Kind: SwitchOff, Switch: ShiftButton}}, Qualify: Duration(r.IntN(1e6))},
		Cut: Cut{Medium: Both, Style: Regulate, Pattern: Fixed, Cylinders: 0xA5, Band: 400 * RPM, Hysteresis: 100 * RPM,
			Gain: int32(r.IntN(20000)), Integral: int32(r.IntN(20000)), Preset: Demand(r.IntN(55441))},
	}
	if r.IntN(2) == 0 {
		c.Shots[3], c.Shots[3].After = c.Shots[1], 2
	}
	if r.IntN(3) == 0 {
		c.Shots = [MaxShots]Shot{}
	}
	return c
}

func TestImageRoundTripLosesNothing(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 1))
	longest := 0
	for range 300 {
		c := variant(r)
		cal := sealed(t, c)
		image := imageOf(t, cal)
		longest = max(longest, len(image))
		var back Calibration
		require.NoError(t, back.LoadImage(image, nil))
		require.True(t, back == *cal)
		require.Equal(t, image, imageOf(t, &back))
	}
	t.Logf("longest image %d bytes", longest)
}

// Every field of a calibration that a person can set changes the image, or is
// refused: none is forgotten.
func TestImageHoldsEveryField(t *testing.T) {
	c := variant(rand.New(rand.NewPCG(7, 3)))
	c.Shots = testCar().Shots
	cal := sealed(t, c)
	image := imageOf(t, cal)
	for _, f := range fields(reflect.ValueOf(cal).Elem(), "") {
		before := f.v.Interface()
		nudge(f.v)
		cal.sealed = true // the image is asked for as it stands
		buf := make([]byte, MaxImage)
		n, err := cal.Image(buf)
		require.NoError(t, err, f.path)
		used := !unusedPart(cal, f.path)
		assert.Equal(t, used, string(buf[:n]) != string(image), f.path)
		f.v.Set(reflect.ValueOf(before))
	}
}

type field struct {
	v    reflect.Value
	path string
}

// fields lists every exported leaf.
func fields(v reflect.Value, path string) (list []field) {
	switch v.Kind() {
	case reflect.Struct:
		for i := range v.NumField() {
			if f := v.Type().Field(i); f.IsExported() {
				list = append(list, fields(v.Field(i), path+"."+f.Name)...)
			}
		}
	case reflect.Array:
		for i := range v.Len() {
			list = append(list, fields(v.Index(i), path+"["+string(rune('a'+i))+"]")...)
		}
	default:
		return []field{{v, path}}
	}
	return list
}

func nudge(v reflect.Value) {
	switch {
	case v.Kind() == reflect.Bool:
		v.SetBool(!v.Bool())
	case v.CanInt():
		v.SetInt(v.Int() + 1)
	default:
		v.SetUint(v.Uint() + 1)
	}
}

// unusedPart reports whether a path lies in a part that is not in use: the image
// leaves it out, and it stays zero.
func unusedPart(c *Calibration, path string) bool {
	for i := range MaxStages {
		p := ".Stages[" + string(rune('a'+i)) + "]"
		for j := range MaxTerms {
			tp := "[" + string(rune('a'+j)) + "]."
			st := &c.Stages[i]
			if hasPrefix(path, p+".When.All"+tp) && st.When.All[j].Kind == NoTerm ||
				hasPrefix(path, p+".When.Any"+tp) && st.When.Any[j].Kind == NoTerm {
				return true
			}
		}
		if hasPrefix(path, p) && c.Stages[i].Kind == NoStage {
			return true
		}
	}
	for i := range MaxTables {
		t, p := &c.Tables[i], ".Tables["+string(rune('a'+i))+"]"
		for j := range MaxTablePoints {
			at := "[" + string(rune('a'+j)) + "]"
			if hasPrefix(path, p+".Columns.Points"+at) && j >= int(t.Columns.N) ||
				hasPrefix(path, p+".Rows.Points"+at) && j >= int(t.Rows.N) ||
				hasPrefix(path, p+".Cells"+at) && j >= max(int(t.Rows.N), 1) {
				return true
			}
			for k := range MaxTablePoints {
				if hasPrefix(path, p+".Cells["+string(rune('a'+k))+"]"+at) && j >= int(t.Columns.N) {
					return true
				}
			}
		}
		if hasPrefix(path, p) && t.Columns.N == 0 || hasPrefix(path, p+".Rows") && t.Rows.N == 0 {
			return true
		}
	}
	for i := range MaxShots {
		if hasPrefix(path, ".Shots["+string(rune('a'+i))+"]") && c.Shots[i].When == NoShot {
			return true
		}
	}
	return false
}

func hasPrefix(s, p string) bool { return len(s) >= len(p) && s[:len(p)] == p }

// Each single bit of an image, turned, keeps it from being loaded.
func TestImageEverySingleBitFlipIsRefused(t *testing.T) {
	image := imageOf(t, sealed(t, testCar()))
	count := 0
	for i := range image {
		for bit := range 8 {
			image[i] ^= 1 << bit
			var c Calibration
			if err := c.LoadImage(image, nil); err == nil || c.Sealed() {
				require.Fail(t, "loaded", "byte %d bit %d", i, bit)
			}
			image[i] ^= 1 << bit
			count++
		}
	}
	t.Logf("%d bits", count)
}

func TestImageTruncatedAtEveryLength(t *testing.T) {
	image := imageOf(t, sealed(t, testCar()))
	for n := range image {
		var c Calibration
		require.Error(t, c.LoadImage(image[:n], nil), "%d bytes", n)
		require.False(t, c.Sealed())
		if n < len(image) {
			m, err := sealed(t, testCar()).Image(make([]byte, n))
			require.Equal(t, ImageRoom, err)
			require.Zero(t, m)
		}
	}
	// More behind it, as in a flash sector, is no harm.
	var c Calibration
	require.NoError(t, c.LoadImage(append(image, 0xFF, 0xFF, 0xFF), nil))
}

// resum makes the checksum of a changed image right again.
func resum(image []byte) []byte {
	binary.LittleEndian.PutUint32(image[len(image)-4:], CRC32C(0, image[:len(image)-4]))
	return image
}

func TestImageErrorsSayWhatIsWrong(t *testing.T) {
	good := func() []byte { return imageOf(t, sealed(t, testCar())) }
	recip := sealed(t, testCar()).Tables[0].Columns.recip[0]
	for want, change := range map[ImageError]func(b []byte) []byte{
		ImageShort:    func(b []byte) []byte { return b[:len(b)-1] },
		ImageMagic:    func(b []byte) []byte { b[0] = 'X'; return resum(b) },
		ImageVersion:  func(b []byte) []byte { b[4] = 9; return resum(b) },
		ImageChecksum: func(b []byte) []byte { b[40] ^= 4; return b },
		ImageLength:   func(b []byte) []byte { return lengthOf(append(b, 0)) },
		ImageUnsealed: func(b []byte) []byte { b[8+16] = 0; b[8+17] = 0; return resum(b) }, // the period
		ImageTable:    func(b []byte) []byte { return resum(offByOne(t, b, recip)) },
	} {
		var c Calibration
		err := c.LoadImage(change(good()), nil)
		assert.Equal(t, want, err)
		assert.False(t, c.Sealed())
		assert.Contains(t, err.Error(), "controller: ")
	}
	long := good()
	binary.LittleEndian.PutUint16(long[6:], MaxImage+1)
	assert.Equal(t, ImageLength, new(Calibration).LoadImage(long, nil))
	assert.Equal(t, ImageShort, new(Calibration).LoadImage(nil, nil))
	_, err := new(Calibration).Image(make([]byte, MaxImage))
	assert.Equal(t, ImageUnsealed, err)
	assert.Equal(t, "controller: image error", ImageError(99).Error())
	var c Calibration
	var p Problems
	bad := good()
	bad[8+16], bad[8+17] = 0, 0
	assert.Equal(t, ImageUnsealed, c.LoadImage(resum(bad), &p))
	assert.Equal(t, "period", p.List[0].Field)
}

// lengthOf states the whole length, with a right checksum: the fields then end
// before it.
func lengthOf(b []byte) []byte {
	binary.LittleEndian.PutUint16(b[6:], uint16(len(b)))
	return resum(b)
}

func offByOne(t *testing.T, b []byte, recip uint32) []byte {
	for i := range len(b) - 4 {
		if binary.LittleEndian.Uint32(b[i:]) == recip {
			binary.LittleEndian.PutUint32(b[i:], recip+1)
			return b
		}
	}
	require.Fail(t, "no such reciprocal")
	return nil
}

// FuzzLoadImage mends the header, so that the fields are reached: whatever they
// hold, nothing panics, and what is accepted runs.
func FuzzLoadImage(f *testing.F) {
	f.Add(imageOf(f, sealed(f, testCar())))
	f.Fuzz(func(t *testing.T, b []byte) {
		var c Calibration
		_ = c.LoadImage(b, nil)
		if len(b) < imageHeader+4 || len(b) > MaxImage {
			return
		}
		m := append([]byte(nil), b...)
		copy(m, "HLCI")
		binary.LittleEndian.PutUint16(m[4:], imageVersion)
		if err := c.LoadImage(lengthOf(m), nil); err == nil {
			exercise(&c, rand.New(rand.NewPCG(uint64(len(b)), 1)), 50)
		}
	})
}

// exercise runs a sealed calibration on any inputs; nothing may panic.
func exercise(c *Calibration, r *rand.Rand, ticks int) {
	var s State
	_ = s.Reset(c)
	in, out := calm(), Output{}
	for i := range ticks {
		for ch := range NumChannels {
			spec := &c.Channels[ch]
			x := []int32{spec.Low - 1, spec.Low, spec.High, spec.High + 1, int32(r.Uint32()), spec.Low/2 + spec.High/2}[r.IntN(6)]
			in.Channels[ch] = Sample{Value: x, Good: r.IntN(8) > 0, Age: []uint16{0, 0, 1, 65535}[r.IntN(4)]}
		}
		in.On, in.Known, in.Periods = SwitchSet(r.Uint32()), SwitchSet(r.Uint32()|r.Uint32()), []uint16{0, 1, 1, 3, 65535}[r.IntN(5)]
		s.Tick(c, &in, &out)
		for range 3 {
			cyl := uint8(r.IntN(14))
			s.FuelCommit(c, cyl, Cycle(i))
			s.SparkCommit(c, cyl, Cycle(i))
		}
	}
}

// Bytes of a sound image changed at random, checksum mended: no panic, in
// loading and in what is accepted.
func TestImageDamagedFieldsNeverPanic(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 2))
	accepted := 0
	for range 3000 {
		b := imageOf(t, sealed(t, testCar()))
		for range 1 + r.IntN(4) {
			b[imageHeader+r.IntN(len(b)-imageHeader-4)] = byte(r.Uint32())
		}
		var c Calibration
		if c.LoadImage(resum(b), nil) == nil {
			accepted++
			exercise(&c, r, 40)
		}
	}
	t.Logf("%d of 3000 accepted", accepted)
	assert.Positive(t, accepted)
}

// A calibration of plain garbage: Seal reports, and never panics.
func TestSealOfGarbageNeverPanics(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 4))
	for range 3000 {
		c := testCar()
		raw := unsafe.Slice((*byte)(unsafe.Pointer(&c.Engine)), unsafe.Sizeof(c)-unsafe.Offsetof(c.Engine))
		all := r.IntN(4) == 0
		for i := range raw {
			if all || r.IntN(200) == 0 {
				raw[i] = byte(r.Uint32())
			}
		}
		var p Problems
		ok := c.Seal(&p)
		require.Equal(t, ok, p.Fatal == 0)
		require.LessOrEqual(t, p.N, len(p.List))
		if ok {
			exercise(&c, r, 20)
		}
	}
}
