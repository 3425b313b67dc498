package quantity

import (
	"cmp"
	"math/big"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"
)

// UnitPrice is the price of one per, exactly:
//
//	unit price = price x per / size
//
// in the currency of price. size and per must have one dimension (ErrDimension) and be above zero; a missing or negative
// price is an error. Directive 98/6/EC, articles 2 and 3: per kilogram, litre or piece (from memory).
func UnitPrice(price *big.Rat, size, per Amount) (*big.Rat, error) {
	if price == nil || price.Sign() < 0 {
		return nil, &Error{ErrSyntax, size.String(), "no price, or one below zero", "the price paid for this size"}
	}
	n, err := size.In(per)
	if err != nil {
		return nil, err
	}
	if n.Sign() <= 0 || per.r.Sign() < 0 {
		return nil, &Error{ErrSyntax, size.String(), "a size that is not above zero", "the net content as labelled"}
	}
	return n.Quo(price, n), nil
}

// PurchaseUnits is how many units to buy for so many servings, rounded up at so many decimals, exactly:
//
//	purchase units = ceil(servings / servings of one unit x 10^places) / 10^places
//
// No servings: 0. Servings below zero, a unit of none, or decimals below zero: ErrSyntax. Source: USDA Food Buying Guide for Child Nutrition Programs, section 2,
// columns 3, 5 and 6, which rounds up to one decimal.
func PurchaseUnits(servings, perUnit *big.Rat, places int) (*big.Rat, error) {
	if servings == nil || perUnit == nil || servings.Sign() < 0 || perUnit.Sign() <= 0 || places < 0 {
		return nil, &Error{ErrSyntax, "servings", "no servings, or a unit that gives none", "servings, and servings of one unit above zero"}
	}
	last := lastPlace(places)
	n := quo(servings, mul(perUnit, last))
	whole, rest := new(big.Int).QuoRem(n.Num(), n.Denom(), new(big.Int))
	if rest.Sign() > 0 {
		whole.Add(whole, big.NewInt(1))
	}
	return n.Mul(n.SetInt(whole), last), nil
}

// DisplayUnitPrice rounds a unit price for a shelf label, half away from zero, in exact decimals: 2 places from one unit of
// currency, 3 places below. It is for show only; rank by the exact value. Below a pound: Price Marking Order (Northern Ireland)
// 2004, SR 2004/368, article 13; from a pound, and NIST Handbook 130, Uniform Unit Pricing Regulation: from memory.
func DisplayUnitPrice(unitPrice *big.Rat) string {
	places := 3
	if unitPrice.Cmp(unity) >= 0 {
		places = 2
	}
	return unitPrice.FloatString(places) // rounds half away from zero
}

// Offer is a price for a size; Ranked adds its exact unit price.
type (
	Offer struct {
		Name  string
		Price *big.Rat
		Size  Amount
	}
	Ranked struct {
		Offer
		UnitPrice *big.Rat
	}
)

// Rank orders offers by exact unit price, cheapest first, equal ones by name. An offer that cannot be priced per this unit is
// an error, not left out. No offers: an empty ranking.
func Rank(offers []Offer, per Amount) ([]Ranked, error) {
	ranked := make([]Ranked, 0, len(offers))
	for _, o := range offers {
		p, err := UnitPrice(o.Price, o.Size, per)
		if err != nil {
			return nil, err
		}
		ranked = append(ranked, Ranked{o, p})
	}
	slices.SortStableFunc(ranked, func(a, b Ranked) int {
		return cmp.Or(a.UnitPrice.Cmp(b.UnitPrice), strings.Compare(a.Name, b.Name))
	})
	return ranked, nil
}

// ShelfPrice is the unit price that a label prints: Price for Per, with so many decimals.
type ShelfPrice struct {
	Price  *big.Rat
	Per    Amount
	Places int
}

// ParseShelfPrice reads the unit price on a label: "2.50/kg", "0.83 per 100 g", "$1.99 / lb". A currency sign before the number
// is passed over; pence and cents are refused, since "24.7p" is a hundredth of what the number says.
func ParseShelfPrice(text string, o Options) (ShelfPrice, error) {
	fail := func(why string) (ShelfPrice, error) {
		return ShelfPrice{}, &Error{ErrSyntax, clip(text), why, "as in 2.50 per kg or 0.83/100 g"}
	}
	s := strings.TrimSpace(text)
	if r, n := utf8.DecodeRuneInString(s); unicode.Is(unicode.Sc, r) {
		s = s[n:]
	}
	number, per, ok := strings.Cut(s, "/")
	if at := perWord.FindStringIndex(s); at != nil {
		number, per, ok = s[:at[0]], s[at[1]:], true
	}
	if !ok {
		return fail("no unit after \"/\" or \"per\"")
	}
	price, err := ParseDecimal(number, o.Comma)
	if err != nil {
		return fail(err.(*Error).Why)
	}
	amount, err := ParseAmount(per, o)
	if err != nil {
		e := err.(*Error)
		return ShelfPrice{}, &Error{e.Kind, clip(text), e.Why, e.Instead}
	}
	if price.Sign() < 0 || amount.r.Sign() <= 0 {
		return fail("a price below zero or a unit of nothing")
	}
	_, decimals, _ := strings.Cut(strings.Replace(strings.TrimSpace(number), ",", ".", 1), ".")
	return ShelfPrice{price, amount, len(decimals)}, nil
}

// Agrees says whether price for size, rounded to the label's decimals, is what the label prints: they differ by half a unit of
// its last place at most. An error if the two cannot be compared.
func (l ShelfPrice) Agrees(price *big.Rat, size Amount) (bool, error) {
	exact, err := UnitPrice(price, size, l.Per)
	if err != nil {
		return false, err
	}
	half := mul(lastPlace(l.Places), big.NewRat(1, 2))
	diff := exact.Sub(exact, l.Price)
	return diff.Abs(diff).Cmp(half) <= 0, nil
}
