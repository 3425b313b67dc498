package meal

import "math/big"

// Offer is what a good costs: one pack size at one price. Loose goods are weighed out and bought to the need; Size and Price then
// are those of the price tag.
type Offer struct {
	Good     string
	Size     *big.Rat // of one pack, base units
	Price    *big.Rat // of one pack, the regular one
	Loose    bool
	Multibuy *Multibuy // nil: none
}

// Multibuy is so many packs for one price: 3 for 2.00.
type Multibuy struct {
	Packs int64
	Price *big.Rat
}

// Stock is a lot of a good in the pantry.
type Stock struct {
	Good     string
	Quantity *big.Rat // base units
	UseBy    int      // the last day it may be used; 0: not known, so it never runs out here and is used last
	Sealed   bool     // if it is opened, Keeps.Opened begins
}

// Keeps says how many days a good keeps; 0: not known. Bought on day d and sealed, it may be used until d + Sealed; opened on day
// d, until d + Opened, never longer than sealed. Rules of thumb: local food safety guidance goes before them.
type Keeps struct {
	Good           string
	Sealed, Opened int
}

// Plan is one shopping: the lines of one dish, a day or many days, what may be bought, and what is in the house.
type Plan struct {
	Lines    []Line
	Offers   []Offer // one a good; a good without one has no price
	Pantry   []Stock
	Keeps    []Keeps // one a good; a good without one: not known
	BoughtOn int     // the day of the shopping; 0: the first day of the lines

	// The treatment, to be shown beside every total.
	BuyCupboard bool // buy cupboard lines like any other ("with a 1 L oil"); else they are in the portion cost but not bought
	InTime      bool // open, and so buy, another pack where the opened one no longer keeps; else packs = ceil(sum of needs / size)
}

// Cost is a line with its workings.
type Cost struct {
	Line
	Quantity   *big.Rat // AP, base units
	UnitPrice  *big.Rat // AP unit cost: price / size
	EPUnitCost *big.Rat // unit price / yield; nil if no yield is known
	Cost       *big.Rat // quantity x unit price; 0 for a free line; nil: not known
	Lacks      Lack     // why Cost is nil, the first of quantity, yield, price
}

// Trolley is one good of a shopping. Quantities are AP in base units.
type Trolley struct {
	Good  string
	Offer *Offer // nil: none given

	// need = FromPantry + FromCupboard + FromPacks, over lines that are not free; nil if a line's quantity is not known.
	Need         *big.Rat
	FromPantry   *big.Rat
	FromCupboard *big.Rat // taken as there: cupboard lines beyond the pantry
	FromPacks    *big.Rat

	Packs     int64    // bought, those of Deals included; 0 for loose goods
	Deals     int64    // multibuys among them
	Quantity  *big.Rat // bought: packs x size, or the need of loose goods
	Till      *big.Rat // money for them
	Saving    *big.Rat // packs x regular price - till
	Leftover  *big.Rat // Quantity - FromPacks
	LeftValue *big.Rat // leftover x unit price
	Left      []Lot    // the leftover in its packs
	Pantry    []Lot    // what is left of the pantry's stock, spoilt or not
	Late      *big.Rat // used later than its pack keeps; above zero only where a number of days is known
}

// Lot is some of a good that will keep until a day.
type Lot struct {
	Quantity *big.Rat
	Value    *big.Rat // quantity x unit price; nil: no price
	UseBy    int      // the last day it may be used; 0: not known
	Sealed   bool
}

// Shopping is a plan costed. Always, in exact numbers and where no part is nil:
//
//	Till = Portion - FromPantry - FromCupboard + Leftover - Saving
//
// and the same for each good. All but Till and Saving are quantities at the unit price (regular price / size), whatever was paid for
// the pantry: a pantry or a multibuy changes the till cost, never the portion cost.
type Shopping struct {
	Lines []Cost    // in the order given
	Goods []Trolley // by name; goods of free lines only are not among them

	Portion      *big.Rat // the part used: sum of the lines' costs; nil if one is not known: incomplete
	KnownPortion *big.Rat // the same over the lines known
	Till         *big.Rat // what leaves the purse; nil if a good that must be bought, or how much of it, is not known
	KnownTill    *big.Rat // the same over the goods known
	FromPantry   *big.Rat // value; nil if a part is not known, and so are the next three
	FromCupboard *big.Rat
	Leftover     *big.Rat
	Saving       *big.Rat
	Missing      []Cost // the lines without a cost, in the order given
}
