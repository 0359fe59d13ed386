package controller

import "encoding/binary"

// The calibration image is what firmware stores: a header, the fields of a
// Calibration in the order of visit below, and a CRC-32C of all before it.
// Everything is little-endian. Unused tables, stages and shots take one byte.
//
//	offset 0  magic "HLCI"
//	       4  uint16 version (1)
//	       6  uint16 length of the whole image, CRC included
//	       8  fields
//	   len-4  uint32 CRC-32C (polynomial 1EDC6F41 reflected, as iSCSI uses)
const (
	imageVersion = 1
	imageHeader  = 8

	// MaxImage is the longest image.
	MaxImage = 12 << 10
)

// ImageError says what is wrong with an image. The zero value is no error and
// is never returned as one.
type ImageError uint8

// The image errors.
const (
	ImageShort    ImageError = iota + 1 // ends before its length
	ImageMagic                          // is no calibration image
	ImageVersion                        // comes from a version that this one cannot read
	ImageLength                         // its length field and its content disagree
	ImageChecksum                       // the CRC does not match: damaged
	ImageTable                          // the reciprocal of a table segment is wrong
	ImageUnsealed                       // the fields do not make a usable calibration
	ImageRoom                           // the buffer is too small for the image
)

var imageErrors = [...]string{
	"", "image is cut short", "not a calibration image", "image version not supported",
	"image length does not fit its content", "image checksum does not match",
	"image holds a wrong table reciprocal", "image holds an unusable calibration",
	"buffer too small for the image",
}

// Error implements error.
func (e ImageError) Error() string {
	if int(e) < len(imageErrors) {
		return "controller: " + imageErrors[e]
	}
	return "controller: image error"
}

// CRC32C is the checksum of the calibration image and of the link: reflected
// polynomial 1EDC6F41, start and final FFFFFFFF. It needs no table, so that it
// fits anywhere; crc continues a sum, 0 starts one.
func CRC32C(crc uint32, data []byte) uint32 {
	crc = ^crc
	for _, b := range data {
		crc ^= uint32(b)
		for range 8 {
			crc = crc>>1 ^ 0x82F63B78&-(crc&1)
		}
	}
	return ^crc
}

// codec walks the fields of a calibration in one order for both directions.
type codec struct {
	buf    []byte
	at     int
	decode bool
	bad    bool // ran out of buffer, or a reciprocal was wrong
	recip  bool // a reciprocal was wrong
}

//go:noinline
func (c *codec) room(n int) []byte {
	if c.bad || c.at+n > len(c.buf) {
		c.bad = true
		return nil
	}
	c.at += n
	return c.buf[c.at-n : c.at]
}

//go:noinline
func (c *codec) u8(x *uint8) {
	if b := c.room(1); b != nil {
		if c.decode {
			*x = b[0]
		} else {
			b[0] = *x
		}
	}
}

//go:noinline
func (c *codec) u16(x *uint16) {
	if b := c.room(2); b != nil {
		if c.decode {
			*x = binary.LittleEndian.Uint16(b)
		} else {
			binary.LittleEndian.PutUint16(b, *x)
		}
	}
}

//go:noinline
func (c *codec) u32(x *uint32) {
	if b := c.room(4); b != nil {
		if c.decode {
			*x = binary.LittleEndian.Uint32(b)
		} else {
			binary.LittleEndian.PutUint32(b, *x)
		}
	}
}

// i32s walks values of any 32-bit type.
func i32s[T ~int32](c *codec, xs ...*T) {
	for _, x := range xs {
		u := uint32(*x)
		c.u32(&u)
		*x = T(u)
	}
}

// u8s walks values of any 8-bit type.
func u8s[T ~uint8](c *codec, xs ...*T) {
	for _, x := range xs {
		u := uint8(*x)
		c.u8(&u)
		*x = T(u)
	}
}

func (c *codec) flags(xs ...*bool) {
	var u uint8
	for i, x := range xs {
		if *x {
			u |= 1 << i
		}
	}
	c.u8(&u)
	for i, x := range xs {
		*x = u>>i&1 != 0
	}
}

//go:noinline
func (c *codec) name(n *Name) {
	if b := c.room(len(n)); b != nil {
		if c.decode {
			copy(n[:], b)
		} else {
			copy(b, n[:])
		}
	}
}

//go:noinline
func (c *codec) curve(x *Curve) {
	i32s(c, &x.Const)
	c.u8(&x.Table)
}

func (c *codec) window(w *Window) { i32s(c, &w.Low, &w.High) }

func (c *codec) visit(cal *Calibration) {
	c.name(&cal.Name)
	i32s(c, &cal.Period)
	c.engine(&cal.Engine)
	for i := range cal.Channels {
		c.channel(&cal.Channels[i])
	}
	u := uint32(cal.Switches)
	c.u32(&u)
	cal.Switches = SwitchSet(u)
	c.sequence(&cal.Sequence)
	for i := range cal.Stages {
		c.stage(&cal.Stages[i])
	}
	for i := range cal.Tables {
		c.table(&cal.Tables[i])
	}
	c.standing(&cal.Standing)
	for i := range cal.Shots {
		c.shot(&cal.Shots[i])
	}
}

func (c *codec) engine(e *Engine) {
	c.u8(&e.Cylinders)
	for i := range e.Order {
		c.u8(&e.Order[i])
		i32s(c, &e.Intervals[i])
	}
	u8s(c, &e.Ignition)
	u8s(c, &e.Fuel)
	c.u8(&e.CommitLead)
	c.flags(&e.Catalyst, &e.KeepFiring, &e.RateCheck)
	i32s(c, &e.FuelDelay, &e.SparkDelay)
	i32s(c, &e.CrankingBelow, &e.OverrunMargin, &e.TrimStep, &e.TrimMax)
	i32s(c, &e.BoostMin)
	c.curve(&e.BaseAngle)
	c.curve(&e.BoostBase)
}

func (c *codec) channel(s *ChannelSpec) {
	c.flags(&s.Fitted, &s.Driven)
	u8s(c, &s.OnLoss)
	i32s(c, &s.Low, &s.High)
	i32s(c, &s.LongestAge)
}

func (c *codec) sequence(q *Sequence) {
	u8s(c, &q.Hold)
	i32s(c, &q.HoldPressure)
	i32s(c, &q.Earn, &q.AbortAfter, &q.ClearAfter, &q.LossAfter, &q.EndLift, &q.EndAfter, &q.ReturnTime)
	i32s(c, &q.ThrottleMin, &q.ThrottleShut, &q.Comeback)
	i32s(c, &q.EarnWithin, &q.EntryAbove)
	i32s(c, &q.EntrySpeed)
}

func (c *codec) stage(st *Stage) {
	u8s(c, &st.Kind)
	if st.Kind == NoStage {
		return
	}
	c.name(&st.Name)
	for i := range st.When.All {
		c.term(&st.When.All[i])
		c.term(&st.When.Any[i])
	}
	i32s(c, &st.When.Qualify, &st.Guard.Longest, &st.Guard.CoolDown, &st.WholeLimit)
	c.flags(&st.Moving, &st.StaysDown, &st.Cut.Anticipate)
	c.curve(&st.Ceiling)
	i32s(c, &st.SlewUp, &st.SlewDown, &st.RestTo, &st.RestSlew, &st.Cut.Band, &st.Cut.Hysteresis, &st.Timing.NearBand)
	i32s(c, &st.RampLimit, &st.Cut.Gain, &st.Cut.Integral)
	u8s(c, &st.Cut.Medium)
	u8s(c, &st.Cut.Style)
	u8s(c, &st.Cut.Pattern)
	u8s(c, &st.Timing.Mode)
	c.u8(&st.RefireFor)
	c.u16(&st.Cut.Cylinders)
	i32s(c, &st.Cut.Depth, &st.Cut.Preset)
	c.curve(&st.Timing.Angle)
	i32s(c, &st.Timing.SlewIn, &st.Timing.SlewOut)
	c.curve(&st.Mixture)
	i32s(c, &st.Refire)
	c.curve(&st.Boost)
}

func (c *codec) term(t *Term) {
	u8s(c, &t.Kind)
	if t.Kind == NoTerm {
		return
	}
	u8s(c, &t.Switch)
	u8s(c, &t.Channel)
	c.u8(&t.States)
	i32s(c, &t.Low, &t.High)
}

// table stores the reciprocals of the segments beside the points, and rechecks
// them by multiplication when it reads them.
func (c *codec) table(t *Table) {
	c.axis(&t.Columns)
	if t.Columns.N == 0 {
		return
	}
	c.axis(&t.Rows)
	for r := range min(max(int(t.Rows.N), 1), MaxTablePoints) {
		for k := range min(int(t.Columns.N), MaxTablePoints) {
			i32s(c, &t.Cells[r][k])
		}
	}
}

func (c *codec) axis(a *Axis) {
	c.u8(&a.N)
	if a.N == 0 {
		return
	}
	u8s(c, &a.Channel)
	n := min(int(a.N), MaxTablePoints)
	for i := range n {
		i32s(c, &a.Points[i])
	}
	for i := 0; i+1 < n; i++ {
		c.u32(&a.recip[i])
		span := uint32(a.Points[i+1]) - uint32(a.Points[i])
		if c.decode && !c.bad && (span == 0 || !reciprocalHolds(a.recip[i], span)) {
			c.bad, c.recip = true, true
		}
	}
}

func (c *codec) standing(s *Standing) {
	c.window(&s.Coolant)
	c.window(&s.Fuel)
	c.window(&s.Oil)
	c.window(&s.Bottle)
	c.window(&s.Voltage)
	i32s(c, &s.LeanLimit)
	i32s(c, &s.MixtureWait, &s.Persistence, &s.Qualify, &s.LatchAfter, &s.LongestAll, &s.CoolDown)
}

func (c *codec) shot(sh *Shot) {
	u8s(c, &sh.When)
	if sh.When == NoShot {
		return
	}
	c.name(&sh.Name)
	c.flags(&sh.Wet, &sh.ClutchUp, &sh.OncePerHold, &sh.Feedback, &sh.RetardByDuty)
	c.u8(&sh.After)
	c.u16(&sh.Power)
	c.u16(&sh.Gears)
	i32s(c, &sh.ThrottleMin, &sh.StartDuty, &sh.EndDuty, &sh.Enrich)
	i32s(c, &sh.SpeedLow, &sh.SpeedHigh, &sh.Margin, &sh.Reopen)
	i32s(c, &sh.Retard)
	i32s(c, &sh.QuietFor, &sh.Delay, &sh.Trigger, &sh.ReArm, &sh.Longest, &sh.RetardLead, &sh.Ramp,
		&sh.ValvePeriod, &sh.ValveOpens, &sh.ValveCloses, &sh.Flush, &sh.EnrichLead, &sh.FuelLead, &sh.FuelLag)
}

// Image writes a sealed calibration to buf and returns its length. It allocates
// nothing. The errors are ImageUnsealed and ImageRoom.
func (c *Calibration) Image(buf []byte) (int, error) {
	if !c.sealed {
		return 0, ImageUnsealed
	}
	e := codec{buf: buf[:min(len(buf), MaxImage)], at: imageHeader}
	copyOf := *c // the walk writes through its pointers, also when it encodes
	e.visit(&copyOf)
	sum := e.room(4)
	if e.bad {
		return 0, ImageRoom
	}
	copy(buf, "HLCI")
	binary.LittleEndian.PutUint16(buf[4:], imageVersion)
	binary.LittleEndian.PutUint16(buf[6:], uint16(e.at))
	binary.LittleEndian.PutUint32(sum, CRC32C(0, buf[:e.at-4]))
	return e.at, nil
}

// LoadImage reads an image into c, checks it again as Seal does, and seals it.
// On an error c is left unsealed, and commands nothing. It allocates nothing;
// problems, if not nil, says what an unusable calibration lacks.
func (c *Calibration) LoadImage(image []byte, problems *Problems) error {
	*c = Calibration{}
	if err := checkImage(image); err != 0 {
		return err
	}
	n := int(binary.LittleEndian.Uint16(image[6:]))
	d := codec{buf: image[:n-4], at: imageHeader, decode: true}
	d.visit(c)
	switch {
	case d.recip:
		*c = Calibration{}
		return ImageTable
	case d.bad || d.at != n-4:
		*c = Calibration{}
		return ImageLength
	}
	if !c.Seal(problems) {
		return ImageUnsealed
	}
	return nil
}

func checkImage(image []byte) ImageError {
	if len(image) < imageHeader+4 {
		return ImageShort
	}
	if string(image[:4]) != "HLCI" {
		return ImageMagic
	}
	if binary.LittleEndian.Uint16(image[4:]) != imageVersion {
		return ImageVersion
	}
	n := int(binary.LittleEndian.Uint16(image[6:]))
	switch {
	case n < imageHeader+4 || n > MaxImage:
		return ImageLength
	case n > len(image):
		return ImageShort
	case binary.LittleEndian.Uint32(image[n-4:]) != CRC32C(0, image[:n-4]):
		return ImageChecksum
	}
	return 0
}
