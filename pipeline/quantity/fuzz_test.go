package quantity

import (
	"errors"
	"fmt"
	"math/big"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// Whatever the text: no panic, every error an *Error that says what to type, and what is printed reads back the same.
func FuzzParsePack(f *testing.F) {
	for _, text := range []string{"6x330ml", "2x(3x100 g)", "1 ½ lb", "750-800g", "No. 2 1/2", "400 g (240 g drained)", "16 oz (473 ml)", "(1/7) kg",
		"pack of 6-9", "6 cans (330 ml each)", "1lx10", "1 lb 4 oz", "25.4 oz / 750 ml", "3 heap", "drained 1 kg, 2 kg", "half x 0 g", "0 each (5 g each) (5 g)", "0.5 each (5 g each)", "4-8 x 1-2 l x 3"} {
		f.Add(text, false, false)
		f.Add(text, true, true)
	}
	heap := map[string]Amount{"heap": New(big.NewRat(17, 20), Mass), "oz": New(new(big.Rat), Volume)}
	f.Fuzz(func(t *testing.T, text string, comma, imperial bool) {
		o := Options{Comma: comma, Imperial: imperial, Measures: heap}
		p, err := ParsePack(text, o)
		checkError(t, err)
		if err == nil {
			back, err := ParsePack(p.String(), Options{})
			if err != nil || !samePack(p, back) {
				t.Fatalf("%q: %s reads back as %s, %v", text, p, back, err)
			}
			if total, err := p.Total(); (err == nil) == (p.IsRange() || p.Each.Dimension() == Unknown) || err == nil && total.Rat().Sign() <= 0 {
				t.Fatalf("%q: total %s and %v of %s", text, total, err, p)
			}
		}
		a, err := ParseAmount(text, o)
		checkError(t, err)
		if err == nil {
			if back, err := ParseAmount(a.String(), Options{}); err != nil || !back.Equal(a) {
				t.Fatalf("%q: %s reads back as %s, %v", text, a, back, err)
			}
		}
		_, _, err = ParseTitleUnit(text)
		checkError(t, err)
		_, err = ParseShelfPrice(text, o)
		checkError(t, err)
		_, err = ParseUnit(text)
		checkError(t, err)
	})
}

func checkError(t *testing.T, err error) {
	t.Helper()
	var e *Error
	if err != nil && (!errors.As(err, &e) || e.Why == "" || e.Instead == "" || e.Kind == nil) {
		t.Fatalf("got an error without advice: %v", err)
	}
}

func FuzzParseDecimal(f *testing.F) {
	for _, text := range []string{"12.50", "12,50", "-1", "1e9", "1,234.5", "", "٣", "1/3", "0x1p9"} {
		f.Add(text, false)
		f.Add(text, true)
	}
	f.Fuzz(func(t *testing.T, text string, comma bool) {
		r, err := ParseDecimal(text, comma)
		checkError(t, err)
		if err != nil {
			return
		}
		n, exact := r.FloatPrec()
		if !exact {
			t.Fatalf("%q: %s is no decimal", text, r)
		}
		if back, err := ParseDecimal(r.FloatString(n), false); err != nil || back.Cmp(r) != 0 {
			t.Fatalf("%q: %s reads back as %v, %v", text, r, back, err)
		}
	})
}

func FuzzGTIN(f *testing.F) {
	for _, code := range []string{"6291041500213", "036000291452", "04252614", "2012345012349", "", "62910415O0213"} {
		f.Add(code, 1)
	}
	f.Fuzz(func(t *testing.T, code string, indicator int) {
		key, err := GTIN14(code)
		checkError(t, err)
		if err == nil {
			if again, err := GTIN14(key); err != nil || again != key {
				t.Fatalf("%q: %s gives %s and %v", code, key, again, err)
			}
		}
		for _, give := range []func() (string, error){
			func() (string, error) { return ExpandUPCE(code) },
			func() (string, error) { return CaseGTIN14(code, indicator) },
		} {
			made, err := give()
			checkError(t, err)
			if err == nil && !ValidGTIN(made) {
				t.Fatalf("%q: made %s, which is not valid", code, made)
			}
		}
		_, err = Restricted(code)
		checkError(t, err)
		_, err = EmbeddedReadings(code)
		checkError(t, err)
		_, err = CheckDigit(code)
		checkError(t, err)
	})
}

// Any amount, decimal or not, and any change of dimension there and back.
func TestAmountLaws(t *testing.T) {
	positive := rapid.Custom(func(t *rapid.T) *big.Rat {
		return big.NewRat(rapid.Int64Range(1, 1e12).Draw(t, "num"), rapid.Int64Range(1, 1e12).Draw(t, "den"))
	})
	dimension := rapid.SampledFrom([]Dimension{Mass, Volume, Count})
	rapid.Check(t, func(t *rapid.T) {
		a := New(positive.Draw(t, "amount"), dimension.Draw(t, "from"))
		if back, err := ParseAmount(a.String(), Options{}); err != nil || !back.Equal(a) {
			t.Fatalf("%s reads back as %s, %v", a, back, err)
		}
		b := Bridge{positive.Draw(t, "density"), positive.Draw(t, "piece"), "drawn"}
		there, err := a.To(dimension.Draw(t, "to"), b)
		if err != nil {
			t.Fatal(err)
		}
		if back, err := there.To(a.Dimension(), b); err != nil || !back.Equal(a) {
			t.Fatalf("%s went to %s and came back as %s, %v", a, there, back, err)
		}
		unit := New(positive.Draw(t, "unit"), a.Dimension())
		n, err := a.In(unit)
		if err != nil || !unit.Times(n).Equal(a) {
			t.Fatalf("%s is %s times %s, %v", a, n, unit, err)
		}
	})
}

// A multipack is its counts times its size times its unit, however it is spaced, nested or turned round; and a range of two such sizes
// keeps their order.
func TestMultipackLaws(t *testing.T) {
	forms := []string{"%N x %M x %A", "%Nx%Mx%A", "%N x (%M x %A)", "%N × (%A x %M)", "%A x %N x %M", "(%A) x %N x %M", "%N cans of %M x %A", "pack of %N x %M x %A"}
	tokens := []string{"g", "kg", "oz", "lb", "ml", "cl", "l", "gal", "qt_us", "fl oz", "imp pint", "cup_metric", "each", "dozen"}
	whole := rapid.Int64Range(1, 500)
	rapid.Check(t, func(t *rapid.T) {
		n, m, size, decimals := whole.Draw(t, "n"), whole.Draw(t, "m"), whole.Draw(t, "size"), rapid.IntRange(1, 4).Draw(t, "decimals")
		token := rapid.SampledFrom(tokens).Draw(t, "unit")
		value := new(big.Rat).Mul(big.NewRat(size, 1), lastPlace(decimals))
		one := value.FloatString(decimals) + " " + token
		text := strings.NewReplacer("%N", fmt.Sprint(n), "%M", fmt.Sprint(m), "%A", one).Replace(rapid.SampledFrom(forms).Draw(t, "form"))
		p, err := ParsePack(text, Options{})
		if err != nil {
			t.Fatal(err)
		}
		total, err := p.Total()
		unit, _ := ParseUnit(token)
		if want := unit.Times(value).Times(big.NewRat(n*m, 1)); err != nil || !total.Equal(want) {
			t.Fatalf("%q: got %s and %v, want %s", text, total, err, want)
		}
		p, err = ParsePack(one+" - "+fmt.Sprint(size)+" "+token, Options{})
		if err != nil || !p.Range.Low.Equal(unit.Times(value)) || !p.Range.High.Equal(unit.Times(big.NewRat(size, 1))) {
			t.Fatalf("range of %q: got %s and %v", one, p, err)
		}
	})
}
