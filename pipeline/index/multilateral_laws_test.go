package index

import (
	"errors"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

func gappyPanel(rng *rand.Rand, rows, products int) (p, q [][]float64) {
	for t := range rows {
		p, q = append(p, drawVector(rng, products, .5)), append(q, drawVector(rng, products, 1))
		for i := 1; i < products; i++ { // product 0 connects all
			if rng.IntN(4) == 0 {
				p[t][i] = math.NaN()
			} else if rng.IntN(5) == 0 {
				q[t][i] = 0
			}
		}
	}
	return p, q
}

// regression is the dummy regression with all its dummies, by QR.
func regression(t *testing.T, rows, products int, cells func(yield func(row, product int, y, w float64))) []float64 {
	t.Helper()
	var x [][]float64
	var y, w []float64
	cells(func(row, product int, value, weight float64) {
		d := make([]float64, rows-1+products)
		if row > 0 {
			d[row-1] = 1
		}
		d[rows-1+product] = 1
		x, y, w = append(x, d), append(y, value), append(w, weight)
	})
	level := []float64{1}
	for _, c := range must[Fit](t)(WLS(x, y, w)).Coef[:rows-1] {
		level = append(level, math.Exp(c))
	}
	return level
}

func TestProductDummiesAgainstRegression(t *testing.T) {
	rng := rand.New(rand.NewPCG(13, 1))
	p, q := gappyPanel(rng, 7, 5)
	cells := func(weight func(t, i int) float64) func(func(int, int, float64, float64)) {
		return func(yield func(int, int, float64, float64)) {
			for t := range p {
				for i := range p[t] {
					if w := weight(t, i); w > 0 {
						yield(t, i, math.Log(p[t][i]), w)
					}
				}
			}
		}
	}
	v := func(t, i int) float64 { return p[t][i] * q[t][i] }
	for name, c := range map[string]struct {
		m      Multilateral
		weight func(t, i int) float64
	}{
		"tpd": {TPD, func(t, i int) float64 { return p[t][i] / p[t][i] }},
		"weighted_tpd": {WeightedTPD, func(t, i int) float64 {
			return v(t, i) / sum(present(times(p[t], q[t])))
		}},
		"value_tpd": {ValueTPD, v},
	} {
		got := Levels(must[[]Result](t)(c.m(p, q)))
		agreeAll(t, name, got, regression(t, 7, 5, cells(c.weight)))
	}
}

func TestGEKSTwoWays(t *testing.T) {
	rng := rand.New(rand.NewPCG(14, 1))
	for _, f := range []Formula{fisher, tornqvist, walsh, jevons} {
		p, q := drawPanel(rng)
		got := Levels(must[[]Result](t)(GEKS(f.Index)(p, q)))
		for r := range p {
			ln := 0.0 // the geometric mean of all ways round
			for k := range p {
				ln += math.Log(must[Result](t)(f.Index(p[0], p[k], q[0], q[k])).Index *
					must[Result](t)(f.Index(p[k], p[r], q[k], q[r])).Index)
			}
			agree(t, f.Name, got[r], math.Exp(ln/float64(len(p))))
		}
	}
	// Rows 0 and 3 share no product: least squares over the pairs there are. A pair is
	// a cell whose "product" is the pair itself, seen from both ends.
	gap := math.NaN()
	p := [][]float64{{1, 2, gap, gap}, {1.1, 2.5, 3, gap}, {1.3, gap, 3.2, 4}, {gap, gap, 3.5, 4.4}}
	q := [][]float64{{1, 2, 0, 0}, {2, 1, 1, 0}, {1, 0, 3, 1}, {0, 0, 1, 2}}
	for name, weight := range map[string]func(Result) float64{
		"geks_fisher":          func(Result) float64 { return 1 },
		"weighted_geks_fisher": func(r Result) float64 { return r.Share },
	} {
		var x [][]float64
		var y, w []float64
		for j := range p {
			for k := j + 1; k < len(p); k++ {
				r, err := Fisher(p[j], p[k], q[j], q[k])
				if err != nil {
					continue
				}
				d := make([]float64, len(p))
				d[k], d[j] = 1, -1
				x, y, w = append(x, d[1:]), append(y, math.Log(r.Index)), append(w, weight(r))
			}
		}
		if len(x) != 5 {
			t.Fatalf("got %d pairs, want 5", len(x))
		}
		want := []float64{1}
		for _, c := range must[Fit](t)(WLS(x, y, w)).Coef {
			want = append(want, math.Exp(c))
		}
		agreeAll(t, name, Levels(must[[]Result](t)(methodNamed(t, name)(p, q))), want)
	}
}

func TestGearyKhamisByIteration(t *testing.T) {
	p, q := gappyPanel(rand.New(rand.NewPCG(15, 1)), 6, 5)
	level := filled(len(p), 1)
	for range 5000 { // prices from levels, levels from prices
		b := ReferencePrices(p, q, level)
		for r := range p {
			value, volume := 0.0, 0.0
			for i := range b {
				if q[r][i] > 0 && !math.IsNaN(p[r][i]) {
					value, volume = value+p[r][i]*q[r][i], volume+b[i]*q[r][i]
				}
			}
			level[r] = value / volume
		}
	}
	for r := len(level) - 1; r >= 0; r-- {
		level[r] /= level[0]
	}
	agreeAll(t, "geary_khamis", Levels(must[[]Result](t)(GearyKhamis(p, q))), level)
}

func TestSpanningTree(t *testing.T) {
	rng := rand.New(rand.NewPCG(16, 1))
	for name, d := range map[string]Dissimilarity{"spread": Spread, "log_quadratic": LogQuadratic, "asymptotic_linear": AsymptoticLinear} {
		p, q := drawPanel(rng)
		rows, tree, err := SpanningTree(Fisher, d, p, q)
		if err != nil || len(tree) != len(p)-1 {
			t.Fatalf("%s: %d links, %v", name, len(tree), err)
		}
		total := 0.0
		for _, l := range tree {
			total += l.Dissimilarity
			agree(t, name+": level of a link", rows[l.To].Index/rows[l.From].Index, l.Index)
		}
		// The least of all trees over five rows, by their 5^3 Pruefer codes.
		least := math.Inf(1)
		for code := range 125 {
			cost := 0.0
			for _, e := range prufer([]int{code / 25, code / 5 % 5, code % 5}) {
				v := must[float64](t)(d(p[e[0]], p[e[1]], q[e[0]], q[e[1]]))
				cost += v
			}
			least = math.Min(least, cost)
		}
		agree(t, name+": sum", total, least)
	}
	if d := must[float64](t)(Spread([]float64{1, 2}, []float64{3, 6}, []float64{1, 5}, []float64{4, 1})); math.Abs(d) > 1e-15 {
		t.Errorf("proportional prices: got spread %v, want 0", d)
	}
}

// prufer is the edges of the tree of a code.
func prufer(code []int) [][2]int {
	degree := []int{1, 1, 1, 1, 1}
	for _, c := range code {
		degree[c]++
	}
	var edges [][2]int
	for _, c := range code {
		leaf := slices.Index(degree, 1)
		edges = append(edges, [2]int{leaf, c})
		degree[leaf]--
		degree[c]--
	}
	a := slices.Index(degree, 1)
	degree[a]--
	return append(edges, [2]int{a, slices.Index(degree, 1)})
}

func TestUnconnected(t *testing.T) {
	gap := math.NaN()
	p := [][]float64{{1, 2, gap, gap}, {gap, gap, 3, 4}, {1, gap, gap, gap}, {gap, gap, gap, 5}}
	q := [][]float64{{1, 1, 1, 1}, {1, 1, 1, 1}, {1, 1, 1, 1}, {1, 1, 1, 1}}
	tree := func(p, q [][]float64) ([]Result, error) {
		r, _, err := SpanningTree(Fisher, Spread, p, q)
		return r, err
	}
	if got := (&Unconnected{[][]int{{0, 2}, {1}}}).Error(); got != "2 groups share no product: {0, 2} {1}: compare within a group, or price a product of both" {
		t.Errorf("got %q", got)
	}
	names := []string{"north", "east", "south", "west"}
	const want = "2 groups share no product: {north, south} {east, west}: compare within a group, or price a product of both"
	for name, m := range map[string]Multilateral{"cpd": CPD, "weighted_cpd": WeightedCPD, "geks": GEKS(Fisher), "geary_khamis": GearyKhamis, "tree": tree} {
		_, err := m(p, q)
		var apart *Unconnected
		if !errors.As(err, &apart) {
			t.Errorf("%s: got %v, want a refusal", name, err)
			continue
		}
		if got := apart.Named(func(r int) string { return names[r] }); got != want {
			t.Errorf("%s: got %q, want %q", name, got, want)
		}
	}
	if _, err := CommonBasket(p, q[0]); !errors.Is(err, ErrNoPair) {
		t.Errorf("common basket: got %v", err)
	}
	// One price more connects them; a price without a quantity does not.
	p[1][0] = 2
	if got := Groups(p, q); len(got) != 1 {
		t.Errorf("got groups %v, want one", got)
	}
	q[1] = []float64{0, 1, 1, 1}
	if got := Groups(p, q); len(got) != 2 {
		t.Errorf("got groups %v, want two", got)
	}
	rows := Levels(must[[]Result](t)(Direct(Unweighted(Jevons))(p, nil)))
	if !math.IsNaN(rows[3]) || math.IsNaN(rows[2]) {
		t.Errorf("direct: got %v, want no number for the last row only", rows)
	}
	if rows = Levels(must[[]Result](t)(Chained(Fisher)(p, q))); len(present(rows)) != 1 {
		t.Errorf("chained over a gap: got %v, want the first row only", rows)
	}
}

func TestSmallPanels(t *testing.T) {
	for name, m := range map[string]Multilateral{
		"direct": Direct(Fisher), "chained": Chained(Fisher), "geks": GEKS(Fisher), "geary_khamis": GearyKhamis,
		"weighted_tpd": WeightedTPD, "rolling": Rolling(GEKS(Fisher), 3, Movement), "fixed_base": FixedBase(GEKS(Fisher), 12, 0),
	} {
		if rows, err := m(nil, nil); len(rows) != 0 || err != nil {
			t.Errorf("%s of nothing: got %v, %v", name, rows, err)
		}
		rows, err := m([][]float64{{1, 2}}, [][]float64{{1, 1}})
		if len(rows) != 1 || err != nil || rows[0].Index != 1 {
			t.Errorf("%s of one row: got %v, %v, want level 1", name, rows, err)
		}
		// Prices that were never bought connect nothing.
		p, q := [][]float64{{1, 2}, {1, 3}}, [][]float64{{0, 0}, {1, 1}}
		if rows, err = m(p, q); err == nil && !math.IsNaN(rows[1].Index) {
			t.Errorf("%s of an empty basket: got %v", name, rows)
		}
	}
}

func TestCoverage(t *testing.T) {
	gap := math.NaN()
	// By hand: row 0 sells products 0 and 2 (value 2 and 6), product 2 nowhere else.
	p := [][]float64{{1, gap, 3}, {2, 1, gap}, {1, 1, gap}}
	q := [][]float64{{2, 1, 2}, {1, 1, 1}, {1, 1, 1}}
	r := must[[]Result](t)(WeightedCPD(p, q))[0]
	if r.N != 1 || r.Of != 2 || r.Share != .25 {
		t.Errorf("got %+v, want 1 of 2, share 0.25", r)
	}
}

func TestCommonBasket(t *testing.T) {
	gap := math.NaN()
	p := [][]float64{{1, 2, 3, 9}, {2, 2, gap, 7}}
	rows := must[[]Result](t)(CommonBasket(p, []float64{1, 2, 1, 0}))
	// By hand: 1 + 4 = 5 of 8; 2 + 4 = 6 of 6; parity 1.2.
	agreeAll(t, "common basket", []float64{rows[0].Share, rows[1].Index, rows[1].Share}, []float64{5. / 8, 1.2, 1})
	if rows[0].N != 2 || rows[0].Of != 3 || rows[1].Of != 2 {
		t.Errorf("got %+v", rows)
	}
	agree(t, "as Lowe", rows[1].Index, must[Result](t)(Lowe(p[0], p[1], []float64{1, 2, 1, 0})).Index)
}

func TestSplices(t *testing.T) {
	rng := rand.New(rand.NewPCG(17, 1))
	var p, q [][]float64
	for range 9 {
		p, q = append(p, drawVector(rng, 4, .3)), append(q, drawVector(rng, 4, 1))
	}
	levels := func(m Multilateral) []float64 { return Levels(must[[]Result](t)(m(p, q))) }
	all := []Splice{Movement, WholeWindow, Half, HalfNext, MeanSplice, MeanExcludingLast}
	for _, s := range all {
		agreeAll(t, "one window", levels(Rolling(GEKS(Fisher), 9, s)), levels(GEKS(Fisher)))
		agreeAll(t, "window of two", levels(Rolling(GEKS(Fisher), 2, s)), levels(Chained(Fisher)))
		// A transitive method needs no link: every splice returns it.
		agreeAll(t, "transitive", levels(Rolling(Direct(Unweighted(Jevons)), 5, s)), levels(Direct(Unweighted(Jevons))))
	}
	agreeAll(t, "movement, published or not", levels(RollingOnPublished(GEKS(Fisher), 5, Movement)), levels(Rolling(GEKS(Fisher), 5, Movement)))
	// On published levels the window splice moves by the new window over w - 1 periods.
	x := levels(RollingOnPublished(GEKS(Fisher), 4, WholeWindow))
	last := Levels(must[[]Result](t)(GEKS(Fisher)(p[5:], q[5:])))
	agree(t, "window splice on published", x[8], x[5]*last[3])

	agreeAll(t, "direct within its own year", levels(FixedBase(Direct(Fisher), 20, 0)), levels(Direct(Fisher)))
	x = levels(FixedBase(GEKS(Fisher), 4, 0))
	last = Levels(must[[]Result](t)(GEKS(Fisher)(p[4:8], q[4:8])))
	agree(t, "fixed base, expanding", x[7], x[4]*last[3])
	x = levels(FixedBase(GEKS(Fisher), 4, 6))
	last = Levels(must[[]Result](t)(GEKS(Fisher)(p[2:8], q[2:8])))
	agree(t, "fixed base, moving", x[7], x[4]*last[5]/last[2])
}
