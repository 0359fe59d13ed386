package files

// An invented file kind that uses every sort of field: a garden with beds.

type soil uint8

const (
	noSoil soil = iota
	sand
	clay
	peat
)

func (s soil) String() string { return [...]string{"unknown", "sand", "clay", "peat"}[s] }

var (
	loam  = WordsOf(sand, peat)
	soils = Words[soil]{Means("sand", sand, "drains fast"), Means("clay", clay, ""), Means("peat", peat, "sour")}
	tools = Words[uint8]{{"rake", 1, ""}, {"hoe", 2, ""}, {"spade", 4, ""}}
)

type bed struct {
	Name     string
	Length   int32 // mm
	Soil     soil
	Lime     int16 // 1/100 percent; clay and peat only
	Watered  bool
	Interval int32 // microseconds
	Times    [4]int32
	NTimes   uint8
	Depths   [2]int32
	NDepths  uint8
	Water    [8]int32 // [depth][time], stride 4
}

type helper struct {
	Name  string
	Speed int32 // mm/s
	Likes []soil
	Hates soil
	Tools uint8
}

type garden struct {
	Title   string
	Angle   int16 // tenths of a degree
	Notes   []string
	Pond    bool
	PondVol uint32
	Beds    [3]bed
	NBeds   uint8
	Helpers []helper
	Gate    struct{ Width, Height uint16 }
}

var gardenKind = Kind[garden]{
	Name:   "garden",
	Format: "holdline-garden-1",
	Doc:    "An invented garden, to test every sort of field.",
	Fields: gardenFields,
}

func gardenFields(b *Block, g *garden) {
	Text(b, &g.Title, "title", Len(1, 40), Doc("what the sign at the gate says"))
	Int(b, &g.Angle, "slope_deg", DegreesTenths, Range(-40, 60), Default(0.5), Doc("uphill to the north"))
	Texts(b, Slice(&g.Notes), "notes", Optional())
	Table(b, "gate", func(b *Block) {
		Int(b, &g.Gate.Width, "width_m", Scale{Unit: "m", Mul: 1000}, Range(0.5, 5), Default(1))
		Int(b, &g.Gate.Height, "height_m", Scale{Unit: "m", Mul: 1000}, Range(0.5, 3), Default(2))
	}, Doc("The way in."))
	OptionalTable(b, &g.Pond, "pond", func(b *Block) {
		Int(b, &g.PondVol, "volume_l", Scale{Unit: "l"}, Range(10, 100000))
	})
	Named(b, Array(g.Beds[:], &g.NBeds), "bed", func(v *bed) *string { return &v.Name }, bedFields, Len(1, 3), Doc("One bed of plants."))
	Tables(b, Slice(&g.Helpers), "helper", helperFields, Len(0, 2))
}

func bedFields(b *Block, v *bed) {
	Int(b, &v.Length, "length_m", Scale{Unit: "m", Mul: 1000}, Range(0.1, 50), Doc("along the path"))
	Enum(b, &v.Soil, "soil", soils, Default("clay"))
	b.When(v.Soil != sand, "only with soil = clay or peat", func() {
		Int(b, &v.Lime, "lime_pct", PercentInPct2, Range(0, 100), Default(0))
	}, "soil")
	Bool(b, &v.Watered, "watered", Default(true), Doc("by hand"))
	Int(b, &v.Interval, "interval_s", SecondsInUs, Range(0.001, 2000), Optional())
	Ints(b, Array(v.Times[:], &v.NTimes), "times_h", Scale{Unit: "h"}, Range(0, 24), Rising(), Optional())
	Ints(b, Array(v.Depths[:], &v.NDepths), "depths_cm", Scale{Unit: "cm", Mul: 10}, Range(0, 100), Rising(), Optional())
	Grid(b, v.Water[:], int(v.NDepths), int(v.NTimes), "water_l", Scale{Unit: "l", Mul: 10}, Range(0, 50), Stride(4), Optional())
}

func helperFields(b *Block, h *helper) {
	Text(b, &h.Name, "name", Len(1, 20))
	Int(b, &h.Speed, "speed_kmh", KmhInMmPerS, Range(0, 30), Default(4))
	Enums(b, Slice(&h.Likes), "likes", soils, Optional())
	Enum(b, &h.Hates, "hates", loam, Optional())
	Set(b, &h.Tools, "tools", tools, DefaultRaw(1), Len(0, 3))
}
