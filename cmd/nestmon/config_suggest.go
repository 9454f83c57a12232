package main

import (
	"fmt"
	"slices"
	"strings"
)

// suggestions is how many names an error offers; a rabbitry may have a hundred probes.
const suggestions = 12

// oneOf is the remedy of an error about an unknown name: what may be written instead, the nearest first.
func oneOf(written string, allowed []string) string {
	if len(allowed) == 0 {
		return "remove it"
	}
	near := slices.Clone(allowed)
	slices.SortStableFunc(near, func(a, b string) int { return distance(written, a) - distance(written, b) })
	guess := ""
	if d := distance(written, near[0]); len(near) > 1 && (d <= max(1, len(near[0])/3) || strings.HasPrefix(near[0], written+"_")) {
		guess = fmt.Sprintf("did you mean %s? ", near[0])
	}
	rest := ""
	if more := len(near) - suggestions; more > 0 {
		near, rest = near[:suggestions], fmt.Sprintf(" and %d more", more)
	}
	return guess + "write one of: " + strings.Join(near, ", ") + rest
}

// distance counts the letters to insert, remove, replace or swap with their neighbour to turn a into b, regardless of case.
func distance(a, b string) int {
	s, t := []rune(strings.ToLower(a)), []rune(strings.ToLower(b))
	rows := make([][]int, len(s)+1)
	for i := range rows {
		rows[i] = make([]int, len(t)+1)
		rows[i][0] = i
	}
	for j := range t {
		rows[0][j+1] = j + 1
	}
	for i := 1; i <= len(s); i++ {
		for j := 1; j <= len(t); j++ {
			replace := rows[i-1][j-1]
			if s[i-1] != t[j-1] {
				replace++
			}
			rows[i][j] = min(rows[i-1][j]+1, rows[i][j-1]+1, replace)
			if i > 1 && j > 1 && s[i-1] == t[j-2] && s[i-2] == t[j-1] {
				rows[i][j] = min(rows[i][j], rows[i-2][j-2]+1)
			}
		}
	}
	return rows[len(s)][len(t)]
}
