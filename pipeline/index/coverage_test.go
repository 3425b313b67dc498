package index

import (
	"math"
	"math/rand/v2"
	"testing"
)

// TestRangeCoverage draws shops whose prices of 12 items differ by a level of the shop
// (sd 5 %) and by item (sd 8 %), as the logs of prices do, and counts how often the
// 95 % range of the basket's cost holds the cost at the mean of all such shops:
// jackknife over shops on ln cost with Student t, as reach is published, beside the
// percentile bootstrap of the same shops. For normal logs theory says 95 % of the
// first (the log of a sum of means is all but linear here); the second is known to be
// too narrow for few shops (Efron and Tibshirani 1993, ch. 14: from memory).
func TestRangeCoverage(t *testing.T) {
	const items, draws, resamples = 12, 4000, 399
	for _, n := range []int{3, 4, 6, 12} {
		rng := rand.New(rand.NewPCG(95, uint64(n)))
		ln := make([][]float64, n) // shop, item
		for o := range ln {
			ln[o] = make([]float64, items)
		}
		cost := func(shops []int) float64 { // item i costs i + 1 at the mean of all shops
			c := 0.0
			for i := range items {
				m := 0.0
				for _, o := range shops {
					m += ln[o][i]
				}
				c += float64(i+1) * math.Exp(m/float64(len(shops)))
			}
			return math.Log(c)
		}
		truth := math.Log(items * (items + 1) / 2)
		all := make([]int, n)
		for o := range all {
			all[o] = o
		}
		jack, boot, width := 0, 0, 0.0
		for k := range draws {
			for o := range ln {
				level := .05 * rng.NormFloat64()
				for i := range ln[o] {
					ln[o][i] = level + .08*rng.NormFloat64()
				}
			}
			without := make([]float64, n)
			for o := range without {
				without[o] = cost(append(append([]int{}, all[:o]...), all[o+1:]...))
			}
			x := JackknifeOf(cost(all), without, .95)
			b := Percentile(cost(all), Bootstrap(n, resamples, uint64(k), cost), .95)
			width += x.Hi - x.Lo
			if x.Lo <= truth && truth <= x.Hi {
				jack++
			}
			if b.Lo <= truth && truth <= b.Hi {
				boot++
			}
		}
		j, b := float64(jack)/draws, float64(boot)/draws
		t.Logf("n = %2d shops: jackknife-t covers %.1f %%, percentile bootstrap %.1f %%; mean width of ln cost %.3f (%d draws)", n, 100*j, 100*b, width/draws, draws)
		if j < .93 {
			t.Errorf("n = %d: jackknife-t covers %.3f, want 0.93 or more", n, j)
		}
		if b >= j {
			t.Errorf("n = %d: the percentile bootstrap covers %.3f, no less than jackknife-t's %.3f", n, b, j)
		}
	}
}
