// Package kitchen costs the recipes and plans of an edition's tables at the
// prices of the same edition: by the part used of each pack, and at the till.
//
// Order of reading: ask.go (what is asked for), price.go (which price a good
// has), foods.go (what foods are made of), amount.go (a cook's words to base units), cost.go (the rows that come
// out), composition.go (what an item holds, and for its price), swap.go (the
// least sacrifice), order.go (a purchase order), plan.go (a plan as a basket),
// diet.go, diets.go (least-cost diets). The sums are package meal's and diet's;
// here stand only words, tables and prices. Arithmetic about prices is no
// dietary advice, and says nothing of who may get what.
package kitchen

import (
	"cmp"
	"fmt"
	"math/big"
	"slices"
	"strings"

	"farthing/pipeline/quantity"
	"farthing/pipeline/result"
	"farthing/pipeline/workspace"
)

// good is what one pack answers to.
type good struct{ item, grade string }

// separator stands between item and grade in the name that package meal sees:
// no name of a table can hold it.
const separator = "\x00"

func (g good) name() string { return g.item + separator + g.grade }

// Kitchen holds the tables and prices of one edition.
type Kitchen struct {
	settings workspace.Settings
	tables   *workspace.Tables
	foods    Foods
	e        *result.Edition
	items    map[string]*workspace.Item
	parent   map[string]string
	noted    map[good][]note
	heldAt   map[heldKey]bool // where a price is held
	typical  map[typicalKey]*result.Item
}

// heldKey is a good at an outlet.
type heldKey struct {
	good
	outlet string
}

type typicalKey struct {
	region, item, grade string
	month               result.Month
}

// note is an observation of a good of some recipe.
type note struct {
	region, outlet, variety, day, pack, asRead, priceType, kind, id string
	month                                                           result.Month
	quantity, price                                                 *big.Rat
}

// New reads the observations in dir, an edition's folder, of every good that a
// recipe, a swap or a pantry names. There is nothing to do without recipes.
func New(dir string, s workspace.Settings, t *workspace.Tables, foods Foods, e *result.Edition) (*Kitchen, error) {
	k := open(s, t, foods)
	k.e = e
	for i := range e.Items {
		x := &e.Items[i]
		k.typical[typicalKey{x.Region, x.Item, x.Grade, x.Month}] = x
	}
	if len(t.Recipes) == 0 {
		return k, nil
	}
	wanted := map[string]bool{}
	for _, r := range t.Recipes {
		wanted[r.Item] = true
	}
	for _, s := range t.Swaps {
		wanted[s.ToItem] = true
	}
	err := result.EachObservation(dir, func(o result.Observation) {
		isHeld := o.IsHeld()
		if !wanted[o.Get("item")] || o.Get("market") != "retail" || o.Get("counts") != "yes" && o.Get("price_type") != "multibuy" && !isHeld {
			return
		}
		m := o.Clone()
		g := good{m["item"], cmp.Or(m["grade"], s.Prices.DefaultGrade)}
		if isHeld {
			k.heldAt[heldKey{g, m["outlet"]}] = true
			return
		}
		price, okP := new(big.Rat).SetString(cmp.Or(m["price_used_lcu"], m["price_lcu"]))
		size, okS := new(big.Rat).SetString(m["quantity"])
		on, err := workspace.ParseDay(m["observed_on"])
		if !okP || !okS || size.Sign() <= 0 || err != nil {
			return
		}
		k.noted[g] = append(k.noted[g], note{m["region"], m["outlet"], m["variety"], m["observed_on"], m["pack"], m["pack_as_read"], m["price_type"], m["kind"],
			m["observation_id"], result.MonthOf(on), size, price})
	})
	return k, err
}

// open is a kitchen without prices.
func open(s workspace.Settings, t *workspace.Tables, foods Foods) *Kitchen {
	k := &Kitchen{settings: s, tables: t, foods: foods, items: map[string]*workspace.Item{}, parent: map[string]string{}, noted: map[good][]note{}, heldAt: map[heldKey]bool{},
		typical: map[typicalKey]*result.Item{}}
	for i := range t.Items {
		k.items[t.Items[i].Item] = &t.Items[i]
	}
	for _, r := range t.Regions {
		k.parent[r.Region] = r.Parent
	}
	return k
}

// within says whether a region is another, or a part of it.
func (k *Kitchen) within(region, whole string) bool {
	for region != "" && region != whole {
		region = k.parent[region]
	}
	return region == whole
}

// dimension of a good's base unit.
func (k *Kitchen) dimension(item string) quantity.Dimension {
	d, _ := quantity.DimensionOf(k.items[item].BaseUnit)
	return d
}

// Names are the recipes and plans, each in the order of its table.
func (k *Kitchen) Names() (recipes, plans []string) {
	for _, r := range k.tables.Recipes {
		if !slices.Contains(recipes, r.Recipe) {
			recipes = append(recipes, r.Recipe)
		}
	}
	for _, p := range k.tables.Plans {
		if !slices.Contains(plans, p.Plan) {
			plans = append(plans, p.Plan)
		}
	}
	return recipes, plans
}

func num(r *big.Rat) result.Num {
	if r == nil {
		return result.Num{}
	}
	f, _ := r.Float64()
	return result.Some(f)
}

func rat(n result.Num) *big.Rat {
	if !n.OK {
		return nil
	}
	r, _ := new(big.Rat).SetString(n.Exact())
	return r
}

func unknown(field, read string, known []string) error {
	slices.Sort(known)
	known = slices.Compact(known)
	instead := "write one of " + strings.Join(known[:min(len(known), 20)], ", ")
	switch {
	case len(known) == 0:
		instead = "there are none yet"
	case len(known) > 20:
		instead += fmt.Sprintf(" and %d more", len(known)-20)
	}
	if field == "name" || field == "then" || field == "pantry" {
		instead += "; what was entered since the last run needs a run"
	}
	if near := workspace.Nearest(read, known); near != "" {
		instead = fmt.Sprintf("did you mean %q?", near)
	}
	return &workspace.InputError{Code: "unknown_name", Field: field, Read: fmt.Sprintf("%q is not known", read), Instead: instead}
}
