package index

import (
	"errors"
	"math"
)

// The bilateral indexes weight the relatives r = p1/p0 by what was bought, v = p q,
// V = sum v; rules: type Bilateral. Sources: CPI Manual 2004, ch. 15 to 17; Balk
// 2008, ch. 3.

func value0(m pairs) []float64 { return times(m.p0, m.q0) }
func value1(m pairs) []float64 { return times(m.p1, m.q1) }
func share0(m pairs) []float64 { return scaled(value0(m)) }
func share1(m pairs) []float64 { return scaled(value1(m)) }

var (
	laspeyres          = mean("laspeyres", Base, 1, value0)
	paasche            = mean("paasche", Current, -1, value1)
	geometricLaspeyres = mean("geometric_laspeyres", Base, 0, value0)
	geometricPaasche   = mean("geometric_paasche", Current, 0, value1)
	harmonicLaspeyres  = mean("harmonic_laspeyres", Base, -1, value0)
	palgrave           = mean("palgrave", Current, 1, value1)
	tornqvist          = mean("tornqvist", Both, 0, func(m pairs) []float64 { return mix(share0(m), share1(m)) })
	satoVartia         = mean("sato_vartia", Both, 0, func(m pairs) []float64 { return logMeans(share0(m), share1(m)) })
	marshallEdgeworth  = mean("marshall_edgeworth", Both, 1, func(m pairs) []float64 { return times(m.p0, mix(m.q0, m.q1)) })
	walsh              = mean("walsh", Both, 1, func(m pairs) []float64 {
		w := make([]float64, len(m.r))
		for i := range w {
			w[i] = m.p0[i] * math.Sqrt(m.q0[i]*m.q1[i])
		}
		return w
	})
	fisher = Formula{Name: "fisher", Needs: Both,
		index: func(m pairs) float64 { return math.Sqrt(laspeyres.index(m) * paasche.index(m)) },
		parts: func(m pairs, index float64) []float64 {
			return basket(m, plus(m.q0, m.q1, sum(value0(m))*index/sum(value1(m)))) // 1/Q = I V0/V1
		}}
	drobisch = Formula{Name: "drobisch", Needs: Both,
		index: func(m pairs) float64 { return (laspeyres.index(m) + paasche.index(m)) / 2 },
		parts: func(m pairs, _ float64) []float64 {
			return mix(laspeyres.parts(m, laspeyres.index(m)), paasche.parts(m, paasche.index(m)))
		}}
	// Stuvel solves I^2 - (L - QL) I - V1/V0 = 0, which is sum s0 (I - r)(I + q1/q0) = 0:
	// the index of the basket q0 I + q1.
	stuvel = Formula{Name: "stuvel", Needs: Both,
		index: func(m pairs) float64 {
			v0 := sum(value0(m))
			a := (laspeyres.index(m) - dot(m.p0, m.q1)/v0) / 2
			return a + math.Sqrt(a*a+sum(value1(m))/v0)
		},
		parts: func(m pairs, index float64) []float64 { return basket(m, plus(m.q0, m.q1, 1/index)) }}
	montgomeryVartia = Formula{Name: "montgomery_vartia", Needs: Both,
		index: func(m pairs) float64 { return math.Exp(sum(montgomery(m))) },
		parts: func(m pairs, index float64) []float64 {
			c := montgomery(m)
			for i := range c {
				c[i] *= LogMean(index, 1) // index - 1 = L(index, 1) ln index
			}
			return c
		}}
	lowe           = mean("lowe", Base, 1, value0)
	young          = byWeight(mean("young", Base, 1, func(m pairs) []float64 { return m.q0 }))
	geometricYoung = byWeight(mean("geometric_young", Base, 0, func(m pairs) []float64 { return m.q0 }))
)

func byWeight(f Formula) Formula {
	f.byWeight = true
	return f
}

// plus is a + k b, element by element.
func plus(a, b []float64, k float64) []float64 {
	c := make([]float64, len(a))
	for i := range a {
		c[i] = a[i] + k*b[i]
	}
	return c
}

// montgomery is the terms L(v0, v1) ln r / L(V0, V1).
func montgomery(m pairs) []float64 {
	v0, v1 := value0(m), value1(m)
	c, total := logMeans(v0, v1), LogMean(sum(v0), sum(v1))
	for i := range c {
		c[i] *= math.Log(m.r[i]) / total
	}
	return c
}

// Laspeyres is the cost of the base basket now against then, sum p1 q0 / sum p0 q0.
func Laspeyres(p0, p1, q0, q1 []float64) (Result, error) { return laspeyres.Index(p0, p1, q0, q1) }

// Paasche is the cost of the current basket now against then, sum p1 q1 / sum p0 q1.
func Paasche(p0, p1, q0, q1 []float64) (Result, error) { return paasche.Index(p0, p1, q0, q1) }

// Fisher is the geometric mean of Laspeyres and Paasche, sqrt(L P).
func Fisher(p0, p1, q0, q1 []float64) (Result, error) { return fisher.Index(p0, p1, q0, q1) }

// Drobisch is the arithmetic mean of Laspeyres and Paasche, (L + P)/2.
func Drobisch(p0, p1, q0, q1 []float64) (Result, error) { return drobisch.Index(p0, p1, q0, q1) }

// Walsh is the index of the geometric mean basket, sum p1 x / sum p0 x, x = sqrt(q0 q1).
func Walsh(p0, p1, q0, q1 []float64) (Result, error) { return walsh.Index(p0, p1, q0, q1) }

// MarshallEdgeworth is the index of the mean basket, sum p1 x / sum p0 x, x = q0 + q1.
func MarshallEdgeworth(p0, p1, q0, q1 []float64) (Result, error) {
	return marshallEdgeworth.Index(p0, p1, q0, q1)
}

// Tornqvist is exp sum (s0 + s1)/2 ln r.
func Tornqvist(p0, p1, q0, q1 []float64) (Result, error) { return tornqvist.Index(p0, p1, q0, q1) }

// GeometricLaspeyres is exp sum s0 ln r.
func GeometricLaspeyres(p0, p1, q0, q1 []float64) (Result, error) {
	return geometricLaspeyres.Index(p0, p1, q0, q1)
}

// GeometricPaasche is exp sum s1 ln r.
func GeometricPaasche(p0, p1, q0, q1 []float64) (Result, error) {
	return geometricPaasche.Index(p0, p1, q0, q1)
}

// HarmonicLaspeyres is 1/sum(s0/r).
func HarmonicLaspeyres(p0, p1, q0, q1 []float64) (Result, error) {
	return harmonicLaspeyres.Index(p0, p1, q0, q1)
}

// Palgrave is sum s1 r.
func Palgrave(p0, p1, q0, q1 []float64) (Result, error) { return palgrave.Index(p0, p1, q0, q1) }

// SatoVartia is exp sum w ln r, w = L(s0, s1) scaled to sum 1.
func SatoVartia(p0, p1, q0, q1 []float64) (Result, error) { return satoVartia.Index(p0, p1, q0, q1) }

// MontgomeryVartia is exp sum L(v0, v1) ln r / L(V0, V1).
func MontgomeryVartia(p0, p1, q0, q1 []float64) (Result, error) {
	return montgomeryVartia.Index(p0, p1, q0, q1)
}

// Stuvel is A + sqrt(A^2 + V1/V0), A = (L - QL)/2, QL = sum p0 q1 / sum p0 q0.
func Stuvel(p0, p1, q0, q1 []float64) (Result, error) { return stuvel.Index(p0, p1, q0, q1) }

// Lowe is the cost of one basket qb of any period, sum p1 qb / sum p0 qb.
func Lowe(p0, p1, qb []float64) (Result, error) { return lowe.Index(p0, p1, qb, nil) }

// Young is sum w r with weights wb (values of a reference period) scaled to 1;
// Result.Share is the matched part of sum wb.
func Young(p0, p1, wb []float64) (Result, error) { return young.Index(p0, p1, wb, nil) }

// GeometricYoung is exp sum w ln r with weights as for Young.
func GeometricYoung(p0, p1, wb []float64) (Result, error) {
	return geometricYoung.Index(p0, p1, wb, nil)
}

// LloydMoulton is a cost of living index without current quantities for a given
// elasticity of substitution sigma.
//
//	(sum s0 r^(1-sigma))^(1/(1-sigma)),  sigma = 1: GeometricLaspeyres
//
// sigma = 0 is Laspeyres. Source: CPI Manual 2004, ch. 17.
func LloydMoulton(p0, p1, q0 []float64, sigma float64) (Result, error) {
	return lloydMoulton(sigma).Index(p0, p1, q0, nil)
}

func lloydMoulton(sigma float64) Formula { return mean("lloyd_moulton", Base, 1-sigma, value0) }

// CES is the cost of living index of constant elasticity of substitution sigma
// with known preference weights alpha, matched products only.
//
//	(sum alpha p1^(1-sigma) / sum alpha p0^(1-sigma))^(1/(1-sigma)),
//	sigma = 1: exp(sum alpha ln r / sum alpha)
//
// Errors as Bilateral; alpha is read as a quantity (Result.Share too). Source: Diewert
// and Fox 2020, section 2.
func CES(p0, p1, alpha []float64, sigma float64) (Result, error) {
	return Formula{Name: "ces", Needs: Base, index: func(m pairs) float64 {
		return PowerMean(m.p1, m.q0, 1-sigma) / PowerMean(m.p0, m.q0, 1-sigma)
	}}.Index(p0, p1, alpha, nil)
}

// TwoStage is an index of indexes: the formula inside each group, then the same
// formula on the groups with base price 1, current price = the group's index and
// quantities = value / price. group[i] numbers the group of product i from 0.
//
// Laspeyres and Paasche give the one-stage index exactly, Fisher and Tornqvist
// nearly. A group without a matched product is left out, as Result.N (groups)
// shows. Both quantities are needed; errors and panics as Bilateral. Source: CPI
// Manual 2004, ch. 17 and 19.
func TwoStage(f Bilateral, group []int, p0, p1, q0, q1 []float64) (Result, error) {
	sameLength("q0", len(p0), q0)
	sameLength("q1", len(p0), q1)
	if len(group) != len(p0) {
		panic("index: group and p0 differ in length")
	}
	members := map[int][]int{}
	groups := 0
	for i, g := range group {
		members[g] = append(members[g], i)
		groups = max(groups, g+1)
	}
	top := [4][]float64{}
	for i := range top {
		top[i] = filled(groups, nan)
	}
	for g := range groups {
		at := members[g]
		var in [4][]float64
		for k, x := range [][]float64{p0, p1, q0, q1} {
			in[k] = take(x, at)
		}
		m, err := match(in[0], in[1], in[2], in[3])
		if errors.Is(err, ErrNoPair) {
			continue
		}
		if err != nil {
			return Result{Index: nan}, err
		}
		r, err := f(in[0], in[1], in[2], in[3])
		if err != nil {
			return Result{Index: nan}, err
		}
		top[0][g], top[1][g] = 1, r.Index
		top[2][g], top[3][g] = sum(value0(m)), sum(value1(m))/r.Index
	}
	return f(top[0], top[1], top[2], top[3])
}

func filled(n int, v float64) []float64 {
	x := make([]float64, n)
	for i := range x {
		x[i] = v
	}
	return x
}

// Bortkiewicz is Paasche over Laspeyres less 1, as the weighted covariance of
// price and quantity relatives that explains it.
//
//	P/L - 1 = sum s0 (r/L - 1)(q1/q0/QL - 1) = sum (r/L - 1)(u - s0), u = p0 q1 / sum p0 q1
//
// The second form needs no division by q0. Errors and panics as Bilateral. Source: CPI
// Manual 2004, ch. 15.
func Bortkiewicz(p0, p1, q0, q1 []float64) (float64, error) {
	_, m, err := fisher.matched(p0, p1, q0, q1) // of those that have both quantities
	if err != nil {
		return nan, err
	}
	l := laspeyres.index(m)
	s, u := share0(m), scaled(times(m.p0, m.q1))
	c := 0.0
	for i, r := range m.r {
		c += (r/l - 1) * (u[i] - s[i])
	}
	return c, nil
}

// PriceUpdate carries value shares w of an earlier period forward with the
// relatives r since: w r / sum w r. Chaining indexes with updated shares equals
// the direct Lowe or Laspeyres index. Source: CPI Manual 2004, ch. 9.
func PriceUpdate(w, r []float64) []float64 {
	sameLength("r", len(w), r)
	return scaled(times(w, r))
}
