package workspace

import (
	"errors"
	"fmt"
	"reflect"
	"regexp"
	"slices"
	"strings"

	"github.com/pelletier/go-toml/v2"
	"github.com/pelletier/go-toml/v2/unstable"

	"farthing/dashboards/catalogue"
)

// Settings are the choices of farthing.toml. Every one that a figure depends
// on is printed on the pages.
type Settings struct {
	Name      string `toml:"name"`
	Invented  bool   `toml:"invented"` // marks every page as made up
	Caution   string `toml:"caution"`  // printed on every page
	BaseMonth string `toml:"base_month"`
	Deflator  string `toml:"deflator"`
	Prices    Prices
	Edit      Edit
	Panel     Panel
	Meals     Meals
	Pages     Pages
	Sources   []Source      `toml:"source"`
	Jobs      []Job         `toml:"job" json:"-"` // no figure depends on when it was made
	Publish   []Combination `toml:"publish"`
}

// Prices says how price notes are read and which of them count.
type Prices struct {
	DefaultGrade string   `toml:"default_grade"`
	PriceTypes   []string `toml:"price_types"`
	OutletTypes  []string `toml:"outlet_types"` // that count; none named: all
	Decimal      string   `toml:"decimal"`
	DateOrder    string   `toml:"date_order"`
}

// Edit says by which rule a price note is held, and its limits.
type Edit struct {
	// Rule is log-ratio, or one of the rules on price relatives (index.Edit):
	// quartile, tukey, hidiroglou-berthelot. Where such a rule has too few
	// relatives log-ratio judges.
	Rule       string  `toml:"rule"`
	Width      float64 `toml:"width"`       // c of the rule; 0: 4, 2.5 and 20
	Floor      float64 `toml:"floor"`       // a of quartile and hidiroglou-berthelot
	SizePower  float64 `toml:"size_power"`  // u of hidiroglou-berthelot
	Trim       float64 `toml:"trim"`        // the tails that tukey sets aside
	MinGroup   int     `toml:"min_group"`   // fewest relatives of an item in a month
	LeastRatio float64 `toml:"least_ratio"` // a smaller change is never held by them

	OwnRatio   float64 `toml:"own_ratio"`
	PeerRatio  float64 `toml:"peer_ratio"`
	WindowDays int     `toml:"window_days"`
	MinOwn     int     `toml:"min_own"`
	MinPeer    int     `toml:"min_peer"`
	// ShelfTolerance is how far, as a share, the label's own unit price may
	// stand from the computed one beyond the rounding of its last digit.
	ShelfTolerance float64 `toml:"shelf_tolerance"`
}

// Panel says which months and prices stand in the panel, and how gaps are filled.
type Panel struct {
	FromMonth        string   `toml:"from_month"`
	ToMonth          string   `toml:"to_month"`
	Sample           string   `toml:"sample"`
	SourceOrder      []string `toml:"source_order"`
	Impute           bool     `toml:"impute"`
	Pooled           bool     `toml:"pooled"`
	MinObservedShare float64  `toml:"min_observed_share"`
	MinNotes         int      `toml:"min_notes"`        // a price of fewer is marked U
	StaleAfterDays   int      `toml:"stale_after_days"` // an older price fills no gap; 0: as the ladder has it
}

// Meals says at which prices, and against which allowance, recipes and plans
// are costed. What is blank is that of the front page; the month is the newest.
type Meals struct {
	Region    string `toml:"region"`
	Month     string `toml:"month"`
	Household string `toml:"household"`
	Programme string `toml:"programme"`
	Pantry    string `toml:"pantry"` // of tables/pantry, used up first; blank: none
	// Convention settles what a bare cup, tablespoon or pint is.
	Convention string `toml:"convention"`
	// PersonGroup of tables/requirements that a day's nutrients are set against; blank: the daily values of labels.
	PersonGroup string `toml:"person_group"`
	// DietMonths is how many of the newest months least-cost diets are published of; 0: all.
	DietMonths int `toml:"diet_months"`
}

// Pages says what is drawn.
type Pages struct {
	Draw     bool            `toml:"draw"`
	PNG      bool            `toml:"png"`      // figures as PNG beside their SVG
	Language string          `toml:"language"` // one of catalogue.Languages
	Forms    catalogue.Forms `toml:"forms"`    // of numbers and dates; what is blank is the language's own
}

// Source says how a family of files is read.
type Source struct {
	Name     string   `toml:"name"`
	Gives    string   `toml:"gives"` // one of Gives
	Files    []string `toml:"files"` // patterns of file names
	Producer string   `toml:"producer"`
	Licence  string   `toml:"licence"`
	Address  string   `toml:"address"`
	Currency string   `toml:"currency"`

	Profile

	// How a job asks Address for a new file; nothing that was read depends on it.
	Fetch        bool     `toml:"fetch" json:"-"`         // false: the address is never asked
	FileName     string   `toml:"file_name" json:"-"`     // what the file is kept as; blank: the address's last part
	MaxMB        int      `toml:"max_mb" json:"-"`        // megabytes of 2^20, 64 if not set
	TimeoutS     int      `toml:"timeout_s" json:"-"`     // seconds for the whole of one request, 60 if not set
	ContentTypes []string `toml:"content_types" json:"-"` // patterns; blank: DefaultContentTypes
}

// Combination is one programme, region, household and basket to publish; a
// blank field stands for every one.
type Combination struct {
	Programme string `toml:"programme"`
	Region    string `toml:"region"`
	Household string `toml:"household"`
	Basket    string `toml:"basket"` // of tables/baskets; or PlanPrefix and a plan of tables/plans

	lines map[string]int // where the fields stand
}

// PlanPrefix begins the name of a basket that is a plan.
const PlanPrefix = "plan:"

// PublishLine is the line of a field of the nth [[publish]], from 0; 0 where it is not known.
func (s Settings) PublishLine(n int, field string) int { return s.Publish[n].lines[field] }

// locate notes where the fields of each [[publish]] stand.
func (s *Settings) locate(text []byte) {
	var p unstable.Parser
	p.Reset(text)
	n, within := -1, false
	for p.NextExpression() {
		x := p.Expression()
		var key []string
		var line int
		for it := x.Key(); it.Next(); {
			key = append(key, string(it.Node().Data))
			line = p.Shape(it.Node().Raw).Start.Line
		}
		switch {
		case x.Kind == unstable.Table || x.Kind == unstable.ArrayTable:
			if within = x.Kind == unstable.ArrayTable && len(key) == 1 && key[0] == "publish"; within {
				n++
				s.Publish[n].lines = map[string]int{}
			}
		case within && len(key) == 1:
			s.Publish[n].lines[key[0]] = line
		}
	}
}

// Defaults are the settings of a file that says nothing.
func Defaults() Settings {
	return Settings{
		Prices: Prices{PriceTypes: []string{"regular", "promo"}, Decimal: "."},
		Edit: Edit{Rule: "log-ratio", Floor: 0.05, SizePower: 0.5, Trim: 0.05, MinGroup: 6, LeastRatio: 1.5,
			OwnRatio: 2, PeerRatio: 3.1622776601683795, WindowDays: 183, MinOwn: 3, MinPeer: 6, ShelfTolerance: 0.01},
		Panel: Panel{Sample: "matched", SourceOrder: []string{"quotes", "averages"}, Impute: true, MinObservedShare: 0.7, MinNotes: 1},
		Meals: Meals{DietMonths: 24},
		Pages: Pages{Draw: true, PNG: true, Language: catalogue.English},
	}
}

func parseSettings(b []byte) (Settings, error) {
	s := Defaults()
	dec := toml.NewDecoder(strings.NewReader(string(b))).DisallowUnknownFields()
	err := dec.Decode(&s)
	bad := func(line int, field, read, instead string) error {
		return &InputError{Code: "settings", File: SettingsFile, Line: line, Field: field, Read: read, Instead: instead}
	}
	var unknown *toml.StrictMissingError
	var syntax *toml.DecodeError
	switch {
	case errors.As(err, &unknown):
		e := unknown.Errors[0]
		line, _ := e.Position()
		key := e.Key()
		return s, bad(line, strings.Join(key, "."), "unknown setting", DidYouMean(key[len(key)-1], settingNames(reflect.TypeFor[Settings]()), "remove it"))
	case errors.As(err, &syntax):
		line, column := syntax.Position()
		read, instead := strings.TrimPrefix(syntax.Error(), "toml: "), "see the commented settings of: farthing init DIR"
		// Note: the library has no type for a value of the wrong kind; its message speaks of our Go types.
		if form := settingForm(syntax.Key()); form != "" && (strings.HasPrefix(read, "cannot decode") || strings.HasPrefix(read, "cannot store")) {
			read, instead = valueText.FindString(strings.Split(string(b), "\n")[line-1][column-1:]), "write it as "+form
		}
		return s, bad(line, strings.Join(syntax.Key(), "."), read, instead)
	case err != nil:
		return s, err
	}
	s.locate(b)
	oneOf := func(field, read string, allowed ...string) error {
		if slices.Contains(allowed, read) {
			return nil
		}
		return bad(0, field, fmt.Sprintf("%q", read), "write one of "+strings.Join(allowed, ", "))
	}
	errs := []error{
		oneOf("prices.decimal", s.Prices.Decimal, ".", ","),
		oneOf("prices.date_order", s.Prices.DateOrder, "", "DMY", "MDY", "YMD"),
		oneOf("edit.rule", s.Edit.Rule, EditRules...),
		oneOf("meals.convention", s.Meals.Convention, "", "metric", "us", "imperial", "australian"),
		oneOf("panel.sample", s.Panel.Sample, "as_found", "matched"),
		oneOf("pages.language", s.Pages.Language, catalogue.Languages()...),
	}
	var form *catalogue.FormError
	if errors.As(s.Pages.Forms.Check(), &form) {
		errs = append(errs, bad(0, "pages.forms."+form.Name, fmt.Sprintf("%q", form.Read), form.Instead))
	}
	for _, t := range s.Prices.PriceTypes {
		errs = append(errs, oneOf("prices.price_types", t, PricedTypes...))
	}
	for _, t := range s.Prices.OutletTypes {
		errs = append(errs, oneOf("prices.outlet_types", t, OutletTypes...))
	}
	if len(s.Prices.PriceTypes) == 0 {
		errs = append(errs, bad(0, "prices.price_types", "none", "name at least one, such as regular: without it no price counts"))
	}
	if len(s.Panel.SourceOrder) == 0 {
		errs = append(errs, bad(0, "panel.source_order", "none", "write quotes, averages or both"))
	}
	for i, src := range s.Sources {
		if src.Name == "notes" || slices.ContainsFunc(s.Sources[:i], func(o Source) bool { return o.Name == src.Name }) {
			errs = append(errs, bad(0, "source.name", fmt.Sprintf("%q", src.Name), "give each [[source]] a name of its own; notes is that of price notes"))
		}
	}
	for _, t := range s.Panel.SourceOrder {
		errs = append(errs, oneOf("panel.source_order", t, "quotes", "averages"))
	}
	for _, n := range []struct {
		field     string
		value     float64
		low, high float64
		instead   string
	}{
		{"edit.own_ratio", s.Edit.OwnRatio, 1.001, 1e6, "a ratio above 1, such as 2"},
		{"edit.peer_ratio", s.Edit.PeerRatio, 1.001, 1e6, "a ratio above 1, such as 3"},
		{"edit.window_days", float64(s.Edit.WindowDays), 1, 36600, "a number of days from 1"},
		{"edit.min_own", float64(s.Edit.MinOwn), 1, 1e6, "a number from 1"},
		{"edit.min_peer", float64(s.Edit.MinPeer), 1, 1e6, "a number from 1"},
		{"edit.width", s.Edit.Width, 0, 1e6, "a number above 0, such as 4; 0 takes the rule's own"},
		{"edit.floor", s.Edit.Floor, 0, 1, "a share from 0 to 1"},
		{"edit.size_power", s.Edit.SizePower, 0, 1, "a power from 0 to 1"},
		{"edit.trim", s.Edit.Trim, 0, 0.49, "a share from 0 to 0.49"},
		{"edit.min_group", float64(s.Edit.MinGroup), 2, 1e6, "a number from 2"},
		{"edit.least_ratio", s.Edit.LeastRatio, 1, 1e6, "a ratio from 1, such as 1.5"},
		{"meals.diet_months", float64(s.Meals.DietMonths), 0, 1e6, "a number of months; 0 for all"},
		{"panel.min_notes", float64(s.Panel.MinNotes), 1, 1e6, "a number from 1"},
		{"panel.stale_after_days", float64(s.Panel.StaleAfterDays), 0, 36600, "a number of days; 0 for none"},
		{"edit.shelf_tolerance", s.Edit.ShelfTolerance, 0, 1, "a share from 0 to 1"},
		{"panel.min_observed_share", s.Panel.MinObservedShare, 0, 1, "a share from 0 to 1"},
	} {
		if !(n.value >= n.low && n.value <= n.high) { // NaN is in no range
			errs = append(errs, bad(0, n.field, fmt.Sprint(n.value), "write "+n.instead))
		}
	}
	for i, m := range []string{s.BaseMonth, s.Panel.FromMonth, s.Panel.ToMonth, s.Meals.Month} {
		if m != "" && !isMonth(m) {
			errs = append(errs, bad(0, []string{"base_month", "panel.from_month", "panel.to_month", "meals.month"}[i], fmt.Sprintf("%q", m), "write a month as 2024-02"))
		}
	}
	for i := range s.Sources {
		errs = append(errs, s.Sources[i].check(s.Sources)...)
	}
	for _, f := range s.checkJobs() {
		errs = append(errs, bad(0, f[0], f[1], f[2]))
	}
	return s, errors.Join(errs...)
}

// EditRules are the rules by which a note can be held.
var EditRules = []string{"log-ratio", "quartile", "tukey", "hidiroglou-berthelot"}

// RuleWidth is the width of the rule: the one set, else its usual one (CPI Manual
// 2020, 5.113 to 5.135: 2.5 for tukey; Hidiroglou and Berthelot 1986: 4 to 40).
func (e Edit) RuleWidth() float64 {
	switch {
	case e.Width > 0:
		return e.Width
	case e.Rule == "tukey":
		return 2.5
	case e.Rule == "hidiroglou-berthelot":
		return 20
	}
	return 4
}

// OutletTypes are the kinds of outlets that tables/outlets tells.
var OutletTypes = []string{"large", "discount", "convenience", "market", "online", "other"}

// Counts says whether the prices of an outlet of a type count.
func (p Prices) Counts(outletType string) bool {
	return len(p.OutletTypes) == 0 || slices.Contains(p.OutletTypes, outletType)
}

// PricedTypes are the price types that carry a price; the others say why there is none.
var PricedTypes = []string{"regular", "promo", "multibuy", "member", "markdown"}

// UnpricedTypes say why there is no price.
var UnpricedTypes = []string{"not_sold", "out_of_stock"}

func isMonth(s string) bool {
	return len(s) == 7 && s[4] == '-' && strings.Trim(s[:4]+s[5:], "0123456789") == "" && s[5:] >= "01" && s[5:] <= "12"
}

// valueText is a value at the start of a text, or else all of its line.
var valueText = regexp.MustCompile(`^("[^"]*"|'[^']*'|[^\s,"'\[\]{}#]+|.+)`)

// settingForm shows how a setting is written, "" where there is none of that name.
func settingForm(key []string) string {
	t := reflect.TypeFor[Settings]()
	for _, name := range key {
		for t.Kind() == reflect.Slice || t.Kind() == reflect.Map {
			t = t.Elem()
		}
		if t.Kind() != reflect.Struct {
			break // within what a person names
		}
		f, ok := t.FieldByNameFunc(func(n string) bool {
			f, _ := t.FieldByName(n)
			return settingName(f) == name
		})
		if !ok {
			return ""
		}
		t = f.Type
	}
	name := strings.Join(key, ".")
	switch {
	case t.Kind() == reflect.Struct:
		return "[" + name + "], once, with its settings in the lines below"
	case t.Kind() == reflect.Slice && t.Elem().Kind() == reflect.Struct:
		return "[[" + name + "]], with its settings in the lines below"
	}
	return key[len(key)-1] + " = " + valueForm(t)
}

func valueForm(t reflect.Type) string {
	switch t.Kind() {
	case reflect.Pointer:
		return valueForm(t.Elem())
	case reflect.Bool:
		return "true or false, without quotes"
	case reflect.Int:
		return "3, a whole number without quotes"
	case reflect.Float64:
		return "2.5, a number without quotes"
	case reflect.Slice:
		return "[" + valueForm(t.Elem()) + "]"
	case reflect.Map:
		return "{ name = " + valueForm(t.Elem()) + " }"
	}
	return `"…"`
}

func settingName(f reflect.StructField) string {
	if name := f.Tag.Get("toml"); name != "" {
		return name
	}
	return strings.ToLower(f.Name)
}

func settingNames(t reflect.Type) []string {
	var names []string
	for i := range t.NumField() {
		f := t.Field(i)
		if !f.IsExported() {
			continue
		}
		names = append(names, settingName(f))
		ft := f.Type
		if ft.Kind() == reflect.Slice {
			ft = ft.Elem()
		}
		if ft.Kind() == reflect.Struct {
			names = append(names, settingNames(ft)...)
		}
	}
	return names
}

// DidYouMean is what to write for a name that is not known: the nearest known
// one, or the advice where none is near.
func DidYouMean(read string, known []string, advice string) string {
	if near := Nearest(read, known); near != "" {
		return fmt.Sprintf("did you mean %q?", near)
	}
	return advice
}

// Nearest is the name closest to what was read, or "" where none is close
// enough to be meant (more than a third of its letters differ).
func Nearest(read string, names []string) string {
	best, dist := "", 1<<30
	for _, n := range names {
		if d := editDistance(strings.ToLower(read), strings.ToLower(n)); d < dist || d == dist && n < best {
			best, dist = n, d
		}
	}
	if best == "" || 3*dist > max(len(read), 3) {
		return ""
	}
	return best
}

// editDistance counts the letters to change, add or drop (Levenshtein 1966).
func editDistance(a, b string) int {
	if len(a) > 80 || len(b) > 80 { // no name is that long: not worth the square
		return 1 << 20
	}
	row := make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := range len(a) {
		diag := row[0]
		row[0] = i + 1
		for j := range len(b) {
			cost := diag
			if a[i] != b[j] {
				cost++
			}
			diag = row[j+1]
			row[j+1] = min(cost, row[j]+1, row[j+1]+1)
		}
	}
	return row[len(b)]
}
