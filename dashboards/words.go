package dashboards

import (
	"fmt"
	"math"
	"strings"
	"time"
	"unicode"

	"farthing/pipeline/result"
)

// minus is printed for a negative sign.
const minus = "\u2212"

// num prints a number as its file does, rounded to fewer decimals; "" where it is missing.
func num(n result.Num, decimals int) string {
	return strings.Replace(n.Fixed(decimals), "-", minus, 1)
}

// money prints an amount with its currency.
func money(n result.Num, currency string) string {
	return strings.TrimSpace(num(n, 2) + " " + currency)
}

// percent prints a share as a percentage, with a no-break thin space.
func percent(n result.Num, decimals int) string {
	if !n.OK {
		return ""
	}
	// A share has four decimals: what a float adds far behind them goes, so that a tie stays a tie.
	return num(result.Some(math.Round(n.V*1e12)/1e10), decimals) + "\u202f%"
}

// month prints "February 2024", shortMonth "Feb 2024", dayName "28 February".
func month(m result.Month) string {
	return fmt.Sprintf("%s %d", time.Month(m.Number()), m.Year())
}

func shortName(m result.Month) string  { return time.Month(m.Number()).String()[:3] }
func shortMonth(m result.Month) string { return fmt.Sprintf("%s %d", shortName(m), m.Year()) }

// day prints a file's 2024-02-28 as "28 February", or "28 Feb" if short; what
// is no date is printed as it is. The year stands where it is not year.
func day(s string, year int, short bool) string {
	t, err := time.Parse(time.DateOnly, s)
	if err != nil {
		return s
	}
	name := t.Month().String()
	if short {
		name = name[:3]
	}
	if t.Year() != year {
		return fmt.Sprintf("%d %s %d", t.Day(), name, t.Year())
	}
	return fmt.Sprintf("%d %s", t.Day(), name)
}

// span prints consecutive months: "November and December 2024", "March 2023 to June 2024".
func span(from, to result.Month) string {
	switch {
	case from == to:
		return month(from)
	case to == from+1 && from.Year() == to.Year():
		return fmt.Sprintf("%s and %s", time.Month(from.Number()), month(to))
	case from.Year() == to.Year():
		return fmt.Sprintf("%s to %s", time.Month(from.Number()), month(to))
	}
	return fmt.Sprintf("%s to %s", month(from), month(to))
}

// count prints a number of things: "one raise", "12 raises".
func count(n int, one, many string) string {
	if n == 1 {
		return "one " + one
	}
	small := []string{"no", "", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten"}
	if n >= 0 && n < len(small) {
		return small[n] + " " + many
	}
	return fmt.Sprintf("%d %s", n, many)
}

// label prints a key that has no name of its own: "food_support" as "food support".
func label(key string) string { return clean(strings.ReplaceAll(key, "_", " ")) }

// clean makes text that others wrote safe to set in a line: what steers the
// terminal or turns the reading direction shows as a replacement mark, and a
// name in a right-to-left script is kept from turning its neighbours.
func clean(s string) string {
	rtl := false
	s = strings.Map(func(r rune) rune {
		rtl = rtl || unicode.In(r, unicode.Hebrew, unicode.Arabic, unicode.Syriac, unicode.Thaana, unicode.Nko)
		switch {
		case r == '\n' || r == '\t':
			return ' '
		case unicode.IsControl(r), r == '\u200e', r == '\u200f', r == '\u061c', r >= '\u202a' && r <= '\u202e', r >= '\u2066' && r <= '\u2069':
			return unicode.ReplacementChar
		}
		return r
	}, s)
	if rtl {
		return "\u2068" + s + "\u2069"
	}
	return s
}

// statusWords are the letters of SDMX CL_OBS_STATUS as a page says them.
var statusWords = map[byte]string{
	'A': "normal", 'B': "break in series", 'E': "estimated: last price kept", 'I': "imputed in part", 'L': "not collected",
	'M': "not sold", 'O': "a price is missing", 'P': "provisional", 'Q': "held back", 'U': "thin data",
}

// statusKey explains the letters that rows carry, in a fixed order.
func statusKey(all []string) string {
	seen := strings.Join(all, "")
	var words []string
	for _, c := range []byte("QMOLBUEIP") {
		if strings.IndexByte(seen, c) >= 0 {
			words = append(words, fmt.Sprintf("[%c] %s", c, statusWords[c]))
		}
	}
	if words == nil {
		return ""
	}
	return " " + strings.Join(words, ", ") + "."
}

// letters prints a row's statuses, and nothing for a normal row.
func letters(b result.Base) string {
	s := b.ObsStatusAll
	if s == "" {
		s = b.ObsStatus
	}
	s = strings.Map(func(r rune) rune {
		if r == 'A' || r > 'Z' || r < 'A' {
			return -1
		}
		return r
	}, s)
	if s == "" {
		return ""
	}
	return "[" + s + "]"
}

// noPrice says why a total is missing, from the row's own status.
func noPrice(b result.Base) string {
	words := "no full price"
	for _, s := range []struct{ letter, words string }{
		{"Q", "prices held back"}, {"M", "an item was not sold"}, {"O", "a price is missing"}, {"L", "prices not collected"},
	} {
		if strings.Contains(b.ObsStatusAll+b.ObsStatus, s.letter) {
			words = s.words
			break
		}
	}
	if l := letters(b); l != "" {
		words += " " + l
	}
	return words
}
