package index

import (
	"errors"
	"math"
	"testing"
)

func TestPublishedMultilateral(t *testing.T) {
	checkTopic(t, "index_multilateral.json", 119, answers{
		"multilateral_series": func(t *testing.T, in input) map[string]any {
			x := levelsOf(t, in)
			return map[string]any{"index": x, "movement": Movements(x)}
		},
		"multilateral_series_last": func(t *testing.T, in input) map[string]any {
			x := levelsOf(t, in)
			return map[string]any{"last": x[len(x)-1]}
		},
		"spatial_index": func(t *testing.T, in input) map[string]any {
			p, q := in.panel(t, "p"), in.panel(t, "q")
			rows, err := methodNamed(t, in.text("method"))(p, q)
			var apart *Unconnected
			if errors.As(err, &apart) {
				comparable := make([]bool, len(p))
				for _, r := range apart.Groups[0] {
					comparable[r] = true
				}
				return map[string]any{"outcome": "refuse_or_null", "comparable_to_first": comparable}
			}
			return map[string]any{"level": Levels(must[[]Result](t)(rows, err))}
		},
		"rolling_multilateral": func(t *testing.T, in input) map[string]any {
			p, q := panels(t, in)
			m := methodNamed(t, in.text("method"))
			s := must[Splice](t)(SpliceNamed(in.text("splice")))
			x := Levels(must[[]Result](t)(Rolling(m, int(in.num(t, "window")), s)(p, q)))
			return map[string]any{"index": x, "last": x[len(x)-1]}
		},
		"ces_level": func(t *testing.T, in input) map[string]any {
			p, _ := panels(t, in)
			var x []float64
			for _, now := range p {
				x = append(x, must[Result](t)(CES(p[0], now, in.vec(t, "alpha"), in.num(t, "sigma"))).Index)
			}
			return map[string]any{"index": x}
		},
		"splice_differences": func(t *testing.T, in input) map[string]any {
			p, q := panels(t, in)
			m := methodNamed(t, in.text("method"))
			w := int(in.num(t, "window"))
			whole := Levels(must[[]Result](t)(m(p, q)))
			link := func(s Splice) float64 {
				x := Levels(must[[]Result](t)(Rolling(m, w, s)(p, q)))
				return x[w] - whole[w]
			}
			var d []float64
			for _, k := range in.vec(t, "link_periods") {
				d = append(d, link(func(int) []int { return []int{int(k)} }))
			}
			return map[string]any{"difference": append(d, link(MeanSplice))}
		},
		"splice_factor": func(t *testing.T, in input) map[string]any {
			s := must[Splice](t)(SpliceNamed(in.text("splice")))
			return map[string]any{"factor": s.Factor(in.vec(t, "old_window"), in.vec(t, "new_window"))}
		},
		"yoy_monthly_index": func(t *testing.T, in input) map[string]any {
			p, q := turvey(t)
			f := must[Formula](t)(FormulaNamed(in.text("formula")))
			at := 12 * (int(in.num(t, "year")) - 1970)
			var x []float64
			for m := range 12 {
				x = append(x, must[Result](t)(f.Index(p[m], p[at+m], q[m], q[at+m])).Index)
			}
			return map[string]any{"index": x}
		},
		"dissimilarity": func(t *testing.T, in input) map[string]any {
			p, q := panels(t, in)
			of := map[string]Dissimilarity{"log_quadratic": LogQuadratic, "asymptotic_linear": AsymptoticLinear}[in.text("kind")]
			var d []float64
			for t1 := range p {
				d = append(d, must[float64](t)(of(p[0], p[t1], q[0], q[t1])))
			}
			return map[string]any{"d": d}
		},
		"gk_reference_prices": func(t *testing.T, in input) map[string]any {
			p, q := panels(t, in)
			level := Levels(must[[]Result](t)(GearyKhamis(p, q)))
			b := ReferencePrices(p, q, level)
			var realValue, deflated []float64
			for r := range p {
				realValue = append(realValue, dot(b, q[r]))
				deflated = append(deflated, dot(p[r], q[r])/level[r])
			}
			return map[string]any{"level": level, "reference_prices": b, "real_value": realValue, "nominal_over_level": deflated}
		},
	})
}

func levelsOf(t *testing.T, in input) []float64 {
	t.Helper()
	p, q := panels(t, in)
	return Levels(must[[]Result](t)(methodNamed(t, in.text("method"))(p, q)))
}

// panels is a figure's data: the Turvey table, a panel, or the CES prices with
// quantities of the elasticity asked for.
func panels(t *testing.T, in input) (p, q [][]float64) {
	t.Helper()
	if in.text("dataset") == "turvey" {
		return turvey(t)
	}
	p = in.panel(t, "p")
	if in.text("dataset") != "ces_prices" {
		return p, in.panel(t, "q")
	}
	alpha, spent, sigma := in.vec(t, "alpha"), in.vec(t, "expenditure"), in.num(t, "sigma")
	q = make([][]float64, len(p))
	for r := range p {
		share := make([]float64, len(alpha))
		for i := range share {
			share[i] = alpha[i] * math.Pow(p[r][i], 1-sigma)
		}
		share = scaled(share)
		for i := range share {
			q[r] = append(q[r], spent[r]*share[i]/p[r][i])
		}
	}
	if in.flag("sales_adjusted") { // stocked up in the sale: half is bought in the period after it
		for _, at := range [][2]int{{2, 1}, {8, 1}, {5, 2}, {10, 2}} {
			q[at[0]][at[1]] /= 2
		}
	}
	return p, q
}
