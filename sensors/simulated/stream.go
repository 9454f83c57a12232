package simulated

import (
	"hash/fnv"
	"math"
	"math/rand/v2"
)

// stream is the random stream that belongs to a name.
func stream(seed uint64, name string) *rand.Rand {
	h := fnv.New64a()
	h.Write([]byte(name)) // never fails
	return rand.New(rand.NewPCG(seed, h.Sum64()))
}

func uniform(r *rand.Rand, lo, hi float64) float64 { return lo + (hi-lo)*r.Float64() }

func lognormal(r *rand.Rand, sd float64) float64 { return math.Exp(sd * r.NormFloat64()) }
