package index

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
)

// panelWithGaps has log-normal prices around product levels, an eighth missing.
func panelWithGaps(rows, products int) (p, q [][]float64) {
	rng := rand.New(rand.NewPCG(20, 1))
	base := drawVector(rng, products, 1)
	for range rows {
		r, s := times(base, drawVector(rng, products, .1)), drawVector(rng, products, 1)
		for i := range r {
			if rng.IntN(8) == 0 {
				r[i], s[i] = math.NaN(), math.NaN()
			}
		}
		p, q = append(p, r), append(q, s)
	}
	return p, q
}

func BenchmarkMultilateral(b *testing.B) {
	for _, c := range []struct {
		method         string
		rows, products int
	}{
		{"geks_fisher", 120, 500}, {"geks_tornqvist", 120, 500}, {"geary_khamis", 120, 500}, {"weighted_tpd", 120, 500},
		{"tpd", 200, 80}, {"weighted_tpd", 200, 80}, {"geks_jevons", 200, 80}, {"geary_khamis", 200, 80},
	} {
		b.Run(fmt.Sprintf("method=%s/rows=%d/products=%d", c.method, c.rows, c.products), func(b *testing.B) {
			p, q := panelWithGaps(c.rows, c.products)
			m, _, err := MethodNamed(c.method)
			if err != nil {
				b.Fatal(err)
			}
			b.ReportAllocs()
			for b.Loop() {
				if _, err := m(p, q); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

func BenchmarkFisher(b *testing.B) {
	p, q := panelWithGaps(2, 500)
	b.ReportAllocs()
	for b.Loop() {
		if _, err := Fisher(p[0], p[1], q[0], q[1]); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkSTL(b *testing.B) {
	rng := rand.New(rand.NewPCG(21, 1))
	x := drawVector(rng, 240, .1)
	for b.Loop() {
		if _, err := STL(x, DefaultSTL(12, 13, true)); err != nil {
			b.Fatal(err)
		}
	}
}
