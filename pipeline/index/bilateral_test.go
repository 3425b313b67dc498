package index

import (
	"math"
	"testing"
)

func TestPublishedBilateral(t *testing.T) {
	checkTopic(t, "index_bilateral.json", 68, answers{
		"bilateral_series":  indexSeries,
		"elementary_series": indexSeries,
		"bilateral_index": func(t *testing.T, in input) map[string]any {
			got := map[string]any{}
			for _, f := range Formulas {
				got[f.Name] = pairIndex(t, f, in)
			}
			return got
		},
		"lloyd_moulton": func(t *testing.T, in input) map[string]any {
			r := must[Result](t)(LloydMoulton(in.vec(t, "p0"), in.vec(t, "p1"), in.vec(t, "q0"), in.num(t, "sigma")))
			return map[string]any{"index": r.Index}
		},
		"bortkiewicz": func(t *testing.T, in input) map[string]any {
			b := must[float64](t)(Bortkiewicz(in.vec(t, "p0"), in.vec(t, "p1"), in.vec(t, "q0"), in.vec(t, "q1")))
			if d := pairIndex(t, paasche, in)/pairIndex(t, laspeyres, in) - 1; math.Abs(d-b) > 1e-15 {
				t.Errorf("covariance %v, Paasche/Laspeyres - 1 = %v", b, d)
			}
			return map[string]any{"paasche_over_laspeyres_minus_1": b}
		},
		"price_updating": func(t *testing.T, in input) map[string]any {
			p, q := in.panel(t, "p_periods"), in.vec(t, "q_base")
			first := must[Result](t)(Laspeyres(p[0], p[1], q, nil))
			r := make([]float64, len(q))
			for i := range r {
				r[i] = p[1][i] / p[0][i]
			}
			second := must[Result](t)(Young(p[1], p[2], PriceUpdate(times(p[0], q), r)))
			return map[string]any{
				"direct":   must[Result](t)(Laspeyres(p[0], p[2], q, nil)).Index,
				"two_step": first.Index * second.Index,
			}
		},
		"missing_price_policy": func(t *testing.T, in input) map[string]any {
			p0, p1, q0 := in.vec(t, "p0"), in.vec(t, "p1"), in.vec(t, "q0")
			r := must[Result](t)(Laspeyres(p0, p1, q0, nil))
			wrong := sum(present(times(p1, q0))) / sum(present(times(p0, q0)))
			if math.Abs(r.Index-wrong) < 1e-3 {
				t.Errorf("got %v: the one-sided value", r.Index)
			}
			if r.N != 5 || r.Of != 6 {
				t.Errorf("got N = %d of %d, want 5 of 6", r.N, r.Of)
			}
			return map[string]any{"matched_laspeyres": r.Index, "wrong_one_sided": wrong}
		},
		"contributions": func(t *testing.T, in input) map[string]any {
			if in.has("relatives") {
				in["p1"] = in["relatives"]
				in["p0"] = []any{1.0, 1.0}
				in["q0"], in["q1"] = in["p0"], in["p0"]
			}
			f := must[Formula](t)(FormulaNamed(in.text("formula")))
			of := f.Contributions
			if in.text("variant") == "reinsdorf_diewert_ehemann" {
				of = FisherLogContributions
			}
			r, c, err := of(in.vec(t, "p0"), in.vec(t, "p1"), in.vec(t, "q0"), in.vec(t, "q1"))
			if err != nil || math.Abs(sum(c)-(r.Index-1)) > 1e-15 {
				t.Errorf("parts add to %v, change is %v (%v)", sum(c), r.Index-1, err)
			}
			return map[string]any{"contributions": c, "change": r.Index - 1}
		},
		"group_contributions": func(t *testing.T, in input) map[string]any {
			from, to, c := GroupContributions(in.vec(t, "weights"), in.vec(t, "index_from"), in.vec(t, "index_to"))
			return map[string]any{"all_items_from": from, "all_items_to": to,
				"contributions_pct_points": c, "change_pct": sum(c)}
		},
		"lowe_index": func(t *testing.T, in input) map[string]any {
			return map[string]any{"index": must[Result](t)(Lowe(in.vec(t, "p0"), in.vec(t, "p1"), in.vec(t, "qb"))).Index}
		},
		"young_index": func(t *testing.T, in input) map[string]any {
			return map[string]any{"index": must[Result](t)(Young(in.vec(t, "p0"), in.vec(t, "p1"), in.vec(t, "wb"))).Index}
		},
		"geometric_young_index": func(t *testing.T, in input) map[string]any {
			return map[string]any{"index": must[Result](t)(GeometricYoung(in.vec(t, "p0"), in.vec(t, "p1"), in.vec(t, "wb"))).Index}
		},
		"two_stage_index": func(t *testing.T, in input) map[string]any {
			f := must[Formula](t)(FormulaNamed(in.text("formula")))
			var group []int
			for _, g := range in.vec(t, "groups") {
				group = append(group, int(g))
			}
			staged := func(p0, p1, q0, q1 []float64) (Result, error) {
				return TwoStage(f.Index, group, p0, p1, q0, q1)
			}
			return map[string]any{"index": Levels(must[[]Result](t)(Direct(staged)(in.panel(t, "p"), in.panel(t, "q"))))}
		},
		"mean_prices": func(t *testing.T, in input) map[string]any {
			var m []float64
			for _, p := range in.panel(t, "prices") {
				m = append(m, Mean(p))
			}
			return map[string]any{"arithmetic_mean": m}
		},
		"unit_value": func(t *testing.T, in input) map[string]any {
			var p, q []float64
			for _, x := range in["transactions"].([]any) {
				x := input(x.(map[string]any))
				p, q = append(p, x.num(t, "price")), append(q, x.num(t, "quantity"))
			}
			v, n, err := UnitValue(p, q)
			if n != 3 || err != nil {
				t.Errorf("got n = %d, %v", n, err)
			}
			return map[string]any{"unit_value": v, "simple_mean_price": Mean(p)}
		},
		"power_means": func(t *testing.T, in input) map[string]any {
			x, w := in.vec(t, "x"), in.vec(t, "w")
			return map[string]any{"arithmetic": PowerMean(x, w, 1), "geometric": PowerMean(x, w, 0),
				"harmonic": PowerMean(x, w, -1), "quadratic": PowerMean(x, w, 2)}
		},
		"geometric_mean": func(t *testing.T, in input) map[string]any {
			var x []float64
			for r, v := in.vec(t, "x_range"), 0.0; v < r[1]; {
				v = r[0] + float64(len(x))
				x = append(x, v)
			}
			return map[string]any{"geometric_mean": PowerMean(x, nil, 0)}
		},
		"logmean": func(t *testing.T, in input) map[string]any {
			return map[string]any{"logmean": LogMean(in.num(t, "a"), in.num(t, "b"))}
		},
	})
}

func pairIndex(t *testing.T, f Formula, in input) float64 {
	t.Helper()
	return must[Result](t)(f.Index(in.vec(t, "p0"), in.vec(t, "p1"), in.vec(t, "q0"), in.vec(t, "q1"))).Index
}

func indexSeries(t *testing.T, in input) map[string]any {
	f := must[Formula](t)(FormulaNamed(in.text("formula")))
	base := 1.0
	if in.has("base_value") {
		base = in.num(t, "base_value")
	}
	var p, q [][]float64
	if in.has("prices") {
		p = in.panel(t, "prices")
	} else {
		p, q = in.panel(t, "p"), in.panel(t, "q")
	}
	of := Direct
	if in.text("mode") == "chained" {
		of = Chained
	}
	x := Levels(must[[]Result](t)(of(f.Index)(p, q)))
	for i := range x {
		x[i] *= base
	}
	return map[string]any{"index": x}
}
