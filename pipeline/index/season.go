package index

import (
	"errors"
	"math"
	"slices"
)

// Decomposition parts a series into trend, season and remainder.
type Decomposition struct {
	Trend, Seasonal, Remainder []float64
	Weight                     []float64 // of STL: robustness weights, 1 = full
	Figure                     []float64 // of Classical: the season of each position
	N                          int       // values it rests on
}

// Classical is decomposition by moving averages.
//
//	trend    = centred moving average of one period (2 x 12 if the period is 12)
//	figure_m = mean over years of x - trend (or x / trend), centred: sum 0 (mean 1)
//
// x starts at position 0 of the period. Trend and remainder are NaN in the first
// and last half period, and wherever a NaN lies in the moving average; NaN months
// are left out of the figure. Fewer than two periods: error. Textbook method; common
// practice.
func Classical(x []float64, period int, multiplicative bool) (Decomposition, error) {
	n := len(x)
	if period < 2 || n < 2*period {
		return Decomposition{}, errors.New("the series is too short: need at least two full periods")
	}
	d := Decomposition{Trend: filled(n, nan), Seasonal: make([]float64, n), Remainder: make([]float64, n),
		Figure: make([]float64, period), N: len(present(x))}
	half := period / 2
	for t := half; t+half < n; t++ {
		s := sum(x[t-half+1 : t+half])
		if period%2 == 0 {
			s += (x[t-half] + x[t+half]) / 2
		} else {
			s += x[t-half] + x[t+half]
		}
		d.Trend[t] = s / float64(period)
	}
	without, with := func(a, b float64) float64 { return a - b }, func(a, b float64) float64 { return a + b }
	if multiplicative {
		without, with = func(a, b float64) float64 { return a / b }, func(a, b float64) float64 { return a * b }
	}
	for m := range d.Figure {
		var of []float64
		for t := m; t < n; t += period {
			of = append(of, without(x[t], d.Trend[t]))
		}
		d.Figure[m] = Mean(of)
	}
	centre := sum(d.Figure) / float64(period)
	for m := range d.Figure {
		d.Figure[m] = without(d.Figure[m], centre)
	}
	for t := range x {
		d.Seasonal[t] = d.Figure[t%period]
		d.Remainder[t] = without(x[t], with(d.Trend[t], d.Seasonal[t]))
	}
	return d, nil
}

// STLOptions are the constants of STL, in the paper's notation: n_p, n_s, n_t, n_l,
// degrees 0 or 1, and n_i, n_o. Spans are made odd and at least 3.
type STLOptions struct {
	Period                   int // n_p
	Seasonal, Trend, LowPass Loess
	Inner, Outer             int // Outer 0 = not robust
}

// Loess is one local regression: values in its span, degree 0 or 1, and the step
// between points at which it is computed (the rest is interpolated; 1 = all).
type Loess struct{ Span, Degree, Jump int }

// DefaultSTL is the paper's advice for a seasonal span (odd, 7 or more): low-pass
// span the least odd >= period, trend span the least odd >= 1.5 period/(1 -
// 1.5/seasonal), jumps a tenth of the span; 2 inner passes, or 1 inner and 15 outer
// if robust. Source: Cleveland et al. 1990, as STL.
func DefaultSTL(period, seasonal int, robust bool) STLOptions {
	loess := func(span float64) Loess {
		n := odd(int(math.Ceil(span)))
		return Loess{n, 1, (n + 9) / 10}
	}
	o := STLOptions{period, loess(float64(seasonal)),
		loess(1.5 * float64(period) / (1 - 1.5/float64(seasonal))), loess(float64(period)), 2, 0}
	if robust {
		o.Inner, o.Outer = 1, 15
	}
	return o
}

func odd(n int) int { return max(n, 3) | 1 }

// STL is the seasonal-trend decomposition by loess; x = trend + seasonal +
// remainder. Errors: fewer than two periods, a NaN (fill or cut first), a period
// below 2. Source: Cleveland, Cleveland, McRae and Terpenning 1990, Journal of
// Official Statistics 6(1), 3-73.
func STL(x []float64, o STLOptions) (Decomposition, error) {
	n, np := len(x), o.Period
	switch {
	case np < 2 || n < 2*np:
		return Decomposition{}, errors.New("the series is too short: need at least two full periods")
	case len(present(x)) < n:
		return Decomposition{}, errors.New("the series has gaps: fill them or decompose a part without")
	}
	for _, l := range []*Loess{&o.Seasonal, &o.Trend, &o.LowPass} {
		l.Span, l.Jump = odd(l.Span), max(l.Jump, 1)
	}
	d := Decomposition{Trend: make([]float64, n), Seasonal: make([]float64, n), Remainder: make([]float64, n), N: n}
	less := func(a []float64) []float64 { return plus(x, a, -1) }
	for pass := 0; ; pass++ {
		for range max(o.Inner, 1) {
			cycle := subseries(less(d.Trend), np, o.Seasonal, d.Weight) // one period longer at each end
			low := o.LowPass.smooth(average(average(average(cycle, np), np), 3), nil)
			d.Seasonal = plus(cycle[np:np+n], low, -1)
			d.Trend = o.Trend.smooth(less(d.Seasonal), d.Weight)
		}
		d.Remainder = plus(less(d.Seasonal), d.Trend, -1)
		if pass >= o.Outer {
			break
		}
		d.Weight = robustness(d.Remainder)
	}
	if d.Weight == nil {
		d.Weight = filled(n, 1)
	}
	return d, nil
}

// robustness is the bisquare of |r| over six times its median.
func robustness(r []float64) []float64 {
	w := make([]float64, len(r))
	for i, v := range r {
		w[i] = math.Abs(v)
	}
	h := 6 * Median(w)
	for i, v := range w {
		switch u := v / h; {
		case v <= .001*h:
			w[i] = 1
		case v <= .999*h:
			w[i] = (1 - u*u) * (1 - u*u)
		default:
			w[i] = 0
		}
	}
	return w
}

// average is the moving average of k, k-1 values shorter.
func average(x []float64, k int) []float64 {
	y := make([]float64, len(x)-k+1)
	for i := range y {
		y[i] = sum(x[i:i+k]) / float64(k)
	}
	return y
}

// subseries smooths each position of the period over the years and extends it by
// one at each end.
func subseries(x []float64, np int, l Loess, weight []float64) []float64 {
	out := make([]float64, len(x)+2*np)
	for j := range np {
		var y, w []float64
		for t := j; t < len(x); t += np {
			y = append(y, x[t])
			if weight != nil {
				w = append(w, weight[t])
			}
		}
		k := len(y)
		s := slices.Concat([]float64{0}, l.smooth(y, w), []float64{0})
		s[0] = l.at(-1, y, w, 0, min(l.Span, k)-1, s[1])
		s[k+1] = l.at(float64(k), y, w, max(0, k-l.Span), k-1, s[k])
		for m := range s {
			out[m*np+j] = s[m]
		}
	}
	return out
}

// smooth is the loess of y at its own positions.
func (l Loess) smooth(y, weight []float64) []float64 {
	n := len(y)
	s := slices.Clone(y)
	if n < 2 {
		return s
	}
	jump := min(l.Jump, n-1)
	left, right := 0, min(l.Span, n)-1
	last := 0
	for i := 0; i < n; i += jump {
		if l.Span < n {
			left = min(max(i-l.Span/2, 0), n-l.Span)
			right = left + l.Span - 1
		}
		s[i] = l.at(float64(i), y, weight, left, right, y[i])
		interpolate(s, last, i)
		last = i
	}
	if last < n-1 {
		s[n-1] = l.at(float64(n-1), y, weight, left, right, y[n-1])
		interpolate(s, last, n-1)
	}
	return s
}

func interpolate(s []float64, from, to int) {
	for j := from + 1; j < to; j++ {
		s[j] = s[from] + (s[to]-s[from])*float64(j-from)/float64(to-from)
	}
}

// at is the local fit at x from positions left..right with tricube weights; without
// any weight it is the value otherwise.
func (l Loess) at(x float64, y, weight []float64, left, right int, otherwise float64) float64 {
	n := len(y)
	h := math.Max(x-float64(left), float64(right)-x)
	if l.Span > n {
		h += float64((l.Span - n) / 2)
	}
	w := make([]float64, right-left+1)
	for k := range w {
		r := math.Abs(float64(left+k) - x)
		switch {
		case r > .999*h:
			continue
		case r <= .001*h:
			w[k] = 1
		default:
			u := r / h
			w[k] = math.Pow(1-u*u*u, 3)
		}
		if weight != nil {
			w[k] *= weight[left+k]
		}
	}
	if !(sum(w) > 0) {
		return otherwise
	}
	w = scaled(w)
	if h > 0 && l.Degree > 0 {
		a, c := 0.0, 0.0
		for k := range w {
			a += w[k] * float64(left+k)
		}
		for k := range w {
			c += w[k] * (float64(left+k) - a) * (float64(left+k) - a)
		}
		if math.Sqrt(c) > .001*float64(n-1) { // else the points have no spread to fit a slope to
			for k := range w {
				w[k] *= (x-a)/c*(float64(left+k)-a) + 1
			}
		}
	}
	return dot(w, y[left:right+1])
}
