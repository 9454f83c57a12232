package main

import (
	"fmt"
	"math"
)

func short(n, all int) string {
	if all == 0 {
		return "-"
	}
	return fmt.Sprintf("%.0f", 100*float64(n)/float64(all))
}

// whole is a figure without decimals, or a dash.
func whole(v float64) string {
	if !finite(v) {
		return "-"
	}
	return fmt.Sprintf("%.0f", v)
}

func leads(l []float64) string {
	if len(l) == 0 {
		return "-"
	}
	return fmt.Sprintf("%.0f/%.0f/%.0f", quantile(l, 0.1), quantile(l, 0.5), quantile(l, 0.9))
}

func percent(r ratio) string {
	if r.value != r.value {
		return "-"
	}
	return fmt.Sprintf("%.0f [%.0f-%.0f]", 100*r.value, 100*r.low, 100*r.high)
}

func perWeek(r ratio) string {
	if r.value != r.value {
		return "-"
	}
	return fmt.Sprintf("%.2f [%.2f-%.2f]", r.value, r.low, r.high)
}

func hours(v float64) string {
	if !finite(v) {
		return "-"
	}
	return fmt.Sprintf("%.1f", v)
}

func bare(v float64) string {
	if !finite(v) {
		return "-"
	}
	return fmt.Sprintf("%.2f", v)
}

func finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }
