package link

import (
	"testing"
	"time"

	"github.com/holdline/holdline/harness"
	"github.com/holdline/holdline/harness/link/wire"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestRigKindIsSound(t *testing.T) { require.NoError(t, RigKind.Verify()) }

const goodRig = `format = "holdline-rig-1"
name = "bench board"
outputs = "dummy loads"
mode = "paced"

[port]
vendor = "3c4d"
serial = "R7"
interface = "02"
baud = 1000000
reset = "dtr"
settle_ms = 1500

[limits]
answer_ms = 40
`

func TestRigFile(t *testing.T) {
	r, _, findings := RigKind.Decode("rig.toml", []byte(goodRig))
	require.NoError(t, findings.Err())
	assert.Equal(t, &Rig{
		Name: "bench board", Outputs: DummyLoads, Mode: wire.Paced,
		Port:   PortSpec{Wish: Identity{Vendor: "3c4d", Serial: "R7", Interface: "02"}, Baud: 1_000_000, Reset: ResetDTR, Settle: 1500 * time.Millisecond},
		Limits: Limits{Open: 10 * time.Second, Answer: 40 * time.Millisecond, Retries: 8, Recover: 10 * time.Second},
	}, r)
	text, err := RigKind.Encode(r)
	require.NoError(t, err)
	again, _, findings := RigKind.Decode("rig.toml", text)
	require.NoError(t, findings.Err(), "%s", text)
	assert.Equal(t, r, again)
	assert.Equal(t, "vendor 3c4d, serial R7, interface 02", r.Dialer().String())
}

// What must be stated is asked for, all at once.
func TestRigFileFindings(t *testing.T) {
	fails := func(text string) (fields []string) {
		_, _, findings := RigKind.Decode("rig.toml", []byte(text))
		for _, f := range findings {
			if f.Severity == harness.Error {
				fields = append(fields, f.Field+": "+f.Reason)
			}
		}
		return fields
	}
	missing := fails("format = \"holdline-rig-1\"\nname = \"x\"\n[port]\npath = \"/dev/ttyACM0\"\n")
	require.Len(t, missing, 3)
	assert.Contains(t, missing[0]+missing[1]+missing[2], "outputs")
	assert.Contains(t, missing[0]+missing[1]+missing[2], "reset is missing")
	assert.Contains(t, missing[0]+missing[1]+missing[2], "baud is missing")
	both := fails("format = \"holdline-rig-1\"\nname = \"x\"\noutputs = \"disconnected\"\n[port]\ncommand = [\"rig\"]\nbaud = 9600\npath = \"/dev/x\"\n")
	require.Len(t, both, 2)
	both = fails("format = \"holdline-rig-1\"\nname = \"x\"\noutputs = \"disconnected\"\n[port]\npath = \"/dev/x\"\nvendor = \"1a2b\"\nbaud = 9600\nreset = \"none\"\n")
	require.Len(t, both, 1)
	wrong := fails("format = \"holdline-rig-1\"\nname = \"x\"\noutputs = \"connected\"\n[port]\ncommand = [\"rig\"]\nbuad = 1\n")
	require.Len(t, wrong, 2)
}
