package kitchen

import (
	"cmp"
	"fmt"
	"maps"
	"math/big"
	"slices"
	"strconv"
	"strings"
	"time"

	"farthing/pipeline/meal"
	"farthing/pipeline/result"
	"farthing/pipeline/workspace"
)

// price is what a good costs by the pack, and what stands behind it.
type price struct {
	meal.Offer
	pack     string // as on the label
	outlet   string
	oldest   string // day
	id       string // of the observation, at an outlet
	filledBy string
	base     result.Base
}

// unpriced says why a good has no price and what would cure it.
type unpriced string

func (u unpriced) Error() string { return string(u) }

// heldBack says which prices an edit rule holds, so that a good has none.
type heldBack string

func (h heldBack) Error() string { return string(h) }

const day = "2006-01-02"

// price gives the pack of a good at its price: at an outlet the latest noted
// there, of several packs and varieties the one with the lowest unit price;
// else the region's elementary price of the month, by the pack most often noted.
func (k *Kitchen) price(a Ask, g good) (*price, error) {
	if a.Outlet != "" {
		return k.atOutlet(a, g)
	}
	return k.typicalOf(a, g)
}

func (k *Kitchen) atOutlet(a Ask, g good) (*price, error) {
	first := a.On.AddDate(0, 0, -a.MaxAgeDays).Format(day)
	on := a.On.Format(day)
	type key struct{ variety, pack string }
	latest := map[key]note{}
	newest := ""
	for _, n := range k.noted[g] {
		if n.outlet != a.Outlet || n.day > on || n.kind == "average" || n.priceType == "multibuy" {
			continue
		}
		newest = max(newest, n.day)
		if old, ok := latest[key{n.variety, n.pack}]; n.day >= first && (!ok || n.day > old.day || n.day == old.day && n.price.Cmp(old.price) < 0) {
			latest[key{n.variety, n.pack}] = n
		}
	}
	if len(latest) == 0 {
		if newest != "" {
			return nil, unpriced(fmt.Sprintf("no price at %s in the %d days to %s: the newest is of %s", a.Outlet, a.MaxAgeDays, on, newest))
		}
		if k.heldAt[heldKey{g, a.Outlet}] {
			return nil, heldBack(fmt.Sprintf("the prices of %s at %s are held for a check", strings.TrimSpace(g.item+" "+g.grade), a.Outlet))
		}
		return nil, unpriced(fmt.Sprintf("no price at %s: note one", a.Outlet))
	}
	best := slices.MinFunc(slices.Collect(maps.Values(latest)), func(x, y note) int {
		return cmp.Or(unitPrice(x).Cmp(unitPrice(y)), x.quantity.Cmp(y.quantity), cmp.Compare(x.id, y.id))
	})
	p := &price{Offer: meal.Offer{Good: g.name(), Size: best.quantity, Price: best.price}, pack: best.asRead, outlet: best.outlet, oldest: best.day, id: best.id,
		base: result.Base{CurrencyCode: k.currency(a.Region), NObservations: result.Count(1), NOutlets: result.Count(1), ImputedShare: result.Some(0), MissingShare: result.Some(0), ObsStatus: "A", ObsStatusAll: "A"}}
	for _, n := range k.noted[g] { // the newest multibuy of the same pack
		if packs, one, ok := deal(n); ok && n.outlet == a.Outlet && n.variety == best.variety && one == best.pack && n.day <= on && n.day >= first {
			p.Multibuy = &meal.Multibuy{Packs: packs, Price: n.price}
		}
	}
	return p, nil
}

// deal reads "3 of 1 x 0.4 kg": so many packs for the one price.
func deal(n note) (packs int64, one string, ok bool) {
	if n.priceType != "multibuy" {
		return 0, "", false
	}
	count, one, ok := strings.Cut(n.pack, " of ")
	packs, err := strconv.ParseInt(count, 10, 64)
	return packs, one, ok && err == nil && packs > 1
}

func unitPrice(n note) *big.Rat { return new(big.Rat).Quo(n.price, n.quantity) }

func (k *Kitchen) typicalOf(a Ask, g good) (*price, error) {
	x := k.typical[typicalKey{a.Region, g.item, g.grade, a.Month}]
	if x != nil && !x.UnitPrice.OK && strings.Contains(x.ObsStatusAll, "Q") {
		return nil, heldBack(fmt.Sprintf("the prices of %s in %s in %s are held for a check", strings.TrimSpace(g.item+" "+g.grade), a.Region, a.Month))
	}
	if x == nil || !x.UnitPrice.OK {
		return nil, unpriced(fmt.Sprintf("no price of %s in %s in %s", strings.TrimSpace(g.item+" "+g.grade), a.Region, a.Month))
	}
	if a.MaxAgeDays > 0 {
		newest, err := workspace.ParseDay(x.NewestOn)
		if err != nil && x.FilledBy == "" {
			newest, err = a.Month.Day(31), nil // a published average reaches to the end of its month
		}
		if age := int(a.On.Sub(newest) / (24 * time.Hour)); err != nil {
			return nil, unpriced(fmt.Sprintf("not seen in %s: filled by %s", a.Month, x.FilledBy))
		} else if age > a.MaxAgeDays {
			return nil, unpriced(fmt.Sprintf("the newest price is %d days old", age))
		}
	}
	pack, ok := k.usualPack(a, g)
	if !ok {
		return nil, unpriced("no pack of it was ever noted: note one")
	}
	// To four decimals, so that who checks the printed price comes to the printed cost.
	packPrice := meal.Round(new(big.Rat).Mul(rat(x.UnitPrice), pack.quantity), 4)
	return &price{Offer: meal.Offer{Good: g.name(), Size: pack.quantity, Price: packPrice}, pack: pack.asRead, oldest: x.OldestOn, filledBy: x.FilledBy, base: x.Base}, nil
}

// usualPack is the pack most often noted in a region and month, or in the last
// month before it that has any; of equals the one noted last, then the smaller.
func (k *Kitchen) usualPack(a Ask, g good) (note, bool) {
	month := result.Month(-1)
	for _, n := range k.noted[g] {
		if n.month <= a.Month && n.priceType != "multibuy" && k.within(n.region, a.Region) {
			month = max(month, n.month)
		}
	}
	count, last := map[string]int{}, map[string]note{}
	for _, n := range k.noted[g] {
		if n.month == month && n.priceType != "multibuy" && k.within(n.region, a.Region) {
			count[n.pack]++
			if n.day >= last[n.pack].day {
				last[n.pack] = n
			}
		}
	}
	if len(count) == 0 {
		return note{}, false
	}
	return slices.MinFunc(slices.Collect(maps.Values(last)), func(x, y note) int {
		return cmp.Or(cmp.Compare(count[y.pack], count[x.pack]), cmp.Compare(y.day, x.day), x.quantity.Cmp(y.quantity), cmp.Compare(x.pack, y.pack))
	}), true
}

func (k *Kitchen) currency(region string) string {
	for _, r := range k.tables.Regions {
		if r.Region == region {
			return r.Currency
		}
	}
	return ""
}
