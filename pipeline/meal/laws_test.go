package meal

import (
	"encoding/json"
	"errors"
	"fmt"
	"math/big"
	"math/rand/v2"
	"slices"
	"strconv"
	"strings"
	"testing"
)

func dec(n int64, places int) *big.Rat {
	d := new(big.Int).Exp(big.NewInt(10), big.NewInt(int64(places)), nil)
	return new(big.Rat).SetFrac(big.NewInt(n), d)
}

// sheet makes a plan at random; every fourth lacks something.
func sheet(r *rand.Rand) Plan {
	goods := []string{"a", "b", "c", "d", "e", "f"}
	var p Plan
	for _, g := range goods {
		o := Offer{Good: g, Size: dec(50+r.Int64N(2000), 3), Price: dec(20+r.Int64N(900), 2), Loose: r.IntN(5) == 0}
		if n := 2 + r.Int64N(3); !o.Loose && r.IntN(3) == 0 {
			o.Multibuy = &Multibuy{n, new(big.Rat).Mul(o.Price, dec(n*(60+r.Int64N(45)), 2))}
		}
		p.Offers = append(p.Offers, o)
		p.Keeps = append(p.Keeps, Keeps{g, r.IntN(12), r.IntN(4)})
	}
	for n := 1 + r.IntN(14); n > 0; n-- {
		l := Line{Day: 1 + r.IntN(7), Dish: "dish" + fmt.Sprint(r.IntN(3)), Number: n, Good: goods[r.IntN(len(goods))], Quantity: dec(r.Int64N(1500), 3),
			Basis: Basis(r.IntN(2)), Yield: dec(30+r.Int64N(250), 2), Supply: Supply([]int{0, 0, 0, 1, 2}[r.IntN(5)])}
		p.Lines = append(p.Lines, l)
	}
	for range r.IntN(4) {
		p.Pantry = append(p.Pantry, Stock{goods[r.IntN(len(goods))], dec(r.Int64N(900), 3), r.IntN(9), r.IntN(2) == 0})
	}
	if r.IntN(4) == 0 {
		switch l := &p.Lines[r.IntN(len(p.Lines))]; r.IntN(3) {
		case 0:
			l.Quantity = nil
		case 1:
			l.Basis, l.Yield = EP, nil
		case 2:
			l.Good = "unpriced"
		}
	}
	p.BuyCupboard, p.InTime = r.IntN(2) == 0, r.IntN(2) == 0
	return p
}

func TestGeneratedSheets(t *testing.T) {
	r := rand.New(rand.NewPCG(8, 1))
	incomplete, pantries, late, deals, stranded := 0, 0, 0, 0, 0
	for n := range 1000 {
		p := sheet(r)
		s := shop(t, p)

		// The total is the rounded exact sum of the printed lines, added up here in ten-thousandths.
		var costs []*big.Rat
		for _, l := range s.Lines {
			costs = append(costs, l.Cost)
		}
		w := NewSheet(costs)
		sum, unknown := int64(0), 0
		for i, c := range costs {
			if c == nil {
				unknown++
				continue
			}
			printed := c.FloatString(4)
			units, err := strconv.ParseInt(strings.Replace(printed, ".", "", 1), 10, 64)
			if err != nil {
				t.Fatal(err)
			}
			if sum += units; w.Lines[i].Cmp(rat(printed)) != 0 {
				t.Fatalf("sheet %d, line %d: got %s, want %s", n, i, w.Lines[i], printed)
			}
		}
		if want := dec((sum+50)/100, 2); w.KnownPart.Cmp(want) != 0 || w.Unknown != unknown {
			t.Fatalf("sheet %d: got %s, want %s", n, w.KnownPart, want)
		}
		if (w.Total == nil) != (unknown > 0) || w.Total != nil && w.Total.Cmp(w.KnownPart) != 0 {
			t.Fatalf("sheet %d: got total %v with %d lines unknown", n, w.Total, unknown)
		}
		if (s.Portion == nil) != (unknown > 0) || len(s.Missing) != unknown {
			t.Fatalf("sheet %d: got portion %v and %d missing, want %d", n, s.Portion, len(s.Missing), unknown)
		}
		if unknown > 0 {
			incomplete++
		}
		for _, g := range s.Goods {
			if g.FromPantry != nil && g.FromPantry.Sign() > 0 {
				pantries++
			}
			if g.Late != nil && g.Late.Sign() > 0 {
				late++
			}
			if g.Deals > 0 {
				deals++
			}
			if g.Till != nil && !p.InTime && g.Offer != nil && !g.Offer.Loose && g.FromPacks != nil {
				// whole packs of the sum: one fewer would not do, but where a multibuy gives more for less
				most := new(big.Rat).Mul(big.NewRat(g.Packs-1, 1), g.Offer.Size)
				if g.Leftover.Sign() < 0 || g.Deals == 0 && g.Packs > 0 && most.Cmp(g.FromPacks) >= 0 {
					t.Fatalf("sheet %d, %s: %d packs for %s", n, g.Good, g.Packs, g.FromPacks)
				}
			}
		}
		left, err := s.Leftovers(Shift(p.Lines, 7), 14, big.NewRat(4, 1))
		if err != nil {
			t.Fatal(err)
		}
		for _, l := range left.Lots {
			if l.Next == nil {
				continue
			}
			parts := new(big.Rat).Add(l.Next, l.Stranded)
			parts.Add(parts, l.Keeps)
			if parts.Add(parts, l.Unknown); parts.Cmp(l.Quantity) != 0 {
				t.Fatalf("sheet %d, %s: %s left, %s told", n, l.Good, l.Quantity, parts)
			}
			if l.Stranded.Sign() > 0 {
				stranded++
			}
		}
	}
	if incomplete < 100 || pantries < 100 || late < 100 || deals < 100 || stranded < 100 {
		t.Errorf("too few of a kind: %d incomplete, %d from pantries, %d late, %d deals, %d stranded", incomplete, pantries, late, deals, stranded)
	}
}

// The order of what is given does not matter; the same gives the same.
func TestShopOrder(t *testing.T) {
	r := rand.New(rand.NewPCG(8, 2))
	text := func(s *Shopping) string {
		b, err := json.Marshal(struct {
			Goods  []Trolley
			Totals []*big.Rat
		}{s.Goods, []*big.Rat{s.Portion, s.KnownPortion, s.Till, s.KnownTill, s.Leftover, s.Saving, s.FromPantry, s.FromCupboard}})
		if err != nil {
			t.Fatal(err)
		}
		return string(b)
	}
	for range 300 {
		p := sheet(r)
		want := text(shop(t, p))
		if again := text(shop(t, p)); again != want {
			t.Fatalf("again: got %s, want %s", again, want)
		}
		r.Shuffle(len(p.Lines), func(i, j int) { p.Lines[i], p.Lines[j] = p.Lines[j], p.Lines[i] })
		r.Shuffle(len(p.Offers), func(i, j int) { p.Offers[i], p.Offers[j] = p.Offers[j], p.Offers[i] })
		r.Shuffle(len(p.Pantry), func(i, j int) { p.Pantry[i], p.Pantry[j] = p.Pantry[j], p.Pantry[i] })
		if got := text(shop(t, p)); got != want {
			t.Fatalf("another order: got %s, want %s", got, want)
		}
	}
}

// Portion cost scales with the servings and with prices; the till cost with prices only, and never falls with the servings. A pantry
// changes the till cost, never the portion cost. Buying in time never costs less.
func TestShopAxioms(t *testing.T) {
	r := rand.New(rand.NewPCG(8, 3))
	steps := 0
	for range 300 {
		p := sheet(r)
		p.InTime, p.Pantry = false, nil
		s := shop(t, p)
		if s.Portion == nil {
			continue
		}
		more := p
		var err error
		if more.Lines, err = Scale(p.Lines, rat("4"), rat("7")); err != nil {
			t.Fatal(err)
		}
		m := shop(t, more)
		if m.Portion.Cmp(new(big.Rat).Mul(s.Portion, rat("7/4"))) != 0 {
			t.Errorf("portion for 7 of 4: got %s, of %s", m.Portion, s.Portion)
		}
		if m.Till.Cmp(s.Till) < 0 {
			t.Errorf("till for 7 of 4: got %s, less than %s", m.Till, s.Till)
		}
		if s.Till.Sign() > 0 && m.Till.Cmp(new(big.Rat).Mul(s.Till, rat("7/4"))) != 0 {
			steps++
		}
		dear := p
		dear.Offers = slices.Clone(p.Offers)
		for i := range dear.Offers {
			o := &dear.Offers[i]
			o.Price = new(big.Rat).Mul(o.Price, rat("1.13"))
			if o.Multibuy != nil {
				o.Multibuy = &Multibuy{o.Multibuy.Packs, new(big.Rat).Mul(o.Multibuy.Price, rat("1.13"))}
			}
		}
		d := shop(t, dear)
		if d.Portion.Cmp(new(big.Rat).Mul(s.Portion, rat("1.13"))) != 0 || d.Till.Cmp(new(big.Rat).Mul(s.Till, rat("1.13"))) != 0 {
			t.Errorf("prices up 13 %%: got %s and %s, of %s and %s", d.Portion, d.Till, s.Portion, s.Till)
		}
		home := p
		home.Pantry = []Stock{{Good: "a", Quantity: rat(".3")}, {Good: "b", Quantity: rat(".7"), UseBy: 4}}
		if h := shop(t, home); h.Portion.Cmp(s.Portion) != 0 || h.Till.Cmp(s.Till) > 0 {
			t.Errorf("with a pantry: got %s and %s, without %s and %s", h.Portion, h.Till, s.Portion, s.Till)
		}
		if p.InTime = true; shop(t, p).Till.Cmp(s.Till) < 0 {
			t.Errorf("in time costs less than %s", s.Till)
		}
	}
	if steps < 100 {
		t.Errorf("the till cost scaled in all but %d plans", steps)
	}
}

func TestPackTrap(t *testing.T) {
	tenth, fifth := 0.1, 0.2 // in binary their sum is 3.0000000000000004 packs of a tenth
	if (tenth+fifth)/tenth <= 3 {
		t.Fatal("no trap")
	}
	if n, err := PacksNeeded(rat(".3"), rat(".1")); n != 3 || err != nil {
		t.Errorf("got %d, %v, want 3", n, err)
	}
	if _, err := PacksNeeded(rat("1e40"), rat("1")); !errors.Is(err, ErrSize) {
		t.Errorf("1e40 packs: got %v, want ErrSize", err)
	}
	if _, err := PacksNeeded(nil, rat("1")); !errors.Is(err, ErrQuantity) {
		t.Errorf("no need: got %v, want ErrQuantity", err)
	}
}

// 3 for 2.00 of packs at 1.00.
func TestMultibuy(t *testing.T) {
	for _, c := range []struct {
		need           string
		packs, deals   int64
		till, saving   string
		regularCheaper bool
	}{
		{"0.8", 2, 0, "2", "0", false}, // as dear as three: fewer packs
		{"1.2", 3, 1, "2", "1", false},
		{"2.0", 5, 1, "4", "1", false},
		{"2.0", 5, 0, "5", "0", true},
		{"1.21", 4, 1, "3", "1", false},
	} {
		m := &Multibuy{3, rat("2.00")}
		if c.regularCheaper {
			m.Price = rat("3.01")
		}
		s := shop(t, Plan{Lines: []Line{{Day: 1, Good: "tin", Quantity: rat(c.need)}}, Offers: []Offer{{Good: "tin", Size: rat(".4"), Price: rat("1"), Multibuy: m}}})
		if g := s.Goods[0]; g.Packs != c.packs || g.Deals != c.deals || g.Till.Cmp(rat(c.till)) != 0 || g.Saving.Cmp(rat(c.saving)) != 0 {
			t.Errorf("%s: got %d packs, %d deals, till %s, saving %s, want %+v", c.need, g.Packs, g.Deals, g.Till, g.Saving, c)
		}
	}
	// 4 for 2.10 where 3 would do at 3.00: more for less, the fourth is left sealed
	s := shop(t, Plan{Lines: []Line{{Day: 2, Good: "tin", Quantity: rat("1.2")}}, BoughtOn: 1, Keeps: []Keeps{{"tin", 700, 3}},
		Offers: []Offer{{Good: "tin", Size: rat(".4"), Price: rat("1"), Multibuy: &Multibuy{4, rat("2.10")}}}})
	g := s.Goods[0]
	if g.Packs != 4 || len(g.Left) != 1 || !g.Left[0].Sealed || g.Left[0].UseBy != 701 || g.LeftValue.Cmp(rat("1")) != 0 {
		t.Errorf("more for less: got %+v", g)
	}
}

// A need met from lots by their use-by days; cupboard lines before bought ones; what is spoilt is not used.
func TestPantryInTime(t *testing.T) {
	line := func(day int, q string, from Supply) Line {
		return Line{Day: day, Good: "milk", Quantity: rat(q), Supply: from}
	}
	offers := []Offer{{Good: "milk", Size: rat("1"), Price: rat("1.20")}}
	for _, c := range []struct {
		name               string
		lines              []Line
		pantry             []Stock
		keeps              Keeps
		inTime             bool
		stock, there, bags string // from pantry, from cupboard, from packs
		packs              int64
		late               string
	}{
		{"nearest first", []Line{line(1, ".5", Bought), line(3, ".5", Bought)}, []Stock{{"milk", rat(".5"), 0, false}, {"milk", rat(".5"), 1, false}},
			Keeps{}, false, "1", "0", "0", 0, "0"},
		{"spoilt", []Line{line(3, ".5", Bought)}, []Stock{{"milk", rat(".5"), 2, false}}, Keeps{}, false, "0", "0", ".5", 1, "0"},
		{"cupboard first", []Line{line(1, ".3", Bought), line(1, ".4", Cupboard)}, []Stock{{"milk", rat(".5"), 0, false}}, Keeps{}, false, ".5", "0", ".2", 1, "0"},
		{"cupboard alone", []Line{line(1, ".9", Cupboard)}, []Stock{{"milk", rat(".5"), 0, false}}, Keeps{}, false, ".5", ".4", "0", 0, "0"},
		{"opened in the pantry", []Line{line(1, ".1", Bought), line(5, ".4", Bought)}, []Stock{{"milk", rat("1"), 9, true}}, Keeps{"milk", 0, 3}, false, ".1", "0", ".4", 1, "0"},
		{"opened too long", []Line{line(1, ".6", Bought), line(6, ".4", Bought)}, nil, Keeps{"milk", 0, 4}, false, "0", "0", "1", 1, ".4"},
		{"opened too long, in time", []Line{line(1, ".6", Bought), line(6, ".4", Bought)}, nil, Keeps{"milk", 0, 4}, true, "0", "0", "1", 2, "0"},
		{"the last day", []Line{line(1, ".6", Bought), line(5, ".4", Bought)}, nil, Keeps{"milk", 0, 4}, true, "0", "0", "1", 1, "0"},
		{"sealed too long", []Line{line(1, "1", Bought), line(8, "1", Bought)}, nil, Keeps{"milk", 6, 4}, true, "0", "0", "2", 2, "1"},
		{"not known", []Line{line(1, ".6", Bought), line(90, ".4", Bought)}, nil, Keeps{}, true, "0", "0", "1", 1, "0"},
	} {
		s := shop(t, Plan{Lines: c.lines, Offers: offers, Pantry: c.pantry, Keeps: []Keeps{{"milk", c.keeps.Sealed, c.keeps.Opened}}, InTime: c.inTime})
		g := s.Goods[0]
		if g.FromPantry.Cmp(rat(c.stock)) != 0 || g.FromCupboard.Cmp(rat(c.there)) != 0 || g.FromPacks.Cmp(rat(c.bags)) != 0 || g.Packs != c.packs || g.Late.Cmp(rat(c.late)) != 0 {
			t.Errorf("%s: got pantry %s, cupboard %s, packs %s (%d), late %s, want %s, %s, %s (%d), %s", c.name, g.FromPantry, g.FromCupboard, g.FromPacks,
				g.Packs, g.Late, c.stock, c.there, c.bags, c.packs, c.late)
		}
	}
}

func TestNotKnown(t *testing.T) {
	offers := []Offer{{Good: "rice", Size: rat("1"), Price: rat("3")}}
	stock := []Stock{{Good: "rice", Quantity: rat("2")}, {Good: "herb", Quantity: rat("1")}}
	rice := Line{Day: 1, Number: 1, Good: "rice", Quantity: rat(".5")}
	for _, c := range []struct {
		name            string
		line            Line
		pantry          []Stock
		lacks           Lack
		portion, known  string // "" not known
		till, knownTill string
		riceTold        bool
	}{
		{"quantity", Line{Good: "rice"}, nil, LacksQuantity, "", "1.5", "", "3", false},
		{"yield", Line{Good: "rice", Quantity: rat("1"), Basis: EP}, nil, LacksYield, "", "1.5", "", "3", false},
		{"price", Line{Good: "herb", Quantity: rat("1")}, nil, LacksPrice, "", "1.5", "", "3", true},
		{"price of what is in the house", Line{Good: "herb", Quantity: rat("1")}, stock, LacksPrice, "", "1.5", "0", "0", true},
		{"quantity from the cupboard", Line{Good: "herb", Supply: Cupboard}, nil, LacksQuantity, "", "1.5", "3", "3", true},
		{"quantity from the cupboard, of a stock that others need", Line{Good: "rice", Supply: Cupboard}, stock, LacksQuantity, "", "1.5", "", "0", false},
		{"free", Line{Good: "herb", Supply: Free}, nil, Nothing, "1.5", "1.5", "3", "3", true},
	} {
		c.line.Day, c.line.Number = 1, 2
		s := shop(t, Plan{Lines: []Line{rice, c.line}, Offers: offers, Pantry: c.pantry})
		same := func(what string, got *big.Rat, want string) {
			t.Helper()
			if (got == nil) != (want == "") || got != nil && got.Cmp(rat(want)) != 0 {
				t.Errorf("%s: %s: got %v, want %q", c.name, what, got, want)
			}
		}
		same("portion", s.Portion, c.portion)
		same("known portion", s.KnownPortion, c.known)
		same("till", s.Till, c.till)
		same("known till", s.KnownTill, c.knownTill)
		if got := s.Lines[1].Lacks; got != c.lacks {
			t.Errorf("%s: got lacks %s, want %s", c.name, got, c.lacks)
		}
		for _, g := range s.Goods {
			if g.Good == "rice" && (g.Till != nil) != c.riceTold {
				t.Errorf("%s: rice: got till %v", c.name, g.Till)
			}
		}
	}
}

func TestRefused(t *testing.T) {
	line := func(change func(*Line)) Plan {
		l := Line{Day: 1, Dish: "soup", Number: 3, Good: "rice", Quantity: rat("1"), Yield: rat("1")}
		change(&l)
		return Plan{Lines: []Line{l}}
	}
	offer := func(change func(*Offer)) Plan {
		o := Offer{Good: "rice", Size: rat("1"), Price: rat("1")}
		change(&o)
		return Plan{Offers: []Offer{o}}
	}
	for _, c := range []struct {
		name string
		plan Plan
		want error
	}{
		{"yield 0", line(func(l *Line) { l.Yield = new(big.Rat) }), ErrYield},
		{"yield below 0", line(func(l *Line) { l.Yield = rat("-.1") }), ErrYield},
		{"quantity below 0", line(func(l *Line) { l.Quantity = rat("-1") }), ErrQuantity},
		{"no day", line(func(l *Line) { l.Day = 0 }), ErrDay},
		{"bought after the first day", Plan{Lines: line(func(*Line) {}).Lines, BoughtOn: 2}, ErrDay},
		{"no size", offer(func(o *Offer) { o.Size = nil }), ErrSize},
		{"size 0", offer(func(o *Offer) { o.Size = new(big.Rat) }), ErrSize},
		{"no price", offer(func(o *Offer) { o.Price = nil }), ErrPrice},
		{"price 0", offer(func(o *Offer) { o.Price = new(big.Rat) }), ErrPrice},
		{"multibuy of one", offer(func(o *Offer) { o.Multibuy = &Multibuy{1, rat("1")} }), ErrMultibuy},
		{"multibuy of loose goods", offer(func(o *Offer) { o.Loose, o.Multibuy = true, &Multibuy{2, rat("1")} }), ErrMultibuy},
		{"multibuy without a price", offer(func(o *Offer) { o.Multibuy = &Multibuy{2, nil} }), ErrPrice},
		{"two offers", Plan{Offers: []Offer{{Good: "a", Size: rat("1"), Price: rat("1")}, {Good: "a", Size: rat("2"), Price: rat("1")}}}, ErrTwice},
		{"two keeping times", Plan{Keeps: []Keeps{{"a", 1, 1}, {"a", 2, 1}}}, ErrTwice},
		{"keeping time below 0", Plan{Keeps: []Keeps{{"a", -1, 1}}}, ErrDay},
		{"stock not known", Plan{Pantry: []Stock{{Good: "a"}}}, ErrQuantity},
	} {
		if _, err := Shop(c.plan); !errors.Is(err, c.want) {
			t.Errorf("%s: got %v, want %v", c.name, err, c.want)
		}
	}
	if _, err := Shop(line(func(l *Line) { l.Yield = rat("-.1") })); err == nil || !strings.Contains(err.Error(), "soup, line 3, rice") {
		t.Errorf("got %v, want the line named", err)
	}
	s := shop(t, line(func(*Line) {}))
	for name, c := range map[string]struct {
		day, until int
		want       error
	}{"too early": {1, 7, ErrDay}, "too late": {8, 7, ErrDay}, "until before the end": {2, 0, ErrDay}} {
		if _, err := s.Leftovers([]Line{{Day: c.day, Good: "rice", Quantity: rat("1")}}, c.until, nil); !errors.Is(err, c.want) {
			t.Errorf("%s: got %v, want %v", name, err, c.want)
		}
	}
	_, err := s.Leftovers(nil, 7, new(big.Rat))
	if !errors.Is(err, ErrServings) {
		t.Errorf("0 servings: got %v, want ErrServings", err)
	}
}

func TestSubRecipes(t *testing.T) {
	recipes := []Recipe{
		{"pie", rat("6"), []Ingredient{{Number: 1, Good: "flour", Quantity: rat(".3")}, {Number: 2, SubRecipe: "sauce", Quantity: rat("3")}}},
		{"sauce", rat("4"), []Ingredient{{Number: 1, Good: "tomato", Quantity: rat(".8")}, {Number: 2, SubRecipe: "stock", Quantity: rat("2"), Supply: Cupboard}}},
		{"stock", rat("8"), []Ingredient{{Number: 1, Good: "carrot", Quantity: rat(".4")}, {Number: 2, Good: "water", Supply: Free}}},
		{"bread", rat("1"), []Ingredient{{Number: 1, SubRecipe: "dough", Quantity: rat("1")}}},
		{"dough", rat("1"), []Ingredient{{Number: 1, SubRecipe: "leaven", Quantity: rat("1")}}},
		{"leaven", rat("1"), []Ingredient{{Number: 1, SubRecipe: "dough", Quantity: rat("1")}}},
		{"odd", rat("1"), []Ingredient{{Number: 1, SubRecipe: "ghost"}}},
		{"none", nil, nil},
	}
	lines := linesOf(t, recipes, Serving{Day: 2, Meal: "noon", Recipe: "pie", Servings: rat("12")})
	var got []string
	for _, l := range lines {
		q := "nil"
		if l.Quantity != nil {
			q = l.Quantity.RatString()
		}
		got = append(got, fmt.Sprint(l.Day, l.Meal, l.Dish, "/", l.Via, "/", l.Number, l.Good, " ", q, " ", l.Supply))
	}
	// 12 of 6 servings: flour x 2; sauce 6 of 4: tomato x 3/2; stock 3 of 8: carrot x 3/8
	want := []string{"2noonpie//1flour 3/5 bought", "2noonpie/sauce/1tomato 6/5 bought", "2noonpie/sauce > stock/1carrot 3/20 cupboard", "2noonpie/sauce > stock/2water nil free"}
	if !slices.Equal(got, want) {
		t.Errorf("got %q, want %q", got, want)
	}
	for _, c := range []struct {
		recipe, servings, named string
		want                    error
	}{
		{"bread", "1", "dough > leaven > dough", ErrCycle},
		{"odd", "1", "odd > ghost", ErrRecipe},
		{"none", "1", "none", ErrServings},
		{"pie", "0", "pie", ErrServings},
	} {
		_, err := Lines(recipes, []Serving{{Day: 1, Recipe: c.recipe, Servings: rat(c.servings)}})
		if !errors.Is(err, c.want) || !strings.Contains(err.Error(), c.named) {
			t.Errorf("%s: got %v, want %v naming %s", c.recipe, err, c.want, c.named)
		}
	}
	if _, err := Lines(append(recipes, recipes[0]), nil); !errors.Is(err, ErrTwice) {
		t.Errorf("a name twice: got %v", err)
	}
}
