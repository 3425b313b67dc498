package index

import (
	"cmp"
	"maps"
	"math"
	"slices"
)

// Quote is one price of one variety in one pack at one outlet.
type Quote struct {
	Outlet, Variety string
	Size            float64 // content of the pack, in base units
	Price           float64 // of the pack
}

// Parts is the change of an item's price from one month to another, in natural
// logs: Total = Pure + Size + Mix exactly (exp less 1 makes percent).
type Parts struct {
	Total float64
	Pure  float64 // prices of packs that stayed, or that replaced one that went
	Size  float64 // content of packs that replaced one that went: smaller is dearer
	Mix   float64 // the rest: other varieties, outlets, or packs beside the old ones
	N, Of int     // outlet x variety series seen in both months, and in either
}

// Part parts the change of the unit price between two months of quotes.
//
//	level of a month = mean over outlets of (mean over variety x pack of (mean of ln unit price))
//	Total = level(to) - level(from)
//
// In each outlet x variety seen in both months a pack still sold gives its own ln
// price change; packs gone are linked with packs that came (means of both, counted
// as often as they pair off), whose change is Pure = ln(price1/price0) and Size =
// ln(size0/size1), so (1 + shelf)(1 + size) = ratio of unit prices. Pure and Size
// are means over packs, then over series. A pack beside the old one is Mix.
//
// Errors: ErrNoPair if no series is in both months; *ValueError for a size or price
// that is not positive (NaN included: leave such quotes out). Own definition, after
// CPI Manual 2020, ch. 6 (quality adjustment for package size).
func Part(from, to []Quote) (Parts, error) {
	a, err := packs(from)
	if err != nil {
		return Parts{}, err
	}
	b, err := packs(to)
	if err != nil {
		return Parts{}, err
	}
	before, after := bySeries(a), bySeries(b)
	p := Parts{Of: len(before)}
	for _, k := range slices.SortedFunc(maps.Keys(after), func(a, b outletVariety) int { return slices.Compare(a[:], b[:]) }) {
		if before[k] == nil {
			p.Of++
			continue
		}
		pure, size := linked(before[k], after[k])
		p.Pure, p.Size, p.N = p.Pure+pure, p.Size+size, p.N+1
	}
	if p.N == 0 {
		return p, ErrNoPair
	}
	p.Total = level(b) - level(a)
	p.Pure, p.Size = p.Pure/float64(p.N), p.Size/float64(p.N)
	p.Mix = p.Total - p.Pure - p.Size
	return p, nil
}

// pack is a pack's month: the mean of its ln prices.
type pack struct {
	outlet, variety string
	lnSize, lnPrice float64
}

type outletVariety [2]string // outlet, variety

// packs reduces quotes to packs, ordered by outlet, variety and size.
func packs(quotes []Quote) ([]pack, error) {
	for i, q := range quotes {
		switch {
		case !(q.Price > 0 && q.Price <= math.MaxFloat64):
			return nil, &ValueError{"price", i, q.Price, "a positive number"}
		case !(q.Size > 0 && q.Size <= math.MaxFloat64):
			return nil, &ValueError{"pack size", i, q.Size, "a positive number"}
		}
	}
	quotes = slices.SortedFunc(slices.Values(quotes), func(a, b Quote) int {
		return cmp.Or(cmp.Compare(a.Outlet, b.Outlet), cmp.Compare(a.Variety, b.Variety),
			cmp.Compare(a.Size, b.Size), cmp.Compare(a.Price, b.Price))
	})
	var out []pack
	for i := 0; i < len(quotes); {
		q, ln, n := quotes[i], 0.0, 0.0
		for ; i < len(quotes) && quotes[i].Outlet == q.Outlet && quotes[i].Variety == q.Variety && quotes[i].Size == q.Size; i++ {
			ln, n = ln+math.Log(quotes[i].Price), n+1
		}
		out = append(out, pack{q.Outlet, q.Variety, math.Log(q.Size), ln / n})
	}
	return out, nil
}

func bySeries(packs []pack) map[outletVariety][]pack {
	m := map[outletVariety][]pack{}
	for _, p := range packs {
		k := outletVariety{p.outlet, p.variety}
		m[k] = append(m[k], p)
	}
	return m
}

// level is the mean over outlets of the mean of their packs' ln unit prices.
func level(packs []pack) float64 {
	s, outlets := 0.0, 0.0
	for i := 0; i < len(packs); outlets++ {
		first, u := i, 0.0
		for ; i < len(packs) && packs[i].outlet == packs[first].outlet; i++ {
			u += packs[i].lnPrice - packs[i].lnSize
		}
		s += u / float64(i-first)
	}
	return s / outlets
}

// linked is the pure and size change of one series.
func linked(before, after []pack) (pure, size float64) {
	links := 0.0
	var gone []pack
	came := slices.Clone(after)
	for _, a := range before {
		i := slices.IndexFunc(came, func(b pack) bool { return b.lnSize == a.lnSize })
		if i < 0 {
			gone = append(gone, a)
			continue
		}
		pure += came[i].lnPrice - a.lnPrice
		links++
		came = slices.Delete(came, i, i+1)
	}
	if n := float64(min(len(gone), len(came))); n > 0 {
		price0, size0 := means(gone)
		price1, size1 := means(came)
		pure += n * (price1 - price0)
		size += n * (size0 - size1)
		links += n
	}
	return pure / links, size / links
}

func means(packs []pack) (lnPrice, lnSize float64) {
	for _, p := range packs {
		lnPrice += p.lnPrice / float64(len(packs))
		lnSize += p.lnSize / float64(len(packs))
	}
	return lnPrice, lnSize
}
