package quantity

import (
	"fmt"
	"math/big"
	"strings"
)

// maxNumber is the longest number taken, in bytes. Long enough for any figure this package prints of a readable pack.
const maxNumber = 120

// ParseDecimal reads the plain text of a number: an optional '-', digits 0 to 9, and at most one decimal mark with digits
// on both sides. The mark is the comma if comma is declared, else the point. No exponent, no thousands marks, no currency,
// no '+'. Blanks around it do not matter. Errors are *Error with ErrSyntax.
func ParseDecimal(text string, comma bool) (*big.Rat, error) {
	s := strings.TrimSpace(text)
	mark, other := ".", ","
	if comma {
		mark, other = ",", "."
	}
	fail := func(why, instead string) (*big.Rat, error) {
		return nil, &Error{ErrSyntax, clip(text), why, instead}
	}
	form := "digits with at most one decimal mark, as in 12" + mark + "50"
	if s == "" {
		return fail("no number", form)
	}
	if len(s) > maxNumber {
		return fail(fmt.Sprintf("longer than %d characters", maxNumber), form)
	}
	digits := strings.TrimPrefix(s, "-")
	if i := strings.IndexFunc(digits, func(r rune) bool { return (r < '0' || r > '9') && r != '.' && r != ',' }); i >= 0 {
		return fail(fmt.Sprintf("%q is neither a digit 0 to 9 nor a decimal mark", []rune(digits[i:])[0]), form)
	}
	whole, part, marked := strings.Cut(digits, mark)
	switch {
	case strings.Count(digits, other) == 1 && !marked:
		instead := strings.Replace(s, other, mark, 1) + ", or declare the other decimal mark for this source"
		if _, after, _ := strings.Cut(digits, other); len(after) == 3 {
			instead = strings.Replace(s, other, "", 1) + " if it marks thousands; " + instead
		}
		return fail(fmt.Sprintf("the decimal mark declared here is %q, not %q", mark, other), instead)
	case strings.Contains(digits, other) || strings.Contains(part, mark):
		return fail("more than one mark", "no thousands marks: "+form)
	case whole == "" || marked && part == "":
		return fail("a decimal mark needs digits on both sides", form)
	}
	if marked {
		s = strings.Replace(s, mark, ".", 1)
	}
	r, ok := new(big.Rat).SetString(s)
	if !ok {
		return fail("not a number", form)
	}
	return r, nil
}
