package index

import "math"

// Contributions parts an index of two periods by product: c adds to index - 1
// exactly (up to rounding), in the caller's order, NaN for a product not matched.
//
// Means of the relatives with shares w, order k: w (r^k - I^k)/(r - I) scaled to 1,
// times r - 1. So Laspeyres, Lowe and Young have w (r - 1); geometric means w/L(r, I)
// scaled, times r - 1. Fisher: Van IJzeren's basket x = q0 + q1/Q, that is
// x (p1 - p0)/sum p0 x. Stuvel: the same with x = q0 I + q1. Drobisch: the mean of
// Laspeyres' and Paasche's parts. CSWD: as FisherLogContributions, of Carli and
// Harmonic. Montgomery-Vartia: L(v0, v1)/L(V0, V1) ln r, times L(I, 1).
//
// Unit: fractions of the base level (times 100: percentage points). Errors and
// panics as Index. Sources: Balk 2008, section 4.2; Reinsdorf, Diewert and Ehemann
// 2002; for Stuvel see the derivation beside the formula.
func (f Formula) Contributions(p0, p1, q0, q1 []float64) (Result, []float64, error) {
	return f.contributions(p0, p1, q0, q1, f.parts)
}

func (f Formula) contributions(p0, p1, q0, q1 []float64, parts func(pairs, float64) []float64) (Result, []float64, error) {
	c := filled(len(p0), nan)
	r, m, err := f.matched(p0, p1, q0, q1)
	if err != nil {
		return r, c, err
	}
	for k, v := range parts(m, r.Index) {
		c[m.at[k]] = v
	}
	return r, c, nil
}

// LoweContributions is Contributions for Lowe: qb p (r - 1) over sum p0 qb.
func LoweContributions(p0, p1, qb []float64) (Result, []float64, error) {
	return lowe.Contributions(p0, p1, qb, nil)
}

// FisherLogContributions parts Fisher by the mean of the log shares of Laspeyres
// and Paasche: w = mean of [s0 L(r, Las) scaled] and [(s1/r) L(r, Paa) scaled], then
// as a geometric mean. It differs little from Contributions.
// Source: Reinsdorf, Diewert and Ehemann 2002, section 6.
func FisherLogContributions(p0, p1, q0, q1 []float64) (Result, []float64, error) {
	return fisher.contributions(p0, p1, q0, q1, func(m pairs, index float64) []float64 {
		l, p := laspeyres.index(m), paasche.index(m)
		return changes(m, root(m, share0(m), l, arithmetic(m.r, value1(m), -1, p), p, index))
	})
}

// GroupContributions parts the change between two months of an index with fixed
// weights by group.
//
//	from = sum w I0, to = sum w I1, points = 100 w (I1 - I0)/from  (w scaled to 1)
//
// index0, index1 are the groups' indexes in both months, on the reference period
// of the weights. points add to the change in percent. A NaN makes all NaN: a
// group without an index leaves no total. Source: CPI Manual 2004, ch. 9.
func GroupContributions(w, index0, index1 []float64) (from, to float64, points []float64) {
	sameLength("index0", len(w), index0)
	sameLength("index1", len(w), index1)
	w = scaled(w)
	from, to = dot(w, index0), dot(w, index1)
	points = make([]float64, len(w))
	for i := range w {
		points[i] = 100 * w[i] * (index1[i] - index0[i]) / from
	}
	if math.IsNaN(from + to) {
		points = filled(len(w), nan)
	}
	return from, to, points
}
