package index

import (
	"cmp"
	"fmt"
	"math"
	"slices"
)

// Parities compare regions as series compare months: rows are regions, the first
// is 1, GEKS, GearyKhamis, TPD and WeightedTPD apply as they stand, and each refuses
// regions that no common product connects (*Unconnected, groups named).

// CPD is the country product dummy parity, TPD with regions as rows. Source: ICP
// 2013, ch. 4.
func CPD(p, q [][]float64) ([]Result, error) { return TPD(p, q) }

// WeightedCPD is CPD weighted by value shares within each region. Source: Rao 2005;
// ICP 2013, ch. 4 and 5.
func WeightedCPD(p, q [][]float64) ([]Result, error) { return WeightedTPD(p, q) }

// CommonBasket values one basket at each region's prices, sum p_r q / sum p_0 q,
// over the products priced in ALL regions (a Lowe parity).
//
// q[i] is one basket for all. Share is the value, at the region's prices, of the
// common products in what the region prices of the basket. Errors: ErrNoPair if no
// product with a quantity is priced everywhere; *ValueError. Source: ICP 2013, ch. 5.
func CommonBasket(p [][]float64, q []float64) ([]Result, error) {
	basket := slices.Clone(q) // NaN: not in it
	for i := range basket {
		if basket[i] == 0 {
			basket[i] = nan
		}
	}
	common := slices.Clone(basket)
	for t := range p {
		sameLength("row of p", len(q), p[t])
		for i := range q {
			v, err := value(p[t], basket, i)
			if err != nil {
				return nil, fmt.Errorf("row %d: %w", t, err)
			}
			if math.IsNaN(v) {
				common[i] = nan
			}
		}
	}
	n := len(present(common))
	if n == 0 && len(p) > 0 {
		return nil, fmt.Errorf("all %d regions: %w", len(p), ErrNoPair)
	}
	rows, first := make([]Result, len(p)), 0.0
	for t := range p {
		cost, all := sum(present(times(p[t], common))), present(times(p[t], basket))
		if t == 0 {
			first = cost
		}
		rows[t] = Result{cost / first, n, len(all), cost / sum(all)}
	}
	return rows, nil
}

// A Dissimilarity is how far the price structures of two rows are from
// proportional: 0 = proportional, never negative.
type Dissimilarity func(p0, p1, q0, q1 []float64) (float64, error)

// LogQuadratic is sum (s0 + s1)/2 ln(r/T)^2 with T the Tornqvist index. Errors and
// panics as Tornqvist. Source: Diewert 2009, Similarity indexes, from Diewert and
// Fox 2020.
func LogQuadratic(p0, p1, q0, q1 []float64) (float64, error) {
	return dissimilar(tornqvist, p0, p1, q0, q1, func(r float64) float64 { return math.Log(r) * math.Log(r) })
}

// AsymptoticLinear is sum (s0 + s1)/2 (r/F + F/r - 2) with F the Fisher index.
// Errors, panics and source as LogQuadratic.
func AsymptoticLinear(p0, p1, q0, q1 []float64) (float64, error) {
	return dissimilar(fisher, p0, p1, q0, q1, func(r float64) float64 { return r + 1/r - 2 })
}

func dissimilar(f Formula, p0, p1, q0, q1 []float64, of func(float64) float64) (float64, error) {
	x, m, err := f.matched(p0, p1, q0, q1)
	if err != nil {
		return nan, err
	}
	s, d := mix(share0(m), share1(m)), 0.0
	for i, r := range m.r {
		d += s[i] * of(r/x.Index)
	}
	return d, nil
}

// Spread is the Paasche-Laspeyres spread |ln(L/P)|. Errors and panics as Fisher.
// Source: Hill 1999, Comparing price levels across countries using minimum
// spanning trees, Review of Economics and Statistics 81.
func Spread(p0, p1, q0, q1 []float64) (float64, error) {
	_, m, err := fisher.matched(p0, p1, q0, q1)
	if err != nil {
		return nan, err
	}
	return math.Abs(math.Log(laspeyres.index(m) / paasche.index(m))), nil
}

// A Link joins two rows, From before To, in a spanning tree.
type Link struct {
	From, To      int
	Dissimilarity float64
	Result        // of row To against row From
}

// SpanningTree compares rows along the tree of bilateral links with the least sum
// of dissimilarities, so that unlike rows are compared through likes; links are in
// order of choice (least first; ties by rows). Levels as a Multilateral's.
//
// Errors: *Unconnected; *ValueError; those of f and d with the pair. Sources: Hill
// 1999; ICP 2013, ch. 5; the tree by Kruskal 1956.
func SpanningTree(f Bilateral, d Dissimilarity, p, q [][]float64) ([]Result, []Link, error) {
	if err := checkPanel(p, q); err != nil {
		return nil, nil, err
	}
	n := len(p)
	var all []Link
	for j := range n {
		for k := j + 1; k < n; k++ {
			v, err := d(p[j], p[k], row(q, j), row(q, k))
			if incomparable(err) {
				continue
			}
			if err != nil {
				return nil, nil, fmt.Errorf("rows %d and %d: %w", j, k, err)
			}
			all = append(all, Link{From: j, To: k, Dissimilarity: v})
		}
	}
	slices.SortStableFunc(all, func(a, b Link) int { return cmp.Compare(a.Dissimilarity, b.Dissimilarity) })
	set, tree := newSets(n), []Link{}
	for _, l := range all {
		if set.join(l.From, l.To) {
			var err error
			if l.Result, err = f(p[l.From], p[l.To], row(q, l.From), row(q, l.To)); err != nil {
				return nil, nil, fmt.Errorf("rows %d and %d: %w", l.From, l.To, err)
			}
			tree = append(tree, l)
		}
	}
	if err := connected(set.groups()); err != nil {
		return nil, nil, err
	}
	rows := coverage(p, q)
	for t := range rows {
		rows[t].Index = nan
	}
	if n > 0 {
		rows[0].Index = 1
	}
	for range tree { // each pass reaches at least one row more
		for _, l := range tree {
			switch a, b := &rows[l.From].Index, &rows[l.To].Index; {
			case math.IsNaN(*b):
				*b = *a * l.Index
			case math.IsNaN(*a):
				*a = *b / l.Index
			}
		}
	}
	return rows, tree, nil
}
