package index

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"gonum.org/v1/gonum/mat"
)

// Unconnected: rows (periods or regions) fall into groups that share no product,
// so no index can compare them; a pseudo-inverse would invent a number.
type Unconnected struct {
	Groups [][]int // rows, each group in order, groups by their first row
}

func (e *Unconnected) Error() string {
	return e.Named(func(row int) string { return fmt.Sprint(row) })
}

// Named is the message with the caller's names of the rows.
func (e *Unconnected) Named(name func(row int) string) string {
	groups := make([]string, len(e.Groups))
	for g, rows := range e.Groups {
		names := make([]string, len(rows))
		for k, t := range rows {
			names[k] = name(t)
		}
		groups[g] = "{" + strings.Join(names, ", ") + "}"
	}
	return fmt.Sprintf("%d groups share no product: %s: compare within a group, or price a product of both", len(groups), strings.Join(groups, " "))
}

// Groups is the sets of rows that can be compared: rows are connected by a product
// that both price (and bought, if q is given), and through others. One group: all
// can. A row without a price is a group by itself.
func Groups(p, q [][]float64) [][]int {
	n := len(p)
	set := newSets(n)
	if n == 0 {
		return nil
	}
	for i := range p[0] {
		first := -1
		for t := range n {
			if !has(p, q, t, i) {
				continue
			}
			if first < 0 {
				first = t
			}
			set.join(first, t)
		}
	}
	return set.groups()
}

func has(p, q [][]float64, t, i int) bool {
	return !math.IsNaN(p[t][i]) && (q == nil || q[t][i] > 0)
}

func connected(groups [][]int) error {
	if len(groups) > 1 {
		return &Unconnected{groups}
	}
	return nil
}

// sets keeps disjoint sets of 0..n-1; the smallest member stands for a set.
type sets []int

func newSets(n int) sets {
	s := make(sets, n)
	for i := range s {
		s[i] = i
	}
	return s
}

func (s sets) root(i int) int {
	for s[i] != i {
		s[i] = s[s[i]]
		i = s[i]
	}
	return i
}

// join says whether the two were apart.
func (s sets) join(i, j int) bool {
	a, b := s.root(i), s.root(j)
	s[max(a, b)] = min(a, b)
	return a != b
}

func (s sets) groups() [][]int {
	var g [][]int
	number := map[int]int{}
	for i := range s {
		r := s.root(i)
		if r == i {
			number[r] = len(g)
			g = append(g, nil)
		}
		g[number[r]] = append(g[number[r]], i)
	}
	return g
}

// GEKS makes the bilateral index f transitive: the levels that come nearest to all
// bilateral indexes in least squares of logs.
//
//	min sum over j<k (ln P_k - ln P_j - (ln P(j,k) - ln P(k,j))/2)^2
//
// For a formula with time reversal (Fisher, Tornqvist, Walsh, Jevons) and every
// pair comparable this is the geometric mean over k of P(0,k) P(k,t). Pairs with
// nothing to compare drop out. Errors: *ValueError; *Unconnected. Sources: CPI
// Manual 2020, ch. 10; ICP 2013, ch. 5.
func GEKS(f Bilateral) Multilateral {
	return geks(f, func(Result) float64 { return 1 })
}

// WeightedGEKS is GEKS with each pair weighted by the share of value matched, so
// that thin comparisons count less. Source: Rao and Timmer 2003 (from memory).
func WeightedGEKS(f Bilateral) Multilateral {
	return geks(f, func(r Result) float64 { return r.Share })
}

func geks(f Bilateral, weight func(Result) float64) Multilateral {
	return func(p, q [][]float64) ([]Result, error) {
		if err := checkPanel(p, q); err != nil {
			return nil, err
		}
		n := len(p)
		set, lap, rhs := newSets(n), mat.NewSymDense(max(n, 1), nil), make([]float64, n)
		for j := range n {
			for k := j + 1; k < n; k++ {
				there, err := f(p[j], p[k], row(q, j), row(q, k))
				back, err2 := f(p[k], p[j], row(q, k), row(q, j))
				if incomparable(err) || incomparable(err2) {
					continue
				}
				if err = errors.Join(err, err2); err != nil {
					return nil, fmt.Errorf("rows %d and %d: %w", j, k, err)
				}
				w := weight(there)
				d := w * math.Log(there.Index/back.Index) / 2
				set.join(j, k)
				lap.SetSym(j, j, lap.At(j, j)+w)
				lap.SetSym(k, k, lap.At(k, k)+w)
				lap.SetSym(j, k, -w)
				rhs[j] -= d
				rhs[k] += d
			}
		}
		return levels(p, q, set.groups(), lap, rhs)
	}
}

// TPD is the time product dummy (of regions: country product dummy, CPD) index:
// least squares of ln p on a level for each row and each product, all prices equal.
//
//	min sum over t,i (ln p_ti - a_t - b_i)^2, level = exp(a_t - a_0)
//
// Quantities are not read. Errors: *ValueError; *Unconnected. Sources: CPI Manual
// 2020, ch. 10; ICP 2013, ch. 4.
func TPD(p, _ [][]float64) ([]Result, error) {
	return dummies(p, nil, func(t, i int, v float64) float64 { return 1 })
}

// WeightedTPD is TPD weighted by each price's share of its row's value, p q over
// its sum. Quantities needed. Sources: Rao 2005; CPI Manual 2020, ch. 10.
func WeightedTPD(p, q [][]float64) ([]Result, error) {
	if err := checkQuantities(p, q); err != nil {
		return nil, err
	}
	total := make([]float64, len(p))
	for t := range p {
		total[t] = sum(present(times(p[t], q[t])))
	}
	return dummies(p, q, func(t, i int, v float64) float64 { return v / total[t] })
}

// ValueTPD is TPD weighted by the values p q themselves: rows that buy more count
// more. Some call this the weighted TPD too. Quantities needed. Source: Diewert and
// Fox 2022, Substitution bias in multilateral methods (from memory).
func ValueTPD(p, q [][]float64) ([]Result, error) {
	if err := checkQuantities(p, q); err != nil {
		return nil, err
	}
	return dummies(p, q, func(t, i int, v float64) float64 { return v })
}

// dummies solves the normal equations after the products' levels are eliminated:
// what is left is a Laplacian of the rows, diag(sum_i w) - sum_i w w'/sum_t w.
func dummies(p, q [][]float64, weight func(t, i int, v float64) float64) ([]Result, error) {
	if err := checkPanel(p, q); err != nil {
		return nil, err
	}
	n := len(p)
	lap, rhs := mat.NewSymDense(max(n, 1), nil), make([]float64, n)
	at, w := make([]int, 0, n), make([]float64, n)
	for i := range columns(p) {
		at = at[:0]
		total, y := 0.0, 0.0
		for t := range n {
			if !has(p, q, t, i) {
				continue
			}
			v, _ := value(p[t], row(q, t), i)
			w[t] = weight(t, i, v)
			at = append(at, t)
			total += w[t]
			y += w[t] * math.Log(p[t][i])
		}
		for a, s := range at {
			lap.SetSym(s, s, lap.At(s, s)+w[s])
			rhs[s] += w[s] * (math.Log(p[s][i]) - y/total)
			for _, t := range at[a:] {
				lap.SetSym(s, t, lap.At(s, t)-w[s]*w[t]/total)
			}
		}
	}
	return levels(p, q, Groups(p, q), lap, rhs)
}

func columns(p [][]float64) int {
	if len(p) == 0 {
		return 0
	}
	return len(p[0])
}

// levels solves lap a = rhs with a[0] = 0 and attaches what each row rests on.
func levels(p, q [][]float64, groups [][]int, lap *mat.SymDense, rhs []float64) ([]Result, error) {
	if err := connected(groups); err != nil {
		return nil, err
	}
	rows := coverage(p, q)
	n := len(p)
	if n > 0 {
		rows[0].Index = 1
	}
	if n < 2 {
		return rows, nil
	}
	sub := mat.NewSymDense(n-1, nil)
	for s := 1; s < n; s++ {
		for t := s; t < n; t++ {
			sub.SetSym(s-1, t-1, lap.At(s, t))
		}
	}
	var chol mat.Cholesky
	var a mat.VecDense
	if !chol.Factorize(sub) || chol.SolveVecTo(&a, mat.NewVecDense(n-1, rhs[1:])) != nil {
		return nil, errors.New("the rows are too weakly connected to be compared: some weights are too small beside others")
	}
	for t := 1; t < n; t++ {
		rows[t].Index = math.Exp(a.AtVec(t - 1))
	}
	return rows, nil
}

// coverage counts each row's products and those that another row has too.
func coverage(p, q [][]float64) []Result {
	seen := make([]int, columns(p))
	for t := range p {
		for i := range p[t] {
			if has(p, q, t, i) {
				seen[i]++
			}
		}
	}
	rows := make([]Result, len(p))
	for t := range p {
		all, both := 0.0, 0.0
		for i := range p[t] {
			if !has(p, q, t, i) {
				continue
			}
			v, _ := value(p[t], row(q, t), i)
			rows[t].Of++
			all += v
			if seen[i] > 1 {
				rows[t].N++
				both += v
			}
		}
		rows[t].Share = part(both, all)
	}
	return rows
}

// GearyKhamis is the additive method: each row's basket valued at common reference
// prices b.
//
//	P_t = sum_i p q / sum_i b q,  b_i = sum_t (p_ti q_ti / P_t) / sum_t q_ti
//
// Large rows pull b towards their own prices. Solved as one linear system in 1/P,
// first row = 1. Quantities needed. Errors: *ValueError; *Unconnected. Sources: ICP
// 2013, ch. 5; CPI Manual 2020, ch. 10.
func GearyKhamis(p, q [][]float64) ([]Result, error) {
	if err := checkQuantities(p, q); err != nil {
		return nil, err
	}
	if err := connected(Groups(p, q)); err != nil {
		return nil, err
	}
	rows := coverage(p, q)
	n := len(p)
	if n == 0 {
		return rows, nil
	}
	rows[0].Index = 1
	// With x = 1/P: V_t x_t = sum_s A_ts x_s, A_ts = sum_i q_ti v_si / sum_u q_ui.
	// The columns of diag(V) - A add to zero; the first row is dropped, x_0 = 1.
	a := mat.NewDense(n, n, nil)
	for i := range columns(p) {
		total := 0.0
		for t := range n {
			if has(p, q, t, i) {
				total += q[t][i]
			}
		}
		for s := range n {
			if !has(p, q, s, i) {
				continue
			}
			v := p[s][i] * q[s][i]
			a.Set(s, s, a.At(s, s)+v)
			for t := range n {
				if has(p, q, t, i) {
					a.Set(t, s, a.At(t, s)-q[t][i]*v/total)
				}
			}
		}
	}
	if n == 1 {
		return rows, nil
	}
	rhs := mat.NewVecDense(n-1, nil)
	for t := 1; t < n; t++ {
		rhs.SetVec(t-1, -a.At(t, 0))
	}
	var x mat.VecDense
	if err := x.SolveVec(a.Slice(1, n, 1, n), rhs); err != nil {
		return nil, fmt.Errorf("the rows are too weakly connected to be compared: %w", err)
	}
	for t := 1; t < n; t++ {
		rows[t].Index = 1 / x.AtVec(t-1)
	}
	return rows, nil
}

// ReferencePrices is the mean price of each product over rows, each price first
// divided by its row's level: b_i = sum_t (p_ti q_ti / level_t) / sum_t q_ti. NaN for
// a product that no row bought. With Geary-Khamis levels sum_i b q is the real
// value of a row and equals its value over its level. Source: ICP 2013, ch. 5.
func ReferencePrices(p, q [][]float64, level []float64) []float64 {
	sameLength("level", len(p), level)
	b := make([]float64, columns(p))
	for i := range b {
		v, total := 0.0, 0.0
		for t := range p {
			if has(p, q, t, i) {
				v += p[t][i] * q[t][i] / level[t]
				total += q[t][i]
			}
		}
		b[i] = v / total
	}
	return b
}

// MethodNamed is the method of that name: tpd, weighted_tpd, value_tpd,
// geary_khamis, or direct_, chained_, geks_ or weighted_geks_ before a formula's
// name; quantities says whether it reads any. Formulas that take what a third
// period bought (lowe, young, geometric_young) are none: a panel does not say
// which. Unknown: an error with the known names.
func MethodNamed(name string) (m Multilateral, quantities bool, err error) {
	switch name {
	case "tpd":
		return TPD, false, nil
	case "weighted_tpd":
		return WeightedTPD, true, nil
	case "value_tpd":
		return ValueTPD, true, nil
	case "geary_khamis":
		return GearyKhamis, true, nil
	}
	var known []string
	for _, f := range Formulas {
		if slices.Contains([]string{lowe.Name, young.Name, geometricYoung.Name}, f.Name) {
			continue
		}
		known = append(known, f.Name)
		switch name {
		case "direct_" + f.Name:
			return Direct(f.Index), f.Needs != 0, nil
		case "chained_" + f.Name:
			return Chained(f.Index), f.Needs != 0, nil
		case "geks_" + f.Name:
			return GEKS(f.Index), f.Needs != 0, nil
		case "weighted_geks_" + f.Name:
			return WeightedGEKS(f.Index), f.Needs != 0, nil
		}
	}
	return nil, false, fmt.Errorf("method %q is not known: take tpd, weighted_tpd, value_tpd, geary_khamis, or direct_, chained_, geks_ or weighted_geks_ before a formula: %s", name, strings.Join(known, ", "))
}
