package quantity

import (
	"regexp"
	"strings"
)

var perWord = regexp.MustCompile(`(?i)(?:^|[\s,(;])per\s+`)

// ParseTitleUnit finds the unit in the title of a price series, "Flour, white, all purpose, per lb. (453.6 gm)" or "Cookies
// (cost per pound/453.6 grams)", and returns its exact amount and the text it was read from. What follows the last "per"
// is read as by ParseAmount with US units: the legal pound, not the printed grams, which only check it and tell a fluid ounce
// from an ounce. ErrUnit if the title names no unit or an unknown one (kWh).
func ParseTitleUnit(title string) (Amount, string, error) {
	const instead = "a declared pack for this series, as in 1 lb"
	found := perWord.FindAllStringIndex(title, -1)
	if found == nil {
		return Amount{}, "", &Error{ErrUnit, clip(title), `the title names no unit: no "per" stands in it`, instead}
	}
	read := strings.TrimSpace(title[found[len(found)-1][1]:])
	if strings.Count(read, ")") > strings.Count(read, "(") { // of "(cost per ...)"
		read = strings.TrimSpace(strings.TrimSuffix(read, ")"))
	}
	a, err := ParseAmount(read, Options{})
	if err != nil {
		e := err.(*Error)
		return Amount{}, "", &Error{e.Kind, clip(title), e.Why, instead}
	}
	return a, read, nil
}
