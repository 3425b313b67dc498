package lp

import (
	"math/rand/v2"
	"testing"
)

// BenchmarkSolve: a diet of a region and month, and a large one.
func BenchmarkSolve(b *testing.B) {
	for _, c := range []struct {
		name string
		n, m int
	}{{"foods=60/nutrients=20", 60, 20}, {"foods=300/nutrients=30", 300, 30}} {
		b.Run(c.name, func(b *testing.B) {
			rng := rand.New(rand.NewPCG(7, 1))
			for range b.N {
				p := drawDiet(rng, c.n, c.m)
				for i := range p.Rows {
					p.Rows[i].Upper = nil
				}
				Solve(p)
			}
		})
	}
}
