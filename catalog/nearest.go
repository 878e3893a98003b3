package catalog

import "strings"

// Nearest gives the one of names that is least edits away from name, whatever
// the case, if that is close enough to be meant; "" for none.
func Nearest(name string, names []string) string {
	best, at := "", 1+max(1, len(name)/3)
	for _, n := range names {
		if d := edits(strings.ToLower(name), strings.ToLower(n)); d < at {
			best, at = n, d
		}
	}
	return best
}

// edits counts inserted, deleted and replaced bytes and swapped neighbours
// between two short texts (optimal string alignment).
func edits(a, b string) int {
	if len(a) > 64 || len(b) > 64 {
		return 64
	}
	var d [65][65]int
	for i := 0; i <= len(a); i++ {
		d[i][0] = i
	}
	for j := 0; j <= len(b); j++ {
		d[0][j] = j
	}
	for i := 1; i <= len(a); i++ {
		for j := 1; j <= len(b); j++ {
			cost := 1
			if a[i-1] == b[j-1] {
				cost = 0
			}
			d[i][j] = min(d[i-1][j]+1, d[i][j-1]+1, d[i-1][j-1]+cost)
			if i > 1 && j > 1 && a[i-1] == b[j-2] && a[i-2] == b[j-1] {
				d[i][j] = min(d[i][j], d[i-2][j-2]+1)
			}
		}
	}
	return d[len(a)][len(b)]
}
