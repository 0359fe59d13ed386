package record_test

import (
	"fmt"
	"strings"

	"github.com/holdline/holdline/harness/record"
)

// A recording of our own invention, with decimal commas and units in a second
// row.
const log = `Time;Engine speed;Manifold pressure
s;1/min;kPa
0,0;4800;98
0,1;5000;101
0,2;5200;
0,3;5100;110
`

func Example() {
	rec, findings := record.Read(strings.NewReader(log), "run.csv", record.Options{})
	if err := findings.Err(); err != nil {
		fmt.Println(err)
		return
	}
	i, _ := rec.Find("Engine speed")
	speed := rec.Channels[i].Cursor(record.Linear, 0)
	for _, t := range []int64{50_000, 100_000, 900_000} {
		s := speed.At(t)
		fmt.Printf("%.0f 1/min, %d us old, fresh %v\n", s.Value, s.AgeUS, s.Fresh)
	}
	for _, g := range record.Suggest(rec) {
		fmt.Printf("%s: %s, %d %%, needs %q\n", g.Input, g.Title, g.Confidence, g.Needs)
	}
	// Output:
	// 4900 1/min, 50000 us old, fresh true
	// 5000 1/min, 0 us old, fresh true
	// 5100 1/min, 600000 us old, fresh false
	// engine_speed: Engine speed, 95 %, needs []
	// manifold_pressure: Manifold pressure, 95 %, needs ["state whether the pressure is absolute or gauge"]
}
