package link

import (
	"os"
	"testing"
	"time"

	"go.uber.org/goleak"
)

// rigEnv makes the test binary a rig on its standard streams.
const rigEnv = "HOLDLINE_TEST_RIG"

func TestMain(m *testing.M) {
	if os.Getenv(rigEnv) != "" {
		rigMain()
		return
	}
	goleak.VerifyTestMain(m)
}

// rigMain serves a session on standard input and output, until they close.
func rigMain() {
	r := newTestRig()
	r.rig.Hello.Token = uint32(time.Now().UnixNano())
	if os.Getenv(rigEnv) == "dies" {
		os.Stderr.WriteString("no board found\n")
		os.Exit(3)
	}
	p, err := newFDPort(0, nil)
	if err != nil {
		os.Exit(2)
	}
	r.serve(p)
	<-r.done
}
