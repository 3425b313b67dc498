package index

import (
	"fmt"
	"math"
	"slices"
	"strings"
)

// Bilateral is the form of every index of two periods: prices p0, p1 and
// quantities q0, q1 of the same products, base first.
//
// Result.Index is 1 for no change. Only products priced in both periods, with the
// quantities the formula names, count; shares s0 = p0 q0 / sum p0 q0 and s1 are taken
// over those. Quantities it does not name may be nil. A quantity of zero weighs
// nothing. Errors: ErrNoPair if nothing matches; ErrNoWeight if what matches was not
// bought; *ValueError for a price not positive or a quantity below zero. Panics if
// the slices differ in length.
type Bilateral func(p0, p1, q0, q1 []float64) (Result, error)

// Elementary is the form of the indexes of prices alone; rules as Bilateral.
type Elementary func(p0, p1 []float64) (Result, error)

// Unweighted lets an elementary index stand where a Bilateral is asked for.
func Unweighted(f Elementary) Bilateral {
	return func(p0, p1, _, _ []float64) (Result, error) { return f(p0, p1) }
}

// Needs says which quantities a formula reads.
type Needs int

const (
	Base    Needs = 1 << iota // q0
	Current                   // q1
	Both    = Base | Current
)

// A Formula is an index of two periods by name, with its parts.
//
// All but Montgomery-Vartia are weighted means of the price relatives r = p1/p0:
// that gives the index and, through arithmetic weights, contributions that add up.
type Formula struct {
	Name  string
	Needs Needs
	index func(pairs) float64
	parts func(m pairs, index float64) []float64 // adds to index - 1
	// byWeight: q0 holds weights (values of a reference period), not quantities.
	byWeight bool
}

// mean is a formula that is a power mean of the relatives.
func mean(name string, needs Needs, order float64, weights func(pairs) []float64) Formula {
	return Formula{Name: name, Needs: needs,
		index: func(m pairs) float64 { return PowerMean(m.r, weights(m), order) },
		parts: func(m pairs, index float64) []float64 {
			return changes(m, arithmetic(m.r, weights(m), order, index))
		}}
}

// basket is the parts of an index with the common basket x: sum p1 x / sum p0 x.
func basket(m pairs, x []float64) []float64 { return changes(m, scaled(times(m.p0, x))) }

// changes is w (r - 1) with shares w.
func changes(m pairs, w []float64) []float64 {
	c := make([]float64, len(w))
	for i := range w {
		c[i] = w[i] * (m.r[i] - 1)
	}
	return c
}

// Index is the formula's value; it is a Bilateral. Errors: ErrNoPair, ErrNoWeight,
// *ValueError. Panics if the slices differ in length.
func (f Formula) Index(p0, p1, q0, q1 []float64) (Result, error) {
	r, _, err := f.matched(p0, p1, q0, q1)
	return r, err
}

// matched is the index with the pairs behind it. Without an index the result
// still says how many products could have been compared.
func (f Formula) matched(p0, p1, q0, q1 []float64) (Result, pairs, error) {
	if f.Needs&Base == 0 {
		q0 = nil
	} else {
		sameLength("q0", len(p0), q0)
	}
	if f.Needs&Current == 0 {
		q1 = nil
	} else {
		sameLength("q1", len(p0), q1)
	}
	m, err := match(p0, p1, q0, q1)
	r := Result{Index: nan, Of: m.of}
	if err != nil {
		return r, m, err
	}
	v := f.index(m)
	if !(v > 0) || math.IsInf(v, 0) {
		return r, m, ErrNoWeight
	}
	r = Result{v, len(m.at), m.of, m.share}
	if f.byWeight {
		r.Share = part(sum(m.q0), sum(present(q0)))
	}
	return r, m, nil
}

// Formulas is every formula of two periods by name; Lowe and the Young indexes
// take the quantities or weights of a reference period in the place of q0.
var Formulas = []Formula{
	carli, jevons, dutot, harmonic, cswd, bmw,
	laspeyres, paasche, fisher, walsh, tornqvist, marshallEdgeworth, drobisch,
	geometricLaspeyres, geometricPaasche, harmonicLaspeyres, palgrave,
	satoVartia, montgomeryVartia, stuvel, lowe, young, geometricYoung,
}

// FormulaNamed is the formula of that name, in lower case with underscores. An
// unknown name is an error that lists the known ones.
func FormulaNamed(name string) (Formula, error) {
	i := slices.IndexFunc(Formulas, func(f Formula) bool { return f.Name == name })
	if i < 0 {
		return Formula{}, fmt.Errorf("formula %q is not known: take one of %s", name, strings.Join(formulaNames(), ", "))
	}
	return Formulas[i], nil
}

func formulaNames() []string {
	var names []string
	for _, f := range Formulas {
		names = append(names, f.Name)
	}
	return names
}
