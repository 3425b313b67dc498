package quantity

import (
	"fmt"
	"math/big"
)

// maxText is the longest pack or amount text taken, in bytes. Room for four numbers of maxNumber.
const maxText = 600

// Options say how texts of one source, item and region are meant. The zero value: decimal point, US customary units, no
// local measures; it reads back everything this package prints. A local measure is unknown until it is declared.
type Options struct {
	Comma    bool              // the decimal comma is declared, and the point refused
	Imperial bool              // bare gallon, quart, pint, gill, fluid ounce are imperial
	Measures map[string]Amount // declared local measures by lower-case name: "heap", "large bowl", "no. 2 1/2"
}

// Range is an interval of amounts of one dimension, Low < High.
type Range struct{ Low, High Amount }

// Pack is the net content of what is sold as one: Count times Each, or Count times an unknown amount within Range.
type Pack struct {
	As      string   // the text as read
	Count   *big.Rat // product of the multipliers, 1 if none
	Each    Amount   // net content of one; empty if Range is set or only the drained weight is stated
	Range   Range    // bounds of one; empty if Each is set. A range of multipliers ("4-8 x 330 ml") is folded in
	Drained Amount   // drained content of one; empty if not stated
}

// IsRange says that the content is an interval.
func (p Pack) IsRange() bool { return p.Range.Low.d != Unknown }

// Total is Count x Each. ErrRange if the content is an interval; an error too if only a drained weight is stated.
func (p Pack) Total() (Amount, error) {
	switch {
	case p.IsRange():
		return Amount{}, &Error{ErrRange, clip(p.As), fmt.Sprintf("the content lies between %s and %s", p.Range.Low, p.Range.High),
			"the content of the pack in hand, or its weight on a scale"}
	case p.Each.d == Unknown:
		return Amount{}, &Error{ErrSyntax, clip(p.As), "no net content is stated", "the net content, as in 400 g (240 g drained)"}
	}
	return p.Each.Times(p.Count), nil
}

// DrainedTotal is Count x Drained, and false if no drained weight is stated.
func (p Pack) DrainedTotal() (Amount, bool) {
	if p.Drained.d == Unknown {
		return Amount{}, false
	}
	return p.Drained.Times(p.Count), true
}

// String is the pack in base units: "6 x 0.33 L", "0.4 kg (0.24 kg drained)", "2 x (0.4 kg - 0.5 kg)". ParsePack with the
// zero Options reads it back as the same pack. The zero Pack is "".
func (p Pack) String() string {
	one := p.Each.String()
	if p.IsRange() {
		one = p.Range.Low.String() + " - " + p.Range.High.String()
	}
	times := ""
	if p.Count != nil && p.Count.Cmp(unity) != 0 {
		times = p.Count.RatString() + " x "
		if p.IsRange() {
			one = "(" + one + ")"
		}
	}
	switch {
	case p.Drained.d == Unknown:
		return times + one
	case one == "":
		return times + p.Drained.String() + " drained"
	}
	return times + one + " (" + p.Drained.String() + " drained)"
}

var unity = big.NewRat(1, 1)

// ParsePack reads the text of a pack:
//
//	pack    = ["per"] content { ["," | ";" | "/" | "("] content [")"] }
//	content = ["net" | "drained"] { count "x" } size { "x" count } [container] ["net" | "drained"]
//	size    = "(" content ")" | [number] unit { number unit } [ ("-" | "to") number unit ] | "no." can size
//	number  = digits, decimal, 1/2, 1 1/2, 1-1/2, one, half
//
// "6x330ml", "330 ml x 6", "2x(3x100 g)", "6 cans of 330 ml", "pack of 6", "1 lb 4 oz", "750-800 g", "kg", "No. 2 1/2".
// "2 bottles" states no content, and "6 cans (330 ml)" may mean each or all: both are refused with what to type instead. A
// second content must be the drained weight, or the same amount said again, which is then checked (see agree): "16 oz (473
// ml)" makes the ounces fluid. The content must be above zero. All errors are *Error; no text makes it panic.
func ParsePack(text string, o Options) (Pack, error) {
	p, err := parse(text, o)
	if err != nil {
		return Pack{}, err
	}
	for _, a := range []Amount{p.Each, p.Range.Low, p.Drained} {
		if a.d != Unknown && a.r.Sign() <= 0 {
			return Pack{}, &Error{ErrSyntax, clip(text), "the content is zero", "the net content as labelled, above zero"}
		}
	}
	return p, nil
}

// ParseAmount reads a single amount; the grammar is that of ParsePack, multipacks give their total. Zero is taken. A range is
// refused (ErrRange), and so is a drained weight beside a net one, since it leaves two amounts.
func ParseAmount(text string, o Options) (Amount, error) {
	p, err := parse(text, o)
	if err != nil {
		return Amount{}, err
	}
	if p.Drained.d != Unknown {
		return Amount{}, &Error{ErrSyntax, clip(text), "net and drained weight are two amounts", "one of them"}
	}
	return p.Total()
}

func parse(text string, o Options) (Pack, error) {
	ps, err := newParser(text, o)
	if err != nil {
		return Pack{}, err
	}
	p, err := ps.pack()
	if err != nil {
		return Pack{}, err
	}
	p.As = text
	for _, a := range []Amount{p.Each.Times(p.Count), p.Each, p.Range.Low, p.Range.High, p.Drained} {
		if max(len(a.String()), len(p.Count.RatString())) > maxNumber { // it could not be read back
			return Pack{}, ps.fail(ErrSyntax, "a figure longer than any pack needs", "fewer digits")
		}
	}
	return p, nil
}
