package dashboards

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"farthing/dashboards/catalogue"
	"farthing/dashboards/draw"
	"farthing/dashboards/layout"
	"farthing/pipeline/result"
)

// tongue says things in the language of the pages.
type tongue struct{ *catalogue.Language }

// minus is printed for a negative sign.
const minus = "\u2212"

// num prints a number as its file does, rounded to fewer decimals; "" where it is missing.
func (t tongue) num(n result.Num, decimals int) string { return t.Figure(digits(n, decimals)) }

// digits prints a number with a point, whatever the language.
func digits(n result.Num, decimals int) string {
	return strings.Replace(n.Fixed(decimals), "-", minus, 1)
}

// whole prints a count; "" where it is missing.
func (t tongue) whole(n result.Int) string { return t.Figure(n.String()) }

// money prints an amount with its currency.
func (t tongue) money(n result.Num, currency string) string {
	return strings.TrimSpace(t.num(n, 2) + " " + currency)
}

// percent prints a share as a percentage, with a no-break thin space.
func (t tongue) percent(n result.Num, decimals int) string {
	if !n.OK {
		return ""
	}
	// A share has four decimals: what a float adds far behind them goes, so that a tie stays a tie.
	return t.T("%s\u202f%%", t.num(result.Some(math.Round(n.V*1e12)/1e10), decimals))
}

// list names things in a sentence, at most so many of them; where names hold
// commas themselves, semicolons stand between them.
func (t tongue) list(names []string, most int) string {
	comma := ", "
	if slices.ContainsFunc(names, func(s string) bool { return strings.Contains(s, ",") }) {
		comma = "; "
	}
	if len(names) > most {
		names = append(names[:most-1:most-1], t.T("%d more", len(names)-most+1))
	}
	switch n := len(names); {
	case n > 2 && comma == "; ": // a last "and" would part a name
		return t.T("%s; and %s", strings.Join(names[:n-1], comma), names[n-1])
	case n > 1:
		return t.T("%s and %s", strings.Join(names[:n-1], comma), names[n-1])
	}
	return strings.Join(names, "")
}

// inBrackets puts words in brackets, and nothing in none.
func inBrackets(words string) string {
	if words == "" {
		return ""
	}
	return "(" + words + ")"
}

// upper puts a text at the start of a sentence.
func upper(s string) string {
	first, size := utf8.DecodeRuneInString(s)
	if size == 0 || first == utf8.RuneError {
		return s
	}
	return string(unicode.ToUpper(first)) + s[size:]
}

// month prints "February 2024", shortMonth "Feb 2024", shortName "Feb".
func (t tongue) month(m result.Month) string {
	return t.Month(m.Year(), time.Month(m.Number()), false)
}

func (t tongue) shortMonth(m result.Month) string {
	return t.Month(m.Year(), time.Month(m.Number()), true)
}

func (t tongue) shortName(m result.Month) string {
	return t.MonthName(time.Month(m.Number()), true)
}

// day prints a file's 2024-02-28 as "28 February", or "28 Feb" if short; what
// is no date is printed as it is. The year stands where it is not year.
func (t tongue) day(s string, year int, short bool) string {
	at, err := time.Parse(time.DateOnly, s)
	if err != nil {
		return clean(s)
	}
	return t.Day(at, short, at.Year() != year)
}

// span prints consecutive months: "November and December 2024", "March 2023 to June 2024".
func (t tongue) span(from, to result.Month) string {
	first := t.month(from)
	if from.Year() == to.Year() && t.Named() {
		first = t.MonthName(time.Month(from.Number()), false)
	}
	switch {
	case from == to:
		return t.month(from)
	case to == from+1 && from.Year() == to.Year():
		return t.T("%s and %s", first, t.month(to))
	}
	return t.T("%s to %s", first, t.month(to))
}

// shortSpan is a span for a table: "Nov 2023 to Feb 2024".
func (t tongue) shortSpan(from, to result.Month) string {
	if from == to {
		return t.shortMonth(from)
	}
	return t.T("%s to %s", t.shortMonth(from), t.shortMonth(to))
}

// code prints a short word that a file has as a code: "each", "bought".
func (t tongue) code(s string) string { return clean(t.Word(s)) }

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

var statusWords = map[byte]catalogue.Key{
	'A': "a normal value: every price was observed", 'B': "a break in the series", 'E': "estimated: the last price is kept for a while",
	'I': "imputed in part: a price was filled in by rule", 'L': "prices were not collected",
	'M': "an item was not sold", 'O': "a price is missing, so there is no total", 'P': "provisional", 'Q': "prices are held back for a check",
	'U': "thin data: fewer than 3 shops, or less than %s of the cost observed",
}

// statusText says what a letter means, with the least observed share of the edition.
func (t tongue) statusText(e *result.Edition, letter byte) string {
	words := statusWords[letter]
	if letter != 'U' {
		return t.T(words)
	}
	least := t.T("the least share asked for")
	for _, o := range e.Options {
		if v, err := strconv.ParseFloat(o[1], 64); err == nil && o[0] == "least observed share" {
			least = t.percent(result.Some(v), 0)
		}
	}
	return t.T(words, least)
}

// thin says why a row's data are thin, "" where they are not.
func (s *site) thin(b result.Base, observed result.Num) string {
	if !strings.Contains(b.ObsStatusAll+b.ObsStatus, "U") {
		return ""
	}
	if b.NOutlets.OK && b.NOutlets.V < 3 {
		return s.Count(b.NOutlets.V, "one shop seen, fewer than three", "%s shops seen, fewer than three")
	}
	if observed.OK {
		return s.T("only %s of the cost observed", s.percent(observed, 2))
	}
	return s.statusText(s.e, 'U')
}

// statusKey explains the letters that rows carry, in a fixed order.
func (t tongue) statusKey(e *result.Edition, rows []layout.Row) string {
	seen := map[byte]bool{}
	for _, r := range rows {
		for _, cell := range r.Cells {
			if i := strings.LastIndexByte(cell.Text, '['); i >= 0 && strings.HasSuffix(cell.Text, "]") {
				for _, c := range []byte(cell.Text[i:]) {
					seen[c] = true
				}
			}
		}
	}
	var words []string
	for _, c := range []byte(statusOrder) {
		if seen[c] {
			words = append(words, fmt.Sprintf("[%c] %s", c, t.statusText(e, c)))
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
func (t tongue) noPrice(b result.Base) string {
	words := t.T("no full price")
	for _, s := range []struct {
		letter string
		words  catalogue.Key
	}{{"Q", "prices held back"}, {"M", "an item was not sold"}, {"O", "a price is missing"}, {"L", "prices not collected"}} {
		if strings.Contains(b.ObsStatusAll+b.ObsStatus, s.letter) {
			words = t.T(s.words)
			break
		}
	}
	if l := letters(b); l != "" {
		words += " " + l
	}
	return words
}

// said prints a text of the program that came with the results, and its
// language where that is not the page's.
func (t tongue) said(text string) (words, lang string) {
	words, known := t.Said(text)
	if !known && strings.TrimSpace(text) != "" {
		lang = catalogue.English
	}
	return clean(words), lang
}

// warning prints a doubt about the data and its cure.
func (t tongue) warning(w result.Warning) layout.Note {
	head, lang := t.said(w.Text)
	cure, other := t.said(w.Cure)
	return layout.Note{Head: head, Text: cure, Lang: lang, TextLang: other}
}

// option prints a choice that the figures depend on: its number in the
// language's form, words of the program translated.
func (t tongue) option(s string) string {
	if _, err := strconv.ParseFloat(s, 64); err == nil {
		return t.Figure(s)
	}
	said, _ := t.Said(s)
	return said
}

// nutrient prints a nutrient's key: "vitamin_c" as "vitamin c".
func (t tongue) nutrient(key string) string {
	words := label(key)
	if said := t.Word(words); said != words {
		return clean(said)
	}
	return spelled.Replace(words)
}

// spelled writes the keys of nutrients as English does.
var spelled = strings.NewReplacer("vitamin a rae", "vitamin A (RAE)", "vitamin b", "vitamin B", "vitamin c", "vitamin C", "vitamin d", "vitamin D",
	"vitamin e", "vitamin E", "vitamin k", "vitamin K", "folate dfe", "folate (DFE)")

// drawing is what drawings need of the language.
func (t tongue) drawing() draw.Words {
	w := draw.Words{Day: t.T("day"), Reach: t.T("reach, days"), ReachSlim: t.T("reach"), RanOut: t.T("money ran out"), RanOutSlim: t.T("out on"),
		Rank: t.T("rank, cheapest 1"), NoPrices: t.T("no prices")}
	w.Decimal, w.Thousands = t.Marks()
	return w
}

// scriptWords is what the script of the pages says, by its own names.
func (t tongue) scriptWords() map[string]any {
	var months []string
	for m := time.January; m <= time.December; m++ {
		// The script puts the year in place of this one, which no other part of a date can be.
		months = append(months, strings.Replace(t.Month(9999, m, true), "9999", "{year}", 1))
	}
	decimal, thousands := t.Marks()
	return map[string]any{"rows": t.T("Rows with the words"), "month": t.T("of the month"), "all": t.T("all"), "months": months, "decimal": decimal, "thousands": thousands,
		"shown": t.T("%s of %s rows shown.", "{shown}", "{rows}"), "links": t.T("%s with the words", "{what}"),
		"keys": t.T("Arrow keys read it month by month.")}
}
