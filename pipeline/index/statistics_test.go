package index

import (
	"errors"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"gonum.org/v1/gonum/mat"
	"pgregory.net/rapid"
)

func TestWLSTwoWays(t *testing.T) {
	rng := rand.New(rand.NewPCG(18, 1))
	var x [][]float64
	var y, w []float64
	for range 30 {
		a, b := rng.NormFloat64(), rng.NormFloat64()
		x, y, w = append(x, []float64{1, a, b}), append(y, 2+3*a-b+rng.NormFloat64()), append(w, rng.Float64()+.1)
	}
	y[4], w[5], w[6], x[7][1] = math.NaN(), 0, math.NaN(), math.NaN() // all are left out
	f := must[Fit](t)(WLS(x, y, w))
	if f.N != 26 || f.DF != 23 {
		t.Errorf("got n = %d, df = %d, want 26, 23", f.N, f.DF)
	}
	// Normal equations: X'WX b = X'Wy, var = S^2 (X'WX)^-1.
	xx, xy := mat.NewDense(3, 3, nil), mat.NewVecDense(3, nil)
	ss := 0.0
	for k := range x {
		if k >= 4 && k <= 7 {
			continue
		}
		ss += w[k] * f.Residual[k] * f.Residual[k]
		for i := range 3 {
			xy.SetVec(i, xy.AtVec(i)+w[k]*x[k][i]*y[k])
			for j := range 3 {
				xx.Set(i, j, xx.At(i, j)+w[k]*x[k][i]*x[k][j])
			}
		}
	}
	var inv mat.Dense
	if err := inv.Inverse(xx); err != nil {
		t.Fatal(err)
	}
	var b mat.VecDense
	b.MulVec(&inv, xy)
	for i := range 3 {
		agree(t, "coefficient", f.Coef[i], b.AtVec(i))
		agree(t, "standard error", f.SE[i], math.Sqrt(ss/23*inv.At(i, i)))
	}
	if _, err := WLS([][]float64{{1, 2}, {2, 4}, {3, 6}}, []float64{1, 2, 3}, nil); !errors.Is(err, ErrRank) {
		t.Errorf("collinear: got %v, want ErrRank", err)
	}
	var bad *ValueError
	if _, err := WLS([][]float64{{1}}, []float64{1}, []float64{-1}); !errors.As(err, &bad) {
		t.Errorf("negative weight: got %v, want a *ValueError", err)
	}
	if _, err := WLS([][]float64{{1, 2}}, []float64{1}, nil); !errors.Is(err, ErrRank) {
		t.Errorf("one observation: got %v, want ErrRank", err)
	}
	exact := must[Fit](t)(WLS([][]float64{{1, 1}, {1, 2}}, []float64{3, 5}, nil))
	agreeAll(t, "line through two points", exact.Coef, []float64{1, 2})
	if !math.IsNaN(exact.S) || !math.IsNaN(exact.SE[0]) {
		t.Errorf("no degrees of freedom: got S %v, SE %v", exact.S, exact.SE)
	}
}

func TestResampling(t *testing.T) {
	x := []float64{1.99, 2.49, 2.29, 1.79, 2.99, 2.19, 2.09, 2.59, 1.89, 2.39}
	j := Jackknife(len(x), .95, meanOf(x))
	// Student t, 9 degrees, 97.5 %: 2.262 (any table).
	if got := (j.Hi - j.Estimate) / j.SE; math.Abs(got-2.262) > 5e-4 {
		t.Errorf("t quantile: got %v, want 2.262", got)
	}
	agree(t, "symmetric", j.Hi-j.Estimate, j.Estimate-j.Lo)
	if one := Jackknife(1, .95, meanOf(x)); one.Estimate != 1.99 || !math.IsNaN(one.SE) || !math.IsNaN(one.Lo) {
		t.Errorf("one unit: got %+v, want no range", one)
	}
	// The Monte Carlo bootstrap tends to the exact one: SE of 20000 replicates is
	// within 4 of its own standard errors, SE/sqrt(2 x 20000).
	small := []float64{2, 3.5, 7}
	exact := Percentile(Mean(small), BootstrapExact(3, meanOf(small)), .95).SE
	r := Bootstrap(3, 20000, 42, meanOf(small))
	if got := Percentile(Mean(small), r, .95).SE; math.Abs(got-exact) > 4*exact/200 {
		t.Errorf("bootstrap SE: got %v, want about %v", got, exact)
	}
	if !slices.Equal(r, Bootstrap(3, 20000, 42, meanOf(small))) || slices.Equal(r, Bootstrap(3, 20000, 43, meanOf(small))) {
		t.Error("replicates do not follow the seed")
	}
	if got := BootstrapExact(2, meanOf([]float64{1, 3})); !slices.Equal(got, []float64{1, 2, 2, 3}) {
		t.Errorf("all samples of two: got %v", got)
	}
	// No bias, no skewness: BCa is the percentile range.
	even := []float64{1, 2, 3, 4, 5, 6}
	b, p := BCa(3.5, even, []float64{1, 2, 3}, .9), Percentile(3.5, even, .9)
	agreeAll(t, "bca without correction", []float64{b.Z0, b.Acceleration, b.Lo, b.Hi}, []float64{0, 0, p.Lo, p.Hi})
	// A replicate that equals the estimate is not below it: 2 of 6 are, z0 = -0.4307
	// (any table of the normal distribution).
	if b = BCa(3, even, []float64{1, 2, 3}, .9); math.Abs(b.Z0+.4307) > 5e-5 {
		t.Errorf("a tie: got z0 %v, want -0.4307", b.Z0)
	}
	if b = BCa(0, even, []float64{1, 2, 3}, .9); !math.IsNaN(b.Z0) || b.Lo != p.Lo {
		t.Errorf("all on one side: got %+v, want the percentile range", b)
	}
}

func TestRobust(t *testing.T) {
	gap := math.NaN()
	for _, c := range []struct {
		name      string
		got, want float64
	}{
		{"median of an even number", Median([]float64{4, 1, 3, 2}), 2.5},
		{"median leaves out gaps", Median([]float64{gap, 1, 3, gap, 2}), 2},
		{"mad, by hand: |1,1,2,2,4,6,9 - 2| = 1,1,0,0,2,4,7", MAD([]float64{1, 1, 2, 2, 4, 6, 9}), 1},
		{"ends", Quantile([]float64{3, 1, 2}, 0) + Quantile([]float64{3, 1, 2}, 1), 4},
	} {
		if c.got != c.want {
			t.Errorf("%s: got %v, want %v", c.name, c.got, c.want)
		}
	}
	for _, v := range []float64{Median(nil), MAD([]float64{gap}), Mean(nil), Quantile([]float64{1}, 1.1), Quantile([]float64{1}, gap)} {
		if !math.IsNaN(v) {
			t.Errorf("nothing there: got %v, want NaN", v)
		}
	}
	rapid.Check(t, func(t *rapid.T) {
		x := rapid.SliceOfN(rapid.Float64Range(-100, 100), 1, 30).Draw(t, "x")
		p := rapid.Float64Range(0, 1).Draw(t, "p")
		// Definition 7 the other way: interpolate the points (k/(n-1), x_(k)).
		s := slices.Sorted(slices.Values(x))
		want := s[len(s)-1]
		for k := 1; k < len(s); k++ {
			a, b := float64(k-1)/float64(len(s)-1), float64(k)/float64(len(s)-1)
			if p >= a && p < b {
				want = (s[k-1]*(b-p) + s[k]*(p-a)) / (b - a)
			}
		}
		if got := Quantile(x, p); math.Abs(got-want) > 1e-9 {
			t.Fatalf("got %v, want %v", got, want)
		}
	})
}

func TestEdits(t *testing.T) {
	gap := math.NaN()
	x := []float64{1, 1.02, .98, gap, 1.01, 5, .99}
	for name, e := range map[string]Edit{
		"fixed": FixedCutoff(x, .5, 2), "quartile": QuartileMethod(x, 3, .05), "fences": ResistantFences(x, 3),
		"robust": RobustZ(x, 5), "tukey": Tukey(x, 2.5, .05).Edit,
		"hb": HidiroglouBerthelot(filled(len(x), 10), by(x, 10), .5, .05, 10).Edit,
	} {
		// (The Tukey rule flags .98 too, as the lower tail.)
		if e.N != 6 || e.Outside[3] || !e.Outside[5] || e.Outside[0] {
			t.Errorf("%s: got %+v, want the 5 outside, the 1 inside", name, e)
		}
		// On a limit is inside.
		if again := edit([]float64{e.Lower, e.Upper}, e.Lower, e.Upper); again.Outside[0] || again.Outside[1] {
			t.Errorf("%s: a value on the limit is outside", name)
		}
	}
	if e := RobustZ(nil, 3); e.N != 0 || !math.IsNaN(e.Lower) {
		t.Errorf("no values: got %+v", e)
	}
	// The transform is symmetric: r and m^2/r lie equally far from the median m.
	s := HBTransform([]float64{3, 1.5 * 1.5 / 3}, 1.5)
	agree(t, "hb transform", s[0], -s[1])
	if e := HBScore([]float64{0, gap, 1}, []float64{1, 1, 2}, 1, .5); !math.IsNaN(e[0]) || !math.IsNaN(e[1]) || math.IsNaN(e[2]) {
		t.Errorf("scores without a ratio: got %v", e)
	}
}

func TestFillLeavesGaps(t *testing.T) {
	gap := math.NaN()
	// Product 1 has no match in its class, product 2 no previous price.
	price, filledBy, err := Fill([]float64{1, 2, gap, 4, 3}, []float64{2, gap, gap, gap, 6}, []int{0, 1, 0, 0, 0}, Jevons)
	if err != nil || !math.IsNaN(price[1]) || !math.IsNaN(price[2]) || price[3] != 8 {
		t.Errorf("got %v (%v), want gaps at 1 and 2, 8 at 3", price, err)
	}
	if filledBy[0].N != 0 || filledBy[1].N != 0 || filledBy[3].N != 2 {
		t.Errorf("filled by: got %+v", filledBy)
	}
	if _, _, err := Fill([]float64{0}, []float64{1}, nil, Jevons); err == nil {
		t.Error("price zero: no error")
	}
	price, carried := Carry([]float64{1, 2}, []float64{gap, gap}, []int{1, 2}, 2)
	if price[0] != 1 || !math.IsNaN(price[1]) || carried[1] {
		t.Errorf("carry beyond the limit: got %v, %v", price, carried)
	}
}

func TestDecompositionsRecoverTheirParts(t *testing.T) {
	// A line plus a fixed season is what both methods take apart exactly.
	var x []float64
	figure := []float64{3, -1, -2, 0}
	for t := range 32 {
		x = append(x, 10+.5*float64(t)+figure[t%4])
	}
	c := must[Decomposition](t)(Classical(x, 4, false))
	agreeAll(t, "classical", c.Figure, figure)
	s := must[Decomposition](t)(STL(x, DefaultSTL(4, 7, false)))
	for i := range x {
		if math.Abs(s.Seasonal[i]-figure[i%4]) > 1e-9 || math.Abs(s.Trend[i]-10-.5*float64(i)) > 1e-9 {
			t.Fatalf("stl at %d: got season %v, trend %v", i, s.Seasonal[i], s.Trend[i])
		}
		agree(t, "stl parts", s.Seasonal[i]+s.Trend[i]+s.Remainder[i], x[i])
	}
	// One wild value: robust weights put it aside, its neighbours keep their season.
	x[17] += 40
	r := must[Decomposition](t)(STL(x, DefaultSTL(4, 7, true)))
	if r.Weight[17] > .01 || math.Abs(r.Seasonal[17]-figure[1]) > .05 {
		t.Errorf("robust: got weight %v, season %v, want about 0 and %v", r.Weight[17], r.Seasonal[17], figure[1])
	}
	m := must[Decomposition](t)(Classical([]float64{2, 4, 6, 2, 4, 6, 2, 4, 6}, 3, true))
	agreeAll(t, "multiplicative, odd period", m.Figure, []float64{.5, 1, 1.5})
	for name, err := range map[string]error{
		"short":  second(STL(x[:7], DefaultSTL(4, 7, false))),
		"gaps":   second(STL([]float64{1, math.NaN(), 1, 1}, DefaultSTL(2, 7, false))),
		"short2": second(Classical(x[:7], 4, false)),
	} {
		if err == nil {
			t.Errorf("%s: no error", name)
		}
	}
}

func TestAlerts(t *testing.T) {
	gap := math.NaN()
	var x []float64
	for t := range 48 {
		x = append(x, 100*math.Pow(1.01, float64(t))*(1+.1*float64(t%7)))
	}
	a := IFPA(x, 47, IFPAOptions{})
	if a.N != 3 || math.IsNaN(a.Value) {
		t.Errorf("got %+v, want three years", a)
	}
	// Money in another unit, same anomaly.
	agree(t, "scale", IFPA(by(x, 7), 47, IFPAOptions{}).Value, a.Value)
	y := slices.Clone(x)
	y[32] = gap // 3 months before the month of an earlier year
	if b := IFPA(y, 47, IFPAOptions{}); b.N != 2 {
		t.Errorf("a year without growth: got %+v, want two years", b)
	}
	y[47] = gap
	for name, v := range map[string]Anomaly{"no price": IFPA(y, 47, IFPAOptions{}), "too early": IFPA(x, 11, IFPAOptions{}), "constant": IFPA(filled(48, 3), 47, IFPAOptions{})} {
		if !math.IsNaN(v.Value) {
			t.Errorf("%s: got %+v, want none", name, v)
		}
	}
	if IFPAClass(gap) != "" || ALPSClass(gap) != "" {
		t.Error("no value has a class")
	}
	full, part := must[PriceSpike](t)(ALPS(x)), must[PriceSpike](t)(ALPS(append(slices.Clone(x), gap)))
	agreeAll(t, "a month without a price changes nothing", part.ALPS[:48], full.ALPS)
	if part.N != 48 || !math.IsNaN(part.ALPS[48]) {
		t.Errorf("got n = %d, last %v", part.N, part.ALPS[48])
	}
	if _, err := ALPS(x[:12]); !errors.Is(err, ErrRank) {
		t.Errorf("one year: got %v, want ErrRank", err)
	}
}

func TestDeflationEdges(t *testing.T) {
	gap := math.NaN()
	for name, v := range map[string]float64{
		"from zero": PercentChange(0, 1), "to zero": PercentChange(1, 0), "points": Points(gap, 1), "real": Real(10, 0, 100),
		"real of no index": Real(10, gap, 100), "loss": PowerLoss(-1, 1), "rebase": Rebase([]float64{1}, nil)[0],
		"eleven months": AnnualAverageChange(filled(12, 1), filled(11, 1)), "size": SizeEffect(1, 1, 0, 1).UnitPrice,
		"growth": CompoundGrowth(0, 1, 3), "annualise": Annualise(1, gap, 2), "sum": RealSum([]float64{1, 1}, []float64{100, gap}),
	} {
		if !math.IsNaN(v) {
			t.Errorf("%s: got %v, want NaN", name, v)
		}
	}
	if LinkSeries(nil, []float64{1}) != nil {
		t.Error("nothing to link to: want nil")
	}
	agree(t, "there and back", Real(Real(7, 120, 95), 95, 120), 7)
	agree(t, "annualised year", Annualise(100, 108, 12), PercentChange(100, 108))
	c := SizeEffect(2.4, 2.5, 500, 450)
	agree(t, "effects multiply", (1+c.Price/100)*(1+c.Size/100), 1+c.UnitPrice/100)
}

func TestPart(t *testing.T) {
	shop := func(outlet string, price float64, sizes ...float64) []Quote {
		var q []Quote
		for _, s := range sizes {
			q = append(q, Quote{outlet, "plain", s, price})
		}
		return q
	}
	ln := math.Log
	for _, c := range []struct {
		name            string
		from, to        [][]Quote
		pure, size, mix float64
		n, of           int
	}{
		// The made-up oats of our demo: 1 kg to 900 g at 2.40 in two of four outlets.
		{"smaller pack at the same price", [][]Quote{shop("a", 2.4, 1), shop("b", 2.4, 1), shop("c", 2.4, 1), shop("d", 2.4, 1)},
			[][]Quote{shop("a", 2.4, .9), shop("b", 2.4, .9), shop("c", 2.4, 1), shop("d", 2.4, 1)},
			0, ln(1/.9) / 2, 0, 4, 4},
		{"a dearer smaller pack", [][]Quote{shop("a", 2.4, .5)}, [][]Quote{shop("a", 2.5, .45)}, ln(2.5 / 2.4), ln(.5 / .45), 0, 1, 1},
		{"both packs still sold: mix", [][]Quote{shop("a", 2.4, 1)}, [][]Quote{shop("a", 2.4, 1, .9)}, 0, 0, ln(1/.9) / 2, 1, 1},
		{"one of two packs replaced", [][]Quote{shop("a", 2, 1, 2)}, [][]Quote{shop("a", 3, 1), shop("a", 4, 1.6)},
			(ln(1.5) + ln(2)) / 2, ln(2/1.6) / 2, 0, 1, 1},
		{"both packs replaced", [][]Quote{shop("a", 2, 1, 2)}, [][]Quote{shop("a", 3, .9, 1.6)},
			ln(1.5), ln(1*2/(.9*1.6)) / 2, 0, 1, 1},
		{"another outlet comes: mix", [][]Quote{shop("a", 2, 1)}, [][]Quote{shop("a", 2.2, 1), shop("b", 4, 1)},
			ln(1.1), 0, (ln(2.2)+ln(4))/2 - ln(2) - ln(1.1), 1, 2},
		{"days are averaged first", [][]Quote{shop("a", 1, 1), shop("a", 4, 1), shop("b", 3, 1)}, [][]Quote{shop("a", 2, 1), shop("b", 3, 1)},
			0, 0, 0, 2, 2},
	} {
		t.Run(c.name, func(t *testing.T) {
			p := must[Parts](t)(Part(slices.Concat(c.from...), slices.Concat(c.to...)))
			agreeAll(t, "pure, size, mix", []float64{p.Pure, p.Size, p.Mix}, []float64{c.pure, c.size, c.mix})
			agree(t, "adds up", p.Pure+p.Size+p.Mix, p.Total)
			if p.N != c.n || p.Of != c.of {
				t.Errorf("got %d of %d, want %d of %d", p.N, p.Of, c.n, c.of)
			}
			// Backwards every part turns its sign.
			back := must[Parts](t)(Part(slices.Concat(c.to...), slices.Concat(c.from...)))
			agreeAll(t, "backwards", []float64{back.Total, back.Pure, back.Size, back.Mix}, []float64{-p.Total, -p.Pure, -p.Size, -p.Mix})
		})
	}
	if _, err := Part(shop("a", 1, 1), shop("b", 1, 1)); !errors.Is(err, ErrNoPair) {
		t.Errorf("no series in both: got %v", err)
	}
	var bad *ValueError
	if _, err := Part(shop("a", 1, 1), shop("a", math.NaN(), 1)); !errors.As(err, &bad) {
		t.Errorf("price NaN: got %v", err)
	}
	if _, err := Part(shop("a", 1, 0), shop("a", 1, 1)); !errors.As(err, &bad) || bad.What != "pack size" {
		t.Errorf("size zero: got %v", err)
	}
}
