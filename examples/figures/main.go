// Command figures runs the commands that stand in the README's table of figures and
// prints, row by row, what the table says and what the commands say today.
//
//	go run ./examples/figures            what takes under 15 minutes in all
//	go run ./examples/figures -long      the campaigns too
//	go run ./examples/figures tick wire  the rows whose name contains one of the words
//
// It changes nothing: a person compares, and writes.
package main

import (
	"bufio"
	"flag"
	"fmt"
	"os"
	"os/exec"
	"regexp"
	"runtime"
	"strings"
	"time"
)

// row is one line of the table.
type row struct {
	name, value string
	commands    []string
}

var (
	command = regexp.MustCompile("`([^`]+)`")
	// telling are the lines of an output that hold a figure.
	telling = regexp.MustCompile(`^Benchmark|^\s+\S+_test\.go:\d+:|^(ok|FAIL|---)\s|coverage:|^real|^GO-\d|reports looked at`)
)

func main() {
	long := flag.Bool("long", false, "run the campaigns too")
	flag.Parse()
	rows, err := table("README.md")
	if err != nil {
		fmt.Fprintln(os.Stderr, "figures:", err, "(run it from the project's folder)")
		os.Exit(2)
	}
	fmt.Printf("%s/%s, %s, %d cores, %s\n", runtime.GOOS, runtime.GOARCH, runtime.Version(), runtime.NumCPU(), time.Now().Format("2006-01-02"))
	failed := false
	for _, r := range rows {
		if wanted(r.name, flag.Args()) {
			failed = !r.run(*long) || failed
		}
	}
	if failed {
		os.Exit(1)
	}
}

func wanted(name string, words []string) bool {
	for _, w := range words {
		if strings.Contains(name, w) {
			return true
		}
	}
	return len(words) == 0
}

// table reads the rows under "## Figures".
func table(path string) (rows []row, err error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	inside := false
	for in := bufio.NewScanner(f); in.Scan(); {
		line := in.Text()
		if strings.HasPrefix(line, "## ") {
			inside = line == "## Figures"
		}
		if !inside || !strings.HasPrefix(line, "| ") || strings.HasPrefix(line, "| figure") {
			continue
		}
		cells := strings.Split(strings.ReplaceAll(line, `\|`, "\x00"), "|")
		if len(cells) < 4 {
			continue
		}
		r := row{name: strings.TrimSpace(cells[1]), value: strings.TrimSpace(cells[2])}
		for _, m := range command.FindAllStringSubmatch(cells[3], -1) {
			r.commands = append(r.commands, strings.ReplaceAll(m[1], "\x00", "|"))
		}
		rows = append(rows, r)
	}
	return rows, nil
}

// run runs a row's commands; a failing one prints all that it said.
func (r *row) run(long bool) bool {
	fmt.Printf("\n%s\n  stated: %s\n", r.name, r.value)
	good := true
	for _, c := range r.commands {
		if strings.HasPrefix(c, "HOLDLINE_") && !long {
			fmt.Printf("  left out without -long: %s\n", c)
			continue
		}
		began := time.Now()
		out, err := exec.Command("bash", "-c", "{ "+c+"; } 2>&1").Output()
		fmt.Printf("  $ %s (%.0f s)\n", c, time.Since(began).Seconds())
		for _, line := range strings.Split(string(out), "\n") {
			if err != nil || telling.MatchString(line) {
				fmt.Println("   ", line)
			}
		}
		if err != nil {
			fmt.Println("  failed:", err)
			good = false
		}
	}
	return good
}
