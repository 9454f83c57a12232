package quality

import "math"

// Rate is how often something comes in a nest-week, with the interval in which the true rate lies 19 times of 20: exact for things that come
// independently of each other (Garwood 1936, Biometrika 28). Alarms come in company, so the truth is less certain than that.
type Rate struct {
	Value float64 `json:"value"`
	Low   float64 `json:"low"`
	High  float64 `json:"high"`
}

// leastWeeks is a nest-day, below which there is no rate to speak of; ours, no source.
const leastWeeks = 1.0 / 7

// tail is what lies outside the interval at each end.
const tail = 0.025

func rate(n int, weeks float64) *Rate {
	if weeks < leastWeeks {
		return nil
	}
	low, high := interval(n)
	return &Rate{float64(n) / weeks, low / weeks, high / weeks}
}

// interval holds the mean of a Poisson variable of which n was seen.
func interval(n int) (low, high float64) {
	if n > 0 {
		low = meanWhere(n-1, 1-tail)
	}
	return low, meanWhere(n, tail)
}

// meanWhere is the mean at which p of the distribution lies at n or below.
func meanWhere(n int, p float64) float64 {
	low, high := 0.0, float64(n)+10*math.Sqrt(float64(n))+10 // ten standard deviations hold every p that is asked for
	for range 60 {                                           // halvings: more than a float64 can tell apart
		if mid := (low + high) / 2; below(n, mid) > p {
			low = mid
		} else {
			high = mid
		}
	}
	return (low + high) / 2
}

// below is the part of a Poisson distribution that lies at n or below: its terms from the n-th down, until they add nothing.
func below(n int, mean float64) float64 {
	logFactorial, _ := math.Lgamma(float64(n) + 1)
	term := math.Exp(float64(n)*math.Log(mean) - mean - logFactorial)
	sum := term
	for k := n; k > 0 && (float64(k) > mean || term > sum*1e-17); k-- {
		term *= float64(k) / mean
		sum += term
	}
	return sum
}
