// Command allocates does what firmware must not: it asks for memory. It is there
// so that a test can see it fail to link.
package main

//lint:ignore U1000 what it keeps has to be on the heap
var kept *[1 << 10]byte

//go:noinline
func ask() *[1 << 10]byte { return new([1 << 10]byte) }

func main() { kept = ask() }
