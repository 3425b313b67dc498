package meal

import (
	"cmp"
	"fmt"
	"maps"
	"math/big"
	"slices"
)

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

// Stock is a lot of a good in the pantry that is opened as one: of three sealed packs, three lots.
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
	APQuantity *big.Rat // base units; nil: not known
	UnitPrice  *big.Rat // AP unit cost: price / size
	EPUnitCost *big.Rat // unit price / yield; nil if no yield is known
	Cost       *big.Rat // AP quantity x unit price; 0 for a free line; nil: not known
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
	limit    int // it surely no longer keeps after this day; 0: none known. Where UseBy is known they are equal.
}

// Shopping is a plan costed. Always, in exact numbers and where no part is nil:
//
//	Till = Portion - FromPantry - FromCupboard + Leftover - Saving
//
// and the same for each good. All but Till and Saving are quantities at the unit price (regular price / size), whatever was paid for
// the pantry: a pantry or a multibuy changes the till cost, never the portion cost.
type Shopping struct {
	Lines []Cost    // in the order given
	Goods []Trolley // by name: every good of the pantry or of a line that is not free

	Portion      *big.Rat // the part used: sum of the lines' costs; nil if one is not known: incomplete
	KnownPortion *big.Rat // the same over the lines known
	Till         *big.Rat // what leaves the purse; nil if a good that must be bought, or how much of it, is not known
	KnownTill    *big.Rat // the same for the needs and prices known
	FromPantry   *big.Rat // value; nil if a part is not known, and so are the next three
	FromCupboard *big.Rat
	Leftover     *big.Rat
	Saving       *big.Rat
	Missing      []Cost // the lines without a cost, in the order given

	keeps map[string]Keeps
	units map[string]*big.Rat // unit price
}

// Shop costs a plan. Over all its lines, good by good:
//
//   - needs are summed over dishes and days; free lines need nothing;
//   - each day's need is met from the pantry first, from the lot with the nearest use-by day that still keeps; cupboard lines come
//     before bought ones, and what the pantry lacks for them counts as there (FromCupboard), unless BuyCupboard;
//   - the rest is bought in whole packs, rounded up exactly over the whole plan; in multibuys or at the regular price, whichever is
//     less money, then fewer packs;
//   - packs are opened one after another, on the day each is first used.
//
// A line without quantity, yield or price has no cost, and then the totals are nil. The order of the lines, offers and lots does not
// matter. Faults of the numbers are errors that name the line or good: ErrQuantity, ErrYield, ErrDay, ErrSize, ErrPrice,
// ErrMultibuy, ErrTwice.
func Shop(p Plan) (*Shopping, error) {
	offers, keeps, err := p.tables()
	if err != nil {
		return nil, err
	}
	s := &Shopping{keeps: keeps, units: map[string]*big.Rat{}, KnownPortion: new(big.Rat)}
	for good, o := range offers {
		s.units[good] = new(big.Rat).Quo(o.Price, o.Size)
	}
	needs := map[string]*need{}
	of := func(good string) *need {
		if needs[good] == nil {
			needs[good] = &need{days: map[int]*daily{}}
		}
		return needs[good]
	}
	first := 0
	for _, l := range p.Lines {
		c, err := costed(l, s.units[l.Good])
		if err != nil {
			return nil, err
		}
		s.Lines = append(s.Lines, c)
		if c.Cost == nil {
			s.Missing = append(s.Missing, c)
		} else {
			s.KnownPortion.Add(s.KnownPortion, c.Cost)
		}
		if first == 0 || l.Day < first {
			first = l.Day
		}
		if l.Supply != Free {
			of(l.Good).add(l.Day, c.APQuantity, l.Supply == Cupboard && !p.BuyCupboard)
		}
	}
	if s.Missing == nil {
		s.Portion = new(big.Rat).Set(s.KnownPortion)
	}
	if p.BoughtOn < 0 || first > 0 && p.BoughtOn > first {
		return nil, fmt.Errorf("%w: bought on day %d, the first line is of day %d", ErrDay, p.BoughtOn, first)
	}
	for _, lot := range p.Pantry {
		of(lot.Good).stock = append(of(lot.Good).stock, Lot{Quantity: lot.Quantity, UseBy: lot.UseBy, Sealed: lot.Sealed, limit: lot.UseBy})
	}
	s.Till, s.KnownTill = new(big.Rat), new(big.Rat)
	s.FromPantry, s.FromCupboard, s.Leftover, s.Saving = new(big.Rat), new(big.Rat), new(big.Rat), new(big.Rat)
	for _, good := range slices.Sorted(maps.Keys(needs)) {
		k := keeping{keeps[good], cmp.Or(p.BoughtOn, first)}
		t, known, err := needs[good].fill(good, offers[good], k, p.InTime)
		if err != nil {
			return nil, fmt.Errorf("%s: %w", good, err)
		}
		s.Goods = append(s.Goods, t)
		s.KnownTill.Add(s.KnownTill, known)
		u := s.units[good]
		s.Till = plus(s.Till, t.Till)
		s.FromPantry = plus(s.FromPantry, worth(t.FromPantry, u))
		s.FromCupboard = plus(s.FromCupboard, worth(t.FromCupboard, u))
		s.Leftover = plus(s.Leftover, t.LeftValue)
		s.Saving = plus(s.Saving, t.Saving)
	}
	return s, nil
}

// tables checks the offers, lots and keeping days, and gives them by good.
func (p Plan) tables() (map[string]*Offer, map[string]Keeps, error) {
	offers, keeps := map[string]*Offer{}, map[string]Keeps{}
	for _, o := range p.Offers {
		err := above(o.Size, ErrSize)
		if err == nil {
			err = above(o.Price, ErrPrice)
		}
		if m := o.Multibuy; err == nil && m != nil {
			if err = above(m.Price, ErrPrice); m.Packs < 2 || o.Loose {
				err = fmt.Errorf("%w: %d packs; it takes two or more, and packs", ErrMultibuy, m.Packs)
			}
		}
		if err == nil && offers[o.Good] != nil {
			err = fmt.Errorf("offer %w", ErrTwice)
		}
		if err != nil {
			return nil, nil, fmt.Errorf("%s: %w", o.Good, err)
		}
		offers[o.Good] = &o
	}
	for _, k := range p.Keeps {
		if _, twice := keeps[k.Good]; twice {
			return nil, nil, fmt.Errorf("%s: keeping days %w", k.Good, ErrTwice)
		}
		if k.Sealed < 0 || k.Opened < 0 {
			return nil, nil, fmt.Errorf("%s: %w: keeps %d days sealed, %d opened", k.Good, ErrDay, k.Sealed, k.Opened)
		}
		keeps[k.Good] = k
	}
	for _, lot := range p.Pantry {
		if lot.Quantity == nil || lot.Quantity.Sign() < 0 {
			return nil, nil, fmt.Errorf("pantry, %s: %w, or not known", lot.Good, ErrQuantity)
		}
		if lot.UseBy < 0 {
			return nil, nil, fmt.Errorf("pantry, %s: %w: use by %d", lot.Good, ErrDay, lot.UseBy)
		}
	}
	return offers, keeps, nil
}

// costed is a line at a unit price, nil if there is none.
func costed(l Line, unit *big.Rat) (Cost, error) {
	ap, err := l.AP()
	if err != nil {
		return Cost{}, err
	}
	c := Cost{Line: l, APQuantity: ap, UnitPrice: unit, Cost: PortionCost(ap, unit)}
	if l.Yield != nil {
		if c.EPUnitCost, err = EPUnitCost(unit, l.Yield); err != nil {
			return Cost{}, err
		}
	}
	switch {
	case l.Supply == Free:
		c.Cost = new(big.Rat)
	case l.Quantity == nil:
		c.Lacks = LacksQuantity
	case ap == nil:
		c.Lacks = LacksYield
	case unit == nil:
		c.Lacks = LacksPrice
	}
	return c, nil
}

// need is what the lines take of one good.
type need struct {
	days             map[int]*daily
	stock            []Lot
	bought           bool // some line is to be bought
	unsaid, unsaidIn bool // some quantity of a bought, of a cupboard line is not known
}

type daily struct{ cupboard, bought *big.Rat }

func (n *need) add(day int, quantity *big.Rat, cupboard bool) {
	n.bought = n.bought || !cupboard
	if quantity == nil {
		n.unsaid, n.unsaidIn = n.unsaid || !cupboard, n.unsaidIn || cupboard
		return
	}
	if n.days[day] == nil {
		n.days[day] = &daily{new(big.Rat), new(big.Rat)}
	}
	sum := n.days[day].bought
	if cupboard {
		sum = n.days[day].cupboard
	}
	sum.Add(sum, quantity)
}

// keeping is how long a good keeps that was bought on a day.
type keeping struct {
	Keeps
	bought int
}

// sealed is the last day of a sealed pack, 0 if not known.
func (k keeping) sealed() int {
	if k.Sealed == 0 {
		return 0
	}
	return k.bought + k.Sealed
}

// open gives the use-by day and the limit of what is opened on a day and has a limit while sealed. A seal that ran out before (the
// use is late then) says nothing more.
func (k Keeps) open(day, sealed int) (useBy, limit int) {
	if limit = sealed; limit < day {
		limit = 0
	}
	if k.Opened == 0 {
		return 0, limit
	}
	useBy = day + k.Opened
	if limit > 0 {
		useBy = min(useBy, limit)
	}
	return useBy, useBy
}

// fill meets the needs of one good. known is the money for what is known.
func (n *need) fill(good string, o *Offer, k keeping, inTime bool) (t Trolley, known *big.Rat, err error) {
	fromPantry, fromCupboard, fromPacks := new(big.Rat), new(big.Rat), new(big.Rat)
	pantry := newPantry(n.stock)
	var uses []use
	for _, day := range slices.Sorted(maps.Keys(n.days)) {
		d := n.days[day]
		lacking := func(quantity *big.Rat) *big.Rat {
			taken := pantry.draw(day, quantity, k.Keeps)
			fromPantry.Add(fromPantry, taken)
			return new(big.Rat).Sub(quantity, taken)
		}
		fromCupboard.Add(fromCupboard, lacking(d.cupboard))
		if q := lacking(d.bought); q.Sign() > 0 {
			uses = append(uses, use{day, q})
			fromPacks.Add(fromPacks, q)
		}
	}
	t = Trolley{Good: good, Offer: o}
	if known, err = t.buy(uses, fromPacks, k, inTime); err != nil {
		return Trolley{}, nil, err
	}
	shared := len(n.stock) > 0 // a quantity not known draws on it too
	if t.Pantry = pantry.left(); t.Offer != nil {
		price(t.Pantry, new(big.Rat).Quo(o.Price, o.Size))
	}
	if n.unsaid || n.unsaidIn && shared && n.bought {
		t = Trolley{Good: good, Offer: o}
	}
	if !n.unsaid && !n.unsaidIn {
		t.Need = new(big.Rat).Add(fromPantry, fromCupboard)
		t.Need.Add(t.Need, fromPacks)
	}
	if !(n.unsaid || n.unsaidIn) || !shared {
		t.FromPantry = fromPantry
	} else {
		t.Pantry = nil
	}
	if !n.unsaidIn && !(n.unsaid && shared) {
		t.FromCupboard = fromCupboard
	}
	if !n.unsaid && !(n.unsaidIn && shared && n.bought) {
		t.FromPacks = fromPacks
	}
	return t, known, nil
}

type use struct {
	day      int
	quantity *big.Rat
}

// buy fills in the packs for what the pantry did not give, and gives the money for them, 0 if there is no price.
func (t *Trolley) buy(uses []use, total *big.Rat, k keeping, inTime bool) (*big.Rat, error) {
	t.Late = new(big.Rat)
	o := t.Offer
	if o == nil {
		if total.Sign() == 0 { // nothing to buy
			t.Quantity, t.Till, t.Saving, t.Leftover, t.LeftValue = new(big.Rat), new(big.Rat), new(big.Rat), new(big.Rat), new(big.Rat)
		}
		return new(big.Rat), nil
	}
	unit := new(big.Rat).Quo(o.Price, o.Size)
	if o.Loose {
		for _, u := range uses {
			if by := k.sealed(); by > 0 && u.day > by {
				t.Late.Add(t.Late, u.quantity)
			}
		}
		t.Quantity, t.Till, t.Saving = new(big.Rat).Set(total), new(big.Rat).Mul(total, unit), new(big.Rat)
		t.Leftover, t.LeftValue = new(big.Rat), new(big.Rat)
		return t.Till, nil
	}
	rest, useBy, limit := new(big.Rat), 0, 0
	stop := func() {
		if rest.Sign() > 0 {
			t.Left = append(t.Left, Lot{Quantity: rest, UseBy: useBy, limit: limit})
		}
		rest = new(big.Rat)
	}
	opened := int64(0)
	for _, u := range uses {
		stale := rest.Sign() > 0 && limit > 0 && u.day > limit
		if stale && inTime {
			stop()
		}
		q := new(big.Rat).Set(u.quantity)
		taken := least(rest, q)
		if rest.Sub(rest, taken); stale && !inTime {
			t.Late.Add(t.Late, taken)
		}
		if q.Sub(q, taken); q.Sign() == 0 {
			continue
		}
		n, err := PacksNeeded(q, o.Size)
		if err != nil {
			return nil, err
		}
		if by := k.sealed(); by > 0 && u.day > by {
			t.Late.Add(t.Late, q)
		}
		opened += n
		rest = new(big.Rat).Mul(big.NewRat(n, 1), o.Size)
		rest.Sub(rest, q)
		useBy, limit = k.open(u.day, k.sealed())
	}
	stop()
	t.Packs, t.Deals, t.Till = o.cheapest(opened)
	for range t.Packs - opened {
		t.Left = append(t.Left, Lot{Quantity: o.Size, UseBy: k.sealed(), limit: k.sealed(), Sealed: true})
	}
	price(t.Left, unit)
	packs := big.NewRat(t.Packs, 1)
	t.Quantity = new(big.Rat).Mul(packs, o.Size)
	t.Saving = new(big.Rat).Mul(packs, o.Price)
	t.Saving.Sub(t.Saving, t.Till)
	t.Leftover = new(big.Rat).Sub(t.Quantity, total)
	t.LeftValue = new(big.Rat).Mul(t.Leftover, unit)
	return t.Till, nil
}

// cheapest buys at least n packs for the least money, then in the fewest packs.
func (o *Offer) cheapest(n int64) (packs, deals int64, money *big.Rat) {
	money = new(big.Rat).Mul(big.NewRat(n, 1), o.Price)
	m := o.Multibuy
	if m == nil || m.Price.Cmp(new(big.Rat).Mul(big.NewRat(m.Packs, 1), o.Price)) >= 0 {
		return n, 0, money
	}
	deals, single := n/m.Packs, n%m.Packs
	if new(big.Rat).Mul(big.NewRat(single, 1), o.Price).Cmp(m.Price) > 0 {
		deals, single = deals+1, 0
	}
	money.Mul(big.NewRat(single, 1), o.Price)
	money.Add(money, new(big.Rat).Mul(big.NewRat(deals, 1), m.Price))
	return deals*m.Packs + single, deals, money
}

// pantry is a stock of one good that is drawn down.
type pantry []Lot

func newPantry(lots []Lot) pantry {
	p := make(pantry, len(lots))
	for i, l := range lots {
		p[i] = l
		p[i].Quantity = new(big.Rat).Set(l.Quantity)
	}
	slices.SortStableFunc(p, byUse)
	return p
}

// byUse orders lots as they are used: nearest limit first, not known last, opened before sealed, small before large.
func byUse(a, b Lot) int {
	sealed := func(l Lot) int {
		if l.Sealed {
			return 1
		}
		return 0
	}
	return cmp.Or(cmp.Compare(uint(a.limit)-1, uint(b.limit)-1), cmp.Compare(sealed(a), sealed(b)), a.Quantity.Cmp(b.Quantity))
}

// draw takes up to a quantity on a day from the lots that still keep, and gives what it took.
func (p pantry) draw(day int, quantity *big.Rat, k Keeps) *big.Rat {
	taken := new(big.Rat)
	for _, d := range p.drawEach(day, quantity, k) {
		taken.Add(taken, d)
	}
	return taken
}

// drawEach is draw lot by lot: what it took of each.
func (p pantry) drawEach(day int, quantity *big.Rat, k Keeps) map[int]*big.Rat {
	lacking, each := new(big.Rat).Set(quantity), map[int]*big.Rat{}
	for lacking.Sign() > 0 {
		at := -1
		for i, l := range p {
			if l.Quantity.Sign() > 0 && (l.limit == 0 || l.limit >= day) && (at < 0 || byUse(l, p[at]) < 0) {
				at = i
			}
		}
		if at < 0 {
			break
		}
		l := &p[at]
		taken := least(l.Quantity, lacking)
		l.Quantity.Sub(l.Quantity, taken)
		lacking.Sub(lacking, taken)
		each[at] = taken
		if l.Sealed {
			l.Sealed = false
			l.UseBy, l.limit = k.open(day, l.limit)
		}
	}
	return each
}

func (p pantry) left() (lots []Lot) {
	for _, l := range p {
		if l.Quantity.Sign() > 0 {
			lots = append(lots, l)
		}
	}
	slices.SortStableFunc(lots, byUse)
	return lots
}

func price(lots []Lot, unit *big.Rat) {
	for i := range lots {
		lots[i].Value = PortionCost(lots[i].Quantity, unit)
	}
}

// least is a copy of the lesser of two.
func least(a, b *big.Rat) *big.Rat {
	if a.Cmp(b) <= 0 {
		return new(big.Rat).Set(a)
	}
	return new(big.Rat).Set(b)
}

// plus is a + b, nil if one is not known.
func plus(a, b *big.Rat) *big.Rat {
	if a == nil || b == nil {
		return nil
	}
	return new(big.Rat).Add(a, b)
}

// worth is the value of a quantity: none of a thing without a price is worth nothing, some is not known.
func worth(quantity, unit *big.Rat) *big.Rat {
	if quantity != nil && quantity.Sign() == 0 {
		return new(big.Rat)
	}
	return PortionCost(quantity, unit)
}
