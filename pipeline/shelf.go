package pipeline

import (
	"cmp"
	"fmt"
	"maps"
	"math/big"
	"slices"
	"strconv"
	"strings"
	"unicode"

	"farthing/pipeline/quantity"
	"farthing/pipeline/result"
	"farthing/pipeline/workspace"
)

// ShelfRow is an offer in a ranking by unit price: a typed label, or the latest
// price of a variety in a pack at an outlet.
type ShelfRow struct {
	Rank  result.Int `col:"rank"`
	Tied  string     `col:"tied"` // yes where another offer costs exactly the same
	Label string     `col:"label"`
	Offer string     `col:"offer"` // of the label, as understood

	ObservationID string     `col:"observation_id"`
	Item          string     `col:"item"`
	Grade         string     `col:"grade"`
	Variety       string     `col:"variety"`
	Pack          string     `col:"pack"`
	Region        string     `col:"region"`
	Outlet        string     `col:"outlet"`
	PriceType     string     `col:"price_type"`
	ObservedOn    string     `col:"observed_on"`
	FirstOn       string     `col:"first_on"` // the earliest of the N
	N             result.Int `col:"n_observations"`

	Price        result.Num `col:"price_lcu,money"`
	Quantity     result.Num `col:"quantity,quantity"`
	BaseUnit     string     `col:"base_unit"`
	Per          string     `col:"per"`
	UnitPrice    result.Num `col:"unit_price_lcu,money"` // per Per, as the ones that follow
	Edible       result.Num `col:"edible_unit_price_lcu,money"`
	Difference   result.Num `col:"difference_lcu,money"` // to the cheapest
	DifferencePc result.Num `col:"difference_pct,pct"`
	Currency     string     `col:"currency_code"`

	offer quantity.Offer
	yield *big.Rat
}

// ShelfCode is what a GTIN says of itself.
type ShelfCode struct {
	Code       string         `json:"code"`
	GTIN14     string         `json:"gtin14"`
	UPCA       *string        `json:"upc_a"` // where the code is a UPC-E
	Restricted bool           `json:"restricted"`
	Readings   []ShelfReading `json:"readings"`
}

// ShelfReading is a figure that a variable-measure code may hold: a price or a weight.
type ShelfReading struct {
	Digits string  `json:"digits"`
	Price  float64 `json:"price_lcu"`
	Weight float64 `json:"weight_kg"`
}

// IsLabel tells a label, or a code, from the name of an item: it begins with a
// digit or the sign of a currency.
func IsLabel(s string) bool {
	for _, r := range s {
		return unicode.IsDigit(r) || unicode.Is(unicode.Sc, r)
	}
	return false
}

// IsCode says whether a label is the digits of a bar code.
func IsCode(s string) bool { return len(s) >= 8 && strings.Trim(s, "0123456789") == "" }

func badLabel(read string, err error) error {
	e := err.(*quantity.Error)
	return &workspace.InputError{Code: "label", Field: "label", Read: fmt.Sprintf("%q: %s", read, e.Why), Instead: e.Instead}
}

// CodeOf reads a bar code. A figure in a restricted code is offered both as a
// price and as a weight: which it is is a shop's own convention.
func CodeOf(code string) (ShelfCode, error) {
	c := ShelfCode{Code: code, Readings: []ShelfReading{}}
	upc, errE := quantity.ExpandUPCE(code)
	key, err := quantity.GTIN14(code)
	if err != nil && errE == nil {
		c.UPCA = &upc
		key, err = quantity.GTIN14(upc)
	}
	if err != nil {
		return c, badLabel(code, err)
	}
	c.GTIN14 = key
	if c.Restricted, err = quantity.Restricted(key); err != nil {
		return c, err
	}
	readings, err := quantity.EmbeddedReadings(key)
	for _, r := range readings {
		price, _ := r.Price.Float64()
		if n := len(c.Readings); n == 0 || c.Readings[n-1].Price != price { // else a nought more in front
			c.Readings = append(c.Readings, ShelfReading{r.Digits, price, r.Weight.Float()})
		}
	}
	return c, err
}

// ShelfLabels ranks what typed labels offer, per base unit or what per says.
func ShelfLabels(labels []string, per string, comma bool) ([]ShelfRow, error) {
	var rows []ShelfRow
	for _, text := range labels {
		l, err := quantity.ParseLabel(text, quantity.Options{Comma: comma})
		if err != nil {
			return nil, badLabel(text, err)
		}
		for _, o := range l.Offers() {
			rows = append(rows, ShelfRow{Label: text, Offer: o.Name, offer: o})
		}
	}
	return rank(rows, per)
}

// ShelfItems ranks the latest price of each variety, grade, pack and outlet of
// some items that counts: noted in the days up to the edition's as_of, in a
// region or a part of it ("" for all). What is held is left out and told.
func ShelfItems(e *result.Edition, items []string, region string, days int, per string) ([]ShelfRow, []result.Warning, error) {
	then, err := workspace.Open(e.Dir) // settings and tables of the edition
	if err != nil {
		return nil, nil, err
	}
	t, err := then.Tables()
	if err != nil {
		return nil, nil, err
	}
	yields := map[string]*big.Rat{}
	for _, it := range t.Items {
		yields[it.Item] = it.EdibleYield
	}
	parent := map[string]string{}
	for _, r := range e.Regions {
		parent[r.Region] = r.Parent
	}
	within := func(r string) bool {
		for r != "" && r != region {
			r = parent[r]
		}
		return r == region
	}
	asOf, err := workspace.ParseDay(e.AsOf)
	if err != nil {
		return nil, nil, err
	}
	first := asOf.AddDate(0, 0, -days).Format("2006-01-02")
	held, newest, found := map[string]int{}, map[string]string{}, map[[7]string]*ShelfRow{}
	err = result.EachObservation(e.Dir, func(o result.Observation) {
		item, day := o.Get("item"), o.Get("observed_on")
		if !slices.Contains(items, item) || region != "" && !within(o.Get("region")) {
			return
		}
		isHeld := o.Get("held") != "" && o.Get("correction") == ""
		switch {
		case isHeld && day >= first:
			held[item]++
		case o.Get("counts") != "yes":
		case day < first:
			newest[item] = max(newest[item], strings.Clone(day))
		default:
			m := o.Clone()
			price, okP := new(big.Rat).SetString(m["price_used_lcu"])
			size, okS := new(big.Rat).SetString(m["quantity"])
			dimension, okD := quantity.DimensionOf(m["base_unit"])
			if !okP || !okS || !okD {
				return // a row that counts has all of them
			}
			grade := cmp.Or(m["grade"], then.Prices.DefaultGrade)
			key := [7]string{m["item"], grade, m["variety"], m["pack"], m["region"], m["outlet"], m["kind"]}
			row := found[key]
			if row == nil {
				row = &ShelfRow{Item: m["item"], Grade: grade, Variety: m["variety"], Region: m["region"], Outlet: m["outlet"], FirstOn: day, N: result.Count(0),
					Currency: m["currency_code"], yield: yields[item]}
				found[key] = row
			}
			row.N.V++
			row.FirstOn = min(row.FirstOn, m["observed_on"])
			if later := cmp.Compare(m["observed_on"], row.ObservedOn); later > 0 || later == 0 && price.Cmp(row.offer.Price) < 0 {
				row.ObservationID, row.ObservedOn, row.Pack, row.PriceType = m["observation_id"], m["observed_on"], m["pack_as_read"], m["price_type"]
				row.offer = quantity.Offer{Price: price, Size: quantity.New(size, dimension)}
			}
		}
	})
	if err != nil {
		return nil, nil, err
	}
	var rows []ShelfRow
	for _, key := range slices.SortedFunc(maps.Keys(found), func(a, b [7]string) int { return slices.Compare(a[:], b[:]) }) {
		rows = append(rows, *found[key])
	}
	var warnings []result.Warning
	for _, item := range items {
		if n := held[item]; n > 0 {
			warnings = append(warnings, result.Warning{Code: "held", Text: fmt.Sprintf("%d observations of %s are held and left out", n, item), Cure: "look at each: farthing quarantine --held", Key: item})
		}
		if !slices.ContainsFunc(rows, func(r ShelfRow) bool { return r.Item == item }) {
			w := result.Warning{Code: "no_price", Text: fmt.Sprintf("no price of %s counts in the %d days to %s", item, days, e.AsOf), Cure: "note one", Key: item}
			if day := newest[item]; day != "" {
				w.Cure = "the newest is of " + day + ": --days looks further back"
			}
			warnings = append(warnings, w)
		}
	}
	for _, r := range rows {
		if r.Currency != rows[0].Currency {
			return nil, nil, &workspace.InputError{Code: "shelf", Field: "region", Read: fmt.Sprintf("prices in %s and in %s", rows[0].Currency, r.Currency), Instead: "name a region: --region " + r.Region}
		}
	}
	rows, err = rank(rows, per)
	return rows, warnings, err
}

// rank fills in the figures of offers and puts the cheapest first, equal ones
// in the order given. All must be of one dimension, that of per if it is given.
func rank(rows []ShelfRow, per string) ([]ShelfRow, error) {
	if len(rows) == 0 {
		return rows, nil
	}
	refuse := func(read, instead string) ([]ShelfRow, error) {
		return nil, &workspace.InputError{Code: "shelf", Field: "per", Read: read, Instead: instead}
	}
	d := rows[0].offer.Size.Dimension()
	unit := quantity.New(big.NewRat(1, 1), d)
	for _, r := range rows {
		if other := r.offer.Size.Dimension(); other != d {
			return refuse(fmt.Sprintf("%q is sold by %s, %q by %s", rows[0].name(), d, r.name(), other), "compare what is sold in one kind of unit: weigh the one, or leave it out")
		}
	}
	if per == "" {
		per = d.BaseUnit()
	} else {
		var err error
		if unit, err = quantity.ParseAmount(per, quantity.Options{}); err != nil {
			return refuse(fmt.Sprintf("%q is no unit", per), "a unit such as "+d.BaseUnit()+", 100g or floz_us")
		}
		if unit.Dimension() != d || unit.Float() == 0 {
			return refuse(fmt.Sprintf("%s for what is sold by %s", per, d), "a unit such as "+d.BaseUnit())
		}
	}
	var offers []quantity.Offer
	for i, r := range rows {
		r.offer.Name = fmt.Sprintf("%09d", i)
		offers = append(offers, r.offer)
	}
	ranked, err := quantity.Rank(offers, unit)
	if err != nil {
		return nil, err
	}
	float := func(r *big.Rat) result.Num {
		f, _ := r.Float64()
		return result.Some(f)
	}
	list := make([]ShelfRow, len(rows))
	for i, o := range ranked {
		from, _ := strconv.Atoi(o.Name)
		r := rows[from]
		r.Rank, r.Tied, r.Per, r.BaseUnit = result.Count(i+1), "no", per, d.BaseUnit()
		r.Price, r.Quantity, r.UnitPrice = float(o.Price), result.Some(o.Size.Float()), float(o.UnitPrice)
		if r.yield != nil && r.yield.Sign() > 0 {
			r.Edible = float(new(big.Rat).Quo(o.UnitPrice, r.yield))
		}
		more := new(big.Rat).Sub(o.UnitPrice, ranked[0].UnitPrice)
		r.Difference = float(more)
		r.DifferencePc = float(more.Quo(more.Mul(more, big.NewRat(100, 1)), ranked[0].UnitPrice))
		if i > 0 && o.UnitPrice.Cmp(ranked[i-1].UnitPrice) == 0 {
			r.Rank, r.Tied, list[i-1].Tied = list[i-1].Rank, "yes", "yes"
		}
		list[i] = r
	}
	return list, nil
}

func (r ShelfRow) name() string { return cmp.Or(r.Label, r.Item) }
