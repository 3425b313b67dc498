package catalogue

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"
	"time"
)

// Forms say how numbers and dates are written. A date's form has the letters
// of Unicode Technical Standard 35, part 4: y the year, M, MM, MMM and MMMM the
// month, d and dd the day, text in apostrophes; other characters are themselves.
type Forms struct {
	Decimal    string `toml:"decimal"`
	Thousands  string `toml:"thousands"` // "none" for no mark
	Month      string `toml:"month"`
	ShortMonth string `toml:"short_month"`
	Date       string `toml:"date"`
	ShortDate  string `toml:"short_date"`
	Day        string `toml:"day"` // a date where the year is known
	ShortDay   string `toml:"short_day"`
}

// A FormError is a form that can not be used.
type FormError struct{ Name, Read, Instead string }

func (e *FormError) Error() string {
	return fmt.Sprintf("form %s: %q: %s", e.Name, e.Read, e.Instead)
}

type field struct {
	name  string
	value *string
	needs string // letters that a date's form must have
}

func (f *Forms) fields() []field {
	return []field{{"decimal", &f.Decimal, ""}, {"thousands", &f.Thousands, ""}, {"month", &f.Month, "yM"}, {"short_month", &f.ShortMonth, "yM"},
		{"date", &f.Date, "yMd"}, {"short_date", &f.ShortDate, "yMd"}, {"day", &f.Day, "Md"}, {"short_day", &f.ShortDay, "Md"}}
}

// with puts what is not blank in other in its place.
func (f Forms) with(other Forms) Forms {
	from := other.fields()
	for i, to := range f.fields() {
		if *from[i].value != "" {
			*to.value = *from[i].value
		}
	}
	return f
}

// Check says which form that is not blank can not be used.
func (f Forms) Check() error {
	for _, x := range f.fields() {
		bad := func(instead string) error { return &FormError{x.name, *x.value, instead} }
		switch v := *x.value; {
		case v == "":
		case x.name == "decimal":
			if v != "." && v != "," && v != "\u066b" {
				return bad("write . or ,")
			}
		case x.name == "thousands":
			if v != "none" && (len([]rune(v)) != 1 || strings.ContainsAny(v, "0123456789<>&\"") || v == f.Decimal) {
				return bad("write none, or one character other than the decimal mark")
			}
		default:
			for _, letter := range x.needs {
				if !strings.ContainsRune(quoted.ReplaceAllString(v, ""), letter) {
					return bad("write the letters of the year y, the month M, MM, MMM or MMMM and the day d or dd, as in d MMMM y; other letters in apostrophes")
				}
			}
			for _, run := range letters.FindAllString(quoted.ReplaceAllString(v, ""), -1) {
				switch run {
				case "y", "M", "MM", "MMM", "MMMM", "d", "dd":
					if strings.Contains(x.needs, run[:1]) {
						continue
					}
				}
				return bad("the letters " + run + " can not stand in it: use y, M, MM, MMM, MMMM, d, dd, and other text in apostrophes")
			}
		}
	}
	return nil
}

// complete says which form a language lacks.
func (f Forms) complete() error {
	for _, x := range f.fields() {
		if *x.value == "" {
			return &FormError{x.name, "", "it is missing"}
		}
	}
	return f.Check()
}

func (f Forms) thousands() string {
	if f.Thousands == "none" {
		return ""
	}
	return f.Thousands
}

var (
	quoted  = regexp.MustCompile(`'[^']*'`)
	letters = regexp.MustCompile(`y+|M+|d+|[A-LN-Za-ce-xz]+`)
	parts   = regexp.MustCompile(`'[^']*'|y|M+|d+`)
)

func (l *Language) date(form string, year int, m time.Month, day int) string {
	return parts.ReplaceAllStringFunc(form, func(p string) string {
		switch p {
		case "y":
			return strconv.Itoa(year)
		case "M":
			return strconv.Itoa(int(m))
		case "MM":
			return fmt.Sprintf("%02d", int(m))
		case "MMM":
			return l.file.Short[m-1]
		case "MMMM":
			return l.file.Months[m-1]
		case "d":
			return strconv.Itoa(day)
		case "dd":
			return fmt.Sprintf("%02d", day)
		case "''":
			return "'"
		}
		return strings.Trim(p, "'")
	})
}
