package spreadsheet

import "strings"

// Guard makes a text inert in a spreadsheet: an apostrophe stands before one
// that a program may run as a formula. Such a text begins, after blanks and
// what is not seen, with = + - @, their full-width forms, a tab or a line end;
// and so that the apostrophe can be taken off again, one before such a text is
// doubled. Source: OWASP, "CSV Injection"; the blanks are our own caution.
func Guard(s string) string {
	rest := strings.TrimLeft(s, " '\u00a0\u200b\u200e\u200f\u2060\ufeff")
	if rest != "" && strings.ContainsRune("=+-@\t\r\n＝＋－＠", []rune(rest)[0]) {
		return "'" + s
	}
	return s
}

// Quote is a cell of CSV in quotes.
func Quote(s string) string { return `"` + strings.ReplaceAll(s, `"`, `""`) + `"` }
