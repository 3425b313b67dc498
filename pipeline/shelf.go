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

	"farthing/pipeline/kitchen"
	"farthing/pipeline/quantity"
	"farthing/pipeline/result"
	"farthing/pipeline/workspace"
)

// ShelfRow is an offer in a ranking: a typed label, or the latest price of a
// variety in a pack at an outlet.
type ShelfRow struct {
	Rank  result.Int `col:"rank"` // none where what it is ranked by is not known
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
	Difference   result.Num `col:"difference_lcu,money"` // to the cheapest of those sold in one kind of unit
	DifferencePc result.Num `col:"difference_pct,pct"`
	Currency     string     `col:"currency_code"`

	// What one unit of money buys, by the food tables.
	Energy         result.Num `col:"energy_kcal_per_lcu,pct"`
	Nutrient       string     `col:"nutrient"`
	NutrientUnit   string     `col:"nutrient_unit"`
	PerMoney       result.Num `col:"nutrient_per_lcu,pct"` // in NutrientUnit
	Density        result.Num `col:"density_score,pct"`    // of the food, as kitchen.DensityMeasure says
	DensityPer     result.Num `col:"density_per_lcu,pct"`
	NutrientsLacks string     `col:"nutrients_lack"` // why one of them is not known

	// In the dish in hand.
	Dish           string     `col:"dish"`
	DishQuantity   result.Num `col:"dish_quantity,quantity"` // base units as bought in a serving
	PerServing     result.Num `col:"per_serving_lcu,money"`
	PerServingMore result.Num `col:"per_serving_difference_lcu,money"` // to the cheapest offer of the item
	DishLacks      string     `col:"dish_lacks"`                       // why there is no cost

	offer quantity.Offer
	yield *big.Rat
	value *big.Rat // of what it is ranked by, if not by price; nil: not known
}

// ShelfBy is what offers are ranked by: the unit price, that of the edible part,
// or what one unit of money buys.
var ShelfBy = []string{"price", "edible", "energy", "nutrient", "density"}

// ShelfAsk says which offers to rank, and by what.
type ShelfAsk struct {
	Items    []string
	Region   string // and its parts; "": everywhere
	Days     int    // up to the edition's as_of
	Per      string // the unit of unit prices; "": kg, L or each
	By       string // of ShelfBy; "": price
	Nutrient string // of kitchen.Nutrients; "": protein
	Dish     string // the recipe in hand; "": none
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
	return rank(rows, per, "price")
}

// ShelfItems ranks the latest price of each variety, grade, pack and outlet of
// some items that counts. What is held is left out and told, as is what lacks
// the figures asked for.
func ShelfItems(e *result.Edition, a ShelfAsk) ([]ShelfRow, []result.Warning, error) {
	a.By, a.Nutrient = cmp.Or(a.By, "price"), cmp.Or(a.Nutrient, "protein")
	for _, x := range []struct {
		field, read string
		known       []string
	}{{"by", a.By, ShelfBy}, {"nutrient", a.Nutrient, kitchen.Nutrients()}} {
		if !slices.Contains(x.known, x.read) {
			return nil, nil, &workspace.InputError{Code: "unknown_name", Field: x.field, Read: fmt.Sprintf("%q is not known", x.read),
				Instead: workspace.DidYouMean(x.read, x.known, "write one of "+strings.Join(x.known, ", "))}
		}
	}
	var inDish map[string]*big.Rat
	if a.Dish != "" {
		k, err := Kitchen(e)
		if err != nil {
			return nil, nil, err
		}
		if inDish, err = k.InDish(a.Dish, a.Region); err != nil {
			return nil, nil, err
		}
	}
	then, err := workspace.Open(e.Dir) // settings and tables of the edition
	if err != nil {
		return nil, nil, err
	}
	t, err := then.Tables()
	if err != nil {
		return nil, nil, err
	}
	foods, err := kitchen.ReadFoods(then)
	if err != nil {
		return nil, nil, err
	}
	known := map[string]*workspace.Item{}
	for i := range t.Items {
		known[t.Items[i].Item] = &t.Items[i]
	}
	parent := map[string]string{}
	for _, r := range e.Regions {
		parent[r.Region] = r.Parent
	}
	within := func(r string) bool {
		for r != "" && r != a.Region {
			r = parent[r]
		}
		return r == a.Region
	}
	asOf, err := workspace.ParseDay(e.AsOf)
	if err != nil {
		return nil, nil, err
	}
	first := asOf.AddDate(0, 0, -a.Days).Format("2006-01-02")
	held, newest, found := map[string]int{}, map[string]string{}, map[[7]string]*ShelfRow{}
	err = result.EachObservation(e.Dir, func(o result.Observation) {
		item, day := o.Get("item"), o.Get("observed_on")
		if !slices.Contains(a.Items, item) || a.Region != "" && !within(o.Get("region")) {
			return
		}
		isHeld := o.IsHeld()
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
					Currency: m["currency_code"], yield: foods.Edible(known[item])}
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
	for _, item := range a.Items {
		if n := held[item]; n > 0 {
			warnings = append(warnings, result.Warning{Code: "held", Text: fmt.Sprintf("%d observations of %s are held and left out", n, item), Cure: "look at each: farthing quarantine --held", Key: item})
		}
		if !slices.ContainsFunc(rows, func(r ShelfRow) bool { return r.Item == item }) {
			w := result.Warning{Code: "no_price", Text: fmt.Sprintf("no price of %s counts in the %d days to %s", item, a.Days, e.AsOf), Cure: "note one", Key: item}
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
	for i := range rows {
		rows[i].nourish(foods.Composition(known[rows[i].Item]), a)
	}
	if a.Dish != "" {
		serve(rows, a.Dish, inDish)
	}
	for _, item := range a.Items {
		at := slices.IndexFunc(rows, func(r ShelfRow) bool { return r.Item == item })
		if at < 0 {
			continue
		}
		if y := rows[at].yield; a.By == "edible" && (y == nil || y.Sign() <= 0) {
			warnings = append(warnings, result.Warning{Code: "no_yield", Text: item + ": how much of it is eaten is not known", Cure: "fill edible_yield in tables/items: without it it has no rank, and it is not taken as 100 %", Key: item})
		}
		if lacks := rows[at].NutrientsLacks; lacks != "" {
			warnings = append(warnings, result.Warning{Code: "no_nutrients", Text: item + ": " + lacks, Cure: "without the figure it has no rank, and it is not zero", Key: item})
		}
		if lacks := rows[at].DishLacks; lacks != "" {
			warnings = append(warnings, result.Warning{Code: "not_in_dish", Text: item + ": " + lacks, Cure: "it has no cost a serving", Key: item})
		}
	}
	rows, err = rank(rows, a.Per, a.By)
	return rows, warnings, err
}

// unitPrice of a base unit, exactly.
func (r *ShelfRow) unitPrice() *big.Rat {
	return new(big.Rat).Quo(r.offer.Price, r.offer.Size.Rat())
}

// nourish fills in what one unit of money buys.
func (r *ShelfRow) nourish(c kitchen.Composition, a ShelfAsk) {
	price := r.unitPrice()
	energy, noEnergy := c.PerMoney("energy", price)
	amount, noAmount := c.PerMoney(a.Nutrient, price)
	var noScore, noDensity string
	r.Density, noScore = c.Density()
	r.DensityPer, noDensity = c.DensityPerMoney(price)
	r.Energy, r.PerMoney, r.Nutrient, r.NutrientUnit = float(energy), float(amount), a.Nutrient, kitchen.NutrientUnit(a.Nutrient)
	switch a.By {
	case "energy":
		r.value = energy
	case "nutrient":
		r.value = amount
	case "density":
		if r.DensityPer.OK {
			r.value = new(big.Rat).SetFloat64(r.DensityPer.V)
		}
	}
	lacks := slices.DeleteFunc([]string{noEnergy, noAmount, noScore, noDensity}, func(s string) bool { return s == "" })
	slices.Sort(lacks)
	r.NutrientsLacks = strings.Join(slices.Compact(lacks), "; ")
}

// serve fills in what a serving of a dish costs with each offer in it.
func serve(rows []ShelfRow, dish string, amounts map[string]*big.Rat) {
	cheapest := map[string]*big.Rat{}
	costs := make([]*big.Rat, len(rows))
	for i := range rows {
		r := &rows[i]
		amount, used := amounts[r.Item]
		r.Dish = dish
		switch {
		case !used:
			r.DishLacks = dish + " buys none of it"
		case amount == nil:
			r.DishLacks = "how much of it " + dish + " takes is not known: farthing meal " + dish + " says what its line lacks"
		default:
			costs[i] = new(big.Rat).Mul(amount, r.unitPrice())
			r.DishQuantity, r.PerServing = float(amount), float(costs[i])
			if least := cheapest[r.Item]; least == nil || costs[i].Cmp(least) < 0 {
				cheapest[r.Item] = costs[i]
			}
		}
	}
	for i := range rows {
		if costs[i] != nil {
			rows[i].PerServingMore = float(new(big.Rat).Sub(costs[i], cheapest[rows[i].Item]))
		}
	}
}

// float is a number for print; nil is missing.
func float(r *big.Rat) result.Num {
	if r == nil {
		return result.Num{}
	}
	f, _ := r.Float64()
	return result.Some(f)
}

// rank fills in the figures of offers and puts the cheapest first, or by what
// money buys the most, equal ones in the order given; what lacks the figure comes
// last and has no rank. Unit prices are per what per says, else per base unit. By
// price, or with per, all offers must be of one dimension.
func rank(rows []ShelfRow, per, by string) ([]ShelfRow, error) {
	refuse := func(read, instead string) ([]ShelfRow, error) {
		return nil, &workspace.InputError{Code: "shelf", Field: "per", Read: read, Instead: instead}
	}
	var dimensions []quantity.Dimension
	of := map[quantity.Dimension][]quantity.Offer{}
	for i, r := range rows {
		d := r.offer.Size.Dimension()
		if of[d] == nil {
			dimensions = append(dimensions, d)
		}
		r.offer.Name = fmt.Sprintf("%09d", i)
		of[d] = append(of[d], r.offer)
		if first := rows[0].offer.Size.Dimension(); first != d && (by == "price" || by == "edible" || per != "") {
			return refuse(fmt.Sprintf("%q is sold by %s, %q by %s", rows[0].name(), first, r.name(), d), "compare what is sold in one kind of unit: weigh the one, or leave it out")
		}
	}
	list := make([]ShelfRow, 0, len(rows))
	for _, d := range dimensions {
		unit, perUnit := quantity.New(big.NewRat(1, 1), d), cmp.Or(per, d.BaseUnit())
		if per != "" {
			var err error
			if unit, err = quantity.ParseAmount(per, quantity.Options{}); err != nil {
				return refuse(fmt.Sprintf("%q is no unit", per), "a unit such as "+d.BaseUnit()+", 100g or floz_us")
			}
			if unit.Dimension() != d || unit.Float() == 0 {
				return refuse(fmt.Sprintf("%s for what is sold by %s", per, d), "a unit such as "+d.BaseUnit())
			}
		}
		ranked, err := quantity.Rank(of[d], unit)
		if err != nil {
			return nil, err
		}
		for _, o := range ranked {
			from, _ := strconv.Atoi(o.Name)
			r := rows[from]
			r.Per, r.BaseUnit = perUnit, d.BaseUnit()
			r.Price, r.Quantity, r.UnitPrice = float(o.Price), result.Some(o.Size.Float()), float(o.UnitPrice)
			if r.yield != nil && r.yield.Sign() > 0 {
				edible := new(big.Rat).Quo(o.UnitPrice, r.yield)
				if r.Edible = float(edible); by == "edible" {
					r.value = new(big.Rat).Neg(edible)
				}
			}
			more := new(big.Rat).Sub(o.UnitPrice, ranked[0].UnitPrice)
			r.Difference = float(more)
			r.DifferencePc = float(more.Quo(more.Mul(more, big.NewRat(100, 1)), ranked[0].UnitPrice))
			if by == "price" {
				r.value = new(big.Rat).Neg(o.UnitPrice)
			}
			list = append(list, r)
		}
	}
	slices.SortStableFunc(list, func(a, b ShelfRow) int {
		if a.value == nil || b.value == nil {
			return map[bool]int{true: 1}[a.value == nil] - map[bool]int{true: 1}[b.value == nil]
		}
		return b.value.Cmp(a.value)
	})
	for i := range list {
		r := &list[i]
		if r.Tied = "no"; r.value == nil {
			continue
		}
		r.Rank = result.Count(i + 1)
		if i > 0 && r.value.Cmp(list[i-1].value) == 0 {
			r.Rank, r.Tied, list[i-1].Tied = list[i-1].Rank, "yes", "yes"
		}
	}
	return list, nil
}

func (r ShelfRow) name() string { return cmp.Or(r.Label, r.Item) }
