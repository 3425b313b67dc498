package kitchen

import (
	"cmp"
	"fmt"
	"math/big"
	"slices"
	"time"

	"farthing/pipeline/result"
	"farthing/pipeline/workspace"
)

// Ask says what to cost, at which prices, against which allowance.
type Ask struct {
	Name     string   // of a recipe or a plan
	Servings *big.Rat // of the recipe, or of each dish of the plan; nil: as in its table

	Region string
	Month  result.Month
	Outlet string    // blank: typical prices of the region and month; else the latest at this outlet
	On     time.Time // prices are no later; the first day of a plan
	// MaxAgeDays is how old a price may be on that day; 0: any of the month, and at an outlet 60.
	MaxAgeDays int

	Programme, AmountKind, Household string

	Pantry      string            // used up first; "": none
	BuyCupboard bool              // cupboard lines are bought like any other
	With        map[string]string // the grade taken of an item, whatever the recipe says
	Then        string            // the recipe or plan that what is left over goes to; "": the same again
}

// shelfDays is how old a price at one outlet may be, if nothing else is said.
const shelfDays = 60

// Default is the ask of the settings: what is published of each recipe and plan.
func (k *Kitchen) Default(name string) Ask {
	m := k.settings.Meals
	a := Ask{Name: name, Region: m.Region, Programme: m.Programme, Household: m.Household, Pantry: m.Pantry}
	if len(k.e.Publish) > 0 {
		front := k.e.Publish[0]
		for _, x := range []struct {
			have *string
			or   string
		}{{&a.Region, front.Region}, {&a.Programme, front.Programme}, {&a.Household, front.Household}} {
			if *x.have == "" {
				*x.have = x.or
			}
		}
		if a.Programme == front.Programme {
			a.AmountKind = front.AmountKind
		}
	}
	if a.Region == "" && len(k.e.Regions) > 0 {
		a.Region = k.e.Regions[0].Region
	}
	asOf, _ := workspace.ParseDay(k.e.AsOf)
	a.Month = result.MonthOf(asOf)
	if month, err := result.ParseMonth(m.Month); err == nil {
		a.Month = month
	}
	return a
}

// settle fills in the day and refuses names that no table has.
func (k *Kitchen) settle(a *Ask) error {
	recipes, plans := k.Names()
	if !slices.Contains(recipes, a.Name) && !slices.Contains(plans, a.Name) {
		return unknown("name", a.Name, append(recipes, plans...))
	}
	if a.Then = cmp.Or(a.Then, a.Name); !slices.Contains(recipes, a.Then) && !slices.Contains(plans, a.Then) {
		return unknown("then", a.Then, append(recipes, plans...))
	}
	var regions, households, outlets, pantries, items []string
	for _, r := range k.tables.Regions {
		regions = append(regions, r.Region)
	}
	for _, h := range k.e.Households {
		households = append(households, h.Household)
	}
	for _, o := range k.tables.Outlets {
		outlets = append(outlets, o.Outlet)
	}
	for _, p := range k.tables.Pantry {
		pantries = append(pantries, p.Pantry)
	}
	for _, it := range k.tables.Items {
		items = append(items, it.Item)
	}
	for _, x := range []struct {
		field, name string
		known       []string
	}{{"region", a.Region, regions}, {"household", a.Household, households}, {"outlet", a.Outlet, outlets}, {"pantry", a.Pantry, pantries}} {
		if x.name != "" && !slices.Contains(x.known, x.name) && !(x.field == "outlet" && k.hasOutlet(x.name)) {
			return unknown(x.field, x.name, x.known)
		}
	}
	for item := range a.With {
		if !slices.Contains(items, item) {
			return unknown("with", item, items)
		}
	}
	if a.Servings != nil && a.Servings.Sign() <= 0 {
		return &workspace.InputError{Code: "meal", Field: "servings", Read: a.Servings.RatString(), Instead: "a number above 0"}
	}
	asOf, err := workspace.ParseDay(k.e.AsOf)
	if err != nil {
		return err
	}
	if a.On.IsZero() {
		a.On = a.Month.Day(31)
		if a.On.After(asOf) {
			a.On = asOf
		}
	}
	if a.Outlet != "" {
		a.Month = result.MonthOf(a.On)
		if a.MaxAgeDays == 0 {
			a.MaxAgeDays = shelfDays
		}
		published := k.tables.OutletNames()
		for _, o := range k.tables.Outlets {
			if o.Outlet == a.Outlet || published[o.Outlet] == a.Outlet {
				a.Outlet, a.Region = published[o.Outlet], o.Region // the edition's prices go by the published name
				break
			}
		}
	}
	if r := result.MonthOf(a.On); r < a.Month {
		return &workspace.InputError{Code: "meal", Field: "month", Read: a.Month.String(), Instead: fmt.Sprintf("a month up to %s, that of the day: prices are no later than it", r)}
	}
	return nil
}

func (k *Kitchen) hasOutlet(name string) bool {
	for _, list := range k.noted {
		if slices.ContainsFunc(list, func(n note) bool { return n.outlet == name }) {
			return true
		}
	}
	return false
}

// household of the ask, and its allowance of the month: a nil amount is not known.
func (k *Kitchen) allowance(a Ask) (h result.Household, amount *big.Rat) {
	for _, x := range k.e.Households {
		if x.Household == a.Household {
			h = x
		}
	}
	for _, x := range k.e.Allowances {
		if x.Programme == a.Programme && (a.AmountKind == "" || x.AmountKind == a.AmountKind) && x.Region == a.Region && x.Persons == h.Persons && x.Month == a.Month {
			return h, rat(x.Amount)
		}
	}
	return h, nil
}
