package index

import "math"

// The elementary indexes compare prices alone, r = p1/p0; rules: type Elementary.
// Sources: CPI Manual 2004, ch. 20; for BMW Mehrhoff 2007 and CPI Manual 2020 (from
// memory).

var (
	carli    = mean("carli", 0, 1, equal)
	jevons   = mean("jevons", 0, 0, equal)
	harmonic = mean("harmonic", 0, -1, equal)
	dutot    = mean("dutot", 0, 1, func(m pairs) []float64 { return m.p0 })
	bmw      = mean("bmw", 0, 1, func(m pairs) []float64 {
		w := make([]float64, len(m.r))
		for i, r := range m.r {
			w[i] = math.Sqrt(1 / r)
		}
		return w
	})
	cswd = Formula{Name: "cswd",
		index: func(m pairs) float64 { return math.Sqrt(carli.index(m) * harmonic.index(m)) },
		parts: func(m pairs, index float64) []float64 {
			h := harmonic.index(m)
			return changes(m, root(m, scaled(equal(m)), carli.index(m), arithmetic(m.r, equal(m), -1, h), h, index))
		}}
)

func equal(m pairs) []float64 {
	w := make([]float64, len(m.r))
	for i := range w {
		w[i] = 1
	}
	return w
}

// root is the arithmetic shares of the geometric mean, index, of two arithmetic
// means a and b of the relatives with shares wa and wb: the logs of both are
// sums over products, so is their mean. Source: Reinsdorf, Diewert and Ehemann
// 2002, section 6.
func root(m pairs, wa []float64, a float64, wb []float64, b, index float64) []float64 {
	return arithmetic(m.r, mix(geometric(m.r, wa, a), geometric(m.r, wb, b)), 0, index)
}

// Carli is the arithmetic mean of the relatives, mean r. It drifts upward when
// chained: use it to compare, not to publish.
func Carli(p0, p1 []float64) (Result, error) { return carli.Index(p0, p1, nil, nil) }

// Jevons is the geometric mean of the relatives, exp mean ln r.
func Jevons(p0, p1 []float64) (Result, error) { return jevons.Index(p0, p1, nil, nil) }

// Dutot is the ratio of mean prices, mean p1 / mean p0; only for products in one
// unit and of like quality.
func Dutot(p0, p1 []float64) (Result, error) { return dutot.Index(p0, p1, nil, nil) }

// Harmonic is the harmonic mean of the relatives, 1/mean(1/r).
func Harmonic(p0, p1 []float64) (Result, error) { return harmonic.Index(p0, p1, nil, nil) }

// CSWD is the index of Carruthers, Sellwood, Ward and Dalen, sqrt(Carli x Harmonic).
func CSWD(p0, p1 []float64) (Result, error) { return cswd.Index(p0, p1, nil, nil) }

// BMW is the index of Balk, Mehrhoff and Walsh, sum sqrt r / sum sqrt(1/r).
func BMW(p0, p1 []float64) (Result, error) { return bmw.Index(p0, p1, nil, nil) }

// UnitValue is the mean price paid of one homogeneous product, sum p q / sum q,
// over transactions that have both; n counts them. None, or no quantity sold: NaN.
// A price not positive or a quantity below zero is a *ValueError. Source: CPI
// Manual 2004, ch. 9 and 20.
func UnitValue(p, q []float64) (unitValue float64, n int, err error) {
	sameLength("q", len(p), q)
	v, total := 0.0, 0.0
	for i := range p {
		x, err := value(p, q, i)
		if err != nil {
			return nan, 0, err
		}
		if !math.IsNaN(x) {
			v, total, n = v+x, total+q[i], n+1
		}
	}
	return v / total, n, nil
}
