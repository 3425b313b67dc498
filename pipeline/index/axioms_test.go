package index

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

const noise = 1e-9 // a true law stays below 1e-11 on these draws; a false one fails by far more

// pairOf is one draw of two periods.
type pairOf struct{ p0, p1, q0, q1 []float64 }

func drawVector(rng *rand.Rand, n int, sd float64) []float64 {
	x := make([]float64, n)
	for i := range x {
		x[i] = math.Exp(sd * rng.NormFloat64())
	}
	return x
}

func drawPair(rng *rand.Rand) pairOf {
	return pairOf{drawVector(rng, 3, 1), drawVector(rng, 3, 1), drawVector(rng, 3, 1), drawVector(rng, 3, 1)}
}

func near(a, b float64) bool { return math.Abs(a-b) <= noise*math.Max(1, math.Abs(b)) }

func by(x []float64, k float64) []float64 { return times(x, filled(len(x), k)) }

func inverse(x []float64) []float64 { return each(x, func(v float64) float64 { return 1 / v }) }

func turned(x []float64) []float64 { return []float64{x[1], x[2], x[0]} }

func span(p0, p1 []float64) (lo, hi float64) {
	r := make([]float64, len(p0))
	for i := range r {
		r[i] = p1[i] / p0[i]
	}
	return slices.Min(r), slices.Max(r)
}

func within(x, a, b float64) bool {
	return x >= math.Min(a, b)*(1-noise) && x <= math.Max(a, b)*(1+noise)
}

// number is a formula without its diagnostics, law says whether one draw obeys.
type (
	number func(p0, p1, q0, q1 []float64) float64
	law    func(x number, d pairOf, rng *rand.Rand) bool
)

// Names of the laws as in CPI Manual 2004, ch. 16.
var bilateralLaws = map[string]law{
	"identity (T3): same prices, any quantities -> 1": func(x number, d pairOf, _ *rand.Rand) bool {
		return near(x(d.p0, d.p0, d.q0, d.q1), 1)
	},
	"strong proportionality in current prices (T5)": func(x number, d pairOf, _ *rand.Rand) bool {
		return near(x(d.p0, by(d.p1, 1.7), d.q0, d.q1), 1.7*x(d.p0, d.p1, d.q0, d.q1))
	},
	"inverse proportionality in base prices (T6)": func(x number, d pairOf, _ *rand.Rand) bool {
		return near(x(by(d.p0, 1.7), d.p1, d.q0, d.q1), x(d.p0, d.p1, d.q0, d.q1)/1.7)
	},
	"invariance to proportional change of current quantities (T7)": func(x number, d pairOf, _ *rand.Rand) bool {
		return near(x(d.p0, d.p1, d.q0, by(d.q1, 1.7)), x(d.p0, d.p1, d.q0, d.q1))
	},
	"invariance to proportional change of base quantities (T8)": func(x number, d pairOf, _ *rand.Rand) bool {
		return near(x(d.p0, d.p1, by(d.q0, 1.7), d.q1), x(d.p0, d.p1, d.q0, d.q1))
	},
	"commodity reversal (T9): order of products": func(x number, d pairOf, _ *rand.Rand) bool {
		return near(x(turned(d.p0), turned(d.p1), turned(d.q0), turned(d.q1)), x(d.p0, d.p1, d.q0, d.q1))
	},
	"commensurability (T10): change of units": func(x number, d pairOf, rng *rand.Rand) bool {
		u := drawVector(rng, 3, 1)
		v := inverse(u)
		return near(x(times(d.p0, u), times(d.p1, u), times(d.q0, v), times(d.q1, v)), x(d.p0, d.p1, d.q0, d.q1))
	},
	"time reversal (T11)": func(x number, d pairOf, _ *rand.Rand) bool {
		return near(x(d.p0, d.p1, d.q0, d.q1)*x(d.p1, d.p0, d.q1, d.q0), 1)
	},
	"factor reversal (T21): P x Q = value ratio with the same formula": func(x number, d pairOf, _ *rand.Rand) bool {
		return near(x(d.p0, d.p1, d.q0, d.q1)*x(d.q0, d.q1, d.p0, d.p1), dot(d.p1, d.q1)/dot(d.p0, d.q0))
	},
	"mean value for prices (T14): between smallest and largest relative": func(x number, d pairOf, _ *rand.Rand) bool {
		lo, hi := span(d.p0, d.p1)
		return within(x(d.p0, d.p1, d.q0, d.q1), lo, hi)
	},
	"Paasche-Laspeyres bounding (T16)": func(x number, d pairOf, _ *rand.Rand) bool {
		return within(x(d.p0, d.p1, d.q0, d.q1), dot(d.p1, d.q0)/dot(d.p0, d.q0), dot(d.p1, d.q1)/dot(d.p0, d.q1))
	},
	"monotonicity in current prices (T17)": func(x number, d pairOf, _ *rand.Rand) bool {
		up := slices.Clone(d.p1)
		up[0] *= 1.01
		return x(d.p0, up, d.q0, d.q1) > x(d.p0, d.p1, d.q0, d.q1)*(1-1e-12)
	},
	"circularity / transitivity": func(x number, d pairOf, rng *rand.Rand) bool {
		p2, q2 := drawVector(rng, 3, 1), drawVector(rng, 3, 1)
		return near(x(d.p0, d.p1, d.q0, d.q1)*x(d.p1, p2, d.q1, q2), x(d.p0, p2, d.q0, q2))
	},
	bouncing: func(x number, d pairOf, _ *rand.Rand) bool {
		return near(x(d.p0, turned(d.p1), d.q0, d.q1), x(d.p0, d.p1, d.q0, d.q1))
	},
}

const bouncing = "price bouncing: order of current prices does not matter"

var elementaryLaws = map[string]string{ // by the bilateral law that says the same
	"identity":           "identity (T3): same prices, any quantities -> 1",
	"proportionality":    "strong proportionality in current prices (T5)",
	"commodity reversal": "commodity reversal (T9): order of products",
	"commensurability":   "commensurability (T10): change of units",
	"time reversal":      "time reversal (T11)",
	"circularity":        "circularity / transitivity",
	"mean value":         "mean value for prices (T14): between smallest and largest relative",
	bouncing:             bouncing,
}

// obeyed tries a law on 3000 draws of a fixed seed for each formula.
func obeyed(t *testing.T, name string, formulas []string) map[string]any {
	t.Helper()
	of := bilateralLaws[name]
	if of == nil {
		t.Fatalf("no law named %q", name)
	}
	holds := map[string]bool{}
	for _, formula := range formulas {
		f := must[Formula](t)(FormulaNamed(formula))
		x := func(p0, p1, q0, q1 []float64) float64 {
			r, err := f.Index(p0, p1, q0, q1)
			if err != nil {
				t.Fatal(err)
			}
			return r.Index
		}
		rng := rand.New(rand.NewPCG(1, 2))
		holds[formula] = true
		for range 3000 {
			if !of(x, drawPair(rng), rng) {
				holds[formula] = false
				break
			}
		}
	}
	return map[string]any{"holds": holds}
}

// panelNumbers is a method without its diagnostics, panelLaw says whether one panel
// obeys.
type (
	panelNumbers func(p, q [][]float64) []float64
	panelLaw     func(x panelNumbers, p, q [][]float64, rng *rand.Rand) bool
)

func nearAll(a, b []float64) bool {
	for i := range a {
		if !near(a[i], b[i]) {
			return false
		}
	}
	return len(a) == len(b)
}

func changed(p [][]float64, of func(t int, row []float64) []float64) [][]float64 {
	c := make([][]float64, len(p))
	for t := range p {
		c[t] = of(t, p[t])
	}
	return c
}

// third multiplies the third row.
func third(k float64) func(t int, row []float64) []float64 {
	return func(t int, row []float64) []float64 {
		if t == 2 {
			return by(row, k)
		}
		return row
	}
}

var panelLaws = map[string]panelLaw{
	"transitivity / base invariance": func(x panelNumbers, p, q [][]float64, _ *rand.Rand) bool {
		order := []int{3, 1, 4, 0, 2} // another first row, another order
		a, b := x(p, q), x(pickRows(p, order), pickRows(q, order))
		for k, t := range order {
			if !near(b[k], a[t]/a[order[0]]) {
				return false
			}
		}
		return true
	},
	"order of products does not matter": func(x panelNumbers, p, q [][]float64, _ *rand.Rand) bool {
		other := func(_ int, r []float64) []float64 { return []float64{r[2], r[0], r[3], r[1]} }
		return nearAll(x(changed(p, other), changed(q, other)), x(p, q))
	},
	"commensurability": func(x panelNumbers, p, q [][]float64, rng *rand.Rand) bool {
		u := drawVector(rng, 4, 1)
		v := inverse(u)
		return nearAll(x(changed(p, func(_ int, r []float64) []float64 { return times(r, u) }),
			changed(q, func(_ int, r []float64) []float64 { return times(r, v) })), x(p, q))
	},
	"proportionality: scaling one region's prices scales its level": func(x panelNumbers, p, q [][]float64, _ *rand.Rand) bool {
		a := x(p, q)
		b := x(changed(p, third(1.7)), q)
		return near(b[2], 1.7*a[2])
	},
	"multiperiod identity: last period repeats the first (prices and quantities)": func(x panelNumbers, p, q [][]float64, _ *rand.Rand) bool {
		back := func(y [][]float64) [][]float64 { return append(slices.Clone(y), y[0]) }
		level := x(back(p), back(q))
		return near(level[5], 1)
	},
	"identity: all periods same prices": func(x panelNumbers, p, q [][]float64, _ *rand.Rand) bool {
		return nearAll(x(changed(p, func(int, []float64) []float64 { return p[0] }), q), filled(len(p), 1))
	},
	"invariance to the size of a region (quantities scaled)": func(x panelNumbers, p, q [][]float64, _ *rand.Rand) bool {
		return nearAll(x(p, changed(q, third(50))), x(p, q))
	},
	"additivity: value at common reference prices = value / level": func(x panelNumbers, p, q [][]float64, _ *rand.Rand) bool {
		// Least squares of real values on quantities: common prices exist if it is exact.
		level := x(p, q)
		v := make([]float64, len(p))
		for t := range p {
			v[t] = dot(p[t], q[t]) / level[t]
		}
		fit, err := WLS(q, v, nil)
		return err == nil && nearAll(fit.Fitted, v)
	},
	"equals bilateral Fisher for two regions": func(x panelNumbers, p, q [][]float64, _ *rand.Rand) bool {
		r, err := Fisher(p[0], p[1], q[0], q[1])
		return err == nil && near(x(p[:2], q[:2])[1], r.Index)
	},
}

func pickRows(x [][]float64, at []int) [][]float64 {
	var y [][]float64
	for _, t := range at {
		y = append(y, x[t])
	}
	return y
}

func drawPanel(rng *rand.Rand) (p, q [][]float64) {
	for range 5 {
		p, q = append(p, drawVector(rng, 4, .5)), append(q, drawVector(rng, 4, 1))
	}
	return p, q
}

func TestAxioms(t *testing.T) {
	checkTopic(t, "index_axioms.json", 35, answers{
		"axiom": func(t *testing.T, in input) map[string]any {
			return obeyed(t, in.text("axiom"), in.strings("applies_to"))
		},
		"axiom_elementary": func(t *testing.T, in input) map[string]any {
			return obeyed(t, elementaryLaws[in.text("axiom")], in.strings("applies_to"))
		},
		"axiom_counterexample": func(t *testing.T, in input) map[string]any {
			f := must[Formula](t)(FormulaNamed(in.text("formula")))
			x, l, p := pairIndex(t, f, in), pairIndex(t, laspeyres, in), pairIndex(t, paasche, in)
			up := slices.Clone(in["p1"].([]any))
			up[0] = up[0].(float64) * 1.01
			in["p1"] = up
			y := pairIndex(t, f, in)
			if y > x && within(x, l, p) {
				t.Errorf("neither monotonicity nor bounding is violated: %v, %v", x, y)
			}
			return map[string]any{"index": x, "index_with_first_price_up_1pct": y, "laspeyres": l, "paasche": p}
		},
		"axiom_multilateral": func(t *testing.T, in input) map[string]any {
			of := panelLaws[in.text("axiom")]
			if of == nil {
				t.Fatalf("no law named %q", in.text("axiom"))
			}
			holds := map[string]bool{}
			for _, name := range in.strings("applies_to") {
				m := methodNamed(t, name)
				x := func(p, q [][]float64) []float64 { return Levels(must[[]Result](t)(m(p, q))) }
				rng := rand.New(rand.NewPCG(3, 4))
				holds[name] = true
				for range 40 {
					p, q := drawPanel(rng)
					if !of(x, p, q, rng) {
						holds[name] = false
						break
					}
				}
			}
			return map[string]any{"holds": holds}
		},
		"inequality": func(t *testing.T, in input) map[string]any {
			rng := rand.New(rand.NewPCG(5, 6))
			holds := true
			for range 3000 {
				d := drawPair(rng)
				c, j, h := must[Result](t)(Carli(d.p0, d.p1)), must[Result](t)(Jevons(d.p0, d.p1)), must[Result](t)(Harmonic(d.p0, d.p1))
				back := must[Result](t)(Carli(d.p1, d.p0))
				holds = holds && c.Index >= j.Index && j.Index >= h.Index && c.Index*back.Index > 1
			}
			return map[string]any{"holds": holds}
		},
		"identity": func(t *testing.T, in input) map[string]any {
			rng := rand.New(rand.NewPCG(7, 8))
			holds := true
			for range 40 {
				p, q := drawPanel(rng)
				x := func(name string, q [][]float64) []float64 {
					return Levels(must[[]Result](t)(methodNamed(t, name)(p, q)))
				}
				// Equal value shares: q = 1/p.
				even := changed(p, func(_ int, r []float64) []float64 { return inverse(r) })
				cpd := Levels(must[[]Result](t)(CPD(p, nil)))
				holds = holds && nearAll(cpd, x("direct_jevons", nil)) && nearAll(cpd, x("geks_jevons", nil)) &&
					nearAll(Levels(must[[]Result](t)(WeightedCPD(p, even))), cpd) &&
					nearAll(x("geks_laspeyres", q), x("geks_fisher", q)) && nearAll(x("geks_paasche", q), x("geks_fisher", q))
			}
			return map[string]any{"holds": holds}
		},
	})
}
