package survival

import (
	"math"

	"gonum.org/v1/gonum/mathext"
)

// confidence is the level of every interval that is shown: the truth lies in it 19 times of 20.
const confidence = 0.95

// Share is a part of a whole with its interval. Low and High are nil where nothing can be said.
type Share struct {
	N     int      `json:"n"`
	Of    int      `json:"of"`
	Value *float64 `json:"value"`
	Low   *float64 `json:"low"`
	High  *float64 `json:"high"`
}

func share(n, of int) Share {
	s := Share{N: n, Of: of}
	if of > 0 {
		v := float64(n) / float64(of)
		s.Value = &v
	}
	return s
}

func (s Share) within(low, high float64) Share {
	s.Low, s.High = &low, &high
	return s
}

// kits are those of one litter: how many there were and how many of them lived.
type kits struct{ lived, of int }

// clustered is the interval of a share of kits that come in litters: the kits of one litter live or die together, so that twenty kits of two
// litters tell less than twenty of twenty. It is the interval of Korn and Graubard (1998, Survey Methodology 24): Clopper and Pearson's at the
// effective size, which is that of a sample of unrelated kits as certain as this one, with the litters as clusters and Student's t for how few
// they are. As method "beta" of svyciprop in the R package survey, except that
//
//   - litters that happen to be more alike than chance makes them do not count as more kits than there are, before Student's t (truncated, as
//     is common; R does not);
//   - where all live or all die, nothing is seen of how litters differ, and each litter counts as one kit (ours, no source; R has no answer);
//   - one litter has no interval, and ok is false.
func clustered(litters []kits, level float64) (low, high float64, ok bool) {
	n, lived, m := 0.0, 0.0, 0.0
	for _, l := range litters {
		if l.of > 0 {
			n, lived, m = n+float64(l.of), lived+float64(l.lived), m+1
		}
	}
	if m < 2 {
		return 0, 0, false
	}
	p := lived / n
	if lived == 0 || lived == n {
		low, high = clopperPearson(p*m, m, level)
		return low, high, true
	}
	squares := 0.0
	for _, l := range litters {
		off := float64(l.lived) - p*float64(l.of)
		squares += off * off
	}
	size := n
	if variance := m / (m - 1) * squares / (n * n); variance > 0 {
		size = min(n, p*(1-p)/variance)
	}
	t := student(level, n-1) / student(level, m-1)
	size *= t * t
	low, high = clopperPearson(p*size, size, level)
	return low, high, true
}

// clopperPearson is the interval of k of n (Clopper and Pearson 1934, Biometrika 26), neither of which need be whole.
func clopperPearson(k, n, level float64) (low, high float64) {
	tail, high := (1-level)/2, 1.0
	if k > 0 {
		low = mathext.InvRegIncBeta(k, n-k+1, tail)
	}
	if k < n {
		high = mathext.InvRegIncBeta(k+1, n-k, 1-tail)
	}
	return low, high
}

// student is the value that Student's t passes to either side with what is left of level.
func student(level, df float64) float64 {
	x := mathext.InvRegIncBeta(df/2, 0.5, 1-level)
	return math.Sqrt(df * (1 - x) / x)
}

// normal975 is the 97.5 % point of the normal distribution.
const normal975 = 1.959963984540054

// wilson gives a share of single things, each of which went one way or the other by itself, its interval (Wilson 1927, JASA 22).
func wilson(n, of int) Share {
	s := share(n, of)
	if of == 0 {
		return s
	}
	size, z2 := float64(of), normal975*normal975
	middle := (*s.Value + z2/(2*size)) / (1 + z2/size)
	half := normal975 / (1 + z2/size) * math.Sqrt(*s.Value*(1-*s.Value)/size+z2/(4*size*size))
	return s.within(max(0, middle-half), min(1, middle+half))
}
