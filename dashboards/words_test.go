package dashboards

import (
	"testing"

	"farthing/pipeline/result"
)

func TestWords(t *testing.T) {
	feb := result.Month(2024*12 + 1)
	for _, c := range []struct{ name, got, want string }{
		{"negative", num(some(-13.256), 2), "\u221213.26"},
		{"missing number", money(result.Num{}, ""), ""},
		{"a tie in cents goes up", money(some(2.675), "XTS"), "2.68 XTS"},
		{"nothing rounded has no sign", num(some(-0.001), 2), "0.00"},
		{"percent", percent(some(0.0807), 0), "8\u202f%"},
		{"percent on a tie", percent(some(0.285), 0), "29\u202f%"},
		{"percent missing", percent(result.Num{}, 0), ""},
		{"dearer", change(some(113), some(100)), "13.0\u202f% more than"},
		{"cheaper", change(some(90), some(100)), "10.0\u202f% less than"},
		{"the same to a tenth", change(some(100.04), some(100)), "as much as"},
		{"from nothing", change(some(1), some(0)), ""},
		{"from missing", change(some(1), result.Num{}), ""},
		{"month", month(feb), "February 2024"},
		{"day", day("2024-02-28", 2024, false), "28 February"},
		{"day of another year", day("2025-01-09", 2024, true), "9 Jan 2025"},
		{"not a day", day("soon", 2024, false), "soon"},
		{"one month", span(feb, feb), "February 2024"},
		{"two months", span(feb, feb+1), "February and March 2024"},
		{"in a year", span(feb, feb+2), "February to April 2024"},
		{"over years", span(feb-2, feb), "December 2023 to February 2024"},
		{"one", count(1, "raise", "raises"), "one raise"},
		{"none", count(0, "raise", "raises"), "no raises"},
		{"many", count(12, "raise", "raises"), "12 raises"},
		{"key", label("food_support"), "food support"},
		{"turned text", clean("a\u202eb\x00\nc"), "a\ufffdb\ufffd c"},
		{"right to left", clean("שלום"), "\u2068שלום\u2069"},
		{"letters", letters(result.Base{ObsStatusAll: "O,I"}), "[OI]"},
		{"normal", letters(result.Base{ObsStatus: "A", ObsStatusAll: "A"}), ""},
		{"not sold before missing", noPrice(result.Base{ObsStatus: "M", ObsStatusAll: "M O"}), "an item was not sold [MO]"},
		{"seen", filledWords(result.BasketLine{UnitPrice: some(1)}), "seen on shelves"},
		{"filled", filledWords(result.BasketLine{UnitPrice: some(1), FilledBy: "carried"}), "filled: last price kept"},
		{"filled by a rule without words", filledWords(result.BasketLine{UnitPrice: some(1), FilledBy: "a_rule"}), "filled: a rule"},
		{"no price", filledWords(result.BasketLine{Base: result.Base{ObsStatus: "O"}}), "a price is missing [O]"},
		{"status key", statusKey([]string{"[I]", "[OI]"}), " [O] a price is missing, [I] imputed in part."},
	} {
		if c.got != c.want {
			t.Errorf("%s: got %q, want %q", c.name, c.got, c.want)
		}
	}
}
