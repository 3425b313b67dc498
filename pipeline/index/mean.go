package index

import "math"

// PowerMean is the weighted power mean of x of the given order.
//
//	(sum w x^k / sum w)^(1/k),  k = 0: exp(sum w ln x / sum w)
//
// Order 1 is the arithmetic mean, 0 the geometric, -1 the harmonic, 2 the
// quadratic. x positive; w not negative, nil = equal; both of one length. Order 0
// is taken in logs, so that long products do not overflow. Nothing in x, weights
// of sum zero or a NaN give NaN. Source: Balk 2008, section 4.2.
func PowerMean(x, w []float64, order float64) float64 {
	total, s := 0.0, 0.0
	if w != nil {
		sameLength("w", len(x), w)
	}
	for i, v := range x {
		u := 1.0
		if w != nil {
			u = w[i]
		}
		total += u
		switch order {
		case 1:
			s += u * v
		case 0:
			s += u * math.Log(v)
		case -1:
			s += u / v
		default:
			s += u * math.Expm1(order*math.Log(v))
		}
	}
	switch s /= total; order {
	case 1:
		return s
	case 0:
		return math.Exp(s)
	case -1:
		return 1 / s
	}
	return math.Exp(math.Log1p(s) / order) // in logs: exact to the end as the order goes to 0
}

// LogMean is the logarithmic mean of two numbers that are not negative.
//
//	L(a, b) = (a - b)/ln(a/b),  L(a, a) = a,  L(a, 0) = 0
//
// Negative or missing: NaN. Source: CPI Manual 2004, ch. 16 (logarithmic mean of
// Vartia and Sato).
func LogMean(a, b float64) float64 {
	switch {
	case a < 0 || b < 0:
		return math.NaN()
	case a == b:
		return a
	case a == 0 || b == 0:
		return 0
	}
	// Expm1 keeps the digits that a-b and ln(a/b) would lose when a is near b.
	z := math.Log(a / b)
	if z == 0 {
		return b
	}
	return b * math.Expm1(z) / z
}

func logMeans(a, b []float64) []float64 {
	c := make([]float64, len(a))
	for i := range a {
		c[i] = LogMean(a[i], b[i])
	}
	return c
}

// arithmetic turns the weights w of a power mean of the given order with value m
// into shares v of an arithmetic mean with the same value: sum v x = m.
//
// As sum w (x^k - m^k) = 0, v is proportional to w (x^k - m^k)/(x - m); for k = 0
// to w/L(x, m). Source: Balk 2008, section 4.2; for k = 0 also Reinsdorf, Diewert
// and Ehemann 2002, section 2.
func arithmetic(x, w []float64, order, m float64) []float64 {
	v := make([]float64, len(x))
	for i := range x {
		v[i] = 1
		if z := math.Log(x[i] / m); z != 0 && order == 0 {
			v[i] = z / math.Expm1(z)
		} else if z != 0 {
			v[i] = math.Expm1(order*z) / (order * math.Expm1(z))
		}
		v[i] *= w[i]
	}
	return scaled(v)
}

// geometric turns the shares w of an arithmetic mean m of x into shares of a
// geometric mean with the same value, by weights w L(x, m).
func geometric(x, w []float64, m float64) []float64 {
	v := make([]float64, len(x))
	for i := range x {
		v[i] = w[i] * LogMean(x[i], m)
	}
	return scaled(v)
}
