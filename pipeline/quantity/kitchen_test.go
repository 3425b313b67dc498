package quantity

import (
	"errors"
	"fmt"
	"math/big"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// fig is a figure of a test.
func fig(t interface{ Fatal(...any) }, text string, s Status) Figure {
	a, err := ParseAmount(text, Options{})
	if err != nil {
		t.Fatal(err)
	}
	return Figure{a, s, "test"}
}

func onions(t *testing.T) Kitchen {
	return Kitchen{Item: "onions", Words: []string{"onion", "red"}, Facts: []Facts{
		{Measures: map[string]Figure{"heap": fig(t, "1.2 kg", Measured), "zero": {}}},
		{Measures: map[string]Figure{"large": fig(t, "150 g", Published), "slice": fig(t, "14 g", Published), "heap": fig(t, "9 kg", FromMemory), "pinch": fig(t, "0.3 ml", CommonPractice)},
			Piece: fig(t, "110 g", CommonPractice), Density: fig(t, "0.68 kg", Published)},
	}}
}

// What a cook writes, worked by hand: an onion 110 g, a large one 150 g, a litre chopped 680 g.
func TestKitchenRead(t *testing.T) {
	for _, c := range []struct{ quantity, unit, want string }{
		{"400", "g", "0.4 kg"},
		{"1 lb 4 oz", "", "0.5669904625 kg"}, // 20/16 x 0.45359237
		{"2 x 400 g", "", "0.8 kg"},
		{"2", "x 400 g", "0.8 kg"},
		{"2 bags of 400", "g", "0.8 kg"},
		{"2 onions", "", "0.22 kg"},
		{"2 red onions", "", "0.22 kg"},
		{"2", "Onions", "0.22 kg"},
		{"2 large onions", "", "0.3 kg"},
		{"2", "large", "0.3 kg"},
		{"half an onion", "", "0.055 kg"},
		{"half", "piece", "0.055 kg"},
		{"½", "piece", "0.055 kg"},
		{"1/2", "pieces", "0.055 kg"},
		{"1½", "each", "0.165 kg"},
		{"a whole onion", "", "0.11 kg"},
		{"an onion", "", "0.11 kg"},
		{"three", "onions", "0.33 kg"},
		{"two and a half onions", "", "0.275 kg"},
		{"2 and 1/2 onions", "", "0.275 kg"},
		{"half a dozen onions", "", "0.66 kg"},
		{"a dozen", "", "1.32 kg"},
		{"a quarter of an onion", "", "0.0275 kg"},
		{"three quarters of an onion", "", "0.0825 kg"},
		{"3 slices of onion", "", "0.042 kg"},
		{"1 slice onion", "", "0.014 kg"},
		{"1", "heap", "1.2 kg"}, // the user's own before the reference
		{"2 heaps of onions", "", "2.4 kg"},
		{"2 metric cups", "", "0.34 kg"},            // 0.5 L x 0.68
		{"1 1/2", "cup_metric", "0.255 kg"},         // 0.375 L
		{"two thirds", "cup_metric", "(17/150) kg"}, // 1/6 L
		{"1 level teaspoon", "", "0.0034 kg"},       // 5 mL
		{"a pinch", "", "0.000204 kg"},              // 0.3 mL
		{"a pinch of onion", "", "0.000204 kg"},
		{"200", "mL", "0.136 kg"},
	} {
		got, err := onions(t).Read(c.quantity, c.unit, Mass)
		if err != nil || got.Amount.String() != c.want {
			t.Errorf("%q %q: got %s and %v, want %s", c.quantity, c.unit, got.Amount, err, c.want)
		}
	}
	for _, c := range []struct {
		text, want string
		to         Dimension
	}{
		{"2", "2 each", Count}, // a counted item
		{"2 dozen", "24 each", Count},
		{"220 g", "2 each", Count},
		{"1.1 kg", "10 each", Count},
		{"340 g", "0.5 L", Volume},
		{"2 onions", "(11/34) L", Volume}, // 0.22 / 0.68
		{"6 fl oz imp", "", Unknown},
	} {
		got, err := onions(t).Read(c.text, "", c.to)
		if c.to == Unknown {
			if !errors.Is(err, ErrDimension) {
				t.Errorf("%q to nothing: got %v", c.text, err)
			}
			continue
		}
		if err != nil || got.Amount.String() != c.want {
			t.Errorf("%q: got %s and %v, want %s", c.text, got.Amount, err, c.want)
		}
	}
}

func TestKitchenRefuses(t *testing.T) {
	for _, c := range []struct {
		quantity, unit string
		kind           error
		says           []string
	}{
		{"2", "cups", ErrUnit, []string{"not the same amount in all countries", "cup_metric (250.0 mL)", "cup_us (236.6 mL)", "convention", "measure cup, item onions"}},
		{"1 tbsp", "", ErrUnit, []string{"tbsp_metric (15.0 mL)", "tbsp_us (14.8 mL)", "tbsp_au (20.0 mL)"}},
		{"2 pt 1 cup", "", ErrUnit, []string{"pt_imp (568.3 mL)"}},
		{"2-3 onions", "", ErrRange, []string{"2, 3, or the middle 2 1/2"}},
		{"2 to 3", "onions", ErrRange, []string{"between 2 and 3"}},
		{"750-800", "g", ErrRange, []string{"middle 775"}},
		{"3-2 onions", "", ErrSyntax, []string{"smaller to a larger"}},
		{"1", "bunch", ErrUnit, []string{"weigh one bunch of onions in grams", "tables/measures: measure bunch, item onions, quantity ..., unit g"}},
		{"2 bunches", "", ErrUnit, []string{"weigh one bunch of onions"}},
		{"1", "zero", ErrUnit, []string{"weigh one zero"}}, // a figure without amount is none
		{"2", "tins", ErrUnit, []string{"weigh one tin of onions"}},
		{"1 heaped teaspoon", "", ErrUnit, []string{"weigh one heaped teaspoon"}},
		{"2", "", ErrSyntax, []string{"without a unit", "each for pieces"}},
		{"", "g", ErrSyntax, []string{"no number"}},
		{"", "", ErrSyntax, []string{"no number"}},
		{"0", "g", ErrSyntax, []string{"nothing"}},
		{"-2", "g", ErrSyntax, nil},
		{"to taste", "", ErrSyntax, []string{"1/4 tsp"}},
		{"a few onions", "", ErrSyntax, []string{"no amount"}},
		{"about 2 onions", "", ErrSyntax, []string{"no amount"}},
		{"2 slices chopped", "", ErrSyntax, []string{`"chopped" is no part of an amount`, "preparation"}},
		{"4/100", "g", ErrSyntax, []string{"4 x 100 g"}},
		{"1,5", "kg", ErrSyntax, []string{"1.5"}},
		{strings.Repeat("9", 121), "g", ErrSyntax, nil},
	} {
		got, err := onions(t).Read(c.quantity, c.unit, Mass)
		if !errors.Is(err, c.kind) {
			t.Errorf("%q %q: got %s and %v, want %v", c.quantity, c.unit, got.Amount, err, c.kind)
			continue
		}
		for _, s := range c.says {
			if !strings.Contains(err.Error(), s) {
				t.Errorf("%q %q: got %q, want %q in it", c.quantity, c.unit, err, s)
			}
		}
	}
	bare := Kitchen{Item: "lentils", Words: []string{"lentils"}}
	for _, c := range []struct {
		text string
		to   Dimension
		says string
	}{
		{"2 cup_us", Mass, "weigh one cup_us of lentils in grams and put it into tables/measures: measure cup_us, item lentils, quantity ..., unit g"},
		{"2 metric cups", Mass, "weigh one metric cup of lentils"},
		{"200 mL", Mass, "weigh one ml of lentils"},
		{"3 lentils", Mass, "weigh one piece of lentils in grams and put it into tables/measures: measure piece, item lentils"},
		{"200 g", Volume, "density_kg_per_l"},
		{"200 g", Count, "weigh one piece of lentils"},
	} {
		if _, err := bare.Read(c.text, "", c.to); !errors.Is(err, ErrDimension) || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%q: got %v, want %q", c.text, err, c.says)
		}
	}
	if _, err := bare.Read("12 oz", "", Volume); !errors.Is(err, ErrSyntax) || !strings.Contains(err.Error(), "floz_us") {
		t.Errorf("an ounce of a liquid: got %v", err)
	}
	ask := Kitchen{Item: "onions", Facts: []Facts{{AskDensity: "name the preparation: chopped, sliced", AskPiece: "name the size: small, large"}}}
	for text, says := range map[string]string{"1 cup_us": "name the preparation: chopped, sliced; or weigh", "2 each": "name the size: small, large; or weigh"} {
		if _, err := ask.Read(text, "", Mass); !errors.Is(err, ErrDimension) || !strings.Contains(err.Error(), says) {
			t.Errorf("%q: got %v, want %q", text, err, says)
		}
	}
}

// Sizes of bare words. US: NIST Handbook 44, appendix C. Imperial pint, gallon, fluid ounce: Weights and Measures Act 1985, schedule 1, part IV.
// Metric and Australian cups and spoons: common practice.
func TestConventions(t *testing.T) {
	for _, c := range []struct {
		convention Convention
		text       string
		want       string // mL; "" = refused
		status     Status
	}{
		{NoConvention, "1 teaspoon", "5", CommonPractice},
		{NoConvention, "1 tablespoon", "", ""},
		{NoConvention, "1 cup", "", ""},
		{NoConvention, "1 pint", "", ""},
		{NoConvention, "1 fl oz", "", ""},
		{NoConvention, "1 us pint", "473.176473", ""},
		{NoConvention, "1 imperial pint", "568.26125", ""},
		{NoConvention, "1 australian tablespoon", "20", ""},
		{MetricCups, "1 cup", "250", CommonPractice},
		{MetricCups, "1 tablespoon", "15", CommonPractice},
		{MetricCups, "1 tsp", "5", CommonPractice},
		{MetricCups, "1 pint", "", ""},
		{USCups, "1 cup", "236.5882365", Published},
		{USCups, "1 tbsp", "14.78676478125", Published},
		{USCups, "1 tsp", "4.92892159375", Published},
		{USCups, "1 quart", "946.352946", Published},
		{USCups, "2 cups 1 tbsp", "487.96323778125", Published}, // by hand: 2 x 236.5882365 + 14.78676478125
		{ImperialPint, "1 pint", "568.26125", Published},
		{ImperialPint, "1 gallon", "4546.09", Published},
		{ImperialPint, "1 fl oz", "28.4130625", Published},
		{ImperialPint, "1 tbsp", "15", CommonPractice},
		{ImperialPint, "1 cup", "", ""},
		{Australian, "1 cup", "250", CommonPractice},
		{Australian, "1 tbsp", "20", CommonPractice},
		{Australian, "2 x 1 tbsp", "40", CommonPractice},
		{Australian, "1 pint", "", ""},
	} {
		got, err := Kitchen{Convention: c.convention}.Read(c.text, "", Volume)
		if c.want == "" {
			if !errors.Is(err, ErrUnit) {
				t.Errorf("%s, %q: got %s and %v, want ErrUnit", c.convention, c.text, got.Amount, err)
			}
			continue
		}
		want := New(new(big.Rat).Quo(rat(t, c.want), big.NewRat(1000, 1)), Volume)
		if err != nil || !got.Amount.Equal(want) || got.Status() != c.status {
			t.Errorf("%s, %q: got %s, %q and %v, want %s, %q", c.convention, c.text, got.Amount, got.Status(), err, want, c.status)
		}
	}
	for text, ok := range map[string]bool{"": true, "US": true, "metric": true, "imperial": true, "australian": true, "french": false} {
		if _, got := ParseConvention(text); got != ok {
			t.Errorf("convention %q: got %v", text, got)
		}
	}
}

// What was used is told, and the least reliable figure decides.
func TestKitchenUsed(t *testing.T) {
	k := onions(t)
	for _, c := range []struct {
		text string
		used string
		want Status
	}{
		{"400 g", "", ""},
		{"1 heap", "heap measured", Measured},
		{"2 onions", "piece common practice", CommonPractice},
		{"1 metric cup", "density published", Published},
		{"1 tsp", "tsp common practice, density published", CommonPractice},
		{"1 pinch", "pinch common practice, density published", CommonPractice},
	} {
		got, err := k.Read(c.text, "", Mass)
		if err != nil {
			t.Fatal(err)
		}
		var used []string
		for _, u := range got.Used {
			used = append(used, u.What+" "+string(u.Status))
			if u.Source == "" {
				t.Errorf("%q: %s without a source", c.text, u.What)
			}
		}
		if strings.Join(used, ", ") != c.used || got.Status() != c.want {
			t.Errorf("%q: got %q, %q, want %q, %q", c.text, used, got.Status(), c.used, c.want)
		}
	}
	// A user's own piece weight and density replace the reference's.
	k.Facts = append([]Facts{{Measures: map[string]Figure{"piece": fig(t, "90 g", Measured)}, Density: fig(t, "0.5 kg", Measured)}}, k.Facts...)
	for text, want := range map[string]string{"2 onions": "0.18 kg", "1 metric cup": "0.125 kg"} {
		if got, err := k.Read(text, "", Mass); err != nil || got.Amount.String() != want || got.Status() != Measured {
			t.Errorf("%q: got %s, %q and %v, want %s, measured", text, got.Amount, got.Status(), err, want)
		}
	}
	k.Middle = true
	got, err := k.Read("2-3", "onions", Mass) // 2.5 x 90 g
	if err != nil || got.Amount.String() != "0.225 kg" || got.Status() != CommonPractice || got.Used[0].What != "middle of 2-3" {
		t.Errorf("got %s, %v and %v", got.Amount, got.Used, err)
	}
}

// The same number in any spelling, cut between the two columns at any blank, gives number x measure, exactly; twice the number twice the amount.
func TestKitchenLaws(t *testing.T) {
	eighths := []string{"", "1/8", "1/4", "3/8", "1/2", "5/8", "3/4", "7/8"}
	signs := []string{"", "⅛", "¼", "⅜", "½", "⅝", "¾", "⅞"}
	rapid.Check(t, func(t *rapid.T) {
		positive := rapid.Int64Range(1, 1e6)
		kg := func(label string) Figure {
			return Figure{New(big.NewRat(positive.Draw(t, label), positive.Draw(t, label+" part")), Mass), rapid.SampledFrom(statuses).Draw(t, label+" status"), "drawn"}
		}
		ladle := kg("ladle")
		k := Kitchen{Item: "soup", Words: []string{"soup"}, Convention: rapid.SampledFrom([]Convention{MetricCups, USCups, Australian}).Draw(t, "convention"),
			Facts: []Facts{{Measures: map[string]Figure{"ladle": ladle}}, {Measures: map[string]Figure{"ladle": kg("other ladle")}, Density: kg("density"), Piece: kg("piece")}}}
		whole, part := rapid.Int64Range(0, 40).Draw(t, "whole"), rapid.IntRange(0, 7).Draw(t, "eighths")
		if whole == 0 && part == 0 {
			part = 4
		}
		n := big.NewRat(whole*8+int64(part), 8)
		spellings := []string{n.FloatString(3), mixed(n)}
		if part > 0 {
			spellings = append(spellings, strings.TrimPrefix(fmt.Sprintf("%d%s", whole, signs[part]), "0"), strings.TrimPrefix(fmt.Sprintf("%d %s", whole, eighths[part]), "0 "))
		}
		number := rapid.SampledFrom(spellings).Draw(t, "spelling")
		measure := rapid.SampledFrom([]string{"ladle", "ladles of soup", "soup", "each", "g", "cups", "tsp of the soup", "lb"}).Draw(t, "measure")
		to := rapid.SampledFrom([]Dimension{Mass, Volume, Count}).Draw(t, "to")
		words := strings.Fields(number + " " + measure)
		cut := rapid.IntRange(0, len(words)).Draw(t, "cut")
		got, err := k.Read(strings.Join(words[:cut], " "), strings.Join(words[cut:], " "), to)
		if err != nil {
			t.Fatal(err)
		}
		one, err := k.Read("1", measure, to)
		if err != nil || !got.Amount.Equal(one.Amount.Times(n)) || !slices.EqualFunc(got.Used, one.Used, func(a, b Used) bool { return a.What == b.What }) {
			t.Fatalf("%q: got %s by %v and %v, want %s times %s by %v", words, got.Amount, got.Used, err, n, one.Amount, one.Used)
		}
		// A second way: the bridge of this package.
		want, err := one.Written.To(to, Bridge{k.Facts[1].Density.Amount.Rat(), k.Facts[1].Piece.Amount.Rat(), "drawn"})
		if err != nil || !one.Amount.Equal(want) {
			t.Fatalf("%q: got %s, want %s (%v)", measure, one.Amount, want, err)
		}
		if strings.HasPrefix(measure, "ladle") && !one.Written.Equal(ladle.Amount) {
			t.Fatalf("got %s, want the nearer layer's %s", one.Written, ladle.Amount)
		}
	})
}

func TestSameWord(t *testing.T) {
	for _, c := range []struct {
		a, b string
		want bool
	}{{"egg", "eggs", true}, {"leaves", "leaf", true}, {"bunches", "bunch", true}, {"berries", "berry", true}, {"tomatoes", "tomato", true}, {"slice", "slices", true},
		{"pea", "pear", false}, {"oat", "goat", false}, {"s", "", false}, {"egg", "egg", true}} {
		if got := SameWord(c.a, c.b); got != c.want {
			t.Errorf("%s, %s: got %v", c.a, c.b, got)
		}
	}
}

// Whatever is written: no panic, advice in every error, an amount above zero of the dimension asked for, and every figure used is a figure.
func FuzzKitchen(f *testing.F) {
	for _, text := range []string{"2 cups", "1 1/2|cup", "½|tsp", "2 eggs", "half an egg", "a pinch", "1|bunch", "2-3 eggs", "3 cloves of garlic", "two and a half", "half a dozen eggs", "2 x 400 g",
		"1 lb 4 oz", "2 pt 1 cup", "a a", "three quarters", "12 halves", "1 and 1/2 cup", "one third of the", "to taste", "No. 2 1/2", "0.0000001 mL", "(1/7) egg", "a half a half", "5 thirds"} {
		quantity, unit, _ := strings.Cut(text, "|")
		f.Add(quantity, unit, byte(0))
		f.Add(quantity, unit, byte(7))
		f.Add(quantity, unit, byte(29))
	}
	facts := []Facts{
		{Measures: map[string]Figure{"cup": fig(f, "200 g", Measured), "clove": fig(f, "3 g", Published), "each": fig(f, "0.05 L", FromMemory)}},
		{Measures: map[string]Figure{"pinch": fig(f, "0.3 ml", CommonPractice)}, Density: fig(f, "1.03 kg", Published), AskPiece: "size"},
	}
	f.Fuzz(func(t *testing.T, quantity, unit string, how byte) {
		to := []Dimension{Mass, Volume, Count, Unknown}[how&3]
		k := Kitchen{Item: "eggs", Words: []string{"egg", "garlic"}, Comma: how&4 != 0, Middle: how&8 != 0,
			Convention: []Convention{NoConvention, MetricCups, USCups, ImperialPint, Australian}[int(how>>4)%5], Facts: facts[how&1:]}
		c, err := k.Read(quantity, unit, to)
		checkError(t, err)
		if err != nil {
			return
		}
		if c.Amount.Dimension() != to || c.Amount.Rat().Sign() <= 0 || c.Written.Rat().Sign() <= 0 {
			t.Fatalf("%q %q: got %s", quantity, unit, c.Amount)
		}
		for _, u := range c.Used {
			if !u.OK() || u.What == "" {
				t.Fatalf("%q %q: used %+v", quantity, unit, u)
			}
		}
		if _, ok := ParseStatus(string(c.Status())); ok != (len(c.Used) > 0) {
			t.Fatalf("%q %q: status %q of %v", quantity, unit, c.Status(), c.Used)
		}
	})
}
