package quantity

import (
	"errors"
	"fmt"
	"strings"
	"testing"
)

func TestParseLabel(t *testing.T) {
	for _, c := range []struct {
		text  string
		comma bool
		want  string // offers as understood, and their size
	}{
		// By hand from the grammar of ParseLabel.
		{"2.49 500 g", false, "2.49 for 0.5 kg = 0.5 kg"},
		{"2.49, 500 g", false, "2.49 for 0.5 kg = 0.5 kg"},
		{" $ 2.49 ; 500g ", false, "2.49 for 0.5 kg = 0.5 kg"},
		{"1.99/kg", false, "1.99 for 1 kg = 1 kg"},
		{"0.83 per 100 g", false, "0.83 for 0.1 kg = 0.1 kg"},
		{"2 12 each", false, "2.00 for 12 each = 12 each"},
		{"0.2467 1 kg", false, "0.2467 for 1 kg = 1 kg"},
		{"2.10 6 x 330 ml", false, "2.10 for 6 x 0.33 L = 1.98 L"},
		{"3 for 5.00, 6 x 330 ml", false, "5.00 for 3 of 6 x 0.33 L = 5.94 L"},
		{"1.89 or 3 for 5.00, 6 x 330 ml", false, "1.89 for 6 x 0.33 L = 1.98 L; 5.00 for 3 of 6 x 0.33 L = 5.94 L"},
		{"1.89, 3 for 5.00 330 ml", false, "1.89 for 0.33 L = 0.33 L; 5.00 for 3 of 0.33 L = 0.99 L"},
		{"1,89 3 for 5,00 330 ml", true, "1.89 for 0.33 L = 0.33 L; 5.00 for 3 of 0.33 L = 0.99 L"},
		{"2.49 400 g (240 g drained)", false, "2.49 for 0.4 kg (0.24 kg drained) = 0.4 kg"},
	} {
		l, err := ParseLabel(c.text, Options{Comma: c.comma})
		if err != nil {
			t.Errorf("%q: %v", c.text, err)
			continue
		}
		var got []string
		for _, o := range l.Offers() {
			got = append(got, fmt.Sprintf("%s = %s", o.Name, o.Size))
		}
		if g := strings.Join(got, "; "); g != c.want {
			t.Errorf("%q: got %q, want %q", c.text, g, c.want)
		}
	}
}

func TestParseLabelRefuses(t *testing.T) {
	for _, c := range []struct {
		text string
		kind error
		say  string
	}{
		{"", ErrSyntax, "price first"},
		{"2.49", ErrSyntax, "price first"},
		{"500 g 2.49", ErrSyntax, "after the price"}, // 500 is taken for the price
		{"2.49 kg", ErrSyntax, "price first"},
		{"500g 2.49", ErrSyntax, "price first"},
		{"oats 500 g", ErrSyntax, "price first"},
		{"99p 500 g", ErrSyntax, "price first"},
		{"-2.49 500 g", ErrSyntax, "price first"},
		{"0.00 500 g", ErrSyntax, "price first"},
		{"2.49 0 g", ErrSyntax, "above zero"},
		{"2.49 a few", ErrSyntax, "price first"},
		{"2.49 3 heaps", ErrUnit, "a unit"},
		{"2.49 2 bottles", ErrSyntax, "after the price"},
		{"2.49 750-800 g", ErrRange, "scale"},
		{"2.49 240 g drained", ErrSyntax, "the net content"},
		{"1,99 500 g", ErrSyntax, "1.99"},
		{"1,234.50 500 g", ErrSyntax, "no thousands marks"},
		{"1 for 5.00 500 g", ErrSyntax, "price first"},
		{"0 for 5.00 500 g", ErrSyntax, "price first"},
		{"3 for 500 g", ErrSyntax, "price first"}, // without the price of the three
		{"1.99/", ErrSyntax, "price first"},
		{"1.99/stone age", ErrUnit, "a unit"},
	} {
		l, err := ParseLabel(c.text, Options{})
		var e *Error
		if !errors.As(err, &e) || !errors.Is(err, c.kind) || !strings.Contains(e.Instead, c.say) || e.Read != clip(c.text) {
			t.Errorf("%q: got %+v and %v, want %v with %q", c.text, l.Offers(), err, c.kind, c.say)
		}
	}
}

// What was understood reads back as the same offers, and no text makes the parser panic.
func FuzzParseLabel(f *testing.F) {
	for _, s := range []string{"2.49 500 g", "1.99/kg", "3 for 5.00, 6 x 330 ml", "1.89 or 3 for 5.00, 6 x 330 ml", "0.83 per 100 g", "1,99 1 lb", "$ 2 12 each", "2.49 1/3 kg"} {
		f.Add(s, false)
		f.Add(s, true)
	}
	f.Fuzz(func(t *testing.T, text string, comma bool) {
		l, err := ParseLabel(text, Options{Comma: comma})
		if err != nil {
			var e *Error
			if !errors.As(err, &e) || e.Instead == "" {
				t.Fatalf("%q: %v is no *Error that helps", text, err)
			}
			return
		}
		for _, o := range l.Offers() {
			price, content, _ := strings.Cut(o.Name, " for ")
			again := price + " " + content
			if packs, of, ok := strings.Cut(content, " of "); ok {
				again = packs + " for " + price + ", " + of
			}
			if len(again) > maxText { // more than any label
				continue
			}
			back, err := ParseLabel(again, Options{})
			if err != nil || len(back.Offers()) != 1 {
				t.Fatalf("%q: %q does not read back: %v", text, again, err)
			}
			if b := back.Offers()[0]; b.Price.Cmp(o.Price) != 0 || !b.Size.Equal(o.Size) || b.Price.Sign() <= 0 {
				t.Fatalf("%q: got %s for %s, read back %s for %s", text, o.Price, o.Size, b.Price, b.Size)
			}
		}
	})
}
