package dashboards

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode"

	"farthing/dashboards/layout"
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

// list names things in a sentence, at most so many of them; where names hold
// commas themselves, semicolons stand between them.
func list(names []string, most int) string {
	comma := ", "
	if slices.ContainsFunc(names, func(s string) bool { return strings.Contains(s, ",") }) {
		comma = "; "
	}
	if len(names) > most {
		names = append(names[:most-1:most-1], fmt.Sprintf("%d more", len(names)-most+1))
	}
	if n := len(names); n > 1 {
		return strings.Join(names[:n-1], comma) + " and " + names[n-1]
	}
	return strings.Join(names, "")
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
		return clean(s)
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

// shortSpan is a span for a table: "Nov 2023 to Feb 2024".
func shortSpan(from, to result.Month) string {
	if from == to {
		return shortMonth(from)
	}
	return shortMonth(from) + " to " + shortMonth(to)
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

// statusOrder are the letters of SDMX CL_OBS_STATUS that the program sets,
// strongest first; statusWords say what each means.
const statusOrder = "QMOLBUEIPA"

var statusWords = map[byte]string{
	'A': "a normal value: every price was observed", 'B': "a break in the series", 'E': "estimated: the last price is kept for a while",
	'I': "imputed in part: a price was filled in by rule", 'L': "prices were not collected",
	'M': "an item was not sold", 'O': "a price is missing, so there is no total", 'P': "provisional", 'Q': "prices are held back for a check",
	'U': "thin data: fewer than 3 shops, or less than %s of the cost observed",
}

// statusText says what a letter means, with the least observed share of the edition.
func statusText(e *result.Edition, letter byte) string {
	words := statusWords[letter]
	if letter != 'U' {
		return words
	}
	least := "the least share asked for"
	for _, o := range e.Options {
		if v, err := strconv.ParseFloat(o[1], 64); err == nil && o[0] == "least observed share" {
			least = percent(result.Some(v), 0)
		}
	}
	return fmt.Sprintf(words, least)
}

// thin says why a row's data are thin, "" where they are not.
func (s *site) thin(b result.Base, observed result.Num) string {
	if !strings.Contains(b.ObsStatusAll+b.ObsStatus, "U") {
		return ""
	}
	if b.NOutlets.OK && b.NOutlets.V < 3 {
		return count(b.NOutlets.V, "shop", "shops") + " seen, fewer than three"
	}
	if observed.OK {
		return "only " + percent(observed, 2) + " of the cost observed"
	}
	return statusText(s.e, 'U')
}

// statusKey explains the letters that rows carry, in a fixed order.
func statusKey(e *result.Edition, rows []layout.Row) string {
	seen := map[byte]bool{}
	for _, r := range rows {
		last := r.Cells[len(r.Cells)-1].Text
		if i := strings.LastIndexByte(last, '['); i >= 0 && strings.HasSuffix(last, "]") {
			for _, c := range []byte(last[i:]) {
				seen[c] = true
			}
		}
	}
	var words []string
	for _, c := range []byte(statusOrder) {
		if seen[c] {
			words = append(words, fmt.Sprintf("[%c] %s", c, statusText(e, c)))
		}
	}
	if words == nil {
		return ""
	}
	return " " + strings.Join(words, "; ") + "."
}

// letters prints a row's statuses, and nothing for a normal row.
func letters(b result.Base) string {
	all := b.ObsStatusAll
	if all == "" {
		all = b.ObsStatus
	}
	var list []string
	for _, r := range all {
		if r >= 'B' && r <= 'Z' {
			list = append(list, string(r))
		}
	}
	if list == nil {
		return ""
	}
	return "[" + strings.Join(list, ", ") + "]"
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
