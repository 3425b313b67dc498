package compute

import (
	"math"
	"testing"

	"farthing/pipeline/result"
)

// two months of one region: oats' pack shrinks from 1 kg to 0.9 kg at one
// price in two of four shops, fish grows dearer everywhere, milk is filled.
func shrunk() *result.Edition {
	e := &result.Edition{Regions: []result.Region{{Region: "bay"}}}
	jan, feb := month("2024-01"), month("2024-02")
	ln := map[string][2]float64{}
	for i, shop := range []string{"a", "b", "c", "d"} {
		sizes := [2]float64{1, 1}
		packs := [2]string{"1 x 1 kg", "1 x 1 kg"}
		if i < 2 {
			sizes[1], packs[1] = 0.9, "1 x 0.9 kg"
		}
		for k, m := range []result.Month{jan, feb} {
			unit := 2.40 / sizes[k]
			e.Packs = append(e.Packs,
				result.Pack{Region: "bay", Item: "oats", Outlet: shop, Pack: packs[k], Month: m, Size: result.Some(sizes[k]), UnitPrice: result.Some(unit)},
				result.Pack{Region: "bay", Item: "fish", Outlet: shop, Pack: "1 x 0.2 kg", Month: m, Size: result.Some(0.2), UnitPrice: result.Some(10 * (1 + 0.1*float64(k)))})
			x := ln["oats"]
			x[k] += math.Log(unit) / 4
			ln["oats"] = x
		}
	}
	line := func(item string, m result.Month, quantity, price float64, filled string) {
		l := result.BasketLine{Region: "bay", Basket: "b", Item: item, Month: m, APQuantity: result.Some(quantity), UnitPrice: result.Some(price),
			PerDay: result.Some(quantity * price), FilledBy: filled}
		if filled == "" {
			l.NObservations = result.Count(4)
		}
		e.Lines = append(e.Lines, l)
	}
	line("fish", jan, 0.05, 10, "")
	line("fish", feb, 0.05, 11, "")
	line("milk", jan, 0.5, 1.2, "")
	line("milk", feb, 0.5, 1.25, byRegion)
	line("oats", jan, 0.1, math.Exp(ln["oats"][0]), "")
	line("oats", feb, 0.1, math.Exp(ln["oats"][1]), "")
	return e
}

// By hand: fish +10 %, all pure; oats: two of four links ln(1/0.9), so size is
// exp(ln(1/0.9)/2) - 1 = 5.4093 %, pure and mix 0; milk is imputed: a share in
// the change and no parts. Cost in January 0.5 + 0.6 + 0.24 = 1.34.
func TestMoved(t *testing.T) {
	rows := Moved(shrunk(), month("2024-01"), month("2024-02"))
	if len(rows) != 3 {
		t.Fatalf("got %d rows, want 3", len(rows))
	}
	want := map[string][4]float64{
		"fish": {10, 0, 0, 0.05 / 1.34 * 100},
		"oats": {0, (math.Sqrt(1/0.9) - 1) * 100, 0, 0.24 * (math.Sqrt(1/0.9) - 1) / 1.34 * 100},
		"milk": {math.NaN(), math.NaN(), math.NaN(), 0.025 / 1.34 * 100},
	}
	var sum float64
	for _, r := range rows {
		for i, got := range []result.Num{r.Pure, r.Size, r.Mix, r.Contribution} {
			w := want[r.Item][i]
			if got.OK == math.IsNaN(w) || got.OK && math.Abs(got.V-w) > 1e-9 {
				t.Errorf("%s: part %d is %v, want %v", r.Item, i, got, w)
			}
		}
		sum += r.Contribution.V
	}
	if change := (0.05*11 + 0.5*1.25 + 0.24*math.Sqrt(1/0.9) - 1.34) / 1.34 * 100; math.Abs(sum-change) > 1e-12*math.Abs(change)*10 {
		t.Errorf("contributions add up to %v, want the basket's change %v", sum, change)
	}
	ranks := map[string]result.Int{"fish": result.Count(1), "oats": result.Count(2), "milk": {}}
	for _, r := range rows {
		if r.Rank != ranks[r.Item] {
			t.Errorf("%s: rank %v, want %v", r.Item, r.Rank, ranks[r.Item])
		}
	}
}

// Without a price in the first month the basket's change is not known, and no
// line has a share in it.
func TestMovedGap(t *testing.T) {
	e := shrunk()
	for i := range e.Lines {
		if l := &e.Lines[i]; l.Item == "milk" && l.Month == month("2024-01") {
			l.UnitPrice, l.PerDay = result.Num{}, result.Num{}
		}
	}
	for _, r := range Moved(e, month("2024-01"), month("2024-02")) {
		if r.Contribution.OK || r.Rank.OK {
			t.Errorf("%s: share %v, rank %v, want none", r.Item, r.Contribution, r.Rank)
		}
	}
}

// A parent's pure change is its parts' mean by weight: 0.75 ln 1.1 + 0.25 ln 1.2.
func TestMovedParent(t *testing.T) {
	e := &result.Edition{Regions: []result.Region{{Region: "land"}, {Region: "east", Parent: "land", Weight: result.Some(0.75)}, {Region: "west", Parent: "land", Weight: result.Some(0.25)}}}
	for k, m := range []result.Month{month("2024-01"), month("2024-02")} {
		for region, step := range map[string]float64{"east": 1.1, "west": 1.2} {
			e.Packs = append(e.Packs, result.Pack{Region: region, Item: "oats", Outlet: "a", Pack: "p", Month: m, Size: result.Some(1), UnitPrice: result.Some(math.Pow(step, float64(k)))})
		}
		price := math.Exp(float64(k) * (0.75*math.Log(1.1) + 0.25*math.Log(1.2)))
		e.Lines = append(e.Lines, result.BasketLine{Region: "land", Basket: "b", Item: "oats", Month: m, UnitPrice: result.Some(price), PerDay: result.Some(price), Base: result.Base{NObservations: result.Count(2)}})
	}
	rows := Moved(e, month("2024-01"), month("2024-02"))
	want := (math.Exp(0.75*math.Log(1.1)+0.25*math.Log(1.2)) - 1) * 100
	if len(rows) != 1 || math.Abs(rows[0].Pure.V-want) > 1e-9 || math.Abs(rows[0].Mix.V) > 1e-9 || rows[0].NMatched != result.Count(2) {
		t.Errorf("got %+v, want pure %v, no mix, 2 matched", rows, want)
	}
}
