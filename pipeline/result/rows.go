// Package result holds the plain rows that leave compute, and reads and writes
// them as the files of an edition. It computes nothing.
//
// A row's fields are the columns of its file, in order: the tag gives the
// column's name and how it is printed (see Kind). The fields tagged "key" say
// which row it is. Shares are fractions; lcu is the region's own currency.
package result

import "fmt"

// Base is what every published row says of the data behind it.
type Base struct {
	CurrencyCode  string `col:"currency_code"`
	NObservations Int    `col:"n_observations"`
	NOutlets      Int    `col:"n_outlets"`
	ImputedShare  Num    `col:"imputed_share,share"`
	MissingShare  Num    `col:"missing_share,share"`
	// ObsStatus is the strongest status (SDMX CL_OBS_STATUS), ObsStatusAll
	// all that hold, strongest first.
	ObsStatus    string `col:"obs_status"`
	ObsStatusAll string `col:"obs_status_all"`
}

// Reach is how far one household's allowance goes in one month.
type Reach struct {
	Programme  string `col:"programme,key"`
	AmountKind string `col:"amount_kind,key"`
	Region     string `col:"region,key"`
	Household  string `col:"household,key"`
	Basket     string `col:"basket,key"`
	Month      Month  `col:"month,key"`

	Allowance        Num    `col:"allowance_lcu,money"`
	AllowanceFrom    string `col:"allowance_from"` // the region whose allowance row it is
	PerDay           Num    `col:"per_day_lcu,money"`
	Days             Num    `col:"reach_days,days"`
	LoDays           Num    `col:"reach_lo_days,days"`
	HiDays           Num    `col:"reach_hi_days,days"`
	DaysInMonth      Int    `col:"days_in_month"`
	FedDays          Int    `col:"fed_days"`
	RunOutOn         string `col:"run_out_on"`
	Adequacy         Num    `col:"adequacy,share"`
	Balance          Num    `col:"balance_lcu,money"`
	Shortfall        Num    `col:"shortfall_lcu,money"`
	ShortfallPerMeal Num    `col:"shortfall_per_meal_lcu,money"`
	AllowancePerDay  Num    `col:"allowance_per_day_lcu,money"`
	AllowancePerMeal Num    `col:"allowance_per_meal_lcu,money"`
	AllowanceReal    Num    `col:"allowance_real_lcu,money"`
	CatchUp          Num    `col:"catch_up_lcu,money"`
	FirstMonthOutlay Num    `col:"first_month_lcu,money"`
	Base
}

// Basket is the cost of a household's basket in one region and month.
type Basket struct {
	Region    string `col:"region,key"`
	Household string `col:"household,key"`
	Basket    string `col:"basket,key"`
	Month     Month  `col:"month,key"`

	PerDay         Num    `col:"per_day_lcu,money"`
	StandardMonth  Num    `col:"standard_month_lcu,money"` // per_day x 30.4375
	RealPerDay     Num    `col:"real_per_day_lcu,money"`   // in money of BaseMonth
	BaseMonth      string `col:"base_month"`
	Deflator       string `col:"deflator"`
	DeflatorRegion string `col:"deflator_region"`
	ObservedShare  Num    `col:"observed_share,share"`
	KnownPart      Num    `col:"known_part_lcu,money"` // a day's cost of the lines that have a price
	Lo             Num    `col:"lo_lcu,money"`
	Hi             Num    `col:"hi_lcu,money"`
	Base
}

// BasketLine is one item of one person's basket, priced.
type BasketLine struct {
	Region string `col:"region,key"`
	Basket string `col:"basket,key"`
	Item   string `col:"item,key"`
	Grade  string `col:"grade,key"`
	Month  Month  `col:"month,key"`

	APQuantity  Num    `col:"ap_quantity_per_day,quantity"` // of one person, in BaseUnit
	BaseUnit    string `col:"base_unit"`
	Yield       Num    `col:"yield,index"`
	YieldSource string `col:"yield_source"`
	UnitPrice   Num    `col:"unit_price_lcu,money"`
	PerDay      Num    `col:"per_day_lcu,money"` // of one person
	Weight      Num    `col:"weight_share,share"`
	FilledBy    string `col:"filled_by"`
	Base
}

// Moved is what one line of a basket did between two months.
type Moved struct {
	Region string `col:"region,key"`
	Basket string `col:"basket,key"`
	Item   string `col:"item,key"`
	Grade  string `col:"grade,key"`
	From   Month  `col:"from_month,key"`
	To     Month  `col:"to_month,key"`

	PriceFrom    Num `col:"price_from_lcu,money"`
	PriceTo      Num `col:"price_to_lcu,money"`
	Change       Num `col:"change_pct,pct"`
	Pure         Num `col:"pure_pct,pct"`
	Size         Num `col:"size_pct,pct"`
	Mix          Num `col:"mix_pct,pct"`
	Contribution Num `col:"contribution_pp,pp"` // to the basket's change
	Rank         Int `col:"rank"`
	NMatched     Int `col:"n_matched"` // varieties seen at one outlet in both months
	Base
}

// BasketChange is what a basket's cost did between two months, with the range
// across the shops seen.
type BasketChange struct {
	Region string `col:"region,key"`
	Basket string `col:"basket,key"`
	From   Month  `col:"from_month,key"`
	To     Month  `col:"to_month,key"`

	PerDayFrom Num    `col:"per_day_from_lcu,money"` // of one person
	PerDayTo   Num    `col:"per_day_to_lcu,money"`
	Change     Num    `col:"change_pct,pct"`
	Lo         Num    `col:"lo_pct,pct"` // jackknife over the outlets of both months; missing with fewer than three
	Hi         Num    `col:"hi_pct,pct"`
	Finding    string `col:"finding"` // rose, fell or no_clear_difference; blank without a range
	Base
}

// Pack is the price of a pack of a basket's good at an outlet in a month, kept
// so that any two months can be compared.
type Pack struct {
	Region  string `col:"region,key"`
	Item    string `col:"item,key"`
	Grade   string `col:"grade,key"`
	Outlet  string `col:"outlet,key"`
	Variety string `col:"variety,key"`
	Pack    string `col:"pack,key"`
	Month   Month  `col:"month,key"`

	Size      Num `col:"size,quantity"` // in the item's base unit
	UnitPrice Num `col:"unit_price_lcu,money"`
}

// RegionLevel is a basket's price level in one region beside the others of a month.
type RegionLevel struct {
	Basket string `col:"basket,key"`
	Month  Month  `col:"month,key"`
	Region string `col:"region,key"`

	PerDay              Num `col:"per_day_lcu,money"`
	ParityLowe          Num `col:"parity_lowe,index"`
	ParityCPD           Num `col:"parity_cpd,index"`
	CommonShare         Num `col:"common_share,share"`
	RankLo              Int `col:"rank_lo"`
	RankHi              Int `col:"rank_hi"`
	MainOutletTypeShare Num `col:"main_outlet_type_share,share"`
	Base
}

// Item is an item's elementary price in a region and month.
type Item struct {
	Region string `col:"region,key"`
	Item   string `col:"item,key"`
	Grade  string `col:"grade,key"`
	Month  Month  `col:"month,key"`

	UnitPrice       Num    `col:"unit_price_lcu,money"`
	BaseUnit        string `col:"base_unit"`
	MatchedChange   Num    `col:"matched_change_pct,pct"`
	NMatched        Int    `col:"n_matched"`
	OldestOn        string `col:"oldest_on"`
	NewestOn        string `col:"newest_on"`
	Lo              Num    `col:"lo_lcu,money"`
	Hi              Num    `col:"hi_lcu,money"`
	FilledBy        string `col:"filled_by"` // the rule, blank where the price was observed
	MonthsSinceSeen Int    `col:"months_since_seen"`
	NHeld           Int    `col:"n_held"` // prices that an edit rule holds, in no mean
	HeldLo          Num    `col:"held_lo_lcu,money"`
	HeldHi          Num    `col:"held_hi_lcu,money"`
	Base
}

// Allowance is the amount in force for a number of persons in a region and month.
type Allowance struct {
	Programme  string `col:"programme,key"`
	AmountKind string `col:"amount_kind,key"`
	Region     string `col:"region,key"`
	Persons    Int    `col:"persons,key"`
	Month      Month  `col:"month,key"`

	Amount        Num    `col:"allowance_lcu,money"`
	AllowanceFrom string `col:"allowance_from"`
	EffectiveFrom string `col:"effective_from,date"`
	PaidOnDay     Int    `col:"paid_on_day"`
	Per           string `col:"per"`
	AmountAsPaid  Num    `col:"amount_as_paid_lcu,money"`
	Source        string `col:"source"`
	// File and Line say where the row was read: a table or an archived file's sha256.
	File string `col:"file"`
	Line Int    `col:"line"`
	Base
}

// DeflatorValue is a month of the price index that turns money into money of the base month.
type DeflatorValue struct {
	Series string `col:"series,key"`
	Region string `col:"region,key"`
	Month  Month  `col:"month,key"`

	Value      Num    `col:"index_value,index"`
	BasePeriod string `col:"base_period"`
	Adjustment string `col:"adjustment"`
	File       string `col:"file"`
	Line       Int    `col:"line"`
}

// Source is one archived file and what became of its rows.
type Source struct {
	SHA256   string `col:"sha256,key"`
	Name     string `col:"file"`
	Source   string `col:"source"`
	Gives    string `col:"gives"`
	Licence  string `col:"licence"`
	Producer string `col:"producer"`
	Read     Int    `col:"rows_read"`
	Accepted Int    `col:"rows_accepted"`
	// Quarantined rows could not be read; duplicates repeat an observation.
	Quarantined Int `col:"rows_quarantined"`
	Duplicate   Int `col:"rows_duplicate"`
	Held        Int `col:"rows_held"`
}

// SetAside is one reason why rows of a file were set aside, with the first of them.
type SetAside struct {
	SHA256    string `col:"sha256,key"`
	Code      string `col:"code,key"`
	Field     string `col:"field,key"`
	Cure      string `col:"cure,key"`
	Name      string `col:"file"`
	Rows      Int    `col:"rows"`
	Mended    Int    `col:"mended"` // of them
	FirstLine Int    `col:"first_line"`
	Text      string `col:"text"`
}

// SetAsideRow is one row that was set aside; its own text stands in the archive.
type SetAsideRow struct {
	SHA256 string `col:"sha256,key"`
	Line   Int    `col:"line,key"`
	Nth    Int    `col:"nth,key"` // among the values of one line
	Name   string `col:"file"`
	Code   string `col:"code"`
	Field  string `col:"field"`
	Text   string `col:"text"`
	Cure   string `col:"cure"`
	Mends  string `col:"mends"`  // of a row that was to mend another: that row's mark
	Mended string `col:"mended"` // yes where a row of a sheet that came back stands for it, else no
}

// Mark names a row set aside, in the column mends of a sheet.
func (r SetAsideRow) Mark() string { return fmt.Sprintf("%s:%d", r.SHA256[:markDigits], r.Line.V) }

// markDigits is how much of a file's sha256 stands in a mark.
const markDigits = 12

// Warning is a doubt that travels with the results, and what would cure it.
type Warning struct {
	Code string `col:"code,key" json:"code"`
	Text string `col:"text,key" json:"text"`
	Cure string `col:"cure" json:"cure"`
	Key  string `col:"key,key" json:"key"`
}

// Region, Household, ItemName and BasketName carry the names that pages print.
type (
	Region struct {
		Region string `col:"region,key"`
		Name   string `col:"region_name"`
		Parent string `col:"parent"`
		Level  string `col:"level"`
		Weight Num    `col:"population_weight,share"`
	}
	Household struct {
		Household   string `col:"household,key"`
		Name        string `col:"household_name"`
		Persons     Int    `col:"persons"`
		Equivalents Num    `col:"person_equivalents,share"`
		MealsPerDay Int    `col:"meals_per_day"`
	}
	ItemName struct {
		Item     string `col:"item,key"`
		Name     string `col:"item_name"`
		COICOP   string `col:"coicop_code"`
		BaseUnit string `col:"base_unit"`
	}
)

// Sensitivity is how far an allowance reaches under another choice than the
// published one, and how many days that is more or less.
type Sensitivity struct {
	Programme  string `col:"programme,key"`
	AmountKind string `col:"amount_kind,key"`
	Region     string `col:"region,key"`
	Household  string `col:"household,key"`
	Basket     string `col:"basket,key"`
	Month      Month  `col:"month,key"`
	Variant    string `col:"variant,key"`

	Days       Num `col:"reach_days,days"`
	Difference Num `col:"difference_days,days"` // variant - published
	Base
}

// Shopping is one recipe or plan costed as a whole: what was used of each pack,
// and what leaves the purse when all its packs are bought at once.
type Shopping struct {
	Shopping string `col:"shopping,key"`

	Kind          string `col:"kind"` // recipe or plan
	Region        string `col:"region"`
	Outlet        string `col:"outlet"` // blank: typical prices of the region and month
	Month         Month  `col:"month"`
	PricedOn      string `col:"priced_on"` // prices are no later
	OldestOn      string `col:"oldest_on"` // the oldest price used
	Programme     string `col:"programme"`
	AmountKind    string `col:"amount_kind"`
	Household     string `col:"household"`
	Persons       Int    `col:"persons"`
	Days          Int    `col:"days"`
	Servings      Num    `col:"servings,share"`
	Cupboard      string `col:"cupboard"` // bought, or taken as there
	Pantry        string `col:"pantry"`
	Portion       Num    `col:"portion_lcu,money"`
	KnownPart     Num    `col:"known_part_lcu,money"`
	SheetTotal    Num    `col:"sheet_total_lcu,money"` // the printed lines added up, rounded once to cents
	Till          Num    `col:"till_lcu,money"`
	FromPantry    Num    `col:"from_pantry_lcu,money"`
	FromCupboard  Num    `col:"from_cupboard_lcu,money"`
	Saving        Num    `col:"saving_lcu,money"` // by multibuys
	Leftover      Num    `col:"leftover_lcu,money"`
	Stranded      Num    `col:"stranded_lcu,money"`
	StrandedMeals Num    `col:"stranded_servings,days"`
	PerPersonDay  Num    `col:"per_person_day_lcu,money"` // of a plan
	Allowance     Num    `col:"allowance_lcu,money"`      // of the household's month
	PerDay        Num    `col:"allowance_per_person_day_lcu,money"`
	PerMeal       Num    `col:"allowance_per_meal_lcu,money"`
	Balance       Num    `col:"balance_lcu,money"` // of a plan for all meals per person and day, of a recipe per serving; below 0: over
	UnpricedLines Int    `col:"unpriced_lines"`
	Base
}

// Meal is a dish of a shopping.
type Meal struct {
	Shopping string `col:"shopping,key"`
	Recipe   string `col:"recipe,key"`

	Servings      Num `col:"servings,share"`
	Portion       Num `col:"portion_lcu,money"`
	PerServing    Num `col:"per_serving_lcu,money"`
	PerMeal       Num `col:"allowance_per_meal_lcu,money"`
	Balance       Num `col:"balance_lcu,money"`
	UnpricedLines Int `col:"unpriced_lines"`
	Base
}

// MealLine is a line of a dish, with its workings: portion = ap_quantity x
// pack_price / pack_size.
type MealLine struct {
	Shopping string `col:"shopping,key"`
	Recipe   string `col:"recipe,key"`
	Line     string `col:"line,key"` // of a recipe within it: NAME > 2

	Item          string `col:"item"`
	Grade         string `col:"grade"`
	AsWritten     string `col:"as_written"` // for the recipe's own servings
	Amount        Num    `col:"quantity,quantity"`
	Basis         string `col:"basis"`
	Yield         Num    `col:"yield,index"`
	YieldSource   string `col:"yield_source"`
	WeightSource  string `col:"weight_source"` // what turned a measure into the base unit
	APQuantity    Num    `col:"ap_quantity,quantity"`
	BaseUnit      string `col:"base_unit"`
	Pack          string `col:"pack"`
	PackSize      Num    `col:"pack_size,quantity"`
	PackPrice     Num    `col:"pack_price_lcu,money"`
	UnitPrice     Num    `col:"unit_price_lcu,money"`
	Outlet        string `col:"outlet"`
	ObservedOn    string `col:"observed_on"` // the oldest price behind it
	ObservationID string `col:"observation_id"`
	FilledBy      string `col:"filled_by"`
	Supply        string `col:"supply"`
	Portion       Num    `col:"portion_lcu,money"`
	Lacks         string `col:"lacks"` // why there is no cost, and what would give one
	Keep          Int    `col:"keep"`
	Note          string `col:"note"`
	Base
}

// ShoppingLine is one good of a shopping: its packs at the till and what is left of them.
type ShoppingLine struct {
	Shopping string `col:"shopping,key"`
	Item     string `col:"item,key"`
	Grade    string `col:"grade,key"`
	Pack     string `col:"pack,key"`

	APQuantity   Num    `col:"ap_quantity,quantity"`
	BaseUnit     string `col:"base_unit"`
	FromPantry   Num    `col:"from_pantry_quantity,quantity"`
	FromCupboard Num    `col:"from_cupboard_quantity,quantity"`
	Packs        Int    `col:"packs"`
	PackPrice    Num    `col:"pack_price_lcu,money"`
	Deals        Int    `col:"multibuys"`
	Till         Num    `col:"till_lcu,money"`
	Leftover     Num    `col:"leftover_quantity,quantity"`
	LeftoverLCU  Num    `col:"leftover_lcu,money"`
	Late         Num    `col:"late_quantity,quantity"`      // used after its opened pack keeps
	UsedNext     Num    `col:"used_next_quantity,quantity"` // by the next plan, before it spoils: published the same again
	StrandedQty  Num    `col:"stranded_quantity,quantity"`
	Stranded     Num    `col:"stranded_lcu,money"`
	UseByOn      string `col:"use_by_on"` // the earliest of what is left; rules of thumb
	Outlet       string `col:"outlet"`
	Base
}

// Swapped is a change of one line: alone, or as part of the least sacrifice
// that brings a shopping's portion cost to its allowance.
type Swapped struct {
	Shopping string `col:"shopping,key"`
	Nth      Int    `col:"nth,key"`

	Change    string `col:"change"` // least: part of the least sacrifice; alone: one line by itself
	Recipe    string `col:"recipe"`
	Line      string `col:"line"`
	From      string `col:"from"`
	To        string `col:"to"`
	Sacrifice Int    `col:"sacrifice"`
	Saving    Num    `col:"saving_lcu,money"`
	After     Num    `col:"after_lcu,money"` // the whole shopping, this change alone
	Target    Num    `col:"target_lcu,money"`
	Enough    string `col:"enough"` // yes or no: this change alone
	Base
}

// Diet is the least cost of one person's day at the prices of a region and month:
// of enough energy, of all nutrients within the bounds of a person group, or of
// a healthy diet by food groups. A yardstick of prices, no ration and no advice.
type Diet struct {
	Region      string `col:"region,key"`
	Month       Month  `col:"month,key"`
	PersonGroup string `col:"person_group,key"` // of tables/requirements; blank: healthy, which has no group
	Diet        string `col:"diet,key"`         // energy, nutrients or healthy

	PerDay          Num    `col:"per_day_lcu,money"`    // missing where there is none
	KnownPart       Num    `col:"known_part_lcu,money"` // of the food groups that have a cost
	Programme       string `col:"programme"`
	AmountKind      string `col:"amount_kind"`
	Household       string `col:"household"`
	AllowancePerDay Num    `col:"allowance_per_person_day_lcu,money"`
	Ratio           Num    `col:"cost_to_allowance,share"` // above 1: the allowance does not pay for it
	Priced          Int    `col:"n_items_priced"`
	Usable          Int    `col:"n_items_usable"` // of them, that have the contents asked for
	Binding         string `col:"binding"`        // bounds that the diet just meets
	Outcome         string `col:"outcome"`        // found, infeasible or not_computed
	Lacks           string `col:"lacks"`
	Base
}

// DietLine is an item of a least-cost diet, as bought for one person's day. A
// diet that was not found has none, but for the food groups of a healthy one
// that have a cost.
type DietLine struct {
	Region      string `col:"region,key"`
	Month       Month  `col:"month,key"`
	PersonGroup string `col:"person_group,key"`
	Diet        string `col:"diet,key"`
	Item        string `col:"item,key"`

	APQuantity Num    `col:"ap_quantity_per_day,quantity"`
	BaseUnit   string `col:"base_unit"`
	UnitPrice  Num    `col:"unit_price_lcu,money"`
	PerDay     Num    `col:"per_day_lcu,money"`
	FilledBy   string `col:"filled_by"`
	Base
}

// MealNutrient is the amount of a nutrient in a serving of a dish, or without a
// recipe in a person's day of a plan (raw table values: cooking losses are not
// taken off), beside a reference value of a day.
type MealNutrient struct {
	Shopping string `col:"shopping,key"`
	Recipe   string `col:"recipe,key"`
	Nutrient string `col:"nutrient,key"`

	Unit        string `col:"unit"`
	PerServing  Num    `col:"per_serving,quantity"`
	KnownShare  Num    `col:"known_share,share"` // of the edible weight, that has a figure
	IsAtLeast   string `col:"is_at_least"`       // yes where a figure or a weight is missing
	PersonGroup string `col:"person_group"`
	Lower       Num    `col:"reference_lower,quantity"` // of a day
	Upper       Num    `col:"reference_upper,quantity"`
	Percent     Num    `col:"reference_pct,pct"` // of the lower one, else of the upper
	Source      string `col:"reference_source"`
	Base
}
