// Package catalogue holds the texts of the pages in each language, one file a
// language, with the language's forms of numbers and dates. A text is asked
// for by its English words, which stand in the code; en.toml lists them all.
//
// A translation is a file beside en.toml: the same keys, other words. It knows
// nothing of prices, and no page asks it which language it is.
package catalogue

import (
	"embed"
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/pelletier/go-toml/v2"
	"golang.org/x/text/feature/plural"
	"golang.org/x/text/language"
)

//go:embed *.toml
var files embed.FS

// English is the language the keys are in.
const English = "en"

// Key is a text in English, a pattern of fmt. What stands before a bar is no
// part of it: it tells two texts apart that are one in English.
type Key string

// plain is the text itself.
func (k Key) plain() string {
	if _, text, ok := strings.Cut(string(k), "|"); ok {
		return text
	}
	return string(k)
}

// File is a catalogue as it is written.
type File struct {
	Language string            // its own name of itself
	Capitals bool              // a name keeps its capital in a sentence
	Forms    Forms             // of numbers and dates
	Small    []string          // numbers from 0 in words; 1 is in the texts that count
	Months   []string          // in a date
	Short    []string          `toml:"short_months"`
	Text     map[string]string // by the English text
	// Count holds texts that differ by a number, by their English plural: one,
	// other, and what else the language tells apart (CLDR plural categories).
	Count map[string]map[string]string
	// Said are texts of the program that reach the pages within the results.
	Said map[string]string
}

// Language says texts, numbers and dates. It is not changed once it is made.
type Language struct {
	Tag   string
	file  File
	forms Forms
	tag   language.Tag
	said  []said
}

type said struct {
	english *regexp.Regexp
	text    string
}

// Languages lists the tags of the languages there are.
func Languages() (tags []string) {
	list, _ := files.ReadDir(".")
	for _, f := range list {
		tags = append(tags, strings.TrimSuffix(f.Name(), ".toml"))
	}
	return tags
}

// New gives the language of a tag, with the forms that are not blank in place
// of its own; an unknown tag or form is an error that lists what there is.
func New(tag string, forms Forms) (*Language, error) {
	if !slices.Contains(Languages(), tag) {
		return nil, fmt.Errorf("no language %q: there are %s", tag, strings.Join(Languages(), ", "))
	}
	b, err := files.ReadFile(tag + ".toml")
	if err != nil {
		return nil, err
	}
	return Read(tag, b, forms)
}

// Read makes a language of a catalogue's bytes.
func Read(tag string, b []byte, forms Forms) (*Language, error) {
	l := &Language{Tag: tag}
	if err := toml.NewDecoder(strings.NewReader(string(b))).DisallowUnknownFields().Decode(&l.file); err != nil {
		return nil, fmt.Errorf("%s.toml: %w", tag, err)
	}
	var err error
	if l.tag, err = language.Parse(tag); err != nil {
		return nil, fmt.Errorf("%s.toml: %w", tag, err)
	}
	if len(l.file.Months) != 12 || len(l.file.Short) != 12 {
		return nil, fmt.Errorf("%s.toml: %d and %d names of months, want 12", tag, len(l.file.Months), len(l.file.Short))
	}
	l.forms = l.file.Forms.with(forms)
	if err := l.forms.complete(); err != nil {
		return nil, fmt.Errorf("%s: %w", tag, err)
	}
	for english, text := range l.file.Said {
		if !verb.MatchString(english) {
			continue
		}
		pattern := regexp.QuoteMeta(english)
		pattern = verb.ReplaceAllString(pattern, "(.*?)")
		l.said = append(l.said, said{regexp.MustCompile("^" + pattern + "$"), text})
	}
	// The longest first: a pattern never stands in the way of a closer one.
	slices.SortFunc(l.said, func(a, b said) int {
		if d := len(b.english.String()) - len(a.english.String()); d != 0 {
			return d
		}
		return strings.Compare(a.english.String(), b.english.String())
	})
	return l, nil
}

// verb is a place in a pattern where something is put.
var verb = regexp.MustCompile(`%(?:\[\d+\])?[a-z]`)

// T says a text. Whole numbers among the arguments get the language's marks.
// Without arguments the text is no pattern, and a percent sign is itself.
func (l *Language) T(k Key, args ...any) string {
	text, ok := l.file.Text[string(k)]
	if !ok {
		text = k.plain()
	}
	return l.put(text, args)
}

// N says a text that differs by a number. A missing form is English.
func (l *Language) N(n int, one, other Key, args ...any) string {
	form := "other"
	switch plural.Cardinal.MatchPlural(l.tag, n, 0, 0, 0, 0) {
	case plural.Zero:
		form = "zero"
	case plural.One:
		form = "one"
	case plural.Two:
		form = "two"
	case plural.Few:
		form = "few"
	case plural.Many:
		form = "many"
	}
	forms := l.file.Count[string(other)]
	text, ok := forms[form]
	if !ok {
		text, ok = forms["other"]
	}
	switch {
	case ok:
	case n == 1:
		text = one.plain()
	default:
		text = other.plain()
	}
	return l.put(text, args)
}

// Count prints a number of things, in words if it is small: "one raise", "12 raises".
func (l *Language) Count(n int, one, other Key) string { return l.N(n, one, other, l.Small(n)) }

// Small prints a number in words if it is small.
func (l *Language) Small(n int) string {
	if n >= 0 && n < len(l.file.Small) && l.file.Small[n] != "" {
		return l.file.Small[n]
	}
	return l.Figure(strconv.Itoa(n))
}

// Said says a text of the program that came with the results, with the names
// that were put into it as they are. One that is not known stays as it is, in
// English: known is false.
func (l *Language) Said(text string) (said string, known bool) {
	if said, ok := l.file.Said[text]; ok {
		return said, true
	}
	for _, s := range l.said {
		if m := s.english.FindStringSubmatch(text); m != nil {
			args := make([]any, len(m)-1)
			for i, a := range m[1:] {
				args[i] = l.Figure(l.Word(a))
			}
			return l.put(s.text, args), true
		}
	}
	return text, l.Tag == English
}

// Word says a text of the program that came with the results, if it has no
// places for anything to be put.
func (l *Language) Word(text string) string {
	if said, ok := l.file.Said[text]; ok {
		return said
	}
	return text
}

func (l *Language) put(text string, args []any) string {
	if len(args) == 0 {
		return text
	}
	if !verb.MatchString(text) { // the form for one often names no number
		return strings.ReplaceAll(text, "%%", "%")
	}
	for i, a := range args {
		switch a := a.(type) {
		case int:
			args[i] = whole(l.Figure(strconv.Itoa(a)))
		case float64:
			args[i] = l.Figure(strconv.FormatFloat(a, 'g', -1, 64))
		case fmt.Stringer:
			if s := a.String(); digits.MatchString(s) {
				args[i] = l.Figure(s)
			}
		}
	}
	return fmt.Sprintf(text, args...)
}

var digits = regexp.MustCompile(`^[-\x{2212}+]?\d+(\.\d+)?$`)

// whole is a printed number that a pattern may ask for by %d.
type whole string

// Format prints it, whatever the verb.
func (w whole) Format(f fmt.State, _ rune) { f.Write([]byte(w)) }

// Figure gives digits with a point the language's marks; other text stays as it is.
func (l *Language) Figure(s string) string {
	if l.forms.Decimal == "." && l.forms.thousands() == "" || !digits.MatchString(s) {
		return s
	}
	at := strings.IndexFunc(s, func(r rune) bool { return r >= '0' && r <= '9' })
	sign, s := s[:at], s[at:]
	before, after, point := strings.Cut(s, ".")
	for i := len(before) - 3; i > 0; i -= 3 {
		before = before[:i] + l.forms.thousands() + before[i:]
	}
	if point {
		before += l.forms.Decimal + after
	}
	return sign + before
}

// Capitals says whether a name keeps its capital in a sentence.
func (l *Language) Capitals() bool { return l.file.Capitals }

// Marks are the decimal mark and that between thousands, which may be "".
func (l *Language) Marks() (decimal, thousands string) { return l.forms.Decimal, l.forms.thousands() }

// MonthName is a month's name alone; short as in a table.
func (l *Language) MonthName(m time.Month, short bool) string {
	if short {
		return l.file.Short[m-1]
	}
	return l.file.Months[m-1]
}

// Month prints a month of a year.
func (l *Language) Month(year int, m time.Month, short bool) string {
	form := l.forms.Month
	if short {
		form = l.forms.ShortMonth
	}
	return l.date(form, year, m, 0)
}

// Named says whether a month is printed as its name and the year, so that two
// months of one year may share it.
func (l *Language) Named() bool { return l.forms.Month == "MMMM y" }

// Day prints a day, without its year where year is false.
func (l *Language) Day(t time.Time, short, year bool) string {
	form := l.forms.Date
	switch {
	case short && year:
		form = l.forms.ShortDate
	case short:
		form = l.forms.ShortDay
	case !year:
		form = l.forms.Day
	}
	return l.date(form, t.Year(), t.Month(), t.Day())
}
