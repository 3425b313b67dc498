package quantity

import (
	"errors"
	"math"
	"math/big"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
)

func TestTo(t *testing.T) {
	oil := Bridge{DensityKgPerL: big.NewRat(92, 100), Source: "by hand"}
	egg := Bridge{DensityKgPerL: big.NewRat(103, 100), PieceKg: big.NewRat(5, 100), Source: "by hand"}
	for _, c := range []struct {
		name, from string
		to         Dimension
		b          Bridge
		want       string // "" = ErrDimension, whose advice names record
		record     string
	}{
		{"volume to mass", "2 L", Mass, oil, "1.84 kg", ""}, // by hand: 2 x 0.92
		{"mass to volume", "1.84 kg", Volume, oil, "2 L", ""},
		{"mass to volume, no finite decimal", "1 kg", Volume, oil, "(25/23) L", ""},
		{"count to mass", "12 each", Mass, egg, "0.6 kg", ""}, // by hand: 12 x 0.05
		{"mass to count", "0.6 kg", Count, egg, "12 each", ""},
		{"count to volume", "103 each", Volume, egg, "5 L", ""}, // by hand: 103 x 0.05 / 1.03
		{"volume to count", "5 L", Count, egg, "103 each", ""},
		{"same dimension needs nothing", "5 L", Volume, Bridge{}, "5 L", ""},
		{"no density", "1 L", Mass, Bridge{Source: "s"}, "", "density_kg_per_l"},
		{"no piece weight", "1 each", Mass, oil, "", "piece_kg"},
		{"piece weight but no density", "1 each", Volume, Bridge{PieceKg: big.NewRat(1, 1), Source: "s"}, "", "density_kg_per_l"},
		{"no source", "1 L", Mass, Bridge{DensityKgPerL: big.NewRat(1, 1)}, "", "source"},
		{"zero density", "1 L", Mass, Bridge{DensityKgPerL: new(big.Rat), Source: "s"}, "", "above zero"},
		{"negative piece weight", "1 kg", Count, Bridge{PieceKg: big.NewRat(-1, 2), Source: "s"}, "", "above zero"},
		{"no target", "1 kg", Unknown, egg, "", "kg, L or each"},
	} {
		t.Run(c.name, func(t *testing.T) {
			got, err := amount(t, c.from).To(c.to, c.b)
			if c.want != "" {
				if err != nil || got.String() != c.want {
					t.Errorf("got %s and %v, want %s", got, err, c.want)
				}
				return
			}
			var e *Error
			if !errors.Is(err, ErrDimension) || !errors.As(err, &e) || !strings.Contains(e.Instead, c.record) {
				t.Errorf("got %s and %v, want ErrDimension and advice to record %s", got, err, c.record)
			}
		})
	}
	if a, err := (Amount{}).To(Mass, egg); !errors.Is(err, ErrDimension) {
		t.Errorf("no amount: got %s and %v, want ErrDimension", a, err)
	}
}

// 1,000 generated conversions between dimensions without a recorded figure, and 1,000 undeclared measures: none succeeds.
func TestNothingCrossesUnrecorded(t *testing.T) {
	random := rand.New(rand.NewPCG(3, 7))
	var names []string
	for name := range units {
		names = append(names, name)
	}
	slices.Sort(names)
	tried := 0
	for tried < 1000 {
		from, to := units[names[random.IntN(len(names))]].size, units[names[random.IntN(len(names))]].size
		if from.Dimension() == to.Dimension() {
			continue
		}
		tried++
		a := from.Times(big.NewRat(1+random.Int64N(1e6), 1+random.Int64N(1000)))
		if got, err := a.In(to); !errors.Is(err, ErrDimension) {
			t.Errorf("%s in %s: got %s and %v", a, to, got, err)
		}
		half := Bridge{Source: "s"} // the figure that does not help here
		if from.Dimension() == Count || to.Dimension() == Count {
			half.DensityKgPerL = big.NewRat(1, 1)
		} else {
			half.PieceKg = big.NewRat(1, 1)
		}
		for _, b := range []Bridge{{}, half, {DensityKgPerL: big.NewRat(1, 1), PieceKg: big.NewRat(1, 1)}} {
			if got, err := a.To(to.Dimension(), b); !errors.Is(err, ErrDimension) {
				t.Errorf("%s to %s: got %s and %v", a, to.Dimension(), got, err)
			}
		}
	}
	measures := 0
	for measures < 1000 {
		var word strings.Builder
		for range 3 + random.IntN(8) {
			word.WriteByte(byte('a' + random.IntN(26)))
		}
		if _, known := (Options{}).lookup(word.String()); known || slices.Contains(vessels, word.String()) || slices.Contains(packWords, word.String()) {
			continue
		}
		measures++
		if a, err := ParseAmount("3 "+word.String(), Options{}); !errors.Is(err, ErrUnit) {
			t.Errorf("3 %s: got %s and %v, want ErrUnit", word.String(), a, err)
		}
	}
}

func TestUnitTable(t *testing.T) {
	rows := map[string]bool{}
	spelled := map[string]string{}
	for _, row := range unitRows {
		if rows[row.token] {
			t.Errorf("%s stands twice in the table", row.token)
		}
		rows[row.token] = true
		for _, name := range strings.Fields(row.names) {
			if spelled[name] != "" || bare[name] != "" {
				t.Errorf("%q means two units", name)
			}
			spelled[name] = row.token
		}
	}
	// A US gallon is 231 cubic inches of 2.54 cm, a bushel 2150.42; an avoirdupois pound has 7000 grains of 64.79891 mg. A second
	// way to the sizes in the table (NIST Handbook 44, appendix C).
	cubicInch := rat(t, "0.016387064") // 2.54^3 cm3 in L, by hand
	for token, want := range map[string]*big.Rat{
		"gal_us":    new(big.Rat).Mul(cubicInch, big.NewRat(231, 1)),
		"tsp_us":    new(big.Rat).Mul(cubicInch, big.NewRat(231, 768)),
		"bushel_us": new(big.Rat).Mul(cubicInch, rat(t, "2150.42")),
		"peck_us":   new(big.Rat).Mul(cubicInch, rat(t, "537.605")),
		"lb":        rat(t, "0.45359237"),
		"stone":     new(big.Rat).Mul(rat(t, "0.45359237"), big.NewRat(14, 1)),
	} {
		if got := unitOf(t, token).Rat(); got.Cmp(want) != 0 {
			t.Errorf("%s: got %s, want %s", token, got.FloatString(15), want.FloatString(15))
		}
	}
	grains := new(big.Rat).Mul(rat(t, "0.00006479891"), big.NewRat(7000, 1))
	if got := unitOf(t, "lb").Rat(); got.Cmp(grains) != 0 {
		t.Errorf("lb: got %s, want 7000 grains = %s", got, grains)
	}
}

func TestEmptyAmount(t *testing.T) {
	var none Amount
	if none.Rat() != nil || !math.IsNaN(none.Float()) || none.String() != "" || none.Dimension() != Unknown || none.Times(big.NewRat(2, 1)).Dimension() != Unknown {
		t.Errorf("got %v, %v, %q, want no amount", none.Rat(), none.Float(), none.String())
	}
	if none.Equal(New(new(big.Rat), Mass)) || !none.Equal(New(nil, Mass)) || !none.Equal(New(big.NewRat(1, 1), 9)) {
		t.Error("missing is not zero kilograms")
	}
	if got, err := none.In(New(big.NewRat(1, 1), Mass)); !errors.Is(err, ErrDimension) {
		t.Errorf("got %v and %v, want ErrDimension", got, err)
	}
	if got, err := New(big.NewRat(1, 1), Mass).In(New(new(big.Rat), Mass)); err == nil {
		t.Errorf("in units of nothing: got %v, want an error", got)
	}
	if (Pack{}).String() != "" {
		t.Errorf("empty pack: got %q", Pack{}.String())
	}
	// An amount never changes: not through what it was made of, not through what it gave away.
	r := big.NewRat(1, 2)
	a := New(r, Mass)
	r.SetInt64(9)
	a.Rat().SetInt64(9)
	if a.String() != "0.5 kg" {
		t.Errorf("got %s, want 0.5 kg", a)
	}
}

func TestDimension(t *testing.T) {
	for _, d := range []Dimension{Mass, Volume, Count} {
		if got, ok := DimensionOf(d.BaseUnit()); !ok || got != d {
			t.Errorf("got %s, want %s", got, d)
		}
	}
	for _, unit := range []string{"", "l", "KG", "lb"} {
		if d, ok := DimensionOf(unit); ok {
			t.Errorf("%q: got %s, want none", unit, d)
		}
	}
	if Dimension(9).BaseUnit() != "" || Dimension(9).String() != Unknown.String() {
		t.Error("an unknown dimension has a unit")
	}
}

func TestParseDecimal(t *testing.T) {
	for _, c := range []struct {
		text  string
		comma bool
		want  string // "" = an error
		say   string // part of the advice
	}{
		{"12.50", false, "25/2", ""}, {"12,50", true, "25/2", ""}, {" 3 ", false, "3", ""}, {"-1.5", false, "-3/2", ""},
		{"0", false, "0", ""}, {"007", false, "7", ""}, {"0.1", false, "1/10", ""}, {"1.005", false, "201/200", ""},
		{"", false, "", "12.50"}, {"-", false, "", "12.50"}, {".5", false, "", "digits"}, {"5.", false, "", "digits"}, {"+5", false, "", "digits"},
		{"--5", false, "", "digits"}, {"1e3", false, "", "digits"}, {"0x10", false, "", "digits"}, {"1_000", false, "", "digits"}, {"1/2", false, "", "digits"},
		{"NaN", false, "", "digits"}, {"Inf", false, "", "digits"}, {"$3.49", false, "", "digits"}, {"3.49 USD", false, "", "digits"}, {"１２", false, "", "digits"},
		{"12,50", false, "", "12.50, or declare"}, {"12.50", true, "", "12,50, or declare"}, {"1,234", false, "", "1234 if it marks thousands"},
		{"1.234", true, "", "1234 if it marks thousands"}, {"1,234.50", false, "", "thousands"}, {"1.234.567", false, "", "thousands"}, {"1 234", false, "", "digits"},
		{",", false, "", "declare"}, {",5", false, "", "declare"}, {strings.Repeat("9", 1<<20), false, "", "digits"},
	} {
		got, err := ParseDecimal(c.text, c.comma)
		if c.want != "" {
			if err != nil || got.RatString() != c.want {
				t.Errorf("%q: got %v and %v, want %s", c.text, got, err, c.want)
			}
			continue
		}
		var e *Error
		if !errors.As(err, &e) || !errors.Is(err, ErrSyntax) || !strings.Contains(e.Instead, c.say) || len(e.Error()) > 400 {
			t.Errorf("%q: got %v and %v, want advice with %q", clip(c.text), got, err, c.say)
		}
	}
}

func TestUnitPriceRefuses(t *testing.T) {
	kg := New(big.NewRat(1, 1), Mass)
	for name, c := range map[string]struct {
		price     *big.Rat
		size, per Amount
	}{
		"no price":       {nil, kg, kg},
		"below zero":     {big.NewRat(-1, 1), kg, kg},
		"no size":        {big.NewRat(1, 1), Amount{}, kg},
		"size zero":      {big.NewRat(1, 1), New(new(big.Rat), Mass), kg},
		"per zero":       {big.NewRat(1, 1), kg, New(new(big.Rat), Mass)},
		"two dimensions": {big.NewRat(1, 1), kg, New(big.NewRat(1, 1), Volume)},
	} {
		if got, err := UnitPrice(c.price, c.size, c.per); err == nil {
			t.Errorf("%s: got %s, want an error", name, got)
		}
		if _, err := Rank([]Offer{{"a", big.NewRat(1, 1), kg}, {"b", c.price, c.size}}, c.per); err == nil {
			t.Errorf("%s: got a ranking, want an error", name)
		}
	}
	if ranked, err := Rank(nil, kg); err != nil || len(ranked) != 0 {
		t.Errorf("no offers: got %v and %v", ranked, err)
	}
	tie, err := Rank([]Offer{{"b", big.NewRat(2, 1), kg}, {"a", big.NewRat(1, 1), kg.Times(big.NewRat(1, 2))}}, kg)
	if err != nil || tie[0].Name != "a" {
		t.Errorf("tie: got %v and %v, want a first", tie, err)
	}
	// by hand: 0.9996 is below one, three places
	if got := DisplayUnitPrice(rat(t, "0.9996")); got != "1.000" {
		t.Errorf("got %s, want 1.000", got)
	}
}

func TestShelfPrice(t *testing.T) {
	for _, c := range []struct {
		label, price, size string
		want               bool
	}{
		{"2.50/kg", "1.10", "440 g", true}, // by hand: 1.10 / 0.44 = 2.50
		{"2.50 per kg", "1.10", "440 g", true},
		{"$0.083 / oz", "1.29", "15.5 oz", true}, // by hand: 0.08323
		{"0.084/oz", "1.29", "15.5 oz", false},
		{"25 per 100 g", "100", "400 g", true},
		{"2.49/kg", "1.10", "440 g", false},
		{"0.25 per 100 g", "1.10", "440 g", true},
	} {
		label, err := ParseShelfPrice(c.label, Options{})
		if err != nil {
			t.Errorf("%q: %v", c.label, err)
			continue
		}
		if got, err := label.Agrees(rat(t, c.price), amount(t, c.size)); err != nil || got != c.want {
			t.Errorf("%q, %s for %s: got %v and %v, want %v", c.label, c.price, c.size, got, err, c.want)
		}
	}
	comma, err := ParseShelfPrice("2,50 / kg", Options{Comma: true})
	if err != nil || comma.Places != 2 || comma.Price.RatString() != "5/2" {
		t.Errorf("comma: got %+v and %v, want 2.50 with two places", comma, err)
	}
	if _, err := comma.Agrees(rat(t, "1"), amount(t, "1 L")); !errors.Is(err, ErrDimension) {
		t.Errorf("per kg of litres: got %v, want ErrDimension", err)
	}
	for _, text := range []string{"", "2.50", "24.7p per 100g", "2.50/heap", "-1/kg", "/kg", "2/0 kg", "per kg"} {
		if got, err := ParseShelfPrice(text, Options{}); err == nil {
			t.Errorf("%q: got %+v, want an error", text, got)
		}
	}
}
