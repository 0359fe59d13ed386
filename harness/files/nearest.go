package files

import "strings"

// nearest returns the candidate with the smallest edit distance to word if it
// is near enough to be a slip of the keys: one edit for words of up to five
// letters, a third of the length for longer ones. The first of equals wins.
func nearest(word string, candidates []string) string {
	best, bestAt := "", max(1, len(word)/3)
	if len(word) > maxCompared {
		return ""
	}
	for _, c := range candidates {
		if len(c) > maxCompared {
			continue
		}
		d := editDistance(strings.ToLower(word), strings.ToLower(c), bestAt)
		if d <= bestAt && (best == "" || d < bestAt) {
			best, bestAt = c, d
		}
	}
	return best
}

const maxCompared = 64

// editDistance counts the insertions, deletions, replacements and swaps of
// neighbours that turn a into b (optimal string alignment), in bytes; above
// limit it may stop early and return any number greater than limit.
func editDistance(a, b string, limit int) int {
	if d := len(a) - len(b); d > limit || -d > limit {
		return limit + 1
	}
	var rows [3][maxCompared + 1]int
	for j := range len(b) + 1 {
		rows[0][j] = j
	}
	for i := 1; i <= len(a); i++ {
		cur, prev, prev2 := &rows[i%3], &rows[(i+2)%3], &rows[(i+1)%3]
		cur[0] = i
		for j := 1; j <= len(b); j++ {
			cost := 1
			if a[i-1] == b[j-1] {
				cost = 0
			}
			cur[j] = min(prev[j]+1, cur[j-1]+1, prev[j-1]+cost)
			if i > 1 && j > 1 && a[i-1] == b[j-2] && a[i-2] == b[j-1] {
				cur[j] = min(cur[j], prev2[j-2]+1)
			}
		}
	}
	return rows[len(a)%3][len(b)]
}

// didYouMean returns a fix that proposes the nearest candidate, or "".
func didYouMean(word string, candidates []string) string {
	if c := nearest(word, candidates); c != "" {
		return "did you mean " + c + "?"
	}
	return ""
}
