package files

import (
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"github.com/pelletier/go-toml/v2"
	"pgregory.net/rapid"
)

func genGarden(t *rapid.T) *garden {
	g := &garden{Title: rapid.StringMatching(`[ -~ä\n]{1,20}`).Draw(t, "title")}
	g.Angle = rapid.Int16Range(-400, 600).Draw(t, "angle")
	g.Notes = rapid.SliceOfN(rapid.StringMatching(`[ -~é\n]{0,9}`), 0, 3).Draw(t, "notes")
	g.Gate.Width = rapid.Uint16Range(500, 5000).Draw(t, "width")
	g.Gate.Height = rapid.Uint16Range(500, 3000).Draw(t, "height")
	if g.Pond = rapid.Bool().Draw(t, "pond"); g.Pond {
		g.PondVol = rapid.Uint32Range(10, 100000).Draw(t, "volume")
	}
	names := rapid.SliceOfNDistinct(rapid.StringMatching(`[A-Za-z0-9_-]{1,8}`), 1, 3, rapid.ID[string]).Draw(t, "names")
	for i, name := range names {
		g.Beds[i] = genBed(t, name)
	}
	g.NBeds = uint8(len(names))
	for range rapid.IntRange(0, 2).Draw(t, "helpers") {
		g.Helpers = append(g.Helpers, helper{
			Name: rapid.StringMatching(`[a-z]{1,9}`).Draw(t, "name"), Speed: rapid.Int32Range(0, 8333).Draw(t, "speed"),
			Likes: rapid.SliceOfN(rapid.SampledFrom([]soil{sand, clay, peat}), 0, 3).Draw(t, "likes"),
			Hates: rapid.SampledFrom([]soil{noSoil, sand, peat}).Draw(t, "hates"), Tools: rapid.Uint8Range(0, 7).Draw(t, "tools"),
		})
	}
	return g
}

func genBed(t *rapid.T, name string) bed {
	v := bed{Name: name, Length: rapid.Int32Range(100, 50000).Draw(t, "length"), Soil: rapid.SampledFrom([]soil{sand, clay, peat}).Draw(t, "soil")}
	if v.Soil != sand {
		v.Lime = rapid.Int16Range(0, 10000).Draw(t, "lime")
	}
	v.Watered = rapid.Bool().Draw(t, "watered")
	v.Interval = rapid.SampledFrom([]int32{0, 1000, 1001, 2000000000}).Draw(t, "interval")
	v.NTimes = uint8(copy(v.Times[:], rapid.SampledFrom([][]int32{{}, {0}, {1, 2, 24}, {3, 4, 5, 6}}).Draw(t, "times")))
	v.NDepths = uint8(copy(v.Depths[:], rapid.SampledFrom([][]int32{{}, {7}, {0, 1000}}).Draw(t, "depths")))
	for r := range int(v.NDepths) {
		for c := range int(v.NTimes) {
			v.Water[r*4+c] = rapid.Int32Range(0, 500).Draw(t, "water")
		}
	}
	return v
}

func TestRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		g := genGarden(t)
		for _, encode := range []func(*garden) ([]byte, error){gardenKind.Encode, gardenKind.EncodeBrief} {
			text, err := encode(g)
			if err != nil {
				t.Fatalf("%v", err)
			}
			back, _, findings := gardenKind.Decode("g", text)
			if len(findings) > 0 {
				t.Fatalf("%s\n%s", text, show(findings))
			}
			if d := cmp.Diff(g, back, cmpopts.EquateEmpty()); d != "" {
				t.Fatalf("%s\n%s", text, d)
			}
			if again, _ := encode(back); string(again) != string(text) {
				t.Fatalf("%s\n%s", text, again)
			}
			var library map[string]any
			if err := toml.Unmarshal(text, &library); err != nil {
				t.Fatalf("%s\n%v", text, err)
			}
		}
	})
}

// Whatever text decodes without a finding comes back the same from its own
// encoding.
func FuzzDecode(f *testing.F) {
	f.Add([]byte(goodGarden))
	f.Add([]byte("format = \"holdline-garden-1\"\ntitle = 'x'\n[bed.a]\nlength_m = 1\nsoil = 'sand'\n"))
	f.Fuzz(func(t *testing.T, text []byte) {
		g, _, findings := gardenKind.Decode("g", text)
		if len(findings) > 0 {
			return
		}
		out, err := gardenKind.Encode(g)
		if err != nil {
			t.Fatalf("%q\n%v", text, err)
		}
		back, _, findings := gardenKind.Decode("g", out)
		if d := cmp.Diff(g, back, cmpopts.EquateEmpty()); d != "" || len(findings) > 0 {
			t.Fatalf("%q\n%s\n%s\n%s", text, out, show(findings), d)
		}
	})
}
