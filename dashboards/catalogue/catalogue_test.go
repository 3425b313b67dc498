package catalogue

import (
	"errors"
	"strings"
	"testing"
	"time"
)

func must(t *testing.T, tag string, f Forms) *Language {
	t.Helper()
	l, err := New(tag, f)
	if err != nil {
		t.Fatal(err)
	}
	return l
}

// TestForms: dates and numbers as a language has them, and as settings change
// them. The German dates are those of DIN 5008 with the month in letters; the
// letters of the forms those of UTS 35.
func TestForms(t *testing.T) {
	en, de := must(t, "en", Forms{}), must(t, "de", Forms{})
	iso := must(t, "en", Forms{Decimal: ",", Thousands: "\u202f", Month: "y-MM", ShortMonth: "MM/y", Date: "y-MM-dd", ShortDate: "d.M.y", Day: "d 'of' MMMM", ShortDay: "''MMM d"})
	day := time.Date(2024, 2, 8, 0, 0, 0, 0, time.UTC)
	for _, c := range []struct{ name, got, want string }{
		{"English date", en.Day(day, false, true), "8 February 2024"},
		{"English day, short", en.Day(day, true, false), "8 Feb"},
		{"German date", de.Day(day, false, true), "8. Februar 2024"},
		{"German day", de.Day(day, false, false), "8. Februar"},
		{"German date, short", de.Day(day, true, true), "8. Feb 2024"},
		{"German month", de.Month(2024, time.March, false), "März 2024"},
		{"German month, short", de.Month(2024, time.March, true), "Mär 2024"},
		{"set date", iso.Day(day, false, true), "2024-02-08"},
		{"set short date", iso.Day(day, true, true), "8.2.2024"},
		{"set day with words", iso.Day(day, false, false), "8 of February"},
		{"an apostrophe", iso.Day(day, true, false), "'Feb 8"},
		{"set month", iso.Month(2024, time.February, false), "2024-02"},
		{"set short month", iso.Month(2024, time.February, true), "02/2024"},
		{"English number", en.Figure("1234.50"), "1234.50"},
		{"German number", de.Figure("1234567.50"), "1.234.567,50"},
		{"German number below a thousand", de.Figure("\u2212999.5"), "\u2212999,5"},
		{"set number", iso.Figure("-1000"), "-1\u202f000"},
		{"no number", de.Figure("1.2.3"), "1.2.3"},
		{"words in a text", de.T("%s\u202f%%", "8,5"), "8,5\u202f%"},
		{"a count in a text", de.T("%d more", 1200), "1.200 weitere"},
		{"a count of a text", de.T("%s g", 0.5), "0,5 g"},
		{"one", de.Count(1, "one shop", "%s shops"), "ein Laden"},
		{"few", de.Count(3, "one shop", "%s shops"), "drei Läden"},
		{"none", de.Count(0, "one shop", "%s shops"), "keine Läden"},
		{"many", de.Count(1100, "one shop", "%s shops"), "1.100 Läden"},
		{"a text that is not there", de.T("nothing has %s", "this"), "nothing has this"},
		{"what tells texts apart is not printed", de.T("there|nothing"), "nothing"},
		{"a number that is not there", de.Count(1, "one thing", "%s things"), "one thing"},
	} {
		if c.got != c.want {
			t.Errorf("%s: got %q, want %q", c.name, c.got, c.want)
		}
	}
	if iso.Named() || !de.Named() {
		t.Errorf("got months in digits that share a year, or names that do not")
	}
}

// TestPlurals: a language that tells more numbers apart than English. The forms
// are those of Unicode CLDR, plural rules of Polish.
func TestPlurals(t *testing.T) {
	b, err := files.ReadFile("en.toml")
	if err != nil {
		t.Fatal(err)
	}
	text := strings.Replace(string(b), `{one = "one shop", other = "%s shops"}`, `{one = "jeden sklep", few = "%s sklepy", many = "%s sklepów", other = "%s sklepu"}`, 1)
	l, err := Read("pl", []byte(strings.Replace(text, `"two", "three", "four", "five"`, `"2", "3", "4", "5"`, 1)), Forms{})
	if err != nil {
		t.Fatal(err)
	}
	for n, want := range map[int]string{1: "jeden sklep", 2: "2 sklepy", 5: "5 sklepów", 22: "22 sklepy", 25: "25 sklepów"} {
		if got := l.Count(n, "one shop", "%s shops"); got != want {
			t.Errorf("%d: got %q, want %q", n, got, want)
		}
	}
}

func TestRefused(t *testing.T) {
	if _, err := New("xx", Forms{}); err == nil || !strings.Contains(err.Error(), "de, en") {
		t.Errorf("got %v, want an error that lists the languages", err)
	}
	for _, f := range []Forms{{Decimal: "x"}, {Thousands: ".."}, {Thousands: "1"}, {Decimal: ",", Thousands: ","}, {Month: "MMMM"}, {Date: "yyyy-MM-dd"}, {Date: "d MMMM y 'open"}, {Day: "d MMMM y"}, {ShortDate: "MMM d, E y"}} {
		var bad *FormError
		if err := f.Check(); !errors.As(err, &bad) || bad.Instead == "" {
			t.Errorf("%+v: got %v, want a form that is refused", f, err)
		}
	}
	if _, err := Read("en", []byte("language = 1"), Forms{}); err == nil {
		t.Error("got a file that is no catalogue, want an error")
	}
}
