package main

// The example runs as a test: at half of the band, half of the cycles are cut,
// fuel and spark together.
func Example() {
	main()
	// Output:
	// ceiling 5000 rpm, cutting 50 % of the cycles
	// event 0, cylinder 1: fuel true, spark true
	// event 1, cylinder 3: fuel false, spark false
	// event 2, cylinder 4: fuel true, spark true
	// event 3, cylinder 2: fuel false, spark false
}
