package workspace

import (
	"errors"
	"fmt"
	"math/big"
	"slices"
	"strconv"
	"strings"
	"time"

	"farthing/pipeline/quantity"
	"farthing/pipeline/result"
)

// At is where a table's row stands.
type At struct {
	File string
	Line int
}

// The tables that a person edits; see tableColumn for the tags.
type (
	Region struct {
		At
		Region           string   `col:"region,key need"`
		Name             string   `col:"region_name,need"`
		Parent           string   `col:"parent"`
		Level            string   `col:"level,need"`
		Weight           *big.Rat `col:"population_weight"`
		WeightSource     string   `col:"weight_source"`
		Currency         string   `col:"currency_code,need"`
		PricesIncludeTax string   `col:"prices_include_tax,need one of yes|no"`
	}
	Outlet struct {
		At
		Outlet      string    `col:"outlet,key need"`
		Region      string    `col:"region,need"`
		Type        string    `col:"outlet_type,need one of large|discount|convenience|market|online|other"`
		PublishName string    `col:"publish_name,one of yes|no"`
		OpenFrom    time.Time `col:"open_from_on"`
		OpenTo      time.Time `col:"open_to_on"`
	}
	Item struct {
		At
		Item            string   `col:"item,key need"`
		Name            string   `col:"item_name,need"`
		COICOP          string   `col:"coicop_code,need"`
		COICOPVersion   string   `col:"coicop_version,need"`
		BaseUnit        string   `col:"base_unit,need one of kg|L|each"`
		FoodCode        string   `col:"food_code"`
		Density         *big.Rat `col:"density_kg_per_l"`
		PieceKg         *big.Rat `col:"piece_kg"`
		EdibleYield     *big.Rat `col:"edible_yield"`
		SeasonFrom      int      `col:"season_from_month"`
		SeasonTo        int      `col:"season_to_month"`
		KeepsSealedDays int      `col:"keeps_sealed_days"`
		KeepsOpenedDays int      `col:"keeps_opened_days"`
		Source          string   `col:"source"`
	}
	Measure struct {
		At
		Measure  string   `col:"measure,key need"`
		Item     string   `col:"item,key"`
		Region   string   `col:"region,key"`
		Quantity *big.Rat `col:"quantity,need"`
		Unit     string   `col:"unit,need"`
		Source   string   `col:"source,need"`
	}
	Alias struct {
		At
		Source  string `col:"source,key need"`
		Kind    string `col:"kind,key need one of item|region|outlet|unit|grade|programme"`
		AsRead  string `col:"as_read,key need"`
		Means   string `col:"means,need"`
		Grade   string `col:"grade"`
		Variety string `col:"variety"`
		Pack    string `col:"pack"`
	}
	Basket struct {
		At
		Basket    string   `col:"basket,key need"`
		Item      string   `col:"item,key need"`
		Grade     string   `col:"grade,key"`
		Quantity  *big.Rat `col:"quantity,need"`
		Unit      string   `col:"unit,need"`
		Per       string   `col:"per,need one of day|week|month"`
		Basis     string   `col:"basis,need one of AP|EP"`
		PriceRule string   `col:"price_rule,one of typical|cheapest"`
		Source    string   `col:"source,need"`
	}
	Household struct {
		At
		Household   string   `col:"household,key need"`
		Name        string   `col:"household_name,need"`
		Persons     int      `col:"persons,need"`
		Equivalents *big.Rat `col:"person_equivalents,need"`
		MealsPerDay int      `col:"meals_per_day"`
		Source      string   `col:"source,need"`
	}
	Allowance struct {
		At
		Programme     string    `col:"programme,key need"`
		Region        string    `col:"region,key need"`
		Persons       int       `col:"persons,key need"`
		AmountKind    string    `col:"amount_kind,key one of maximum|typical|minimum"`
		EffectiveFrom time.Time `col:"effective_from,key need"`
		EffectiveTo   time.Time `col:"effective_to"`
		Amount        *big.Rat  `col:"amount_lcu,need"`
		Currency      string    `col:"currency_code,need"`
		Per           string    `col:"per,one of month|4 weeks|2 weeks|week"`
		PaidOnDay     int       `col:"paid_on_day"`
		Source        string    `col:"source,need"`
	}
	Deflator struct {
		At
		Series     string       `col:"series,key need"`
		Region     string       `col:"region,key need"`
		Month      result.Month `col:"month,key need"`
		Value      *big.Rat     `col:"index_value,need"`
		BasePeriod string       `col:"base_period,need"`
		Adjustment string       `col:"adjustment,need one of unadjusted|adjusted"`
		Source     string       `col:"source,need"`
	}
	Correction struct {
		At
		ObservationID string    `col:"observation_id,key need"`
		Column        string    `col:"column,key need"`
		Action        string    `col:"action,need one of set|exclude|release"`
		From          string    `col:"from"`
		To            string    `col:"to"`
		Reason        string    `col:"reason,need"`
		Source        string    `col:"source"`
		DecidedOn     time.Time `col:"decided_on,need"`
	}
)

// OutletNames are the published names of the outlets of tables/outlets: the name
// itself where the table allows it, else a code.
func (t *Tables) OutletNames() map[string]string {
	list := slices.Clone(t.Outlets)
	slices.SortFunc(list, func(a, b Outlet) int { return strings.Compare(a.Outlet, b.Outlet) })
	name, n := map[string]string{}, map[string]int{}
	for _, o := range list {
		n[o.Region]++
		if name[o.Outlet] = o.Outlet; o.PublishName != "yes" {
			name[o.Outlet] = fmt.Sprintf("%s-outlet-%02d", o.Region, n[o.Region])
		}
	}
	return name
}

// Tables are the tables of one workspace. Off names the optional tables that
// are not there, with what that switches off.
type Tables struct {
	Regions     []Region
	Outlets     []Outlet
	Items       []Item
	Measures    []Measure
	Aliases     []Alias
	Baskets     []Basket
	Households  []Household
	Allowances  []Allowance
	Deflators   []Deflator
	Corrections []Correction

	Yields       []Yield
	Recipes      []Recipe
	Plans        []Plan
	Pantry       []Stock
	Swaps        []Swap
	Requirements []Requirement

	Off []Off
}

// Off is a feature that a missing table switches off.
type Off struct {
	Feature string `json:"feature"`
	Table   string `json:"table"`
}

// tableSpec is one table: how it is read and what its absence switches off
// ("" where the program can not do without it).
type tableSpec struct {
	name string
	off  string
	read func(*Workspace, *Tables) (bool, error)
}

func spec[T any](name, off string, rows func(*Tables) *[]T) tableSpec {
	return tableSpec{name, off, func(w *Workspace, t *Tables) (ok bool, err error) {
		*rows(t), ok, err = readTable[T](w, name)
		return ok, err
	}}
}

var tableSpecs = []tableSpec{
	spec("regions", "", func(t *Tables) *[]Region { return &t.Regions }),
	spec("items", "", func(t *Tables) *[]Item { return &t.Items }),
	spec("outlets", "outlet names checked, outlet types", func(t *Tables) *[]Outlet { return &t.Outlets }),
	spec("measures", "local measures", func(t *Tables) *[]Measure { return &t.Measures }),
	spec("aliases", "names of open sources", func(t *Tables) *[]Alias { return &t.Aliases }),
	spec("baskets", "basket cost and reach", func(t *Tables) *[]Basket { return &t.Baskets }),
	spec("households", "basket cost and reach by household", func(t *Tables) *[]Household { return &t.Households }),
	spec("allowances", "allowances typed by hand", func(t *Tables) *[]Allowance { return &t.Allowances }),
	spec("deflators", "index values typed by hand", func(t *Tables) *[]Deflator { return &t.Deflators }),
	spec("corrections", "corrections", func(t *Tables) *[]Correction { return &t.Corrections }),
	spec("yields", "yields of a preparation", func(t *Tables) *[]Yield { return &t.Yields }),
	spec("recipes", "costs of meals", func(t *Tables) *[]Recipe { return &t.Recipes }),
	spec("plans", "costs of days and weeks of meals", func(t *Tables) *[]Plan { return &t.Plans }),
	spec("pantry", "what is in the house already", func(t *Tables) *[]Stock { return &t.Pantry }),
	spec("swaps", "swaps that bring a plan under a sum", func(t *Tables) *[]Swap { return &t.Swaps }),
	spec("requirements", "reference values of your own for nutrients", func(t *Tables) *[]Requirement { return &t.Requirements }),
}

// MealsPerDay is how many meals a household eats that says nothing of it.
const MealsPerDay = 3

// IntakeTables decide how a price is read; a change of one means reading again.
var IntakeTables = []string{"regions", "items", "outlets", "measures", "aliases"}

// ComputeTables decide what is computed from the prices.
var ComputeTables = []string{"regions", "outlets", "items", "baskets", "households", "allowances", "deflators", "corrections"}

// EditionFiles are the settings and tables that an edition keeps, as far as they exist.
func (w *Workspace) EditionFiles() []string {
	return append(w.TableFiles(slices.Concat(ComputeTables, MealTables, FoodTables, []string{"measures", "aliases"})), SettingsFile)
}

// TableFiles are the paths of the named tables, relative to the folder, as far as they exist.
func (w *Workspace) TableFiles(names []string) []string {
	var files []string
	for _, n := range names {
		for _, ext := range []string{".csv", ".xlsx"} {
			if _, err := w.Text("tables/" + n + ext); err == nil {
				files = append(files, "tables/"+n+ext)
			}
		}
	}
	return files
}

// Tables reads and checks all tables; every fault found is in the error.
func (w *Workspace) Tables() (*Tables, error) {
	t := new(Tables)
	var errs []error
	for _, s := range tableSpecs {
		ok, err := s.read(w, t)
		switch {
		case err != nil:
			errs = append(errs, err)
		case !ok && s.off == "":
			errs = append(errs, &InputError{Code: "no_table", File: "tables/" + s.name + ".csv", Read: "no such file",
				Instead: "make the table; farthing init DIR writes one to start from"})
		case !ok:
			t.Off = append(t.Off, Off{s.off, s.name})
		}
	}
	if len(errs) == 0 {
		errs = t.check()
	}
	return t, errors.Join(errs...)
}

// check holds the tables against each other.
func (t *Tables) check() (errs []error) {
	fail := func(at At, field, read, instead string) {
		errs = append(errs, &InputError{"table", at.File, at.Line, field, read, instead})
	}
	regions, items := map[string]*Region{}, map[string]bool{}
	var regionNames, itemNames []string
	for i := range t.Regions {
		r := &t.Regions[i]
		regions[r.Region] = r
		regionNames = append(regionNames, r.Region)
	}
	known := func(at At, field, name string, ok bool, names []string) {
		if name == "" || ok {
			return
		}
		fail(at, field, fmt.Sprintf("%q is not in the table of its kind", name), DidYouMean(name, names, "add it to its table, or correct the name"))
	}
	aRegion := func(at At, field, name string) { known(at, field, name, regions[name] != nil, regionNames) }
	positive := func(at At, field string, r *big.Rat) {
		if r != nil && r.Sign() == 0 {
			fail(at, field, "0", "a number above 0, or nothing where it is not known")
		}
	}
	for _, it := range t.Items {
		items[it.Item] = true
		itemNames = append(itemNames, it.Item)
		if it.SeasonFrom > 12 || it.SeasonTo > 12 || (it.SeasonFrom == 0) != (it.SeasonTo == 0) {
			fail(it.At, "season_from_month, season_to_month", fmt.Sprintf("%d, %d", it.SeasonFrom, it.SeasonTo),
				"the numbers of the first and last month of the season, 1 to 12, or neither")
		}
		positive(it.At, "edible_yield", it.EdibleYield)
		positive(it.At, "density_kg_per_l", it.Density)
		positive(it.At, "piece_kg", it.PieceKg)
	}
	for _, r := range t.Regions {
		aRegion(r.At, "parent", r.Parent)
		for up, steps := r.Parent, 0; up != "" && regions[up] != nil; up, steps = regions[up].Parent, steps+1 {
			if up == r.Region || steps > len(t.Regions) {
				fail(r.At, "parent", fmt.Sprintf("%q", r.Parent), "a region can not stand above itself")
				break
			}
		}
		if p := regions[r.Parent]; p != nil && p.Currency != r.Currency {
			fail(r.At, "currency_code", r.Currency, "the parent counts in "+p.Currency+": one currency in a tree of regions")
		}
	}
	for _, o := range t.Outlets {
		aRegion(o.At, "region", o.Region)
	}
	for _, m := range t.Measures {
		if _, err := quantity.ParseUnit(m.Unit); err != nil {
			fail(m.At, "unit", fmt.Sprintf("%q", m.Unit), "a unit such as g, ml or each")
		}
		positive(m.At, "quantity", m.Quantity)
	}
	for _, b := range t.Baskets {
		known(b.At, "item", b.Item, items[b.Item], itemNames)
		positive(b.At, "quantity", b.Quantity)
		if strings.HasPrefix(b.Basket, PlanPrefix) {
			fail(b.At, "basket", fmt.Sprintf("%q", b.Basket), "another name: "+PlanPrefix+" begins that of a plan")
		}
		if b.PriceRule == "cheapest" {
			fail(b.At, "price_rule", `"cheapest"`, "write typical: the cheapest offer is not computed")
		}
	}
	for _, h := range t.Households {
		positive(h.At, "person_equivalents", h.Equivalents)
		if h.Persons == 0 {
			fail(h.At, "persons", "0", "a number above 0")
		}
	}
	for _, a := range t.Allowances {
		aRegion(a.At, "region", a.Region)
		positive(a.At, "amount_lcu", a.Amount)
		if r := regions[a.Region]; r != nil && r.Currency != a.Currency {
			fail(a.At, "currency_code", a.Currency, "the region counts in "+r.Currency)
		}
		if a.PaidOnDay > 31 {
			fail(a.At, "paid_on_day", strconv.Itoa(a.PaidOnDay), "a day of the month, 1 to 31")
		}
		if !a.EffectiveTo.IsZero() && a.EffectiveTo.Before(a.EffectiveFrom) {
			fail(a.At, "effective_to", a.EffectiveTo.Format("2006-01-02"), "a day not before effective_from")
		}
	}
	for _, d := range t.Deflators {
		aRegion(d.At, "region", d.Region)
		positive(d.At, "index_value", d.Value)
	}
	t.checkMeals(fail, known)
	return errs
}
