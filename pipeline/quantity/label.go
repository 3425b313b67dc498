package quantity

import (
	"fmt"
	"math/big"
	"regexp"
	"strings"
	"unicode"
)

// Label is what a typed shelf label offers: a pack at the price of one, several packs at one price, or both.
type Label struct {
	As       string   // the text as read
	Pack     Pack     // content of one
	Price    *big.Rat // of one pack; nil if only the multiple is priced
	Packs    *big.Rat // packs in the multiple, above one; nil if there is none
	Multiple *big.Rat // price of all of them
}

// money is a currency sign, which is passed over, and a number.
const money = `(?:\p{Sc}\s*)?(\d+(?:[.,]\d+)*)`

var (
	perLabel      = regexp.MustCompile(`^` + money + `\s*(?:/|per\b)\s*(\S.*)$`)
	multipleLabel = regexp.MustCompile(`^(?:` + money + `(?:\s*[,;]\s*|\s+or\s+|\s+))?(\d+)\s+for\s+` + money + `(?:\s*[,;]\s*|\s+)(\S.*)$`)
	plainLabel    = regexp.MustCompile(`^` + money + `(?:\s*[,;]\s*|\s+)(\S.*)$`)
)

// ParseLabel reads a typed label, price first:
//
//	label = price ["," | ";"] pack | price ("/" | "per") pack | [price ["," | ";" | "or"]] count "for" price ["," | ";"] pack
//
// "2.49 500 g", "1.99/kg", "0.83 per 100 g", "3 for 5.00, 6 x 330 ml", "1.89 or 3 for 5.00, 6 x 330 ml". The pack is read by
// ParsePack and must be one amount above zero, with a number but after "/" and "per"; prices are above zero. Nothing is guessed: what does not fit is an
// *Error that says what to type instead.
func ParseLabel(text string, o Options) (Label, error) {
	l := Label{As: text}
	fail := func(why string) (Label, error) {
		return Label{}, &Error{ErrSyntax, clip(text), why, "price first, then the pack, as in 2.49 500 g, 1.99/kg or 3 for 5.00, 6 x 330 ml"}
	}
	s := strings.TrimSpace(text)
	var price, packs, multiple, pack string
	if m := perLabel.FindStringSubmatch(s); m != nil {
		price, pack = m[1], m[2]
	} else if m := multipleLabel.FindStringSubmatch(s); m != nil {
		price, packs, multiple, pack = m[1], m[2], m[3], m[4]
	} else if m := plainLabel.FindStringSubmatch(s); m != nil {
		price, pack = m[1], m[2]
	} else {
		return fail("no price with a pack after it")
	}
	if !perLabel.MatchString(s) && strings.IndexFunc(pack, unicode.IsNumber) < 0 {
		return fail("the pack has no number") // "3 for 500 g" lacks a price, "2.49 kg" a price or a pack
	}
	for _, x := range []struct {
		text  string
		comma bool
		to    **big.Rat
	}{{price, o.Comma, &l.Price}, {packs, false, &l.Packs}, {multiple, o.Comma, &l.Multiple}} {
		if x.text == "" {
			continue
		}
		r, err := ParseDecimal(x.text, x.comma)
		if err != nil {
			e := err.(*Error)
			return Label{}, &Error{e.Kind, clip(text), e.Why, e.Instead}
		}
		if r.Sign() == 0 {
			return fail("a price or a number of packs of nothing")
		}
		*x.to = r
	}
	if l.Packs != nil && l.Packs.Cmp(unity) == 0 {
		return fail("one pack is no multiple")
	}
	var err error
	if l.Pack, err = ParsePack(pack, o); err == nil {
		_, err = l.Pack.Total()
	}
	if err != nil {
		e := err.(*Error)
		return Label{}, &Error{e.Kind, clip(text), e.Why, "after the price " + e.Instead}
	}
	return l, nil
}

// Offers are the prices of a label, that of one pack first; each is named by what was understood, in base units.
func (l Label) Offers() (offers []Offer) {
	one, err := l.Pack.Total()
	if err != nil {
		return nil // ParseLabel gives no such label
	}
	if l.Price != nil {
		offers = append(offers, Offer{fmt.Sprintf("%s for %s", decimal(l.Price), l.Pack), l.Price, one})
	}
	if l.Packs != nil {
		offers = append(offers, Offer{fmt.Sprintf("%s for %s of %s", decimal(l.Multiple), l.Packs.RatString(), l.Pack), l.Multiple, one.Times(l.Packs)})
	}
	return offers
}

// decimal prints a price that was read as a decimal with its cents.
func decimal(r *big.Rat) string {
	n, _ := r.FloatPrec()
	return r.FloatString(max(n, 2))
}
