package index

import (
	"errors"
	"fmt"
	"math"
)

var nan = math.NaN()

var (
	// ErrNoPair: nothing to compare. Cure: a product priced in both.
	ErrNoPair = errors.New("no product is priced (and has the quantities the formula uses) in both periods")
	// ErrNoWeight: the weights of all that could be compared are zero.
	ErrNoWeight = errors.New("the weights of the matched products are all zero")
)

// incomparable says whether two rows merely have nothing to compare; in a panel
// that is a gap, not a fault.
func incomparable(err error) bool {
	return errors.Is(err, ErrNoPair) || errors.Is(err, ErrNoWeight)
}

// A ValueError is a number that no price or quantity can be.
type ValueError struct {
	What  string  // what the number was meant to be
	At    int     // its position in the caller's slice
	Value float64 // what was read
	Want  string
}

func (e *ValueError) Error() string {
	return fmt.Sprintf("%s at position %d is %v: want %s, or NaN for none", e.What, e.At, e.Value, e.Want)
}

// Result is an index number with what it rests on.
type Result struct {
	Index float64 // 1 = no change (or the level of the first period); NaN = none
	N     int     // products that carry it
	Of    int     // products that could have: priced in either period
	// Share is the part of the period's value, sum p q, that the N products make
	// up (of the count of prices where the formula uses no quantity of that
	// period); of two periods the poorer one's.
	Share float64
}

// pairs are the products that two periods have in common.
type pairs struct {
	at             []int // positions in the caller's slices
	p0, p1, q0, q1 []float64
	r              []float64 // price relatives p1/p0
	of             int
	share          float64
}

// match keeps the products priced in both periods and with a quantity in each
// period whose quantities are used (q nil = not used). A product priced on one
// side only is dropped from both.
func match(p0, p1, q0, q1 []float64) (pairs, error) {
	n := len(p0)
	sameLength("p1", n, p1)
	if q0 != nil {
		sameLength("q0", n, q0)
	}
	if q1 != nil {
		sameLength("q1", n, q1)
	}
	buf := make([]float64, 5*n)
	m := pairs{at: make([]int, 0, n), p0: buf[:0:n], p1: buf[n : n : 2*n], r: buf[2*n : 2*n : 3*n]}
	var all, both [2]float64 // value (or count) of each period, priced and matched
	for i := range p0 {
		v0, err := value(p0, q0, i)
		if err != nil {
			return m, err
		}
		v1, err := value(p1, q1, i)
		if err != nil {
			return m, err
		}
		in0, in1 := !math.IsNaN(v0), !math.IsNaN(v1)
		if in0 {
			all[0] += v0
		}
		if in1 {
			all[1] += v1
		}
		if in0 || in1 {
			m.of++
		}
		if !in0 || !in1 {
			continue
		}
		both[0] += v0
		both[1] += v1
		m.at = append(m.at, i)
		m.p0 = append(m.p0, p0[i])
		m.p1 = append(m.p1, p1[i])
		m.r = append(m.r, p1[i]/p0[i])
	}
	if len(m.at) == 0 {
		return m, ErrNoPair
	}
	m.q0 = pick(q0, m.at, buf[3*n:])
	m.q1 = pick(q1, m.at, buf[4*n:])
	m.share = math.Min(part(both[0], all[0]), part(both[1], all[1]))
	return m, nil
}

// value is p[i] q[i], or 1 without quantities; NaN if product i is not there.
func value(p, q []float64, i int) (float64, error) {
	priced := !math.IsNaN(p[i])
	if priced && !(p[i] > 0 && p[i] <= math.MaxFloat64) {
		return nan, &ValueError{"price", i, p[i], "a positive number"}
	}
	if q != nil {
		if !math.IsNaN(q[i]) && !(q[i] >= 0 && q[i] <= math.MaxFloat64) {
			return nan, &ValueError{"quantity", i, q[i], "a number not below zero"}
		}
		return p[i] * q[i], nil
	}
	if !priced {
		return nan, nil
	}
	return 1, nil
}

// take is x at the given positions; nil stays nil.
func take(x []float64, at []int) []float64 { return pick(x, at, make([]float64, len(at))) }

// pick is take into a buffer.
func pick(x []float64, at []int, into []float64) []float64 {
	if x == nil {
		return nil
	}
	into = into[:len(at)]
	for k, i := range at {
		into[k] = x[i]
	}
	return into
}

// part is a/b, and all of nothing is 1.
func part(a, b float64) float64 {
	if b == 0 {
		return 1
	}
	return a / b
}

func sameLength(what string, n int, x []float64) {
	if len(x) != n {
		panic(fmt.Sprintf("index: %s has length %d, want %d", what, len(x), n))
	}
}

// times is the product, element by element; nil counts as ones.
func times(a, b []float64) []float64 {
	c := make([]float64, len(a))
	for i := range a {
		c[i] = a[i]
		if b != nil {
			c[i] *= b[i]
		}
	}
	return c
}

func sum(x []float64) float64 {
	s := 0.0
	for _, v := range x {
		s += v
	}
	return s
}

func dot(a, b []float64) float64 {
	s := 0.0
	for i := range a {
		s += a[i] * b[i]
	}
	return s
}

// scaled is x divided by its sum: weights become shares.
func scaled(x []float64) []float64 {
	s := sum(x)
	y := make([]float64, len(x))
	for i := range x {
		y[i] = x[i] / s
	}
	return y
}

// mix is (a+b)/2, element by element.
func mix(a, b []float64) []float64 {
	c := make([]float64, len(a))
	for i := range a {
		c[i] = (a[i] + b[i]) / 2
	}
	return c
}
