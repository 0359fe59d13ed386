package require

import "strings"

// nearest picks the name most like the one that was written, or "" if none
// comes close. The first of equals wins.
func nearest(name string, known []string) string {
	best, bestDist := "", len(name)/2+1
	for _, k := range known {
		if d := editDistance(strings.ToLower(name), strings.ToLower(k)); d < bestDist {
			best, bestDist = k, d
		}
	}
	return best
}

// editDistance counts insertions, deletions, substitutions and swaps of
// neighbours (Damerau 1964; no letter is touched twice), in bytes.
func editDistance(a, b string) int {
	before, above, row := make([]int, len(b)+1), make([]int, len(b)+1), make([]int, len(b)+1)
	for j := range above {
		above[j] = j
	}
	for i := 1; i <= len(a); i++ {
		row[0] = i
		for j := 1; j <= len(b); j++ {
			cost := above[j-1]
			if a[i-1] != b[j-1] {
				cost++
			}
			row[j] = min(cost, above[j]+1, row[j-1]+1)
			if i > 1 && j > 1 && a[i-1] == b[j-2] && a[i-2] == b[j-1] {
				row[j] = min(row[j], before[j-2]+1)
			}
		}
		before, above, row = above, row, before
	}
	return above[len(b)]
}
