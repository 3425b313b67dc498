package lp

import (
	"math"
	"math/big"
	"slices"
)

// simplex is the bounded simplex method in whole numbers. Each row is multiplied up
// to whole coefficients and its sum becomes a variable of its own, so that all
// bounds are bounds of variables:
//
//	sum_j A_ij x_j = x_(n+i),  lo <= x <= hi
//
// The inverse of the basis is kept as whole numbers over one determinant; a pivot
// divides without remainder. Variables outside the basis stand at a bound, or at 0
// if they have none. The first basis is that of the row sums.
//
// Note: pivots in floating point, made exact at the end, would be faster from some
// hundred rows on. Diets have some thirty; there one exact method is as fast, and
// nothing has to be repaired. Floats only choose among columns that exactly improve.
type simplex struct {
	n, m   int
	column [][]entry  // of all n+m variables
	scale  []*big.Rat // of the rows: A_i = scale_i a_i
	size   []float64  // of the columns in scaled rows, for the choice of pivots

	// Numbers in x, lo and hi are replaced, never changed.
	lo, hi, x []*big.Rat // n+m; nil: no bound
	basis     []int      // the variable that is basic in each row
	row       []int      // the row that a variable is basic in, or -1
	inverse   [][]*big.Int
	det       *big.Int // > 0; the inverse is inverse/det

	patience   int        // moves on the spot before the first variable is taken, not the best
	infeasible []*big.Int // the costs that findFeasible was left with
}

type entry struct {
	row   int
	value *big.Int
}

func newSimplex(p Problem) *simplex {
	n, m := len(p.Cost), len(p.Rows)
	t := &simplex{n: n, m: m, column: make([][]entry, n+m), size: make([]float64, n+m), det: big.NewInt(1), patience: n + m}
	for j := range n {
		t.lo, t.hi, t.row = append(t.lo, new(big.Rat)), append(t.hi, p.upper(j)), append(t.row, -1)
	}
	for i, row := range p.Rows {
		whole, unit := integers(row.Coef)
		scale := new(big.Rat).Inv(unit)
		t.scale = append(t.scale, scale)
		norm := 0.0
		for _, w := range whole {
			norm = math.Hypot(norm, float(w))
		}
		if norm == 0 {
			norm = 1
		}
		for j, w := range whole {
			if w.Sign() != 0 {
				t.column[j] = append(t.column[j], entry{i, new(big.Int).Neg(w)})
				t.size[j] = math.Hypot(t.size[j], float(w)/norm)
			}
		}
		t.column[n+i] = []entry{{i, big.NewInt(1)}}
		t.size[n+i] = 1 / norm
		t.lo, t.hi = append(t.lo, times(row.Lower, scale)), append(t.hi, times(row.Upper, scale))
		t.basis, t.row = append(t.basis, n+i), append(t.row, i)
		unitRow := make([]*big.Int, m)
		for k := range unitRow {
			unitRow[k] = new(big.Int)
		}
		unitRow[i].SetInt64(1)
		t.inverse = append(t.inverse, unitRow)
	}
	t.x = make([]*big.Rat, n+m)
	t.settle()
	return t
}

func (t *simplex) clone() *simplex {
	c := *t
	c.lo, c.hi, c.x = slices.Clone(t.lo), slices.Clone(t.hi), slices.Clone(t.x)
	c.basis, c.row, c.det = slices.Clone(t.basis), slices.Clone(t.row), new(big.Int).Set(t.det)
	c.inverse = make([][]*big.Int, t.m)
	for i, row := range t.inverse {
		for _, v := range row {
			c.inverse[i] = append(c.inverse[i], new(big.Int).Set(v))
		}
	}
	return &c
}

// settle puts the variables outside the basis at their bounds and recomputes the
// others.
func (t *simplex) settle() {
	rest := make([]*big.Rat, t.m)
	for i := range rest {
		rest[i] = new(big.Rat)
	}
	for j := range t.x {
		if t.row[j] >= 0 {
			continue
		}
		switch {
		case t.lo[j] != nil && (t.hi[j] == nil || t.x[j] == nil || t.x[j].Cmp(t.hi[j]) < 0):
			t.x[j] = t.lo[j]
		case t.hi[j] != nil:
			t.x[j] = t.hi[j]
		default:
			t.x[j] = new(big.Rat)
		}
		for _, e := range t.column[j] {
			rest[e.row].Sub(rest[e.row], new(big.Rat).Mul(new(big.Rat).SetInt(e.value), t.x[j]))
		}
	}
	whole, unit := integers(rest)
	unit.Quo(unit, new(big.Rat).SetInt(t.det))
	for i, j := range t.basis {
		sum, term := new(big.Int), new(big.Int)
		for k, v := range t.inverse[i] {
			sum.Add(sum, term.Mul(v, whole[k]))
		}
		t.x[j] = new(big.Rat).Mul(new(big.Rat).SetInt(sum), unit)
	}
}

// direction is the column of variable q in terms of the basis, times det.
func (t *simplex) direction(q int) []*big.Int {
	d, term := make([]*big.Int, t.m), new(big.Int)
	for i := range d {
		d[i] = new(big.Int)
		for _, e := range t.column[q] {
			d[i].Add(d[i], term.Mul(t.inverse[i][e.row], e.value))
		}
	}
	return d
}

// prices are the reduced costs of all variables, times det; cost is of the first n
// variables, or of all.
func (t *simplex) prices(cost []*big.Int) []*big.Int {
	y, term := make([]*big.Int, t.m), new(big.Int)
	for k := range y {
		y[k] = new(big.Int)
		for i, j := range t.basis {
			if j < len(cost) && cost[j].Sign() != 0 {
				y[k].Add(y[k], term.Mul(cost[j], t.inverse[i][k]))
			}
		}
	}
	d := make([]*big.Int, len(t.x))
	for j := range d {
		d[j] = new(big.Int)
		if t.row[j] >= 0 {
			continue
		}
		if j < len(cost) {
			d[j].Mul(cost[j], t.det)
		}
		for _, e := range t.column[j] {
			d[j].Sub(d[j], term.Mul(y[e.row], e.value))
		}
	}
	return d
}

// reduced are the reduced costs of all variables for costs of cost times unit.
func (t *simplex) reduced(cost []*big.Int, unit *big.Rat) []*big.Rat {
	r := make([]*big.Rat, len(t.x))
	for j, d := range t.prices(cost) {
		r[j] = new(big.Rat).SetFrac(d, t.det)
		r[j].Mul(r[j], unit)
	}
	return r
}

// enter chooses a variable that lowers the cost when it moves, -1 if there is none:
// the one with the largest gain by size of its column, or the first (Bland).
func (t *simplex) enter(cost []*big.Int, first bool) (q, sign int) {
	q = -1
	best := 0.0
	for j, d := range t.prices(cost) {
		up := d.Sign() < 0 && (t.hi[j] == nil || t.x[j].Cmp(t.hi[j]) < 0)
		down := d.Sign() > 0 && (t.lo[j] == nil || t.x[j].Cmp(t.lo[j]) > 0)
		if !up && !down {
			continue
		}
		gain := math.Abs(ratio(d, t.det))
		if t.size[j] > 0 {
			gain /= t.size[j]
		}
		if q < 0 || gain > best {
			q, best, sign = j, gain, -d.Sign()
		}
		if first {
			break
		}
	}
	return q, sign
}

// move takes variable q in direction sign as far as the bounds allow. A basic
// variable outside its bounds is free to come back to the one it violates. It
// returns the distance, nil if there is no end, and then the ray.
func (t *simplex) move(q, sign int) (distance *big.Rat, ray []*big.Rat) {
	alpha := t.direction(q)
	leave := -1
	var stop *big.Rat // the bound that the leaving variable stops at
	if t.lo[q] != nil && t.hi[q] != nil {
		distance = new(big.Rat).Sub(t.hi[q], t.lo[q])
	}
	for i, j := range t.basis {
		way := -sign * alpha[i].Sign()
		var at *big.Rat
		switch {
		case way > 0 && below(t.x[j], t.lo[j]):
			at = t.lo[j]
		case way > 0 && !above(t.x[j], t.hi[j]):
			at = t.hi[j]
		case way < 0 && above(t.x[j], t.hi[j]):
			at = t.hi[j]
		case way < 0 && !below(t.x[j], t.lo[j]):
			at = t.lo[j]
		}
		if at == nil {
			continue
		}
		far := new(big.Rat).Sub(at, t.x[j])
		far.Mul(far, new(big.Rat).SetFrac(t.det, alpha[i]))
		far.Abs(far)
		c := -1
		if distance != nil {
			c = far.Cmp(distance)
		}
		if c < 0 || c == 0 && leave >= 0 && j < t.basis[leave] {
			distance, leave, stop = far, i, at
		}
	}
	if distance == nil {
		ray = make([]*big.Rat, len(t.x))
		for j := range ray {
			ray[j] = new(big.Rat)
		}
		ray[q].SetInt64(int64(sign))
		for i, j := range t.basis {
			ray[j].SetFrac(alpha[i], t.det)
			ray[j].Mul(ray[j], big.NewRat(int64(-sign), 1))
		}
		return nil, ray
	}
	if distance.Sign() != 0 {
		step := new(big.Rat).Mul(distance, big.NewRat(int64(sign), 1))
		t.x[q] = new(big.Rat).Add(t.x[q], step)
		step.Mul(step, new(big.Rat).SetFrac(big.NewInt(1), t.det))
		for i, j := range t.basis {
			if alpha[i].Sign() != 0 {
				change := new(big.Rat).SetInt(alpha[i])
				t.x[j] = change.Sub(t.x[j], change.Mul(change, step))
			}
		}
	}
	if leave >= 0 {
		out := t.basis[leave]
		t.x[out] = stop
		t.basis[leave], t.row[q], t.row[out] = q, leave, -1
		t.pivot(leave, alpha)
	}
	return distance, nil
}

// pivot brings the column alpha into row r of the inverse.
func (t *simplex) pivot(r int, alpha []*big.Int) {
	term := new(big.Int)
	for i, row := range t.inverse {
		if i == r {
			continue
		}
		for k, v := range row {
			v.Mul(v, alpha[r])
			if alpha[i].Sign() != 0 {
				v.Sub(v, term.Mul(alpha[i], t.inverse[r][k]))
			}
			v.Quo(v, t.det)
		}
	}
	t.det = alpha[r]
	if t.det.Sign() < 0 {
		t.det.Neg(t.det)
		for _, row := range t.inverse {
			for _, v := range row {
				v.Neg(v)
			}
		}
	}
}

// descend moves until no variable lowers the cost, or one does without end. cost
// may change while variables move. After many moves on the spot the first variable
// is taken instead of the best until the cost falls: that ends every cycle.
func (t *simplex) descend(cost func() []*big.Int) (ray []*big.Rat) {
	for idle := 0; ; {
		q, sign := t.enter(cost(), idle > t.patience)
		if q < 0 {
			return nil
		}
		distance, ray := t.move(q, sign)
		if ray != nil {
			return ray
		}
		if idle++; distance.Sign() > 0 {
			idle = 0
		}
	}
}

// minimise lowers the cost of the first n variables from a feasible basis. The ray
// is of all variables, nil if there is a least cost.
func (t *simplex) minimise(cost []*big.Int) (ray []*big.Rat) {
	return t.descend(func() []*big.Int { return cost })
}

// findFeasible brings all variables within their bounds by lowering the sum of what
// they are outside; false if that cannot become 0.
func (t *simplex) findFeasible() bool {
	outside := make([]*big.Int, len(t.x))
	some := false
	t.descend(func() []*big.Int {
		some = false
		for j := range outside {
			outside[j] = new(big.Int)
			if t.row[j] >= 0 && below(t.x[j], t.lo[j]) {
				outside[j].SetInt64(-1)
				some = true
			} else if t.row[j] >= 0 && above(t.x[j], t.hi[j]) {
				outside[j].SetInt64(1)
				some = true
			}
		}
		return outside
	})
	t.infeasible = outside
	return !some
}

// certify checks that the variables are within the bounds and add up, and that the
// reduced costs prove cost times unit least: what Solution.Certify checks, for the
// bounds that the ranges use.
func (t *simplex) certify(cost []*big.Int, unit *big.Rat) error {
	sums, reduced := make([]*big.Rat, t.m), t.reduced(cost, unit)
	for i := range sums {
		sums[i] = new(big.Rat)
	}
	for j := range t.x {
		if below(t.x[j], t.lo[j]) || above(t.x[j], t.hi[j]) {
			return fails("variable %d is outside its bounds", j)
		}
		d := new(big.Rat)
		if j < len(cost) {
			d.Mul(unit, new(big.Rat).SetInt(cost[j]))
		}
		for _, e := range t.column[j] {
			value := new(big.Rat).SetInt(e.value)
			d.Add(d, new(big.Rat).Mul(reduced[t.n+e.row], value))
			sums[e.row].Add(sums[e.row], value.Mul(value, t.x[j]))
		}
		if j >= t.n {
			d.Set(reduced[j])
		}
		if d.Cmp(reduced[j]) != 0 || d.Sign() > 0 && (t.lo[j] == nil || above(t.x[j], t.lo[j])) ||
			d.Sign() < 0 && (t.hi[j] == nil || below(t.x[j], t.hi[j])) {
			return fails("variable %d is not at its best", j)
		}
	}
	for i, sum := range sums {
		if sum.Sign() != 0 {
			return fails("row %d does not add up", i)
		}
	}
	return nil
}

// certifyRay checks that every bound and row holds along the ray for ever, and that
// the cost falls along it.
func (t *simplex) certifyRay(ray []*big.Rat, cost []*big.Int) error {
	sums, fall := make([]*big.Rat, t.m), new(big.Rat)
	for i := range sums {
		sums[i] = new(big.Rat)
	}
	for j, r := range ray {
		if below(t.x[j], t.lo[j]) || above(t.x[j], t.hi[j]) || r.Sign() < 0 && t.lo[j] != nil || r.Sign() > 0 && t.hi[j] != nil {
			return fails("ray leaves the bounds of variable %d", j)
		}
		for _, e := range t.column[j] {
			sums[e.row].Add(sums[e.row], new(big.Rat).Mul(r, new(big.Rat).SetInt(e.value)))
		}
		if j < len(cost) {
			fall.Add(fall, new(big.Rat).Mul(r, new(big.Rat).SetInt(cost[j])))
		}
	}
	for i, sum := range sums {
		if sum.Sign() != 0 {
			return fails("row %d does not hold along the ray", i)
		}
	}
	if fall.Sign() >= 0 {
		return fails("cost does not fall along the ray")
	}
	return nil
}

// ratio is a/b as a float; it may be 0 or infinite where a/b is neither.
func ratio(a, b *big.Int) float64 {
	f, _ := new(big.Float).SetPrec(64).Quo(new(big.Float).SetPrec(64).SetInt(a), new(big.Float).SetPrec(64).SetInt(b)).Float64()
	return f
}

func float(a *big.Int) float64 { return ratio(a, big.NewInt(1)) }
