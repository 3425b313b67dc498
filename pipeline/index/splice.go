package index

import (
	"fmt"
	"math"
	"slices"
)

// A Splice chooses, of two windows of w periods one period apart, the periods of
// the older one (1..w) through which the newest is linked. The newer window holds
// periods 2..w+1; several links are averaged geometrically.
type Splice func(w int) []int

// Movement links at the last common period: the newest window's last movement.
func Movement(w int) []int { return []int{w} }

// WholeWindow links at the oldest common period (the window splice).
func WholeWindow(w int) []int { return []int{2} }

// Half links at period ceil(w/2), as Diewert and Fox 2020, section 3.5.
func Half(w int) []int { return []int{(w + 1) / 2} }

// HalfNext links at period ceil(w/2) + 1, which some call the half splice.
func HalfNext(w int) []int { return []int{(w+1)/2 + 1} }

// MeanSplice links at every common period, 2..w.
func MeanSplice(w int) []int { return between(2, w) }

// MeanExcludingLast links at 2..w-1.
func MeanExcludingLast(w int) []int { return between(2, w-1) }

func between(a, b int) []int {
	var k []int
	for ; a <= b; a++ {
		k = append(k, a)
	}
	return k
}

// SpliceNamed is the splice of that name: movement, window, half, half_next, mean
// or mean_excluding_last. Unknown: an error with the known names.
func SpliceNamed(name string) (Splice, error) {
	known := map[string]Splice{
		"movement": Movement, "window": WholeWindow, "half": Half,
		"half_next": HalfNext, "mean": MeanSplice, "mean_excluding_last": MeanExcludingLast,
	}
	if s, ok := known[name]; ok {
		return s, nil
	}
	return nil, fmt.Errorf("splice %q is not known: take movement, window, half, half_next, mean or mean_excluding_last", name)
}

// Factor is the change from period w to w+1 by two windows of w levels, older =
// periods 1..w and newer = 2..w+1, each on any base.
//
//	geometric mean over links k of older[k] newer[w+1] / newer[k], over older[w]
//
// A window of two or less has only one link, w. A missing level gives NaN. Panics
// if the windows differ in length. Source: CPI Manual 2020, ch. 10; Diewert and
// Fox 2020, section 3.5.
func (s Splice) Factor(older, newer []float64) float64 {
	w := len(older)
	sameLength("newer", w, newer)
	var links []int
	for _, k := range s(w) {
		if k >= 2 && k <= w {
			links = append(links, k)
		}
	}
	if links == nil {
		links = []int{w}
	}
	ln := 0.0
	for _, k := range links {
		ln += math.Log(older[k-1] * newer[w-1] / newer[k-2])
	}
	return math.Exp(ln/float64(len(links))) / older[w-1]
}

// Rolling publishes without revision: the first w periods from one window, then
// each new period by a window of the last w, linked to the WINDOW before it by the
// splice. N, Of and Share are the window's.
//
// Fewer than w periods are one window. Errors as the method's, with the window.
// Panics if w < 2. Source: CPI Manual 2020, ch. 10.
func Rolling(m Multilateral, w int, s Splice) Multilateral { return rolling(m, w, s, false) }

// RollingOnPublished links each window to the PUBLISHED levels instead, so that
// errors of early links do not stay. Source: Chessa 2021 (from memory); CPI Manual
// 2020, ch. 10.
func RollingOnPublished(m Multilateral, w int, s Splice) Multilateral { return rolling(m, w, s, true) }

func rolling(m Multilateral, w int, s Splice, onPublished bool) Multilateral {
	if w < 2 {
		panic("index: a rolling window needs two periods")
	}
	return func(p, q [][]float64) ([]Result, error) {
		w := min(w, len(p))
		out, err := window(m, p, q, 0, w)
		if err != nil {
			return nil, err
		}
		older := Levels(out)
		for t := w; t < len(p); t++ {
			rows, err := window(m, p, q, t-w+1, t+1)
			if err != nil {
				return nil, err
			}
			if onPublished {
				older = Levels(out[t-w : t])
			}
			newer := Levels(rows)
			r := rows[w-1]
			r.Index = out[t-1].Index * s.Factor(older, newer)
			out, older = append(out, r), newer
		}
		return out, nil
	}
}

// FixedBase links every period to the published level of its base period, the
// last of 0, year, 2 year, ... before it, by a window that reaches from the base
// period to the new one (w = 0: expanding window) or holds the last w periods, w >
// year (moving window). No chain drift within a year, no revision.
//
// Errors as the method's. Panics if year < 1 or 0 < w <= year. Sources: Chessa 2016
// (expanding) and Lamboray 2017 (moving), both from memory; CPI Manual 2020, ch. 10.
func FixedBase(m Multilateral, year, w int) Multilateral {
	if year < 1 || w > 0 && w <= year {
		panic("index: the window must reach back to the base period")
	}
	return func(p, q [][]float64) ([]Result, error) {
		var out []Result
		for t := range p {
			base := max(t-1, 0) / year * year
			from := base
			if w > 0 {
				from = max(0, t-w+1)
			}
			rows, err := window(m, p, q, from, t+1)
			if err != nil {
				return nil, err
			}
			r := rows[t-from]
			if t > 0 {
				r.Index *= out[base].Index / rows[base-from].Index
			}
			out = append(out, r)
		}
		return out, nil
	}
}

func window(m Multilateral, p, q [][]float64, from, to int) ([]Result, error) {
	if q != nil {
		q = q[from:to]
	}
	rows, err := m(p[from:to], q)
	if err != nil {
		return nil, fmt.Errorf("window of periods %d to %d: %w", from, to-1, err)
	}
	return slices.Clone(rows), nil
}

// Levels is the index numbers alone.
func Levels(rows []Result) []float64 {
	x := make([]float64, len(rows))
	for t, r := range rows {
		x[t] = r.Index
	}
	return x
}

// Movements is each level over the one before, one fewer than levels.
func Movements(level []float64) []float64 {
	var x []float64
	for t := 1; t < len(level); t++ {
		x = append(x, level[t]/level[t-1])
	}
	return x
}
