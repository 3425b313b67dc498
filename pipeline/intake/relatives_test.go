package intake

import (
	"math"
	"slices"
	"testing"

	"farthing/pipeline/workspace"
)

// Ten made relatives and which of them each rule marks (sources and status stand
// at E02, E05 and E06 of testdata/published/index_monitoring.json), through the
// settings' own judge: y0 = 1, so that y1 is the relative. Then the 13 pairs of E02.
func TestJudge(t *testing.T) {
	relatives := make([]float64, 0, 10)
	for _, ln := range []float64{-1.2070657, 0.2774292, 1.0844412, -2.3456977, 0.4291247, 0.5060559, -0.57474, -0.5466319, -0.564452, -0.8900378} {
		relatives = append(relatives, math.Exp(ln))
	}
	ones := slices.Repeat([]float64{1}, len(relatives))
	e := workspace.Defaults().Edit
	for _, c := range []struct {
		rule         string
		width, floor float64
		y0, y1       []float64
		want         []int
	}{
		{"quartile", 2.5, 0, ones, relatives, []int{2, 3}},
		{"tukey", 0, 0, ones, relatives, []int{2, 3}},
		{"hidiroglou-berthelot", 4, .05, []float64{2.1, 1.05, 3, 2.4, 1.99, .89, 4.5, 3.2, 1.1, 2.75, 6, .55, 1.8},
			[]float64{2.15, 1.09, 3.05, 2.45, 1.99, 1.79, 4.6, 3.15, 1.15, 2.8, 2, .57, 1.85}, []int{5, 7, 10}},
	} {
		e.Rule, e.Width, e.Floor = c.rule, c.width, c.floor
		var got []int
		for i, outside := range judge(e, c.y0, c.y1) {
			if outside {
				got = append(got, i)
			}
		}
		if !slices.Equal(got, c.want) {
			t.Errorf("%s: got %v outside, want %v", c.rule, got, c.want)
		}
	}
}
