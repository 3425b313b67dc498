package compute

import (
	"context"
	"math"
	"math/big"
	"slices"
	"strconv"
	"strings"
	"testing"

	"farthing/pipeline/result"
	"farthing/pipeline/store"
	"farthing/pipeline/workspace"
	"farthing/queries"
)

// world is a land with three parts, one of which has a village, and five
// items: three of class 01.1.1, milk of another, and plums in season July to September.
func world() *workspace.Tables {
	weight := func(s string) *big.Rat { w, _ := new(big.Rat).SetString(s); return w }
	return &workspace.Tables{
		Regions: []workspace.Region{{Region: "land"}, {Region: "east", Parent: "land", Weight: weight("0.55")}, {Region: "west", Parent: "land", Weight: weight("0.35")},
			{Region: "isle", Parent: "land", Weight: weight("0.10")}, {Region: "cove", Parent: "east", Weight: weight("1")}},
		Items: []workspace.Item{{Item: "oats", COICOP: "01.1.1.1"}, {Item: "flour", COICOP: "01.1.1.2"}, {Item: "barley", COICOP: "01.1.1.9"},
			{Item: "milk", COICOP: "01.1.4.1"}, {Item: "plums", COICOP: "01.1.6.2", SeasonFrom: 7, SeasonTo: 9}},
	}
}

// given reads rows such as "east oats 1 2 . n s held:20": a region's prices of an
// item from the first month on, all of one series. A dot is no note, n is not sold, s out of stock.
func given(t *testing.T, first string, rows ...string) (o *observations, last result.Month) {
	t.Helper()
	o = &observations{quotes: map[place]raw{}, averages: map[place]raw{}, absent: map[place]string{}, held: map[place]*heldNotes{}, atOutlet: map[place][]outletPrice{}}
	for _, row := range rows {
		cells := strings.Fields(row)
		noted, previous := -1, 0.0
		for i, s := range cells[2:] {
			k := place{cells[0], good{cells[1], ""}, month(first) + result.Month(i)}
			last = max(last, k.month)
			price, err := strconv.ParseFloat(s, 64)
			switch {
			case err == nil:
				x := raw{ln: math.Log(price), change: math.NaN(), n: 1, outlets: 3}
				if noted >= 0 {
					x.link(link{i - noted, 1, fixedPoint(math.Log(price / previous))}, 1)
				}
				o.quotes[k] = x
				noted, previous = i, price
				for id := range int32(3) {
					o.atOutlet[k] = append(o.atOutlet[k], outletPrice{id, math.Log(price)})
				}
			case strings.HasPrefix(s, "held:"):
				price, _ := strconv.ParseFloat(s[len("held:"):], 64)
				o.held[k] = &heldNotes{1, price, price}
			case s == "n":
				o.absent[k] = "not_sold"
			case s == "s":
				o.absent[k] = "out_of_stock"
			case s != ".":
				t.Fatalf("row %q: %q", row, s)
			}
		}
	}
	return o, last
}

func build(t *testing.T, change func(*workspace.Tables, *workspace.Settings), first string, rows ...string) (*panel, *[]string) {
	t.Helper()
	o, last := given(t, first, rows...)
	tables, s, warned := world(), workspace.Defaults(), &[]string{}
	if change != nil {
		change(tables, &s)
	}
	return newPanel(tables, s, o, month(first), last, month(first), "2099-12-31", func(code, text, cure, key string) { *warned = append(*warned, code+" "+key) }), warned
}

func TestLadder(t *testing.T) {
	off := func(_ *workspace.Tables, s *workspace.Settings) { s.Panel.Impute = false }
	stale := func(days int) func(*workspace.Tables, *workspace.Settings) {
		return func(_ *workspace.Tables, s *workspace.Settings) { s.Panel.StaleAfterDays = days }
	}
	none := math.NaN()
	// By hand, in each row. at counts months from the first.
	for _, c := range []struct {
		name        string
		first       string
		rows        []string
		region, of  string
		at          int
		want        float64
		by, status  string
		sinceSeen   int
		changeTable func(*workspace.Tables, *workspace.Settings)
	}{
		{name: "observed", rows: []string{"east oats 2 3"}, at: 1, want: 3, status: "A"},
		{name: "a: the parent's change, 1.1 x 1.1", rows: []string{"land oats 1 1.1 1.21", "east oats 2 . ."}, at: 2, want: 2.42, by: byAncestor, status: "I", sinceSeen: 2},
		{name: "a: the nearest ancestor's, 1.2 x 1.2", rows: []string{"land oats 1 1.1 1.21", "east oats 1 1.2 1.44", "cove oats 2 . ."}, region: "cove", at: 2, want: 2.88, by: byAncestor, status: "I", sinceSeen: 2},
		{name: "a: the next one's where the nearest has none", rows: []string{"land oats 1 1.1 1.21", "cove oats 2 . ."}, region: "cove", at: 2, want: 2.42, by: byAncestor, status: "I", sinceSeen: 2},
		{name: "a: from the matched change of the other parts, 1.5", rows: []string{"west oats 2 3", "east oats 4 ."}, at: 1, want: 6, by: byAncestor, status: "I", sinceSeen: 1},
		{name: "a: at 6 months", rows: []string{"land oats 1 1 1 1 1 1 3 3", "east oats 2 . . . . . . ."}, at: 6, want: 6, by: byAncestor, status: "I", sinceSeen: 6},
		{name: "a: not at 7", rows: []string{"land oats 1 1 1 1 1 1 3 3", "east oats 2 . . . . . . ."}, at: 7, want: none, status: "O", sinceSeen: 7},
		{name: "a before b", rows: []string{"land oats 1 1.5", "east flour 1 4", "east oats 2 ."}, at: 1, want: 3, by: byAncestor, status: "I", sinceSeen: 1},
		{name: "a: a step without a change passes to b, 2 x 2", rows: []string{"land oats 1 . 1.21", "east flour 1 2 4", "east oats 2 . ."}, at: 2, want: 8, by: byClass, status: "I", sinceSeen: 2},
		{name: "b: the mean of 2 and 8 is 4", rows: []string{"east flour 1 2", "east barley 1 8", "east milk 1 100", "east oats 2 ."}, at: 1, want: 8, by: byClass, status: "I", sinceSeen: 1},
		{name: "b: at 6 months", rows: []string{"east flour 1 1 1 1 1 1 3 3", "east oats 2 . . . . . . ."}, at: 6, want: 6, by: byClass, status: "I", sinceSeen: 6},
		{name: "b: not at 7", rows: []string{"east flour 1 1 1 1 1 1 3 3", "east oats 2 . . . . . . ."}, at: 7, want: none, status: "O", sinceSeen: 7},
		{name: "b: a class without another member passes to c", rows: []string{"east milk 1 3", "east oats 2 ."}, at: 1, want: 6, by: byRegion, status: "I", sinceSeen: 1},
		{name: "b before c", rows: []string{"east flour 1 2", "east milk 1 100", "east oats 2 ."}, at: 1, want: 4, by: byClass, status: "I", sinceSeen: 1},
		{name: "b: of this region, not of another", rows: []string{"west flour 1 2", "east oats 2 ."}, at: 1, want: 2, by: carried, status: "E", sinceSeen: 1},
		{name: "c: the mean of 2 and 8 is 4", first: "2024-07", rows: []string{"east milk 1 2", "east plums 1 8", "east oats 2 ."}, at: 1, want: 8, by: byRegion, status: "I", sinceSeen: 1},
		{name: "c: at 3 months", rows: []string{"east milk 1 1 1 3 3", "east oats 2 . . . ."}, at: 3, want: 6, by: byRegion, status: "I", sinceSeen: 3},
		{name: "c: not at 4", rows: []string{"east milk 1 1 1 3 3", "east oats 2 . . . ."}, at: 4, want: none, status: "O", sinceSeen: 4},
		{name: "d: at 2 months", rows: []string{"east oats 2 . . ."}, at: 2, want: 2, by: carried, status: "E", sinceSeen: 2},
		{name: "d: not at 3", rows: []string{"east oats 2 . . ."}, at: 3, want: none, status: "O", sinceSeen: 3},
		{name: "e: nothing before", rows: []string{"east oats . 2", "east flour 1 2"}, at: 0, want: none, status: "O", sinceSeen: -1},
		{name: "out of stock is filled", rows: []string{"east oats 2 s"}, at: 1, want: 2, by: carried, status: "E", sinceSeen: 1},
		{name: "not sold is not", rows: []string{"land oats 1 2", "east oats 2 n"}, at: 1, want: none, status: "M", sinceSeen: 1},
		{name: "after it, counted from the last price", rows: []string{"east oats 2 n ."}, at: 2, want: 2, by: carried, status: "E", sinceSeen: 2},
		{name: "no imputation", rows: []string{"land oats 1 2", "east oats 2 ."}, at: 1, want: none, status: "O", sinceSeen: 1, changeTable: off},
		{name: "stale: 29 days after the month of the last price", rows: []string{"east oats 2 . ."}, at: 1, want: 2, by: carried, status: "E", sinceSeen: 1, changeTable: stale(29)},
		{name: "stale: 29 days are too many for 28", rows: []string{"east oats 2 . ."}, at: 1, want: none, status: "O", sinceSeen: 1, changeTable: stale(28)},
		{name: "stale: after 60 days", rows: []string{"east oats 2 . ."}, at: 2, want: none, status: "O", sinceSeen: 2, changeTable: stale(59)},
		{name: "fewer notes than asked for", rows: []string{"east oats 2 3"}, at: 1, want: 3, status: "UA", changeTable: func(_ *workspace.Tables, s *workspace.Settings) { s.Panel.MinNotes = 1000 }},
		{name: "out of season: c only, 1.5", first: "2024-09", rows: []string{"land plums 1 7", "east milk 2 3", "east plums 4 ."}, of: "plums", at: 1, want: 6, by: byRegion, status: "I", sinceSeen: 1},
		{name: "out of season: at any age", first: "2024-09", rows: []string{"east milk 1 1 1 1 1 1 1 1 1 2", "east plums 4"}, of: "plums", at: 9, want: 8, by: byRegion, status: "I", sinceSeen: 9},
		{name: "out of season: never carried", first: "2024-09", rows: []string{"land plums 1 7", "east plums 4 ."}, of: "plums", at: 1, want: none, status: "O", sinceSeen: 1},
		{name: "in season: the ladder", first: "2024-08", rows: []string{"land plums 1 7", "east plums 4 ."}, of: "plums", at: 1, want: 28, by: byAncestor, status: "I", sinceSeen: 1},
		{name: "an imputed price is no source: from 4 again", rows: []string{"land oats 1 2 2", "east oats 2 . 16"}, at: 2, want: 16, status: "A"},
		{name: "a top region: its own class, from its part", rows: []string{"east oats 2 .", "east flour 1 2"}, region: "land", at: 1, want: 4, by: byClass, status: "I", sinceSeen: 1},
		{name: "held, and nothing else", rows: []string{"east oats held:20 2"}, at: 0, want: none, status: "Q", sinceSeen: -1},
		{name: "held in a part", rows: []string{"east oats held:20 2"}, region: "land", at: 0, want: none, status: "Q", sinceSeen: -1},
		{name: "held in a part that counts for nothing", rows: []string{"east oats held:20 2"}, region: "land", at: 0, want: none, status: "O", sinceSeen: -1,
			changeTable: func(t *workspace.Tables, _ *workspace.Settings) { t.Regions[1].Weight = new(big.Rat) }},
		{name: "held in a part, and another lacks its weight", rows: []string{"east oats held:20 2", "west oats 3 3"}, region: "land", at: 0, want: none, status: "O", sinceSeen: -1,
			changeTable: func(t *workspace.Tables, _ *workspace.Settings) { t.Regions[2].Weight = nil }},
		{name: "held in a part of a part", rows: []string{"cove oats held:20 2"}, region: "land", at: 0, want: none, status: "Q", sinceSeen: -1},
		{name: "held, and filled by the rules", rows: []string{"east oats 2 held:20"}, at: 1, want: 2, by: carried, status: "E", sinceSeen: 1},
		{name: "held, and no price for it ever", rows: []string{"east oats held:20", "east milk 1"}, at: 0, want: none, status: "Q", sinceSeen: -1},
	} {
		t.Run(c.name, func(t *testing.T) {
			first, region, item := c.first, c.region, c.of
			if first == "" {
				first = "2024-01"
			}
			if region == "" {
				region = "east"
			}
			if item == "" {
				item = "oats"
			}
			p, _ := build(t, c.changeTable, first, c.rows...)
			x := p.at(region, good{item, ""}, month(first)+result.Month(c.at))
			if !(near(x.price, c.want) || math.IsNaN(x.price) && math.IsNaN(c.want)) || x.filledBy != c.by || x.status != c.status || x.age != c.sinceSeen {
				t.Errorf("got %v by %q, %s, %d months; want %v by %q, %s, %d", x.price, x.filledBy, x.status, x.age, c.want, c.by, c.status, c.sinceSeen)
			}
		})
	}
}

// Two parts of land hold prices of one month, 20 and 3, and land itself 5: three in all.
func TestHeldInParts(t *testing.T) {
	p, _ := build(t, nil, "2024-01", "land oats 2 held:5", "east oats 2 held:20", "west oats 2 held:3")
	for region, want := range map[string]*heldNotes{"land": {3, 3, 20}, "east": {1, 20, 20}, "isle": nil} {
		got := p.at(region, good{"oats", ""}, month("2024-02")).held
		if (got == nil) != (want == nil) || got != nil && *got != *want {
			t.Errorf("%s: got %v, want %v", region, got, want)
		}
	}
	var e result.Edition
	p.itemRows(&e, []workspace.Region{{Region: "land"}})
	if r := e.Items[1]; r.NHeld != result.Count(3) || r.HeldLo != result.Some(3) || r.HeldHi != result.Some(20) || r.ObsStatus != "E" {
		t.Errorf("got %+v, want 3 held from 3 to 20 beside a price carried on", r)
	}
	if r := e.Items[0]; r.NHeld != result.Count(0) || r.HeldLo.OK {
		t.Errorf("got %+v, want none held", r)
	}
}

func TestImputedPricesFeedNothing(t *testing.T) {
	p, _ := build(t, nil, "2024-01", "east oats 2 . 16", "west oats 1 3 9")
	for _, c := range []struct {
		region string
		at     int
		change float64
	}{{"east", 1, math.NaN()}, {"east", 2, math.NaN()}, {"land", 1, math.Log(3)}, {"land", 2, math.Log(3)}} { // west's alone
		if got := p.at(c.region, good{"oats", ""}, month("2024-01")+result.Month(c.at)).change; !(near(got, c.change) || math.IsNaN(got) && math.IsNaN(c.change)) {
			t.Errorf("%s, month %d: got change %v, want %v", c.region, c.at, got, c.change)
		}
	}
	if got := p.at("land", good{"oats", ""}, month("2024-02")); !near(got.price, 3*math.Pow(2, 0.55/0.9)) || !near(got.unweighed, 0.65) { // of weights .55 + .35 + .10
		t.Errorf("land: got %v with %v unweighed, want west's 3 times the 2^(.55/.9) of the month before, with 0.65", got.price, got.unweighed)
	}
}

func TestMeanWithoutItself(t *testing.T) {
	var m mean
	for _, x := range []float64{1, math.NaN(), 3} {
		m.add(x)
	}
	if got := [3]float64{m.value(), m.without(3), m.without(math.NaN())}; got != [3]float64{2, 1, 2} {
		t.Errorf("got %v, want 2, without 3: 1, without nothing: 2", got)
	}
	var one mean
	one.add(5)
	if got := one.without(5); !math.IsNaN(got) {
		t.Errorf("the only one taken out: got %v, want NaN", got)
	}
	if got := (mean{}).value(); !math.IsNaN(got) {
		t.Errorf("of nothing: got %v, want NaN", got)
	}
}

func TestParentRegions(t *testing.T) {
	average := func(region string, price float64) func(*observations) {
		return func(o *observations) {
			o.averages[place{region, good{"oats", ""}, month("2024-01")}] = raw{ln: math.Log(price), change: math.NaN()}
		}
	}
	order := func(list ...string) func(*workspace.Tables, *workspace.Settings) {
		return func(_ *workspace.Tables, s *workspace.Settings) { s.Panel.SourceOrder = list }
	}
	unweighted := func(pooled bool) func(*workspace.Tables, *workspace.Settings) {
		return func(w *workspace.Tables, s *workspace.Settings) {
			w.Regions[1].Weight, w.Regions[2].Weight, s.Panel.Pooled = nil, nil, pooled
		}
	}
	all := []string{"east oats 2", "west oats 8", "isle oats 16"}
	// By hand, in powers of two: east 1, west 3, isle 4, weights .55, .35, .10.
	for _, c := range []struct {
		name      string
		rows      []string
		change    func(*workspace.Tables, *workspace.Settings)
		average   func(*observations)
		power     float64
		unweighed float64
		warned    string
	}{
		{name: "all parts: .55 + 1.05 + .40", rows: all, power: 2},
		{name: "isle missing: 1.60 / .90", rows: all[:2], power: 1.6 / 0.9, unweighed: 0.1},
		{name: "isle alone", rows: all[2:], power: 4, unweighed: 0.9},
		{name: "its own quotes come first", rows: append(all, "land oats 32"), power: 5},
		{name: "through a part's part", rows: []string{"cove oats 2", "west oats 8"}, power: 1.6 / 0.9, unweighed: 0.1},
		{name: "quotes of parts before its own average", rows: all, average: average("land", 64), power: 2},
		{name: "unless the settings turn it round", rows: all, average: average("land", 64), change: order("averages", "quotes"), power: 6},
		{name: "an average where no part has a quote", average: average("land", 64), power: 6},
		{name: "averages of parts", average: average("west", 8), power: 3, unweighed: 0.65},
		{name: "no weights: no value", rows: all, change: unweighted(false), power: math.NaN(), warned: "no_weight land/oats"},
		{name: "no weights, pooled: (1 + 3) / 2", rows: all[:2], change: func(w *workspace.Tables, s *workspace.Settings) {
			unweighted(true)(w, s)
			w.Regions = append(w.Regions[:3], w.Regions[4:]...) // without isle, whose weight is another matter
		}, power: 2},
	} {
		t.Run(c.name, func(t *testing.T) {
			o, _ := given(t, "2024-01", c.rows...)
			if c.average != nil {
				c.average(o)
			}
			tables, s := world(), workspace.Defaults()
			if c.change != nil {
				c.change(tables, &s)
			}
			warned := map[string]bool{}
			p := newPanel(tables, s, o, month("2024-01"), month("2024-01"), month("2024-01"), "2099-12-31", func(code, _, _, key string) { warned[code+" "+key] = true })
			x := p.at("land", good{"oats", ""}, month("2024-01"))
			if got := x.ln / math.Ln2; !(near(got, c.power) || math.IsNaN(got) && math.IsNaN(c.power)) || !near(x.unweighed, c.unweighed) {
				t.Errorf("got 2^%v, %v unweighed; want 2^%v, %v", got, x.unweighed, c.power, c.unweighed)
			}
			if len(warned) != btoi(c.warned != "") || c.warned != "" && !warned[c.warned] {
				t.Errorf("got warnings %v, want %q", warned, c.warned)
			}
		})
	}
}

func TestSeason(t *testing.T) {
	for _, c := range []struct{ from, to, month, want int }{
		{0, 0, 1, 1}, {7, 9, 6, 0}, {7, 9, 7, 1}, {7, 9, 9, 1}, {7, 9, 10, 0},
		{11, 2, 10, 0}, {11, 2, 11, 1}, {11, 2, 2, 1}, {11, 2, 3, 0}, {5, 5, 5, 1}, {5, 5, 6, 0},
	} {
		if got := inSeason(workspace.Item{SeasonFrom: c.from, SeasonTo: c.to}, c.month); got != (c.want == 1) {
			t.Errorf("season %d to %d in %d: got %v, want %d", c.from, c.to, c.month, got, c.want)
		}
	}
	for code, want := range map[string]string{"01.1.1.2": "01.1.1", "01.1.1": "01.1.1", "01.1": "01.1", "": ""} {
		if got := coicopClass(code); got != want {
			t.Errorf("class of %q: got %q, want %q", code, got, want)
		}
	}
}

func TestStatuses(t *testing.T) {
	for letters, want := range map[string][2]string{
		"": {"", ""}, "A": {"A", "A"}, "AAA": {"A", "A"}, "UA": {"U", "U"}, "AP": {"P", "P"}, "IA": {"I", "I"},
		"IE": {"E", "EI"}, "IEAUP": {"U", "UEIP"}, "OM": {"M", "MO"}, "PAIEUBLOMQ": {"Q", "QMOLBUEIP"}, "x": {"", ""},
	} {
		if strongest, all := statuses(letters); [2]string{strongest, all} != want {
			t.Errorf("%q: got %q, %q; want %q", letters, strongest, all, want)
		}
	}
}

var twoLines = basket{"both", []line{{good: good{"oats", ""}, perDay: 1}, {good: good{"milk", ""}, perDay: 2}}}

func TestWeights(t *testing.T) {
	unweighted := func(w *workspace.Tables, _ *workspace.Settings) { w.Regions[1].Weight = nil }
	// By hand: in the base month, January, oats cost 1 x 3 and milk 2 x 1, so 3/5 and 2/5.
	for _, c := range []struct {
		name   string
		rows   []string
		change func(*workspace.Tables, *workspace.Settings)
		want   []float64
		warned string
	}{
		{"of the top region", []string{"land oats 3 9", "land milk 1 9", "east oats 1 1", "east milk 7 7"}, nil, []float64{0.6, 0.4}, ""},
		{"a part's price stands in", []string{"land oats 3", "east milk 1"}, unweighted, []float64{0.6, 0.4}, "weight_stands_in both/milk"},
		{"the first price stands in", []string{"land oats 3 9", "land milk . 1"}, nil, []float64{0.6, 0.4}, "weight_stands_in both/milk"},
		{"no price in any month", []string{"land oats 3"}, nil, nil, "no_weights both/east"},
	} {
		t.Run(c.name, func(t *testing.T) {
			p, warned := build(t, c.change, "2024-01", c.rows...)
			*warned = nil
			got := p.weights(twoLines, "east", month("2024-01"))
			if !slices.EqualFunc(got, c.want, near) || (got == nil) != (c.want == nil) {
				t.Errorf("got %v, want %v", got, c.want)
			}
			if text := strings.Join(*warned, "; "); text != c.warned {
				t.Errorf("got warnings %q, want %q", text, c.warned)
			}
		})
	}
}

func TestCost(t *testing.T) {
	none := math.NaN()
	// By hand: weights .6 and .4; oats at 3 for 1 a day, milk for 2 a day.
	for _, c := range []struct {
		name, oats, milk           string
		perDay, known              float64
		observed, imputed, missing float64
		strongest, all             string
		notes                      result.Int
	}{
		{"all seen: 3 + 2 x 2", "3 3", "1 2", 7, 7, 1, 0, 0, "A", "A", result.Count(2)},
		{"milk filled by the change of oats, 1: 3 + 2 x 1; .6 is below .7", "3 3", "1 .", 5, 5, 0.6, 0.4, 0, "U", "UI", result.Count(1)},
		{"milk not sold: no total", "3 3", "1 n", none, 3, 0.6, 0, 0.4, "M", "MU", result.Count(1)},
		{"milk never seen", "3 3", ". .", none, 3, 0.6, 0, 0.4, "O", "OU", result.Count(1)},
		{"oats not sold, milk carried", "3 n", "1 .", none, 2, 0, 0.4, 0.6, "M", "MUE", result.Count(0)},
		{"nothing: no part is known", "3 n", "1 n", none, none, 0, 0, 1, "M", "MU", result.Count(0)},
	} {
		t.Run(c.name, func(t *testing.T) {
			o, last := given(t, "2024-01", "east oats "+c.oats, "east milk "+c.milk)
			p := newPanel(world(), workspace.Defaults(), o, month("2024-01"), last, month("2024-01"), "2099-12-31", func(_, _, _, _ string) {})
			var rows []result.BasketLine
			got := p.cost(twoLines, "east", month("2024-02"), []float64{0.6, 0.4}, "XTS", &rows)
			for name, x := range map[string][2]float64{"per day": {got.perDay.Or(), c.perDay}, "known part": {got.knownPart.Or(), c.known}, "observed": {got.observed.Or(), c.observed},
				"imputed": {got.base.ImputedShare.Or(), c.imputed}, "missing": {got.base.MissingShare.Or(), c.missing}} {
				if !(near(x[0], x[1]) || math.IsNaN(x[0]) && math.IsNaN(x[1])) {
					t.Errorf("%s: got %v, want %v", name, x[0], x[1])
				}
			}
			if got.base.ObsStatus != c.strongest || got.base.ObsStatusAll != c.all || got.base.NObservations != c.notes || got.base.CurrencyCode != "XTS" || len(rows) != 2 {
				t.Errorf("got %+v and %d lines, want %s, %s, %v notes, 2 lines", got.base, len(rows), c.strongest, c.all, c.notes)
			}
			var sum float64
			for _, r := range rows {
				if r.PerDay.OK {
					sum += r.PerDay.V
				}
				if r.PerDay.OK != r.UnitPrice.OK || r.PerDay.OK && r.PerDay.V != r.UnitPrice.V*r.APQuantity.V {
					t.Errorf("%s: got %v a day of %v at %v", r.Item, r.PerDay, r.APQuantity, r.UnitPrice)
				}
			}
			if !near(sum, c.known) && !(sum == 0 && math.IsNaN(c.known)) {
				t.Errorf("lines sum to %v, want the known part %v", sum, c.known)
			}
		})
	}
}

// Constant prices and a constant allowance: reach in days is one number in
// every month, long, short or leap; only what is fed and lacking follows the calendar.
func TestConstantPricesGiveAFlatSeries(t *testing.T) {
	months := strings.Repeat(" 3.1", 16)
	o, last := given(t, "2023-12", "east oats"+months, "east milk"+months)
	p := newPanel(world(), workspace.Defaults(), o, month("2023-12"), last, month("2023-12"), "2099-12-31", func(_, _, _, _ string) {})
	var rows []result.BasketLine
	feb := map[int]int{}
	for m := month("2023-12"); m <= last; m++ {
		perDay := p.cost(twoLines, "east", m, nil, "XTS", &rows).perDay
		r := reached(m, 270, "month", 1, perDay.V)
		if perDay.V != 3.1+2*3.1 || r.Days.V != 270/(3.1+2*3.1) {
			t.Errorf("%s: got %v a day, reach %v; want 9.3, %v", m, perDay, r.Days, 270/9.3)
		}
		if m.Number() == 2 {
			feb[m.Year()] = r.FedDays.V
		}
	}
	if feb[2024] != 29 || feb[2025] != 28 { // by hand: 270 / 9.3 = 29.03, capped at 28
		t.Errorf("fed in February: got %v, want 29 of 2024 and 28 of 2025", feb)
	}
}

// Prices (1, 2) -> (2, 1) -> (1, 2) -> (1, 2): the mean of logs is the same in every
// month, to the bit, and so is the chain of matched changes, whose steps are 0.
func TestJevonsReturns(t *testing.T) {
	ctx := context.Background()
	st, err := store.Open(ctx, "")
	if err != nil {
		t.Fatal(err)
	}
	defer st.Close()
	if err := st.Exec(ctx, "CREATE TABLE edit_hold (file_id INTEGER, line INTEGER, reason VARCHAR)"); err != nil {
		t.Fatal(err)
	}
	first := month("2024-01")
	var quotes [][]any
	for i, prices := range [][2]int64{{1, 2}, {2, 1}, {1, 2}, {1, 2}} {
		for k, price := range prices {
			for _, within := range []bool{true, false} { // two varieties at outlet 1, or one at each of two outlets
				outlet, variety, item := int32(6), int32(4+k), int32(2)
				if !within {
					outlet, variety, item = int32(6+k), 0, 3
				}
				m := first + result.Month(i)
				line := int32(len(quotes))
				quotes = append(quotes, []any{int32(0), line, uint64(line), uint64(line), m.Day(5 + k), int32(m), int32(1), outlet, item, variety, int32(0), int32(0), int32(0), int32(8), int32(0), price * 1e6, false, false, false})
			}
		}
	}
	words := [][]any{}
	for i, w := range []string{"", "east", "oats", "milk", "rolled", "coarse", "shop", "stall", "regular"} {
		words = append(words, []any{int32(i), w})
	}
	for table, rows := range map[string][][]any{"word": words, "amount": {{int32(0), "1 kg", int32(0), 1.0, "kg", false}}, "obs_price": quotes} {
		if err := st.Append(ctx, table, rows); err != nil {
			t.Fatal(err)
		}
	}
	for _, q := range []queries.Query{queries.ObsShared, queries.ObsRepeat, queries.EditConflict, queries.ObsOwner} {
		if err := st.Make(ctx, q, nil); err != nil {
			t.Fatal(err)
		}
	}
	o, err := observe(ctx, st, workspace.Defaults(), world())
	if err != nil {
		t.Fatal(err)
	}
	p := newPanel(world(), workspace.Defaults(), &o.observations, o.first, o.last, o.first, o.asOf, func(_, _, _, _ string) {})
	for _, item := range []string{"oats", "milk"} {
		start := p.at("east", good{item, ""}, first)
		if !near(start.price, math.Sqrt2) || start.n != result.Count(2) {
			t.Errorf("%s: got %v of %v notes, want the square root of 1 x 2 of 2", item, start.price, start.n)
		}
		for m := first + 1; m <= o.last; m++ {
			if x := p.at("east", good{item, ""}, m); x.ln != start.ln || x.price != start.price || x.change != 0 || x.nMatched != 2 {
				t.Errorf("%s in %s: got %v, change %v of %d; want %v again, 0 of 2", item, m, x.price, x.change, x.nMatched, start.price)
			}
		}
	}
	if o.asOf != "2024-04-06" || o.first != first || o.last != first+3 || o.accepted != 16 {
		t.Errorf("got as of %s, %s to %s, %d accepted; want 2024-04-06, 2024-01 to 2024-04, 16", o.asOf, o.first, o.last, o.accepted)
	}
}

// By hand, sample matched: east's oats are found at 2, 4, 8, none, 16. Of two
// series priced in the first two months each rose by half, so the level goes 2,
// 3; then one of them by half again, 4.5, while the other was not noted. It is
// noted again in the fifth month, at 3 times its price of the second, where the
// level was 3: 9; the one of the third at twice its price: 9. So 9 it is; at 4
// times 18, and the geometric mean of both is 9 x sqrt 2.
func TestMatched(t *testing.T) {
	k := func(m string) place { return place{"east", good{"oats", ""}, month(m)} }
	none, ln := math.NaN(), func(x float64) float64 { return fixedPoint(math.Log(x)) }
	oats := func(third ...link) *observations {
		return &observations{quotes: map[place]raw{
			k("2024-01"): {ln: math.Log(2), change: none},
			k("2024-02"): {ln: math.Log(4), change: none, links: []link{{1, 2, 2 * ln(1.5)}}},
			k("2024-03"): {ln: math.Log(8), change: none, links: []link{{1, 1, ln(1.5)}}},
			k("2024-05"): {ln: math.Log(16), change: none, links: third},
		}}
	}
	s := workspace.Defaults()
	s.Panel.Sample, s.Panel.Impute = "matched", false
	for _, c := range []struct {
		name, first, base string
		fifth             []link
		want              [5]float64
	}{
		{"both arrive at 9", "2024-01", "2024-01", []link{{2, 1, ln(2)}, {3, 1, ln(3)}}, [5]float64{2, 3, 4.5, none, 9}},
		{"one at 9, one at 18", "2024-01", "2024-01", []link{{2, 1, ln(4)}, {3, 1, ln(3)}}, [5]float64{2, 3, 4.5, none, 9 * math.Sqrt2}},
		{"two of three at 9", "2024-01", "2024-01", []link{{2, 1, ln(4)}, {3, 2, 2 * ln(3)}}, [5]float64{2, 3, 4.5, none, 9 * math.Cbrt(2)}},
		{"all new: as found, 16 / 8", "2024-01", "2024-01", nil, [5]float64{2, 3, 4.5, none, 9}},
		{"the second month keeps the price found, 4", "2024-01", "2024-02", []link{{2, 1, ln(2)}}, [5]float64{8. / 3, 4, 6, none, 12}},
		{"no price in the base month: the nearest before it, 8, stands", "2024-01", "2024-04", []link{{2, 1, ln(2)}}, [5]float64{32. / 9, 16. / 3, 8, none, 16}},
		{"what was last priced before the panel is new", "2024-03", "2024-03", []link{{2, 1, ln(4)}, {3, 1, ln(1000)}}, [5]float64{8, none, 32}},
	} {
		p := newPanel(world(), s, oats(c.fifth...), month(c.first), month("2024-05"), month(c.base), "2099-12-31", func(_, _, _, _ string) {})
		for i, x := range p.cells["east"][good{"oats", ""}] {
			if want := c.want[i]; !near(x.price, want) && !(math.IsNaN(x.price) && math.IsNaN(want)) {
				t.Errorf("%s, month %d: got %v, want %v", c.name, i+1, x.price, want)
			}
		}
	}
}
