package intake

import (
	"math/big"
	"strconv"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"farthing/pipeline/quantity"
	"farthing/pipeline/workspace"

	"github.com/apache/arrow/go/v17/arrow/array"
	"pgregory.net/rapid"
)

// shopper is a typer over two regions, an outlet, three items, a measure and three aliases.
func shopper(t testing.TB, change func(*workspace.Settings)) *typer {
	t.Helper()
	s := workspace.Defaults()
	if change != nil {
		change(&s)
	}
	rat := func(s string) *big.Rat { r, _ := new(big.Rat).SetString(s); return r }
	return newTyper(newLexicon(s, &workspace.Tables{
		Regions: []workspace.Region{{Region: "cove", Currency: "XTS"}, {Region: "fell", Currency: "XXX"}},
		Outlets: []workspace.Outlet{{Outlet: "hall", Region: "cove"}, {Outlet: "stall", Region: "fell"}},
		Items: []workspace.Item{{Item: "oats", BaseUnit: "kg"}, {Item: "milk", BaseUnit: "L", Density: rat("1.03"), Source: "made"},
			{Item: "eggs", BaseUnit: "each", PieceKg: rat("0.06"), Source: "made"}},
		Measures: []workspace.Measure{{Measure: "Scoop", Item: "oats", Quantity: rat("50"), Unit: "g"}, {Measure: "heap", Region: "fell", Quantity: rat("2"), Unit: "kg"}},
		Aliases: []workspace.Alias{{Source: "*", Kind: "item", AsRead: "Rolled oats, 2 kg", Means: "oats", Variety: "rolled", Grade: "plain", Pack: "2 kg"},
			{Source: "other", Kind: "region", AsRead: "The Cove", Means: "cove"}, {Source: "*", Kind: "item", AsRead: "ghost", Means: "nothing"}},
	}), newVocabulary(), notesSource, 7)
}

// typedRow is what the typer made of a row.
type typedRow struct {
	aside         setAside
	micro         int64
	quantity      float64
	pack, as      string
	variety       string
	grade         string
	key, id       uint64
	labelOff, nil bool
}

// typeOne types one note: the plain one with other cells, given as column, value, column, value ...
func typeOne(t testing.TB, ty *typer, cells ...string) (got typedRow) {
	t.Helper()
	row := map[string]string{"observed_on": "2024-01-02", "region": "cove", "outlet": "hall", "item": "oats", "price": "2.40", "pack": "1 kg"}
	for i := 0; i < len(cells); i += 2 {
		row[cells[i]] = cells[i+1]
	}
	var f fields
	for i, name := range columnNames {
		f[i] = []byte(row[name])
	}
	ty.row(2, []byte("raw"), &f, nil)
	rec, aside, n := ty.take()
	defer rec.Release()
	if n != 1 || len(aside)+int(rec.NumRows()) != 1 {
		t.Fatalf("got %d rows read, %d set aside, %d typed; want 1 in one of them", n, len(aside), rec.NumRows())
	}
	if len(aside) == 1 {
		return typedRow{aside: aside[0]}
	}
	word := func(col int) string {
		id := rec.Column(col).(*array.Int32).Value(0)
		for s, i := range ty.vocab.words {
			if i == id {
				return s
			}
		}
		t.Fatalf("column %d: no word %d", col, id)
		return ""
	}
	got = typedRow{key: rec.Column(2).(*array.Uint64).Value(0), id: rec.Column(3).(*array.Uint64).Value(0),
		variety: word(9), grade: word(10), labelOff: rec.Column(18).(*array.Boolean).Value(0), nil: rec.Column(15).IsNull(0)}
	if !got.nil {
		got.micro = rec.Column(15).(*array.Int64).Value(0)
	}
	for b, id := range ty.vocab.amounts {
		if id == rec.Column(12).(*array.Int32).Value(0) {
			got.quantity, got.pack, got.as = b.quantity, b.pack, b.asRead
		}
	}
	return got
}

// TestTyped: what a row says in other words it says all the same, and its
// observation's key and number do not depend on the words.
func TestTyped(t *testing.T) {
	ty := shopper(t, nil)
	plain := typeOne(t, ty)
	if plain.micro != 2_400_000 || plain.quantity != 1 || plain.pack != "1 x 1 kg" || plain.aside.code != "" {
		t.Fatalf("got %+v, want 2.40 for 1 kg", plain)
	}
	for _, c := range []struct {
		name     string
		cells    []string
		micro    int64
		quantity float64 // by hand
		sameKey  bool
		sameID   bool
	}{
		{"other decimals", []string{"price", "2.4"}, 2_400_000, 1, true, true},
		{"pack in grams", []string{"pack", "1000 g"}, 2_400_000, 1, true, true},
		{"words that are the default", []string{"price_type", "regular", "currency", "XTS", "kind", "quote", "market", "retail", "packs", "1"}, 2_400_000, 1, true, true},
		{"a note", []string{"note", "x", "row_id", "9"}, 2_400_000, 1, true, true},
		{"another price", []string{"price", "2.41"}, 2_410_000, 1, true, false},
		{"another day", []string{"observed_on", "2024-01-03"}, 2_400_000, 1, false, false},
		{"another price type", []string{"price_type", "promo"}, 2_400_000, 1, false, false},
		{"a multipack", []string{"pack", "4 x 250 g"}, 2_400_000, 1, false, false},
		{"two packs", []string{"packs", "2"}, 2_400_000, 2, false, false},
		{"weighed", []string{"weighed", "950 g"}, 2_400_000, .95, true, true},
		{"its measure", []string{"pack", "2 scoop"}, 2_400_000, .1, false, false},
		{"milk by weight", []string{"item", "milk", "pack", "1.03 kg"}, 2_400_000, 1, false, false},
		{"eggs by weight", []string{"item", "eggs", "pack", "600 g"}, 2_400_000, 10, false, false},
		{"pieces counted", []string{"item", "eggs", "pack", "600 g", "pieces", "9"}, 2_400_000, 9, false, false},
		{"millionths", []string{"price", "0.000001"}, 1, 1, true, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			got := typeOne(t, ty, c.cells...)
			if got.aside.code != "" || got.micro != c.micro || got.quantity != c.quantity || (got.key == plain.key) != c.sameKey || (got.id == plain.id) != c.sameID {
				t.Errorf("got %+v; want %d millionths for %v, same key %v, same id %v as %+v", got, c.micro, c.quantity, c.sameKey, c.sameID, plain)
			}
		})
	}
	t.Run("an alias says more", func(t *testing.T) {
		got := typeOne(t, ty, "item", "Rolled oats, 2 kg", "pack", "")
		if got.variety != "rolled" || got.grade != "plain" || got.quantity != 2 {
			t.Errorf("got %+v, want rolled, plain, 2 kg", got)
		}
		if got := typeOne(t, ty, "item", "Rolled oats, 2 kg", "variety", "steel cut", "pack", "500 g"); got.variety != "steel cut" || got.quantity != .5 {
			t.Errorf("got %+v, want what the row itself says", got)
		}
	})
	t.Run("bars in names", func(t *testing.T) {
		a, b := typeOne(t, ty, "variety", "a|b", "grade", "c"), typeOne(t, ty, "variety", "a", "grade", "b|c")
		c, d := typeOne(t, ty, "variety", `a\`, "grade", "|b"), typeOne(t, ty, "variety", `a\|`, "grade", "b")
		if a.key == b.key || c.key == d.key {
			t.Error("two observations have one key")
		}
	})
	t.Run("not sold", func(t *testing.T) {
		if got := typeOne(t, ty, "price", "", "price_type", "not_sold", "pack", ""); !got.nil || got.aside.code != "" {
			t.Errorf("got %+v, want no price", got)
		}
	})
	t.Run("set aside", func(t *testing.T) {
		for _, c := range []struct{ column, value, code, field, says string }{
			{"item", "ghost", "unknown_item", "item", "nothing"},
			{"item", "oat", "unknown_item", "item", `did you mean "oats"?`},
			{"region", "The Cove", "unknown_region", "region", "notes,region,The Cove"}, // another source's alias
			{"region", "fell", "outlet_region", "region", "hall in cove"},
			{"outlet", "stall", "outlet_region", "region", "stall in fell"},
			{"pack", "1 heap", "pack", "pack", "heap"}, // a measure of fell
			{"weighed", "0 g", "weighed", "weighed", "above 0"},
			{"weighed", "2 each", "dimension", "weighed", "piece_kg"},
			{"price", "\xff", "text", "price", "UTF-8"},
			{"price_type", missingType, "price_type", "price_type", "regular"},
		} {
			got := typeOne(t, ty, c.column, c.value, "currency", "XTS")
			if got.aside.code != c.code || got.aside.field != c.field || !strings.Contains(got.aside.cure, c.says) || got.aside.row != "raw" || got.aside.line != 2 {
				t.Errorf("%s %q: got %+v; want %s, %s, a cure with %q", c.column, c.value, got.aside, c.code, c.field, c.says)
			}
		}
		if got := typeOne(t, ty, "region", "fell", "outlet", "stall", "currency", "XTS"); got.aside.code != "currency" || !strings.Contains(got.aside.cure, "XXX") {
			t.Errorf("another currency: got %+v, want currency, XXX", got.aside)
		}
		late := shopper(t, nil)
		late.keptOn = time.Date(2024, 2, 1, 0, 0, 0, 0, time.UTC)
		if got := typeOne(t, late, "observed_on", "2042-02-01"); got.aside.code != "future" {
			t.Errorf("a day after the file was kept: got %+v, want future", got.aside)
		}
		if got := typeOne(t, late, "observed_on", "2024-02-02"); got.aside.code != "" {
			t.Errorf("the day after, in another time zone: got %+v, want it typed", got.aside)
		}
	})
	t.Run("measure of its region", func(t *testing.T) {
		if got := typeOne(t, ty, "region", "fell", "outlet", "stall", "pack", "1 heap"); got.quantity != 2 {
			t.Errorf("got %+v, want 2 kg", got)
		}
	})
	t.Run("decimal comma", func(t *testing.T) {
		ty := shopper(t, func(s *workspace.Settings) { s.Prices.Decimal = "," })
		if got := typeOne(t, ty, "price", "2,40", "pack", "0,5 kg"); got.micro != 2_400_000 || got.quantity != .5 {
			t.Errorf("got %+v, want 2.40 for 0.5 kg", got)
		}
	})
}

// TestDecimalCommaIsDeclared: where the comma is declared a point is no guess at thousands.
func TestDecimalCommaIsDeclared(t *testing.T) {
	ty := shopper(t, func(s *workspace.Settings) { s.Prices.Decimal = "," })
	for _, price := range []string{"2.40", "1.234", "1.234,50"} {
		if got := typeOne(t, ty, "price", price); got.aside.code != "price" || got.aside.cure == "" {
			t.Errorf("%s: got %+v, want it set aside", price, got)
		}
	}
}

func TestDays(t *testing.T) {
	for _, c := range []struct {
		read, order string
		average     bool
		want        string // the day, or the code of its fault
	}{
		{"2024-02-29", "", false, "2024-02-29"},
		{"2024-02-29", "", true, "2024-02-01"},
		{"2024-02", "", true, "2024-02-01"},
		{"2024-02", "", false, "date"},
		{"2023-02-29", "", false, "date"},
		{"2024-2-9", "", false, "date"},
		{"2024-02-29T10:00", "", false, "date"},
		{"03/04/2024", "", false, "date_order"},
		{"03/04/2024", "DMY", false, "2024-04-03"},
		{"03.04.2024", "DMY", false, "2024-04-03"},
		{"03/04/2024", "MDY", false, "2024-03-04"},
		{"31/12/2024", "MDY", false, "date"},
		{"2024/04/03", "YMD", false, "2024-04-03"},
		{"1799-12-31", "", false, "date"},
		{"2201-01-01", "", false, "date"},
		{"1800-01-01", "", false, "1800-01-01"},
		{"", "", false, "date"},
	} {
		got := readDay(c.read, c.order, c.average)
		if got.fault != nil {
			got.text = got.fault.code
		}
		if got.text != c.want {
			t.Errorf("%q as %q, average %v: got %s, want %s", c.read, c.order, c.average, got.text, c.want)
		}
	}
}

// TestPlainMicro: the quick reader takes no price that the exact one does not, nor reads it otherwise.
func TestPlainMicro(t *testing.T) {
	taken := 0
	rapid.Check(t, func(t *rapid.T) {
		s := rapid.OneOf(rapid.StringMatching(`[0-9]{0,13}([.,][0-9]{0,8})?`), rapid.StringMatching(`[-+.,0-9e]{0,12}`)).Draw(t, "price")
		comma := rapid.Bool().Draw(t, "comma")
		micro, ok := plainMicro([]byte(s), comma)
		if !ok {
			return
		}
		taken++
		r, err := quantity.ParseDecimal(s, comma)
		if err != nil {
			t.Fatalf("%q: got %d, but it is no number: %v", s, micro, err)
		}
		if want, exact := quantity.Micro(r); micro != want || exact != (micro > 0) {
			t.Fatalf("%q: got %d, want %d (%v)", s, micro, want, exact)
		}
	})
	if taken == 0 {
		t.Error("no price was taken")
	}
	for s, want := range map[string]int64{"2.40": 2_400_000, "99999999999.999999": 99_999_999_999_999_999, "0.000001": 1, "0": 0} {
		if got, ok := plainMicro([]byte(s), false); ok && got != want || !ok && len(s) < 16 {
			t.Errorf("%s: got %d, %v, want %d", s, got, ok, want)
		}
	}
}

// TestClip: what is set aside can be kept and shown, whatever it was.
func TestClip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s, n := string(rapid.SliceOf(rapid.Byte()).Draw(t, "text")), rapid.IntRange(1, 20).Draw(t, "n")
		got := clip(s, n)
		if !utf8.ValidString(got) {
			t.Fatalf("%q: got %q, not UTF-8", s, got)
		}
		if len(s) <= n && utf8.ValidString(s) && got != s {
			t.Fatalf("got %q, want %q", got, s)
		}
		if len(s) > n && !strings.Contains(got, strconv.Itoa(len(s))+" bytes") {
			t.Fatalf("%q: got %q, which does not say that there was more", s, got)
		}
	})
}

// FuzzNote: no cell makes the typer panic, and each row is either typed, with a
// price above 0 or none, or set aside with a cure.
func FuzzNote(f *testing.F) {
	for _, seed := range [][3]string{{"price", "2.40", "1 kg"}, {"weighed", "0 g", "6 x 330 ml"}, {"shelf_unit_price", "2.40/0 kg", "(1/3) kg"}, {"packs", "1e9", "750-800 g"}, {"pieces", "\xff", "=cmd()"}} {
		f.Add(seed[0], seed[1], seed[2])
	}
	f.Fuzz(func(t *testing.T, column, value, pack string) {
		got := typeOne(t, shopper(t, nil), "pack", pack, column, value)
		switch {
		case got.aside.code != "":
			if got.aside.cure == "" || !utf8.ValidString(got.aside.text+got.aside.cure+got.aside.field) {
				t.Errorf("got %+v: nobody can be told", got.aside)
			}
		case got.nil == (got.micro > 0), !got.nil && !(got.quantity > 0):
			t.Errorf("got %+v, want a price and an amount above 0, or none", got)
		case workspace.BadText(got.as) != "":
			t.Errorf("got the pack %q", got.as)
		}
	})
}

func TestSafeName(t *testing.T) {
	for in, want := range map[string]string{"notes.csv": "notes.csv", `..\..\x`: "file-.._.._x", "a\nb\x1b.csv": "a_b_.csv", "a\u202eb": "a_b", "n\xff": "n_",
		"": "file-", ".hidden": "file-.hidden", "descriptor.json": "file-descriptor.json", "mûre 1.csv": "mûre 1.csv"} {
		if got := safeName(in); got != want {
			t.Errorf("%q: got %q, want %q", in, got, want)
		}
	}
}
