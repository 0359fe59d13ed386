package files_test

import (
	"fmt"

	"github.com/holdline/holdline/harness/files"
)

// limiter is an invented value; a real one is declared the same way.
type limiter struct {
	Ceiling int32 // tenths of rpm
	Soft    bool
	Band    int32 // tenths of rpm
}

var limiterKind = files.Kind[limiter]{
	Name:   "limiter",
	Format: "holdline-limiter-1",
	Doc:    "One invented limiter.",
	Fields: func(b *files.Block, l *limiter) {
		files.Int(b, &l.Ceiling, "ceiling_rpm", files.RPMTenths, files.Range(500, 15000), files.Doc("limit in force"))
		files.Bool(b, &l.Soft, "soft", files.Default(false))
		b.When(l.Soft, "only with soft = true", func() {
			files.Int(b, &l.Band, "band_rpm", files.RPMTenths, files.Range(50, 500), files.Default(150))
		}, "soft")
	},
}

func ExampleKind_Decode() {
	_, _, findings := limiterKind.Decode("a.toml", []byte(`format = "holdline-limiter-1"
cieling_rpm = 5000
band_rpm = 200
`))
	fmt.Println(findings.Err())
	// Output:
	// a.toml:1:1: error: ceiling_rpm: required key is missing (allowed 500 to 15000 rpm); add ceiling_rpm above the first table header
	// a.toml:2:1: error: cieling_rpm: unknown key; did you mean ceiling_rpm?
	// a.toml:3:1: error: band_rpm: is not used here: only with soft = true (got 200); remove it
}

func ExampleKind_Encode() {
	text, err := limiterKind.Encode(&limiter{Ceiling: 50000, Soft: true, Band: 1255})
	fmt.Print(string(text), err)
	// Output:
	// # One invented limiter.
	//
	// format = "holdline-limiter-1"     # kind and version of this file
	// ceiling_rpm = 5000                # 500 to 15000 rpm: limit in force
	// soft = true
	// band_rpm = 125.5                  # 50 to 500 rpm
	// <nil>
}

func ExampleParseScript() {
	words := &files.Vocabulary{
		Switches: []files.Switch{{ID: 1, Name: "clutch"}},
		Channels: []files.Channel{{ID: 7, Name: "manifold pressure", Units: []files.Scale{files.KilopascalInPa}}},
	}
	text := "clutch on; clutch off 400 ms after manifold presure above 180 kPa"
	script, findings := files.ParseScript("", text, words)
	fmt.Print(script)
	fmt.Println(findings[0].Reason + "; " + findings[0].Fix)
	fmt.Println(files.PointAt(text, findings[0]))
	// Output:
	// clutch on at 0 s
	// expected a switch, channel or moment, not a known name; did you mean manifold pressure?
	// clutch on; clutch off 400 ms after manifold presure above 180 kPa
	//                                    ^
}
