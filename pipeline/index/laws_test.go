package index

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"pgregory.net/rapid"
)

// reporter is what a test and a property test have in common.
type reporter interface {
	Helper()
	Errorf(format string, args ...any)
	Fatalf(format string, args ...any)
}

// agree asks for agreement of two ways of computing one number: rounding only.
func agree(t reporter, what string, got, want float64) {
	t.Helper()
	if !(math.Abs(got-want) <= 1e-11*math.Max(1, math.Abs(want))) {
		t.Errorf("%s: got %v, want %v", what, got, want)
	}
}

func agreeAll(t reporter, what string, got, want []float64) {
	t.Helper()
	if len(got) != len(want) {
		t.Fatalf("%s: got %d values, want %d", what, len(got), len(want))
	}
	for i := range want {
		agree(t, what, got[i], want[i])
	}
}

// loops are the formulas as sums and products, written out without the power
// means, shares and log means of the package.
var loops = map[string]func(p0, p1, q0, q1 []float64) float64{
	"carli": func(p0, p1, _, _ []float64) float64 {
		return eachPair(p0, p1, func(a, b float64) float64 { return b / a })
	},
	"harmonic": func(p0, p1, _, _ []float64) float64 {
		return 1 / eachPair(p0, p1, func(a, b float64) float64 { return a / b })
	},
	"dutot": func(p0, p1, _, _ []float64) float64 { return sum(p1) / sum(p0) },
	"jevons": func(p0, p1, _, _ []float64) float64 {
		product := 1.0
		for i := range p0 {
			product *= p1[i] / p0[i]
		}
		return math.Pow(product, 1/float64(len(p0)))
	},
	"cswd": func(p0, p1, _, _ []float64) float64 {
		return math.Sqrt(loopRatio(p0, p1))
	},
	"bmw": func(p0, p1, _, _ []float64) float64 {
		return eachPair(p0, p1, func(a, b float64) float64 { return math.Sqrt(b / a) }) / eachPair(p0, p1, func(a, b float64) float64 { return math.Sqrt(a / b) })
	},
	"laspeyres": func(p0, p1, q0, _ []float64) float64 { return dot(p1, q0) / dot(p0, q0) },
	"lowe":      func(p0, p1, q0, _ []float64) float64 { return dot(p1, q0) / dot(p0, q0) },
	"paasche":   func(p0, p1, _, q1 []float64) float64 { return dot(p1, q1) / dot(p0, q1) },
	"fisher": func(p0, p1, q0, q1 []float64) float64 {
		return math.Sqrt(dot(p1, q0) / dot(p0, q0) * dot(p1, q1) / dot(p0, q1))
	},
	"drobisch":        func(p0, p1, q0, q1 []float64) float64 { return (dot(p1, q0)/dot(p0, q0) + dot(p1, q1)/dot(p0, q1)) / 2 },
	"young":           func(p0, p1, w, _ []float64) float64 { return weighted(p0, p1, w, 1) },
	"geometric_young": func(p0, p1, w, _ []float64) float64 { return math.Exp(weightedLog(p0, p1, w)) },
	"marshall_edgeworth": func(p0, p1, q0, q1 []float64) float64 {
		return (dot(p1, q0) + dot(p1, q1)) / (dot(p0, q0) + dot(p0, q1))
	},
	"walsh": func(p0, p1, q0, q1 []float64) float64 {
		a, b := 0.0, 0.0
		for i := range p0 {
			a, b = a+p1[i]*math.Sqrt(q0[i]*q1[i]), b+p0[i]*math.Sqrt(q0[i]*q1[i])
		}
		return a / b
	},
	"geometric_laspeyres": func(p0, p1, q0, _ []float64) float64 { return math.Exp(weightedLog(p0, p1, times(p0, q0))) },
	"geometric_paasche":   func(p0, p1, _, q1 []float64) float64 { return math.Exp(weightedLog(p0, p1, times(p1, q1))) },
	// The Tornqvist index is the geometric mean of both.
	"tornqvist": func(p0, p1, q0, q1 []float64) float64 {
		return math.Exp((weightedLog(p0, p1, times(p0, q0)) + weightedLog(p0, p1, times(p1, q1))) / 2)
	},
	"harmonic_laspeyres": func(p0, p1, q0, _ []float64) float64 { return 1 / weighted(p1, p0, times(p0, q0), 1) },
	"palgrave":           func(p0, p1, _, q1 []float64) float64 { return weighted(p0, p1, times(p1, q1), 1) },
	// Log means by their integral instead of the quotient.
	"sato_vartia": func(p0, p1, q0, q1 []float64) float64 {
		a, b := dot(p0, q0), dot(p1, q1)
		w := make([]float64, len(p0))
		for i := range w {
			w[i] = integralMean(p0[i]*q0[i]/a, p1[i]*q1[i]/b)
		}
		return math.Exp(weightedLog(p0, p1, w))
	},
	"montgomery_vartia": func(p0, p1, q0, q1 []float64) float64 {
		ln := 0.0
		for i := range p0 {
			ln += integralMean(p0[i]*q0[i], p1[i]*q1[i]) * math.Log(p1[i]/p0[i])
		}
		return math.Exp(ln / integralMean(dot(p0, q0), dot(p1, q1)))
	},
	// The root of I - V/(I) = L - QL by bisection.
	"stuvel": func(p0, p1, q0, q1 []float64) float64 {
		v, d := dot(p1, q1)/dot(p0, q0), dot(p1, q0)/dot(p0, q0)-dot(p0, q1)/dot(p0, q0)
		lo, hi := 0.0, 1e9
		for range 200 {
			if m := (lo + hi) / 2; m-v/m < d {
				lo = m
			} else {
				hi = m
			}
		}
		return lo
	},
}

func eachPair(p0, p1 []float64, f func(a, b float64) float64) float64 {
	s := 0.0
	for i := range p0 {
		s += f(p0[i], p1[i]) / float64(len(p0))
	}
	return s
}

func loopRatio(p0, p1 []float64) float64 {
	r := func(a, b float64) float64 { return b / a }
	return eachPair(p0, p1, r) / eachPair(p1, p0, r)
}

func weighted(p0, p1, w []float64, k float64) float64 {
	a, b := 0.0, 0.0
	for i := range p0 {
		a, b = a+w[i]*math.Pow(p1[i]/p0[i], k), b+w[i]
	}
	return a / b
}

func weightedLog(p0, p1, w []float64) float64 {
	a, b := 0.0, 0.0
	for i := range p0 {
		a, b = a+w[i]*math.Log(p1[i]/p0[i]), b+w[i]
	}
	return a / b
}

// integralMean is the logarithmic mean as the integral of a^u b^(1-u) over 0..1
// (Carlson 1972), by Simpson's rule in 2000 steps.
func integralMean(a, b float64) float64 {
	const n = 2000
	s := a + b
	for k := 1; k < n; k++ {
		u := float64(k) / n
		s += float64(2+2*(k%2)) * math.Pow(a, u) * math.Pow(b, 1-u)
	}
	return s / 3 / n
}

func TestFormulasAgainstLoops(t *testing.T) {
	rng := rand.New(rand.NewPCG(11, 1))
	for _, f := range Formulas {
		loop := loops[f.Name]
		if loop == nil {
			t.Errorf("%s: no second way", f.Name)
			continue
		}
		for range 20 {
			d := drawPair(rng)
			r := must[Result](t)(f.Index(d.p0, d.p1, d.q0, d.q1))
			agree(t, f.Name, r.Index, loop(d.p0, d.p1, d.q0, d.q1))
			if r.N != 3 || r.Of != 3 || r.Share != 1 {
				t.Errorf("%s: got %+v, want 3 of 3, share 1", f.Name, r)
			}
		}
	}
}

func TestExportedFormulas(t *testing.T) {
	exported := map[string]Bilateral{
		"carli": Unweighted(Carli), "jevons": Unweighted(Jevons), "dutot": Unweighted(Dutot),
		"harmonic": Unweighted(Harmonic), "cswd": Unweighted(CSWD), "bmw": Unweighted(BMW),
		"laspeyres": Laspeyres, "paasche": Paasche, "fisher": Fisher, "walsh": Walsh, "tornqvist": Tornqvist,
		"marshall_edgeworth": MarshallEdgeworth, "drobisch": Drobisch, "geometric_laspeyres": GeometricLaspeyres,
		"geometric_paasche": GeometricPaasche, "harmonic_laspeyres": HarmonicLaspeyres, "palgrave": Palgrave,
		"sato_vartia": SatoVartia, "montgomery_vartia": MontgomeryVartia, "stuvel": Stuvel,
		"lowe":            func(p0, p1, q0, _ []float64) (Result, error) { return Lowe(p0, p1, q0) },
		"young":           func(p0, p1, q0, _ []float64) (Result, error) { return Young(p0, p1, q0) },
		"geometric_young": func(p0, p1, q0, _ []float64) (Result, error) { return GeometricYoung(p0, p1, q0) },
	}
	d := drawPair(rand.New(rand.NewPCG(11, 2)))
	for _, f := range Formulas {
		of := exported[f.Name]
		if of == nil {
			t.Errorf("%s is not exported as a function", f.Name)
			continue
		}
		agree(t, f.Name, must[Result](t)(of(d.p0, d.p1, d.q0, d.q1)).Index, loops[f.Name](d.p0, d.p1, d.q0, d.q1))
	}
}

// Parts sum to the whole, whatever is missing, for every formula.
func TestContributionsAddUp(t *testing.T) {
	for _, f := range Formulas {
		t.Run(f.Name, func(t *testing.T) { rapid.Check(t, addsUp(f)) })
	}
}

func addsUp(f Formula) func(t *rapid.T) {
	return func(t *rapid.T) {
		n := rapid.IntRange(1, 8).Draw(t, "products")
		vector := func(label string, gaps bool) []float64 {
			return rapid.SliceOfN(rapid.Custom(func(t *rapid.T) float64 {
				if gaps && rapid.IntRange(0, 5).Draw(t, "gap") == 0 {
					return math.NaN()
				}
				return rapid.Float64Range(.01, 100).Draw(t, "value")
			}), n, n).Draw(t, label)
		}
		p0, p1, q0, q1 := vector("p0", true), vector("p1", true), vector("q0", true), vector("q1", true)
		r, c, err := f.Contributions(p0, p1, q0, q1)
		if errors.Is(err, ErrNoPair) {
			if !math.IsNaN(r.Index) || len(present(c)) > 0 {
				t.Fatalf("%s: nothing matches, got %v, %v", f.Name, r, c)
			}
			return
		}
		if err != nil {
			t.Fatal(err)
		}
		if len(present(c)) != r.N || r.N > r.Of || r.Share > 1+1e-12 {
			t.Fatalf("%s: %d parts, %+v", f.Name, len(present(c)), r)
		}
		agree(t, f.Name, sum(present(c)), r.Index-1)
	}
}

func TestContributionsByHand(t *testing.T) {
	// By hand: p0 (1, 2), p1 (2, 3), q (3, 1): base cost 5, parts 3 x 1/5 and 1 x 1/5.
	p0, p1, q := []float64{1, 2}, []float64{2, 3}, []float64{3, 1}
	r, c, err := LoweContributions(p0, p1, q)
	if err != nil {
		t.Fatal(err)
	}
	agreeAll(t, "lowe", append(c, r.Index), []float64{.6, .2, 1.8})
	// A geometric mean by the general route of power means equals weights w/L(r, I).
	r, c, _ = jevons.Contributions(p0, p1, nil, nil)
	w := scaled([]float64{1 / LogMean(2, r.Index), 1 / LogMean(1.5, r.Index)})
	agreeAll(t, "jevons", c, []float64{w[0], w[1] * .5})
	// Lloyd-Moulton between its ends: elasticity 0 is Laspeyres, 1 geometric.
	for sigma, f := range map[float64]Formula{0: laspeyres, 1: geometricLaspeyres} {
		_, a, _ := lloydMoulton(sigma).Contributions(p0, p1, q, nil)
		_, b, _ := f.Contributions(p0, p1, q, nil)
		agreeAll(t, "lloyd_moulton", a, b)
	}
	near1 := must[Result](t)(LloydMoulton(p0, p1, q, 1+1e-9)).Index
	if at1 := must[Result](t)(GeometricLaspeyres(p0, p1, q, nil)).Index; math.Abs(near1-at1) > 1e-7 {
		t.Errorf("elasticity near 1: got %v, want about %v", near1, at1)
	}
	from, _, points := GroupContributions([]float64{1, 1}, []float64{100, math.NaN()}, []float64{110, 100})
	if !math.IsNaN(from) || len(present(points)) != 0 {
		t.Errorf("a group without an index: got %v, %v", from, points)
	}
}

// What is not priced, or has no quantity that is used, drops out of both sides.
func TestMatching(t *testing.T) {
	gap := math.NaN()
	p0, p1 := []float64{1, 2, gap, 4}, []float64{2, gap, 3, 4}
	q0, q1 := []float64{1, 1, 1, 1}, []float64{1, 1, 1, gap}
	for _, c := range []struct {
		name  string
		f     Formula
		index float64
		n, of int
		share float64 // by hand
	}{
		{"only prices", carli, 1.5, 2, 4, 2. / 3},                            // 1 and 4 of 1, 2, 4; of 2, 3, 4
		{"base quantities", laspeyres, 6. / 5, 2, 4, 2. / 3},                 // value 5 of 7; of current prices 2 of 3
		{"current quantity unknown", paasche, 2, 1, 4, 1. / 3},               // of base prices 1 of 3; current value 2 of 5
		{"both", fisher, 2, 1, 4, 1. / 7},                                    // base value 1 of 7
		{"a weight without a price counts as missing", young, 1.5, 2, 4, .5}, // 2 of 4 weights
	} {
		t.Run(c.name, func(t *testing.T) {
			r := must[Result](t)(c.f.Index(p0, p1, q0, q1))
			agree(t, "index", r.Index, c.index)
			agree(t, "share", r.Share, c.share)
			if r.N != c.n || r.Of != c.of {
				t.Errorf("got %d of %d, want %d of %d", r.N, r.Of, c.n, c.of)
			}
		})
	}
}

func TestErrors(t *testing.T) {
	gap := math.NaN()
	one := []float64{1}
	for _, c := range []struct {
		name           string
		p0, p1, q0, q1 []float64
		want           error
		text           string
	}{
		{"empty", nil, nil, nil, nil, ErrNoPair, ""},
		{"nothing matched", []float64{1, gap}, []float64{gap, 1}, []float64{1, 1}, []float64{1, 1}, ErrNoPair, ""},
		{"nothing bought", one, one, []float64{0}, []float64{0}, ErrNoWeight, ""},
		{"price zero", []float64{0}, one, one, one, nil, "price at position 0 is 0: want a positive number, or NaN for none"},
		{"price infinite", one, []float64{math.Inf(1)}, one, one, nil, "price at position 0 is +Inf: want a positive number, or NaN for none"},
		{"quantity negative", one, one, one, []float64{-2}, nil, "quantity at position 0 is -2: want a number not below zero, or NaN for none"},
	} {
		t.Run(c.name, func(t *testing.T) {
			if c.p0 == nil {
				c.p0, c.p1, c.q0, c.q1 = []float64{}, []float64{}, []float64{}, []float64{}
			}
			r, err := Fisher(c.p0, c.p1, c.q0, c.q1)
			if !math.IsNaN(r.Index) || r.N != 0 {
				t.Errorf("got %+v, want no index", r)
			}
			if c.want != nil && !errors.Is(err, c.want) || c.text != "" && (err == nil || err.Error() != c.text) {
				t.Errorf("got error %v, want %v%s", err, c.want, c.text)
			}
		})
	}
	for name, f := range map[string]func(){
		"prices":     func() { Carli(one, nil) },
		"quantities": func() { Laspeyres(one, one, nil, nil) },
		"panel":      func() { TPD([][]float64{{1}, {1, 2}}, nil) },
		"window":     func() { Rolling(TPD, 1, Movement) },
		"base":       func() { FixedBase(TPD, 12, 12) },
	} {
		func() {
			defer func() {
				if recover() == nil {
					t.Errorf("%s of differing length: no panic", name)
				}
			}()
			f()
		}()
	}
	for _, err := range []error{
		second(FormulaNamed("mean")), unnamed("geks_mean"), unnamed("mean"), unnamed("direct_young"), unnamed("chained_lowe"), second(SpliceNamed("tight")),
	} {
		if err == nil {
			t.Error("an unknown name is no error")
		}
	}
	p, q := drawPanel(rand.New(rand.NewPCG(1, 1)))
	p[3][2] = -1
	for _, m := range []Multilateral{Direct(Fisher), GEKS(Fisher), GearyKhamis, WeightedTPD, Rolling(TPD, 2, Movement)} {
		var bad *ValueError
		if _, err := m(p, q); !errors.As(err, &bad) || bad.At != 2 {
			t.Errorf("negative price: got %v", err)
		}
	}
}

func second[T any](_ T, err error) error { return err }

func unnamed(method string) error {
	_, _, err := MethodNamed(method)
	return err
}

func methodNamed(t *testing.T, name string) Multilateral {
	t.Helper()
	m, _, err := MethodNamed(name)
	if err != nil {
		t.Fatal(err)
	}
	return m
}

func TestMeans(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a, b := rapid.Float64Range(1e-3, 1e3).Draw(t, "a"), rapid.Float64Range(1e-3, 1e3).Draw(t, "b")
		l := LogMean(a, b)
		agree(t, "symmetric", l, LogMean(b, a))
		x := []float64{a, b}
		if g, m := PowerMean(x, nil, 0), PowerMean(x, nil, 1); l < g*(1-1e-12) || l > m*(1+1e-12) {
			t.Fatalf("log mean %v is not between the geometric %v and the arithmetic %v", l, g, m)
		}
		k := rapid.Float64Range(-5, 5).Draw(t, "order")
		agree(t, "order and its reverse", PowerMean(x, nil, k), 1/PowerMean(inverse(x), nil, -k))
	})
	agree(t, "near equal", LogMean(1, 1+1e-9), 1+.5e-9)
	for _, c := range [][3]float64{{2, 2, 2}, {0, 3, 0}, {0, 0, 0}} {
		if got := LogMean(c[0], c[1]); got != c[2] {
			t.Errorf("LogMean(%v, %v): got %v, want %v", c[0], c[1], got, c[2])
		}
	}
	if !math.IsNaN(LogMean(-1, 2)) || !math.IsNaN(PowerMean(nil, nil, 1)) {
		t.Error("a negative number or an empty list has a mean")
	}
}

func TestTwoStage(t *testing.T) {
	rng := rand.New(rand.NewPCG(12, 1))
	for range 20 {
		p0, p1, q0, q1 := drawVector(rng, 6, 1), drawVector(rng, 6, 1), drawVector(rng, 6, 1), drawVector(rng, 6, 1)
		group := []int{0, 2, 0, 2, 3, 3} // group 1 is empty
		p1[4], p1[5] = math.NaN(), math.NaN()
		for _, f := range []Bilateral{Laspeyres, Paasche} {
			staged := must[Result](t)(TwoStage(f, group, p0, p1, q0, q1))
			agree(t, "two stages", staged.Index, must[Result](t)(f(p0, p1, q0, q1)).Index)
			if staged.N != 2 {
				t.Errorf("got %d groups, want 2", staged.N)
			}
		}
	}
	var bad *ValueError
	if _, err := TwoStage(Fisher, []int{0}, []float64{-1}, []float64{1}, []float64{1}, []float64{1}); !errors.As(err, &bad) {
		t.Errorf("negative price: got %v", err)
	}
	if _, err := TwoStage(Fisher, []int{0}, []float64{1}, []float64{1}, []float64{1}, []float64{0}); !errors.Is(err, ErrNoWeight) {
		t.Errorf("a group not bought: got %v", err)
	}
}

func TestUnitValueAndUpdate(t *testing.T) {
	v, n, err := UnitValue([]float64{1, math.NaN(), 3}, []float64{1, 5, 3})
	if v != 2.5 || n != 2 || err != nil { // (1 + 9)/4
		t.Errorf("got %v, %d, %v", v, n, err)
	}
	if v, _, _ := UnitValue([]float64{1}, []float64{0}); !math.IsNaN(v) {
		t.Errorf("nothing sold: got %v", v)
	}
	if _, _, err := UnitValue([]float64{-1}, []float64{1}); err == nil {
		t.Error("negative price: no error")
	}
	agreeAll(t, "updated shares", PriceUpdate([]float64{1, 1}, []float64{1, 3}), []float64{.25, .75})
}
