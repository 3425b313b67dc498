package quantity

import (
	"errors"
	"math/big"
	"strings"
	"testing"
)

func amount(t *testing.T, text string) Amount {
	t.Helper()
	a, err := ParseAmount(text, Options{})
	if err != nil {
		t.Fatal(err)
	}
	return a
}

// wantPack checks the canonical text of a pack and that it reads back as the same pack.
func wantPack(t *testing.T, text string, o Options, want string) {
	t.Helper()
	p, err := ParsePack(text, o)
	if err != nil {
		t.Errorf("%q: got %v, want %s", text, err, want)
		return
	}
	if p.String() != want || p.As != text {
		t.Errorf("%q: got %s (as %q), want %s", text, p, p.As, want)
	}
	back, err := ParsePack(p.String(), Options{})
	if err != nil || !samePack(back, p) {
		t.Errorf("%q: %s reads back as %s, %v", text, p, back, err)
	}
}

func samePack(a, b Pack) bool {
	return a.Count.Cmp(b.Count) == 0 && a.Each.Equal(b.Each) && a.Drained.Equal(b.Drained) &&
		a.Range.Low.Equal(b.Range.Low) && a.Range.High.Equal(b.Range.High)
}

func TestParsePack(t *testing.T) {
	for _, c := range []struct{ text, want string }{
		{"500 g", "0.5 kg"},
		{"6x330ml", "6 x 0.33 L"},
		{"6 × 330 mL", "6 x 0.33 L"},
		{"330 ml x 6", "6 x 0.33 L"},
		{"2x(3x100 g)", "6 x 0.1 kg"},
		{"2 x 3 x 100 g", "6 x 0.1 kg"},
		{"12x1l", "12 x 1 L"}, // Polish scanner data as published in R package PriceIndices, data set dataCOICOP
		{"1lx10", "10 x 1 L"}, // the same; its publisher read 10.6 l
		{"6 cans of 330 ml", "6 x 0.33 L"},
		{"6 cans (330 ml each)", "6 x 0.33 L"},
		{"6 x 330 ml cans", "6 x 0.33 L"},
		{"pack of 6 x 330 ml", "6 x 0.33 L"},
		{"pack of 6", "6 each"},
		{"6-pack", "6 each"},
		{"2 dozen", "24 each"},
		{"6 x 1 doz.", "6 x 12 each"},
		{"half dozen", "6 each"},
		{"1/2 gal", "1.892705892 L"},
		{"one-half gallon", "1.892705892 L"},
		{"1 ½ lb", "0.680388555 kg"},
		{"1½ lb", "0.680388555 kg"},
		{"1-1/2 lb", "0.680388555 kg"},
		{"1 lb 4 oz", "0.5669904625 kg"},
		{"1 cup 2 tbsp", "0.2661617660625 L"},
		{"16 oz", "0.45359237 kg"},
		{"16 fl. oz.", "0.473176473 L"},
		{"1 imp pint", "0.56826125 L"},
		{"2 dry pints", "1.101220942715 L"},
		{"per kg", "1 kg"},
		{"500 g ℮", "0.5 kg"},
		{"500 g e", "0.5 kg"},
		{"010 g", "0.01 kg"}, // not octal
		{"(1/010) kg", "0.1 kg"},
		// The same amount said twice.
		{"16 oz (453 g)", "0.45359237 kg"},
		{"16 oz (454 g)", "0.45359237 kg"},
		{"16 oz (473 ml)", "0.473176473 L"},
		{"6 x 12 fl oz (355 ml)", "6 x 0.35488235475 L"},
		{"6 x 330 ml (1.98 L)", "6 x 0.33 L"},
		{"25.4 oz / 750 ml", "0.75 L"},
		// Net and drained.
		{"400 g (240 g drained)", "0.4 kg (0.24 kg drained)"},
		{"400g net / 240g drained", "0.4 kg (0.24 kg drained)"},
		{"400 g drained 240 g", "0.4 kg (0.24 kg drained)"},
		{"net wt. 400 g, drained weight: 240 g", "0.4 kg (0.24 kg drained)"},
		{"drained 240 g, net 400 g", "0.4 kg (0.24 kg drained)"},
		{"6 x 400 g (6 x 240 g drained)", "6 x 0.4 kg (0.24 kg drained)"},
		{"240 g drained", "0.24 kg drained"},
		// Ranges. Sizes of UK Office for National Statistics, consumer price items metadata.
		{"750-800g", "0.75 kg - 0.8 kg"},
		{"900g–2kg", "0.9 kg - 2 kg"},
		{"500ml-1litre", "0.5 L - 1 L"},
		{"1.25 to 2 litre", "1.25 L - 2 L"},
		{"pack of 6-9", "6 each - 9 each"},
		{"4 x 440-500ml", "4 x (0.44 L - 0.5 L)"},
		{"4-8 x 330 ml", "1.32 L - 2.64 L"},
		// Units of WFP market prices and of Stigler 1945, table A.
		{"90 KG", "90 kg"},
		{"350 G", "0.35 kg"},
		{"Pound", "0.45359237 kg"},
		{"10 1/2 oz.", "0.2976699928125 kg"},
		{"1/2 pt.", "0.2365882365 L"},
		{"No. 2 1/2", "0.73708760125 kg - 0.85048569375 kg"},
		{"6 x #10", "6 x (2.72155422 kg - 3.316894205625 kg)"},
		// What we print ourselves.
		{"(1/7) kg", "(1/7) kg"},
		{"2 x (1/7) kg (0.1 kg drained)", "2 x (1/7) kg (0.1 kg drained)"},
	} {
		wantPack(t, c.text, Options{}, c.want)
	}
}

func TestParsePackOptions(t *testing.T) {
	heap := Options{Measures: map[string]Amount{"heap": amount(t, "0.85 kg"), "cup": amount(t, "125 g"), "no. 2": amount(t, "19 oz"), "large bowl": amount(t, "1.2 kg"), "bag": amount(t, "50 kg")}}
	for _, c := range []struct {
		name, text string
		o          Options
		want       string
	}{
		{"decimal comma", "6 x 0,33 l", Options{Comma: true}, "6 x 0.33 L"},
		{"comma between amounts", "1,5 kg, drained 1,2 kg", Options{Comma: true}, "1.5 kg (1.2 kg drained)"},
		{"imperial pint", "4 pints", Options{Imperial: true}, "2.273045 L"},
		{"imperial, US said", "1 us gal", Options{Imperial: true}, "3.785411784 L"},
		{"imperial ounce beside a volume", "20 oz (568 ml)", Options{Imperial: true}, "0.56826125 L"},
		{"declared measure", "3 heap", heap, "2.55 kg"},
		{"one declared measure", "Heap", heap, "0.85 kg"},
		{"two words", "2 large bowl", heap, "2.4 kg"},
		{"declared wins over the table", "2 cup", heap, "0.25 kg"},
		{"declared can", "No. 2", heap, "0.538640939375 kg"},
		{"declared container", "2 bag", heap, "100 kg"},
	} {
		t.Run(c.name, func(t *testing.T) { wantPack(t, c.text, c.o, c.want) })
	}
}

func TestParsePackRefuses(t *testing.T) {
	for _, c := range []struct {
		text    string
		o       Options
		kind    error
		instead string // part of the advice
	}{
		{"", Options{}, ErrSyntax, "500 g"},
		{"500", Options{}, ErrSyntax, "unit"},
		{"6 x 330", Options{}, ErrSyntax, "unit"},
		{"0 g", Options{}, ErrSyntax, "above zero"},
		{"0 x 5 g", Options{}, ErrSyntax, "6 x 330 ml"},
		{"0.5 x 6 g", Options{}, ErrSyntax, "6 x 330 ml"},
		{"1/0 g", Options{}, ErrSyntax, "1/2"},
		{"-5 g", Options{}, ErrSyntax, "500 g"},
		{"1.5.2 kg", Options{}, ErrSyntax, "thousands"},
		{"1,5 kg", Options{}, ErrSyntax, "1.5"},
		{"1,500 g", Options{}, ErrSyntax, "1500"},
		{"1.5 kg", Options{Comma: true}, ErrSyntax, "1,5"},
		{"٣ kg", Options{}, ErrSyntax, "500 g"},
		{"300 g + 50 g", Options{}, ErrSyntax, "500 g"},
		{"(500 g", Options{}, ErrSyntax, "500 g"},
		{"3 kg x", Options{}, ErrSyntax, "500 g"},
		{"16 oz 453 g", Options{}, ErrSyntax, "parentheses"},
		{"4/100 g", Options{}, ErrSyntax, "4 x 100 g"},
		{"12/16 oz", Options{}, ErrSyntax, "multipack"},
		{"500 g - 400 g", Options{}, ErrSyntax, "750-800 g"},
		{"500 g - 1 l", Options{}, ErrSyntax, "750-800 g"},
		{"2 bottles", Options{}, ErrSyntax, "4 x 400 g"},
		{"pack", Options{}, ErrSyntax, "4 x 400 g"},
		{"400 g (500 g drained)", Options{}, ErrSyntax, "240 g drained"},
		{"4-8 x 400 g (240 g drained)", Options{}, ErrSyntax, "240 g drained"},
		{"400 g (200-240 g drained)", Options{}, ErrSyntax, "240 g drained"},
		{"heap", Options{}, ErrUnit, "declare the measure heap"},
		{"2 bowls", Options{}, ErrUnit, "declare the measure bowls"},
		{"3 Bunch", Options{}, ErrUnit, "declare the measure bunch"},
		{"Marmite", Options{}, ErrUnit, "declare the measure marmite"},
		{"1 large bowl", Options{}, ErrUnit, "declare the measure large bowl"},
		{"No. 7", Options{}, ErrUnit, "no. 7"},
		{"2 cups", Options{Imperial: true}, ErrUnit, "cup_metric"},
		{"1 lb (500 g)", Options{}, ErrDisagree, "label"},
		{"1 L (2 pt)", Options{}, ErrDisagree, "label"},
		{"pack of 6 (330 ml)", Options{}, ErrDimension, "6 x 330 ml"},
		{"pack of 80 (230-250g)", Options{}, ErrDimension, "for all"},
		{"0 each (5 g each) (5 g)", Options{}, ErrDimension, "6 x 330 ml"},
		{"0.5 each (5 g each)", Options{}, ErrDimension, "6 x 330 ml"},
		{"390-500g / 420-540ml", Options{}, ErrDimension, "one of the two"},
		{strings.Repeat("1", 200) + " g", Options{}, ErrSyntax, "digits"},
		{strings.Repeat("9", 90) + " x " + strings.Repeat("9", 90) + " g", Options{}, ErrSyntax, "fewer digits"},
		{"1" + strings.Repeat("0", 110) + " x 1" + strings.Repeat("0", 110) + " x 0." + strings.Repeat("0", 110) + "1 g", Options{}, ErrSyntax, "fewer digits"},
		{strings.Repeat("(", 390) + "1 g", Options{}, ErrSyntax, "500 g"},
		{strings.Repeat("x", 1000), Options{}, ErrSyntax, "net content"},
		{"5 \xff g", Options{}, ErrSyntax, "UTF-8"},
	} {
		p, err := ParsePack(c.text, c.o)
		var e *Error
		if !errors.Is(err, c.kind) || !errors.As(err, &e) {
			t.Errorf("%q: got %s and %v, want %v", clip(c.text), p, err, c.kind)
			continue
		}
		if !strings.Contains(e.Instead, c.instead) || len(e.Error()) > 400 {
			t.Errorf("%q: got advice %q, want it to say %q", clip(c.text), e.Instead, c.instead)
		}
	}
}

func TestPackTotals(t *testing.T) {
	p, err := ParsePack("6 x 400 g (240 g drained)", Options{})
	if err != nil {
		t.Fatal(err)
	}
	total, err := p.Total()
	drained, ok := p.DrainedTotal()
	if err != nil || !ok || total.String() != "2.4 kg" || drained.String() != "1.44 kg" {
		t.Errorf("got %s net, %s drained, %v, %v; want 2.4 kg, 1.44 kg", total, drained, ok, err)
	}
	if p, _ = ParsePack("2 x 400-500 g", Options{}); !p.IsRange() {
		t.Error("got no range, want one")
	}
	if a, err := p.Total(); !errors.Is(err, ErrRange) {
		t.Errorf("range: got %s and %v, want ErrRange", a, err)
	}
	if a, ok := p.DrainedTotal(); ok {
		t.Errorf("got %s drained, want none", a)
	}
	p, _ = ParsePack("240 g drained", Options{})
	if a, err := p.Total(); !errors.Is(err, ErrSyntax) {
		t.Errorf("drained alone: got %s and %v, want an error", a, err)
	}
	// The result belongs to the caller: changing it must not reach other packs.
	p, _ = ParsePack("500 g", Options{})
	p.Count.SetInt64(7)
	if q, _ := ParsePack("500 g", Options{}); q.Count.Cmp(big.NewRat(1, 1)) != 0 {
		t.Errorf("got count %s, want 1", q.Count)
	}
}

func TestParseAmount(t *testing.T) {
	for _, c := range []struct{ text, want string }{
		{"0 g", "0 kg"}, {"6 x 330 ml", "1.98 L"}, {"1 lb 4 oz", "0.5669904625 kg"}, {"(1/3) L", "(1/3) L"}, {"2 pieces", "2 each"},
	} {
		a, err := ParseAmount(c.text, Options{})
		if err != nil || a.String() != c.want {
			t.Errorf("%q: got %s and %v, want %s", c.text, a, err, c.want)
		}
	}
	for text, kind := range map[string]error{"1-2 kg": ErrRange, "No. 10": ErrRange, "400 g (240 g drained)": ErrSyntax, "3 handfuls": ErrUnit} {
		if a, err := ParseAmount(text, Options{}); !errors.Is(err, kind) {
			t.Errorf("%q: got %s and %v, want %v", text, a, err, kind)
		}
	}
}

func TestParseUnit(t *testing.T) {
	for text, want := range map[string]string{"Fl. Oz.": "0.0295735295625 L", "oz": "0.028349523125 kg", "uk pint": "0.56826125 L", "fda cup": "0.24 L", "each": "1 each", "tonnes": "1000 kg"} {
		if a, err := ParseUnit(text); err != nil || a.String() != want {
			t.Errorf("%q: got %s and %v, want %s", text, a, err, want)
		}
	}
	for _, text := range []string{"", "heap", "gal_xx", "2 kg", "_us"} {
		if a, err := ParseUnit(text); !errors.Is(err, ErrUnit) {
			t.Errorf("%q: got %s and %v, want ErrUnit", text, a, err)
		}
	}
}

func TestParseTitleUnit(t *testing.T) {
	for _, c := range []struct {
		title, want string
		kind        error
	}{
		{"Invented oats, per lb. (453.6 gm)", "0.45359237 kg", nil},
		{"Invented juice (cost per 16 ounces/473.2 ml)", "0.473176473 L", nil},
		{"Invented oats, per lb. (500 gm)", "", ErrDisagree},
		{"Invented juice, per 16 oz. (453.6 ml)", "", ErrDisagree},
		{"Invented peppers", "", ErrUnit},
		{"Peppered oats, superb", "", ErrUnit},
		{"", "", ErrUnit},
		{"Oats, per", "", ErrUnit},
		{"Oats, per heap", "", ErrUnit},
		{"Oats, per 1-2 lb", "", ErrRange},
	} {
		a, _, err := ParseTitleUnit(c.title)
		if a.String() != c.want || !errors.Is(err, c.kind) {
			t.Errorf("%q: got %s and %v, want %s and %v", c.title, a, err, c.want, c.kind)
		}
	}
}
