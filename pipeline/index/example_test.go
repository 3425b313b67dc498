package index_test

import (
	"errors"
	"fmt"
	"math"

	"farthing/pipeline/index"
)

func ExampleFisher() {
	notSold := math.NaN()
	p0, p1 := []float64{2.40, 1.10, 3.60}, []float64{2.52, 1.10, notSold}
	q0, q1 := []float64{3, 1, 2}, []float64{2, 2, notSold}
	r, err := index.Fisher(p0, p1, q0, q1)
	fmt.Printf("%.4f from %d of %d products, %.0f %% of the value, %v\n", r.Index, r.N, r.Of, 100*r.Share, err)
	// Output: 1.0388 from 2 of 3 products, 54 % of the value, <nil>
}

func ExampleLoweContributions() {
	r, parts, _ := index.LoweContributions([]float64{1, 2}, []float64{2, 3}, []float64{3, 1})
	fmt.Printf("%+.1f %% = %+.1f %+.1f\n", 100*(r.Index-1), 100*parts[0], 100*parts[1])
	// Output: +80.0 % = +60.0 +20.0
}

func ExampleUnconnected() {
	none := math.NaN()
	_, err := index.CPD([][]float64{{1, 2, none}, {1.1, 2.1, none}, {none, none, 3}}, nil)
	var apart *index.Unconnected
	if errors.As(err, &apart) {
		fmt.Println(apart.Named(func(row int) string { return []string{"north", "east", "isles"}[row] }))
	}
	// Output: 2 groups share no product: {north, east} {isles}: compare within a group, or price a product of both
}

func ExampleRolling() {
	p := [][]float64{{1, 4}, {2, 5}, {3, 6}, {2, 6}}
	q := [][]float64{{6, 3}, {5, 2}, {4, 1}, {5, 1}}
	rows, _ := index.Rolling(index.GEKS(index.Fisher), 3, index.MeanSplice)(p, q)
	for _, r := range rows {
		fmt.Printf("%.3f ", r.Index)
	}
	// Output: 1.000 1.530 2.106 1.639
}
