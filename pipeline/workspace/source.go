package workspace

import (
	"fmt"
	"maps"
	"path"
	"slices"
	"strings"
	"time"
)

// Profile says where in a file the rows and cells stand and how they are
// written. The zero value: a header in the first line, the delimiter that it
// holds most, one row an observation.
type Profile struct {
	Layout       string   `toml:"layout"`        // long, wide or series; "" finds long or series
	Sheet        string   `toml:"sheet"`         // of a spreadsheet; "" is the first
	Encoding     string   `toml:"encoding"`      // such as windows-1252; "" is UTF-8, or what a byte order mark says
	Delimiter    string   `toml:"delimiter"`     // "," ";" "tab" or "|"; "" finds one of the first three
	HeaderLine   int      `toml:"header_line"`   // line of the header, from 1; 0 is the first that is not blank
	HeaderStarts string   `toml:"header_starts"` // how the header line's first cell begins
	SkipRows     int      `toml:"skip_rows"`     // lines below the header that hold tags or units
	StopAtBlank  bool     `toml:"stop_at_blank"` // the first blank line ends the data
	StopStarts   []string `toml:"stop_starts"`   // so does a line that begins so
	StripNotes   bool     `toml:"strip_notes"`   // footnote figures stand behind names and headers

	// Across is our column that the headers of the value columns hold, for
	// the layouts wide (observed_on if not set) and series (always series).
	Across string `toml:"across"`
	// Values are patterns of those headers; none: those that read as a month,
	// or where Across is another column all that nothing else names.
	Values []string `toml:"values"`

	// Keep and LeaveOut name cells of the file's columns: a row that has none
	// of a Keep list, or one of a LeaveOut list, is set aside as left_out.
	Keep     map[string][]string `toml:"keep"`
	LeaveOut map[string][]string `toml:"leave_out"`
	// Only names, for one of our columns, the cells as read of the rows that
	// concern us. The others are not read and stand in no count.
	Only map[string][]string `toml:"only"`

	// Columns names, for one of ours, the file's column, or several to be
	// joined. "price{brand}" is the column that the cell of brand completes.
	Columns map[string]any `toml:"columns"`
	// Fixed gives the value of a column that the file does not have.
	Fixed map[string]string `toml:"fixed"`
	// Words says, for one of our columns, what the file's words mean.
	Words map[string]map[string]string `toml:"words"`
	// Lookups add the columns of catalogue files, one after the other.
	Lookups []Lookup `toml:"lookups"`
	// Catalogue is short for one lookup by series.
	Catalogue string `toml:"catalogue"`
	// Series describes series that no catalogue does, by id.
	Series []Series `toml:"series"`

	Missing       []string `toml:"missing"`         // how the file writes "no value"
	ZeroIsMissing bool     `toml:"zero_is_missing"` // so does 0
	ValueMarks    []string `toml:"value_marks"`     // letters behind a value that qualify it, such as r for revised
	Decimal       string   `toml:"decimal"`         // "." if not set
	Thousands     string   `toml:"thousands"`       // mark between thousands
	MinorUnits    int      `toml:"minor_units"`     // how many of the file's money units make one of the currency
	RoundPrices   bool     `toml:"round_prices"`    // to six decimals, the most that is kept
	Imperial      bool     `toml:"imperial"`        // bare pints, gallons and fluid ounces are imperial
	DateOrder     string   `toml:"date_order"`      // DMY, MDY or YMD, where days are written with slashes or points
	MonthNames    []string `toml:"month_names"`     // twelve, where they are not English
	MonthOfYear   int      `toml:"month_of_year"`   // the month to which figures of a whole year are put; 0: they are refused
	WeekOneOn     string   `toml:"week_one_on"`     // first day of week 1, where dates are numbers of weeks
}

// Lookup names a catalogue source, and the column whose cell is looked up in
// it: one of the file, or of a lookup before.
type Lookup struct {
	Source string `toml:"source"`
	By     string `toml:"by"`
}

// Series says what a series of an open file measures.
type Series struct {
	ID         string `toml:"id"`
	Region     string `toml:"region"`
	Item       string `toml:"item"`
	Pack       string `toml:"pack"`
	Index      string `toml:"index"` // our name of an index series
	BasePeriod string `toml:"base_period"`
	Adjustment string `toml:"adjustment"`
}

// SourceColumns are our columns that a profile may fill.
var SourceColumns = []string{"observed_on", "region", "outlet", "item", "price", "pack", "variety", "grade", "gtin", "packs",
	"price_type", "currency", "weighed", "pieces", "shelf_unit_price", "kind", "market", "row_id", "note",
	"series", "index", "base_period", "adjustment", "programme", "amount_kind", "persons", "effective_from", "effective_to", "source"}

// otherNames are names of ours under which a profile may write a column, too.
var otherNames = map[string]string{"month": "observed_on", "id": "series", "value": "price", "index_value": "price", "amount_lcu": "price"}

// Gives are what a source may give.
var Gives = []string{"quotes", "averages", "index", "allowances", "catalogue"}

// Names are the columns of the file that fill one of ours.
func (l *Profile) Names(ours string) []string {
	switch v := l.Columns[ours].(type) {
	case string:
		return []string{v}
	case []any:
		var names []string
		for _, n := range v {
			names = append(names, fmt.Sprint(n))
		}
		return names
	}
	return nil
}

// ourNames brings the keys of a map to the names of SourceColumns.
func ourNames[V any](in map[string]V, bad func(read, instead string)) map[string]V {
	if in == nil {
		return nil
	}
	out := map[string]V{}
	for _, name := range slices.Sorted(maps.Keys(in)) {
		ours := name
		if o, ok := otherNames[name]; ok {
			ours = o
		}
		_, twice := out[ours]
		switch {
		case twice:
			bad(fmt.Sprintf("%q and another name of the same column", name), "keep one of the two")
		case !slices.Contains(SourceColumns, ours):
			bad(fmt.Sprintf("%q", name), DidYouMean(name, SourceColumns, "write one of "+strings.Join(SourceColumns, ", ")))
		}
		out[ours] = in[name]
	}
	return out
}

// check brings a profile to one form and says what is wrong with it.
func (src *Source) check(all []Source) (errs []error) {
	bad := func(field, read, instead string) {
		errs = append(errs, &InputError{Code: "settings", File: SettingsFile, Field: "source." + field,
			Read: fmt.Sprintf("%s in source %s", read, src.Name), Instead: instead})
	}
	in := func(field string) func(string, string) {
		return func(read, instead string) { bad(field, read, instead) }
	}
	oneOf := func(field, read string, words ...string) {
		if !slices.Contains(words, read) {
			bad(field, fmt.Sprintf("%q", read), "write one of "+strings.TrimPrefix(strings.Join(words, ", "), ", "))
		}
	}
	if src.Name == "" {
		bad("name", "no name", "give each [[source]] a name")
	}
	oneOf("gives", src.Gives, Gives...)
	oneOf("layout", src.Layout, "", "long", "wide", "series")
	oneOf("delimiter", src.Delimiter, "", ",", ";", "tab", "|")
	oneOf("decimal", src.Decimal, "", ".", ",")
	oneOf("date_order", src.DateOrder, "", "DMY", "MDY", "YMD")
	for _, p := range slices.Concat(src.Files, src.Values) {
		if _, err := path.Match(p, ""); err != nil {
			bad("files, values", fmt.Sprintf("%q", p), "write a pattern such as APU*.csv")
		}
	}
	src.Columns = ourNames(src.Columns, in("columns"))
	src.Fixed = ourNames(src.Fixed, in("fixed"))
	src.Words = ourNames(src.Words, in("words"))
	src.Only = ourNames(src.Only, in("only"))
	if o, ok := otherNames[src.Across]; ok {
		src.Across = o
	}
	for ours, v := range src.Columns {
		names := src.Names(ours)
		if len(names) == 0 || slices.Contains(names, "") {
			bad("columns", fmt.Sprintf("%s = %v", ours, v), `name a column of the file, or several as ["a", "b"]`)
		}
	}
	for ours := range src.Only {
		if src.Columns[ours] == nil {
			bad("only", fmt.Sprintf("%q", ours), "a column that [source.columns] names")
		}
	}
	if src.Across != "" {
		oneOf("across", src.Across, "observed_on", "series", "item", "region", "outlet", "variety", "persons")
		if src.Layout != "wide" {
			bad("across", fmt.Sprintf("%q", src.Across), `with layout = "wide" only`)
		}
	}
	if src.Layout == "wide" && src.Across == "" {
		src.Across = "observed_on"
	}
	if src.Catalogue != "" {
		src.Lookups = append([]Lookup{{src.Catalogue, "series"}}, src.Lookups...)
		src.Catalogue = ""
	}
	for _, l := range src.Lookups {
		i := slices.IndexFunc(all, func(s Source) bool { return s.Name == l.Source })
		if i < 0 || all[i].Gives != "catalogue" || l.By == "" {
			bad("lookups", fmt.Sprintf("source = %q, by = %q", l.Source, l.By), `name a source that gives "catalogue", and the column that is looked up in it`)
		}
	}
	if src.Gives == "catalogue" && len(src.Names("series")) != 1 {
		bad("columns", "no id", `name the column by which the catalogue is looked up: [source.columns] id = "…"`)
	}
	if src.Currency != "" && (len(src.Currency) != 3 || strings.ToUpper(src.Currency) != src.Currency || src.Currency == "PPP") {
		bad("currency", fmt.Sprintf("%q", src.Currency), "write the three letters of ISO 4217; dollars of purchasing power parity are no market money and stand beside none")
	}
	if len(src.MonthNames) != 0 && len(src.MonthNames) != 12 {
		bad("month_names", fmt.Sprintf("%d names", len(src.MonthNames)), "write twelve, January first")
	}
	for _, n := range []struct {
		field     string
		v, lo, hi int
	}{{"header_line", src.HeaderLine, 0, 10000}, {"skip_rows", src.SkipRows, 0, 10000}, {"month_of_year", src.MonthOfYear, 0, 12}, {"minor_units", src.MinorUnits, 0, 1000000}} {
		if n.v < n.lo || n.v > n.hi {
			bad(n.field, fmt.Sprint(n.v), fmt.Sprintf("write a number from %d to %d", n.lo, n.hi))
		}
	}
	if _, err := time.Parse("2006-01-02", src.WeekOneOn); src.WeekOneOn != "" && err != nil {
		bad("week_one_on", fmt.Sprintf("%q", src.WeekOneOn), "write the first day of week 1 as 2024-02-29")
	}
	return errs
}
