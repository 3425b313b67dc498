package lp

import (
	"errors"
	"math"
	"math/big"
	"math/rand/v2"
	"slices"
	"testing"

	"gonum.org/v1/gonum/mat"
)

// drawDiet is a diet problem as the trade has them: foods with prices in cents and
// contents in one decimal, nutrients with a lower bound, some with an upper or as
// an equation, some foods with a largest amount, some units a thousand times
// smaller than others. Of the small ones many are degenerate: few distinct numbers.
func drawDiet(rng *rand.Rand, n, m int) Problem {
	p := Problem{Upper: make([]*big.Rat, n)}
	coarse := rng.IntN(3) == 0
	draw := func(below, per int64) *big.Rat {
		if coarse {
			return big.NewRat(rng.Int64N(4), 1)
		}
		return big.NewRat(rng.Int64N(below), per)
	}
	for j := range n {
		p.Cost = append(p.Cost, draw(500, 100))
		if rng.IntN(3) == 0 {
			p.Upper[j] = draw(50, 10)
		}
	}
	for range m {
		row := Row{}
		unit := big.NewRat([]int64{1, 1, 1000}[rng.IntN(3)], []int64{1, 1, 1000}[rng.IntN(3)])
		for range n {
			v := draw(1000, 10)
			if rng.IntN(4) == 0 {
				v = new(big.Rat)
			}
			row.Coef = append(row.Coef, v.Mul(v, unit))
		}
		low := draw(3000, 10)
		low.Mul(low, unit)
		switch rng.IntN(6) {
		case 0:
			row.Lower, row.Upper = low, low
		case 1:
			row.Lower, row.Upper = low, new(big.Rat).Mul(low, big.NewRat(1+rng.Int64N(4), 1))
		case 2:
			row.Upper = low
		default:
			row.Lower = low
		}
		p.Rows = append(p.Rows, row)
	}
	return p
}

// vertices solves by trying all: the feasible points where n of the bounds hold with
// equality, worked out by elimination. It gives the least cost and the least and most
// of each variable among the cheapest vertices; nil if there is no feasible vertex
// (with x >= 0 then no feasible point).
func vertices(p Problem) (least *big.Rat, spread []Range) {
	n := len(p.Cost)
	type plane struct {
		coef []*big.Rat
		at   *big.Rat
	}
	var planes []plane
	for j := range n {
		e := make([]*big.Rat, n)
		for k := range e {
			e[k] = new(big.Rat)
		}
		e[j].SetInt64(1)
		planes = append(planes, plane{e, new(big.Rat)})
		if p.Upper[j] != nil {
			planes = append(planes, plane{e, p.Upper[j]})
		}
	}
	for _, row := range p.Rows {
		if row.Lower != nil {
			planes = append(planes, plane{row.Coef, row.Lower})
		}
		if row.Upper != nil && (row.Lower == nil || row.Upper.Cmp(row.Lower) != 0) {
			planes = append(planes, plane{row.Coef, row.Upper})
		}
	}
	var try func(from int, echelon [][]*big.Rat, pivots []int)
	try = func(from int, echelon [][]*big.Rat, pivots []int) {
		if len(echelon) == n {
			x := make([]*big.Rat, n)
			for i := n - 1; i >= 0; i-- { // row i has zeros in the pivot columns of the rows before
				v := new(big.Rat).Set(echelon[i][n])
				for k := i + 1; k < n; k++ {
					v.Sub(v, new(big.Rat).Mul(echelon[i][pivots[k]], x[pivots[k]]))
				}
				x[pivots[i]] = v
			}
			if p.feasible(x) != nil {
				return
			}
			cost := dot(p.Cost, x)
			if least == nil || cost.Cmp(least) < 0 {
				least, spread = cost, make([]Range, n)
				for j := range x {
					spread[j] = Range{x[j], x[j]}
				}
			} else if cost.Cmp(least) == 0 {
				for j := range x {
					if below(x[j], spread[j].Lo) {
						spread[j].Lo = x[j]
					}
					if above(x[j], spread[j].Hi) {
						spread[j].Hi = x[j]
					}
				}
			}
			return
		}
		for k := from; k < len(planes); k++ {
			v := append(slices.Clone(planes[k].coef), planes[k].at)
			for i, row := range echelon {
				if f := v[pivots[i]]; f.Sign() != 0 {
					next := make([]*big.Rat, n+1)
					for c := range next {
						next[c] = new(big.Rat).Sub(v[c], new(big.Rat).Mul(f, row[c]))
					}
					v = next
				}
			}
			pivot := slices.IndexFunc(v[:n], func(r *big.Rat) bool { return r.Sign() != 0 })
			if pivot < 0 {
				continue
			}
			inv := new(big.Rat).Inv(v[pivot])
			next := make([]*big.Rat, n+1)
			for c := range next {
				next[c] = new(big.Rat).Mul(v[c], inv)
			}
			try(k+1, append(slices.Clip(echelon), next), append(slices.Clip(pivots), pivot))
		}
	}
	try(0, nil, nil)
	return least, spread
}

// interior solves in floating point by another method altogether: the homogeneous
// self-dual interior point method of E. D. Andersen and K. D. Andersen, The MOSEK
// interior point optimizer for linear programming, 2000 (from memory), on
//
//	least c'x, Ax = b, x >= 0
//
// with rows and columns scaled to their largest coefficient and a variable of its own
// for each bound. It ends with a cost, with ErrInfeasible, or without an answer.
func interior(p Problem) (cost float64, err error) {
	type line struct {
		coef     []float64
		sign, at float64
	}
	var lines []line
	largest := func(x []float64) float64 {
		m := 0.0
		for _, v := range x {
			m = math.Max(m, math.Abs(v))
		}
		if m == 0 {
			return 1
		}
		return m
	}
	n := len(p.Cost)
	add := func(coef []float64, sign float64, bound *big.Rat) {
		if bound == nil {
			return
		}
		at, scale, scaled := Floats([]*big.Rat{bound})[0], largest(coef), make([]float64, n)
		for j := range coef {
			scaled[j] = coef[j] / scale
		}
		lines = append(lines, line{scaled, sign, at / scale})
	}
	for _, row := range p.Rows {
		coef := Floats(row.Coef)
		if row.Lower != nil && row.Upper != nil && row.Lower.Cmp(row.Upper) == 0 {
			add(coef, 0, row.Lower)
			continue
		}
		add(coef, -1, row.Lower)
		add(coef, 1, row.Upper)
	}
	for j, u := range p.Upper {
		e := make([]float64, n)
		e[j] = 1
		add(e, 1, u)
	}
	m, all := len(lines), n+len(lines)
	if m == 0 {
		return 0, nil // costs are >= 0
	}
	a, b, c := mat.NewDense(m, all, nil), mat.NewVecDense(m, nil), mat.NewVecDense(all, nil)
	for i, l := range lines {
		a.Set(i, n+i, l.sign)
		b.SetVec(i, l.at)
		for j, v := range l.coef {
			a.Set(i, j, v)
		}
	}
	for j, v := range Floats(p.Cost) {
		scale := largest(mat.Col(nil, j, a))
		c.SetVec(j, v/scale)
		for i := range m {
			a.Set(i, j, a.At(i, j)/scale)
		}
	}
	unitB, unitC := largest(b.RawVector().Data), largest(c.RawVector().Data)
	b.ScaleVec(1/unitB, b)
	c.ScaleVec(1/unitC, c)

	vec := func(f func(j int) float64, length int) *mat.VecDense {
		v := mat.NewVecDense(length, nil)
		for j := range length {
			v.SetVec(j, f(j))
		}
		return v
	}
	ones := func(int) float64 { return 1 }
	x, z, y, tau, kappa := vec(ones, all), vec(ones, all), mat.NewVecDense(m, nil), 1.0, 1.0
	for range 200 {
		var ax, ay mat.VecDense
		ax.MulVec(a, x)
		ay.MulVec(a.T(), y)
		rp := vec(func(i int) float64 { return b.AtVec(i)*tau - ax.AtVec(i) }, m)
		rd := vec(func(j int) float64 { return c.AtVec(j)*tau - ay.AtVec(j) - z.AtVec(j) }, all)
		primal, dual := mat.Dot(c, x), mat.Dot(b, y)
		mu := (mat.Dot(x, z) + tau*kappa) / float64(all+1)
		gap := math.Abs(primal-dual)/tau*unitB*unitC - 1e-8*(1+math.Abs(primal)/tau*unitB*unitC)
		if mat.Norm(rp, 2) < 1e-9*tau && mat.Norm(rd, 2) < 1e-9*tau && gap <= 0 {
			return primal / tau * unitB * unitC, nil
		}
		if dual > 0 && tau < 1e-8*kappa && mat.Norm(vec(func(j int) float64 { return ay.AtVec(j) + z.AtVec(j) }, all), 2) < 1e-8*dual {
			return 0, ErrInfeasible // b'y > 0 with A'y <= 0: Farkas
		}
		weighted := mat.NewDense(m, all, nil)
		weighted.Apply(func(_, j int, v float64) float64 { return v * x.AtVec(j) / z.AtVec(j) }, a)
		var normal mat.Dense
		normal.Mul(weighted, a.T())
		for i := range m { // rows that say the same
			normal.Set(i, i, normal.At(i, i)*(1+1e-13)+1e-18)
		}
		var lu mat.LU
		lu.Factorize(&normal)
		solve := func(r1, r2 *mat.VecDense) (u, v *mat.VecDense) {
			var r, q, at mat.VecDense
			r.MulVec(weighted, r1)
			r.AddVec(&r, r2)
			if lu.SolveVecTo(&q, false, &r) != nil && (q.IsEmpty() || math.IsNaN(q.AtVec(0))) {
				return nil, nil
			}
			at.MulVec(a.T(), &q)
			return vec(func(j int) float64 { return x.AtVec(j) / z.AtVec(j) * (at.AtVec(j) - r1.AtVec(j)) }, all), &q
		}
		p0, q0 := solve(c, b)
		if p0 == nil {
			return 0, errors.New("singular")
		}
		dx, dz, dy, dtau, dkappa := mat.NewVecDense(all, nil), mat.NewVecDense(all, nil), mat.NewVecDense(m, nil), 0.0, 0.0
		gamma, step := 0.0, 0.0
		for pass := range 2 { // predictor, corrector
			eta := 1 - gamma
			xz := vec(func(j int) float64 { return gamma*mu - x.AtVec(j)*z.AtVec(j) - dx.AtVec(j)*dz.AtVec(j) }, all)
			tk := gamma*mu - tau*kappa - dtau*dkappa
			r1 := vec(func(j int) float64 { return eta*rd.AtVec(j) - xz.AtVec(j)/x.AtVec(j) }, all)
			r2 := vec(func(i int) float64 { return eta * rp.AtVec(i) }, m)
			u, v := solve(r1, r2)
			if u == nil {
				return 0, errors.New("singular")
			}
			rg := eta * (primal - dual + kappa)
			dtau = (rg + tk/tau + mat.Dot(c, u) - mat.Dot(b, v)) / (kappa/tau - mat.Dot(c, p0) + mat.Dot(b, q0))
			dx.AddScaledVec(u, dtau, p0)
			dy.AddScaledVec(v, dtau, q0)
			dz = vec(func(j int) float64 { return (xz.AtVec(j) - z.AtVec(j)*dx.AtVec(j)) / x.AtVec(j) }, all)
			dkappa = (tk - kappa*dtau) / tau
			step = 1.0
			limit := func(v, d float64) {
				if d < 0 {
					step = math.Min(step, -v/d)
				}
			}
			for j := range all {
				limit(x.AtVec(j), dx.AtVec(j))
				limit(z.AtVec(j), dz.AtVec(j))
			}
			limit(tau, dtau)
			limit(kappa, dkappa)
			if pass == 0 {
				gamma = (1 - step) * (1 - step) * math.Min(.1, 1-step)
			}
		}
		step *= .9995
		x.AddScaledVec(x, step, dx)
		z.AddScaledVec(z, step, dz)
		y.AddScaledVec(y, step, dy)
		tau, kappa = tau+step*dtau, kappa+step*dkappa
	}
	return 0, errors.New("no end")
}

// 10,000 generated diets: each answer carries a certificate that holds, and a second
// solver agrees. The small ones are held to all vertices in exact arithmetic, ranges
// and duals included; all to an interior point method in floating point. Where that one ends
// without an answer, or with another, the certificate decides; the test counts those.
func TestSecondSolver(t *testing.T) {
	rng := rand.New(rand.NewPCG(1939, 1945))
	const count = 10_000
	var solved, infeasible, enumerated, degenerate, several, lost, differ int
	conflicts := map[int]int{}
	for k := range count {
		n, m := 1+rng.IntN(12), 1+rng.IntN(8)
		small := k%4 == 0
		if small {
			n, m = 1+rng.IntN(4), 1+rng.IntN(4)
		}
		p := drawDiet(rng, n, m)
		s, err := Solve(p)
		var no *Infeasible
		switch {
		case err == nil:
			solved++
			if err := s.Certify(p); err != nil {
				t.Fatalf("%d: %v", k, err)
			}
		case errors.As(err, &no):
			infeasible++
			conflicts[len(no.Conflict)]++
			checkConflict(t, p, no)
		default:
			t.Fatalf("%d: %v", k, err) // costs are >= 0: never unbounded
		}
		if small {
			enumerated++
			least, spread := vertices(p)
			if (least == nil) != (s == nil) || s != nil && least.Cmp(s.Cost) != 0 {
				t.Fatalf("%d: vertices give %v, Solve %v", k, least, err)
			}
			if s != nil {
				several += checkRanges(t, k, s, spread)
				degenerate += checkDuals(t, k, p, s)
			}
		}
		cost, failed := interior(p)
		want := math.NaN()
		if s != nil {
			want, _ = s.Cost.Float64()
		}
		switch {
		case failed == nil && s != nil && math.Abs(cost-want) <= 1e-6*(1+math.Abs(want)):
		case errors.Is(failed, ErrInfeasible) && s == nil:
		case failed != nil && !errors.Is(failed, ErrInfeasible):
			lost++
		default:
			differ++
			t.Logf("%d: floating-point %v %v, exact %v", k, cost, failed, want)
		}
	}
	t.Logf("%d solved, %d infeasible (by size of conflict %v); %d against all vertices: %d with several optima, %d with several duals; floating-point: %d failed, %d differ",
		solved, infeasible, conflicts, enumerated, several, degenerate, lost, differ)
	if solved < count/3 || infeasible < count/10 || several < 50 || degenerate < 50 {
		t.Error("the problems drawn are too much alike")
	}
	if lost+differ > count/1000 {
		t.Errorf("floating-point solver: %d failed, %d differ", lost, differ)
	}
}

// checkRanges: an end of a range is that of the cheapest vertices. Without end there
// is no vertex to show; 1 if any variable varies.
func checkRanges(t *testing.T, k int, s *Solution, spread []Range) (vary int) {
	t.Helper()
	for j, r := range s.XRange {
		if r.Lo == nil || r.Lo.Cmp(spread[j].Lo) != 0 || r.Hi != nil && r.Hi.Cmp(spread[j].Hi) != 0 {
			t.Fatalf("%d: variable %d: got %v to %v, vertices %v to %v", k, j, r.Lo, r.Hi, spread[j].Lo, spread[j].Hi)
		}
		if r.Hi == nil { // it can grow for nothing: a million more costs the same
			p := s.problem
			p.Rows = append(slices.Clone(p.Rows), Row{Coef: make([]*big.Rat, len(p.Cost)), Lower: big.NewRat(1_000_000, 1)})
			for i := range p.Cost {
				p.Rows[len(p.Rows)-1].Coef[i] = new(big.Rat)
			}
			p.Rows[len(p.Rows)-1].Coef[j].SetInt64(1)
			if more, err := Solve(p); err != nil || more.Cost.Cmp(s.Cost) != 0 {
				t.Fatalf("%d: variable %d is not without end: %v", k, j, err)
			}
		}
		if !r.IsPoint() {
			vary = 1
		}
	}
	return vary
}

// checkDuals: the ends of a dual's range are the change of cost by unit when the
// binding bounds move a little, up and down, worked out by vertices. The change is
// the same for a little and half of it, so it is a slope.
func checkDuals(t *testing.T, k int, p Problem, s *Solution) (vary int) {
	t.Helper()
	at := func(i int, by *big.Rat) *big.Rat {
		q := p
		q.Rows = slices.Clone(p.Rows)
		row := &q.Rows[i]
		if row.Lower != nil && s.Activity[i].Cmp(row.Lower) == 0 {
			row.Lower = new(big.Rat).Add(row.Lower, by)
		}
		if row.Upper != nil && s.Activity[i].Cmp(p.Rows[i].Upper) == 0 {
			row.Upper = new(big.Rat).Add(row.Upper, by)
		}
		least, _ := vertices(q)
		if least == nil {
			return nil
		}
		least.Sub(least, s.Cost)
		return least.Quo(least, by)
	}
	tiny := big.NewRat(1, 1<<40)
	for i, r := range s.DualRange {
		if s.Dual[i].Sign() == 0 && r.IsPoint() && i%2 == 1 {
			continue // enough of those
		}
		for _, side := range []struct {
			sign int64
			want *big.Rat
		}{{-1, r.Lo}, {1, r.Hi}} {
			by := new(big.Rat).Mul(tiny, big.NewRat(side.sign, 1))
			got := at(i, by)
			if (got == nil) != (side.want == nil) || got != nil && got.Cmp(side.want) != 0 {
				t.Fatalf("%d: row %d moved by %d: got slope %v, want %v", k, i, side.sign, side.want, got)
			}
		}
		if below(s.Dual[i], r.Lo) || above(s.Dual[i], r.Hi) {
			t.Fatalf("%d: dual %v of row %d is outside %v to %v", k, s.Dual[i], i, r.Lo, r.Hi)
		}
		if !r.IsPoint() {
			vary = 1
		}
	}
	return vary
}
