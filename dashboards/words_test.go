package dashboards

import (
	"testing"

	"farthing/dashboards/catalogue"
	"farthing/dashboards/layout"
	"farthing/pipeline/result"
)

func TestWords(t *testing.T) {
	least := &result.Edition{Meta: result.Meta{Options: [][2]string{{"least observed share", "0.7"}}}}
	feb := result.Month(2024*12 + 1)
	for _, c := range []struct{ name, got, want string }{
		{"negative", en.num(some(-13.256), 2), "\u221213.26"},
		{"missing number", en.money(result.Num{}, ""), ""},
		{"a tie in cents goes up", en.money(some(2.675), "XTS"), "2.68 XTS"},
		{"nothing rounded has no sign", en.num(some(-0.001), 2), "0.00"},
		{"percent", en.percent(some(0.0807), 0), "8\u202f%"},
		{"percent on a tie", en.percent(some(0.285), 0), "29\u202f%"},
		{"percent missing", en.percent(result.Num{}, 0), ""},
		{"dearer", en.its(against(some(113), some(100)), feb), "13.0\u202f% above its price in February 2024"},
		{"cheaper", en.its(against(some(90), some(100)), feb), "10.0\u202f% below its price in February 2024"},
		{"the same to a tenth", en.its(against(some(100.04), some(100)), feb), "as much as in February 2024"},
		{"from nothing", against(some(1), some(0)).Fixed(1), ""},
		{"from missing", against(some(1), result.Num{}).Fixed(1), ""},
		{"month", en.month(feb), "February 2024"},
		{"day", en.day("2024-02-28", 2024, false), "28 February"},
		{"day of another year", en.day("2025-01-09", 2024, true), "9 Jan 2025"},
		{"not a day", en.day("soon", 2024, false), "soon"},
		{"one month", en.span(feb, feb), "February 2024"},
		{"two months", en.span(feb, feb+1), "February and March 2024"},
		{"in a year", en.span(feb, feb+2), "February to April 2024"},
		{"over years", en.span(feb-2, feb), "December 2023 to February 2024"},
		{"one", en.Count(1, "one raise", "%s raises"), "one raise"},
		{"none", en.Count(0, "one raise", "%s raises"), "no raises"},
		{"many", en.Count(12, "one raise", "%s raises"), "12 raises"},
		{"key", label("food_support"), "food support"},
		{"turned text", clean("a\u202eb\x00\nc"), "a\ufffdb\ufffd c"},
		{"right to left", clean("שלום"), "\u2068שלום\u2069"},
		{"letters", letters(result.Base{ObsStatusAll: "OI"}), "[O, I]"},
		{"normal", letters(result.Base{ObsStatus: "A", ObsStatusAll: "A"}), ""},
		{"not sold before missing", en.noPrice(result.Base{ObsStatus: "M", ObsStatusAll: "M O"}), "an item was not sold [M, O]"},
		{"seen", en.filledWords(result.BasketLine{UnitPrice: some(1), Base: result.Base{NObservations: result.Count(2)}}), "seen on shelves"},
		{"a published average", en.filledWords(result.BasketLine{UnitPrice: some(1)}), "published average"},
		{"filled", en.filledWords(result.BasketLine{UnitPrice: some(1), FilledBy: "carried"}), "filled: last price kept"},
		{"filled by a rule without words", en.filledWords(result.BasketLine{UnitPrice: some(1), FilledBy: "a_rule"}), "filled: a rule"},
		{"no price", en.filledWords(result.BasketLine{Base: result.Base{ObsStatus: "O"}}), "a price is missing [O]"},
		{"status key", en.statusKey(least, []layout.Row{{Cells: []layout.Cell{{Text: "[I]"}}}, {Cells: []layout.Cell{{Text: "Q"}, {Text: "a gap [O, I]"}}}}),
			" [O] a price is missing, so there is no total; [I] imputed in part: a price was filled in by rule."},
		{"thin data say why", en.statusKey(least, []layout.Row{{Cells: []layout.Cell{{Text: "[U]"}}}}), " [U] thin data: fewer than 3 shops, or less than 70\u202f% of the cost observed."},
		{"thin by shops", (&site{tongue: en, e: least}).thin(result.Base{ObsStatus: "U", NOutlets: result.Count(1)}, some(1)), "one shop seen, fewer than three"},
		{"thin by share", (&site{tongue: en, e: least}).thin(result.Base{ObsStatusAll: "OU"}, some(.5064)), "only 50.64\u202f% of the cost observed"},
		{"not thin", (&site{tongue: en, e: least}).thin(result.Base{ObsStatus: "A", NOutlets: result.Count(1)}, some(.1)), ""},
		{"names", en.list([]string{"a", "b", "c"}, 3), "a, b and c"},
		{"too many names", en.list([]string{"a", "b", "c", "d"}, 3), "a, b and 2 more"},
		{"names with commas", en.list([]string{"beans, dried", "milk", "salt"}, 3), "beans, dried; milk; and salt"},
		{"no range from averages", en.noRange(result.Base{}), "It rests on published averages, which do not tell the shops behind them, so no range can be given."},
		{"no range where none was seen", en.noRange(result.Base{NObservations: result.Count(0), NOutlets: result.Count(0)}), "No price was seen this month; all are filled by rule."},
		{"no range from counted averages", en.noRange(result.Base{NObservations: result.Count(9), NOutlets: result.Count(0)}), "It rests on published averages, which do not tell the shops behind them, so no range can be given."},
		{"by rule alone", en.basis(result.Base{NObservations: result.Count(0)}), "by rule alone"},
		{"no range from two shops", en.noRange(result.Base{NOutlets: result.Count(2)}), "It rests on two shops, and a range across shops takes at least three."},
	} {
		if c.got != c.want {
			t.Errorf("%s: got %q, want %q", c.name, c.got, c.want)
		}
	}
}

func TestStep(t *testing.T) {
	row := func(paid float64, per string) result.Allowance {
		return result.Allowance{Month: 2024*12 + 3, AmountAsPaid: some(paid), Per: per, EffectiveFrom: "2024-03-15"}
	}
	undated := row(20, "month")
	undated.EffectiveFrom = ""
	for _, c := range []struct {
		name        string
		before, now result.Allowance
		words       string
		sign        int
	}{
		{"a raise", row(21, "week"), row(23.5, "week"), "15 Mar 2024: allowance 21.00 to 23.50 a week (+11.9\u202f%)", 1},
		{"a cut", row(165.36, "month"), row(156, "month"), "15 Mar 2024: allowance 165.36 to 156.00 a month (−5.7\u202f%)", -1},
		{"no change", row(21, "week"), row(21, "week"), "", 0},
		{"none before", result.Allowance{}, row(21, "week"), "", 0},
		{"no day", row(10, "month"), undated, "1 Apr 2024: allowance 10.00 to 20.00 a month (+100.0\u202f%)", 1},
		// 42 / 14 = 21 / 7 a day
		{"another period, as much", row(21, "week"), row(42, "2 weeks"), "15 Mar 2024: allowance 21.00 a week to 42.00 every two weeks", 0},
		{"another period, less", row(84, "4 weeks"), row(84, "month"), "15 Mar 2024: allowance 84.00 every four weeks to 84.00 a month", -1},
	} {
		words, more := en.step(c.before, c.now)
		if words != c.words || more > 0 != (c.sign > 0) || more < 0 != (c.sign < 0) {
			t.Errorf("%s: got %q and %v, want %q and a sign of %d", c.name, words, more, c.words, c.sign)
		}
	}
}

// english is the language of the tests' pages, and en says things in it.
var english, en = func() (*catalogue.Language, tongue) {
	l, err := catalogue.New(catalogue.English, catalogue.Forms{})
	if err != nil {
		panic(err)
	}
	return l, tongue{l}
}()
