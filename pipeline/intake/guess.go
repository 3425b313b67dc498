package intake

import (
	"bytes"
	"fmt"
	"io"
	"maps"
	"path/filepath"
	"regexp"
	"slices"
	"strings"

	"farthing/pipeline/quantity"
	"farthing/pipeline/workspace"
)

// A guess looks at this much of a file, and at this many rows of data.
const (
	guessBytes = 4 << 20
	guessRows  = 500
)

// guess proposes a profile for a file that no source reads: where the header
// stands, what its columns hold, how values and dates are written. It is a
// proposal for a person to correct; nothing is read by it unasked.
func guess(file string, r *reader) (*guesser, error) {
	base := filepath.Base(file)
	stem := strings.ToLower(strings.TrimSuffix(strings.TrimSuffix(base, ".gz"), filepath.Ext(strings.TrimSuffix(base, ".gz"))))
	g := &guesser{r: r, src: workspace.Source{Name: strings.Trim(notName.ReplaceAllString(stem, "-"), "-"), Files: []string{globbed(strings.TrimSuffix(base, ".gz"))}}}
	if g.src.Name == "" {
		g.src.Name = "source"
	}
	u, err := Unpack(file, workspace.Source{})
	if err != nil {
		return g, err
	}
	defer u.Close()
	head, err := io.ReadAll(io.LimitReader(u, guessBytes))
	if err != nil {
		return g, err
	}
	g.src.Columns, g.src.Fixed = map[string]any{}, map[string]string{}
	g.lines = bytes.Split(head, []byte{'\n'})
	g.dates = newDates(g.src, u.day0)
	g.findHeader()
	g.findRows()
	g.findColumns()
	g.findIDs()
	return g, nil
}

// globbed is a pattern that a file's name matches, and only it.
func globbed(name string) string {
	return patternMark.ReplaceAllString(name, "?")
}

var (
	notName     = regexp.MustCompile(`[^\pL\d]+`)
	patternMark = regexp.MustCompile(`[\[\]*?\\]`)

	numberText   = regexp.MustCompile(`^-?\d[\d.,]*$`)
	commaDecimal = regexp.MustCompile(`^-?\d+,\d+$`)
	commaGroups  = regexp.MustCompile(`^-?\d{1,3}(,\d{3})+\.\d+$`)
	currencyText = regexp.MustCompile(`^[A-Z]{3}$`)
	idText       = regexp.MustCompile(`^[A-Z]*\d[A-Z\d_-]{3,}$`)
	yearBehind   = regexp.MustCompile(`^(\d+)[./-](\d+)[./-]\d{4}$`)

	// What a file or a header speaks of.
	indexWord   = regexp.MustCompile(`(?i)\bindex(\b|_?value)|indices|^cpi`)
	personsWord = regexp.MustCompile(`(?i)household.?size|persons`)
	noValue     = regexp.MustCompile(`(?i)code|\bid$|_id$|^id\b|^lat|^lon|year|^n_|rank`)
	codeHeader  = regexp.MustCompile(`^\S*\d\S*$`)
)

type guesser struct {
	src       workspace.Source
	r         *reader
	advice    []string // for the person who corrects the profile
	dates     *dates
	lines     [][]byte
	delimiter byte
	header    []string
	at        int // line of the header, from 0
	rows      [][]string
	used      map[int]bool
}

func (g *guesser) split(line []byte) (cells []string) {
	for _, f := range split(bytes.TrimRight(line, "\r\n"), g.delimiter, nil) {
		cells = append(cells, string(f))
	}
	return cells
}

func filled(cells []string) (n int) {
	for _, c := range cells {
		if c != "" {
			n++
		}
	}
	return n
}

// findHeader takes the delimiter that splits the most lines alike, and as the
// header the first line of that many cells of which at least half are filled.
func (g *guesser) findHeader() {
	best, most, usual := byte(','), 0, 0
	for _, d := range []byte{';', '\t', '|', ','} { // a comma may be a decimal mark: it comes last
		g.delimiter = d
		count := map[int]int{}
		for _, l := range g.lines[:min(len(g.lines), guessRows)] {
			if n := len(g.split(l)); n > 1 && bytes.Count(l, []byte{'"'})%2 == 0 {
				count[n]++
			}
		}
		for _, n := range slices.Sorted(maps.Keys(count)) {
			if n*count[n] > most {
				best, most, usual = d, n*count[n], n
			}
		}
	}
	if g.delimiter = best; best == '|' {
		g.src.Delimiter = "|"
	}
	for i, l := range g.lines {
		cells := g.split(l)
		if len(cells) >= max(usual-1, 2) && filled(cells)*2 >= len(cells) {
			g.at, g.header = i, cells
			break
		}
	}
	blankAbove := true
	for _, l := range g.lines[:g.at] {
		blankAbove = blankAbove && blank(bytes.TrimRight(l, "\r\n"), g.delimiter)
	}
	if g.at > 0 && !blankAbove {
		g.src.HeaderLine = g.at + 1
		if len(g.header) > 0 && g.header[0] != "" {
			g.src.HeaderLine, g.src.HeaderStarts = 0, g.header[0]
			for _, l := range g.lines[:g.at] {
				if headerHere(l, 0, g.src) {
					g.src.HeaderLine, g.src.HeaderStarts = g.at+1, ""
					break
				}
			}
		}
	}
}

// findRows passes over rows of tags and units, and sees where the data end.
func (g *guesser) findRows() {
	rest := g.lines[min(g.at+1, len(g.lines)):]
	for g.src.SkipRows < 3 && len(rest) > 1 {
		cells := g.split(rest[0])
		first := slices.IndexFunc(cells, func(c string) bool { return c != "" })
		tags := first >= 0 && strings.HasPrefix(cells[first], "#")
		units := first >= 0 && filled(cells)*3 <= len(cells) && !slices.ContainsFunc(cells, isNumber)
		if !tags && !units {
			break
		}
		g.src.SkipRows++
		rest = rest[1:]
	}
	ended := false
	for _, l := range rest {
		if blank(bytes.TrimRight(l, "\r\n"), g.delimiter) {
			ended = true
			continue
		}
		if ended {
			g.src.StopAtBlank = true
			break
		}
		if len(g.rows) < guessRows {
			g.rows = append(g.rows, g.split(l))
		}
	}
	noted := 0
	for _, r := range g.rows {
		if noteMark.MatchString(r[0]) && !isNumber(r[0]) && len(r[0]) > 6 {
			noted++
		}
	}
	g.src.StripNotes = noted > 0 && noted*2 >= len(g.rows)
}

func isNumber(s string) bool { return numberText.MatchString(s) }

// column gives the filled cells of a column.
func (g *guesser) column(i int) (cells []string) {
	for _, r := range g.rows {
		if i < len(r) && r[i] != "" {
			cells = append(cells, r[i])
		}
	}
	return cells
}

func share(cells []string, is func(string) bool) float64 {
	n := 0
	for _, c := range cells {
		if is(c) {
			n++
		}
	}
	return float64(n) / float64(max(1, len(cells)))
}

// isDate says whether a text is a day or month, or a year if that is asked for.
func (g *guesser) isDate(s string, years bool) bool {
	_, _, bad := g.dates.find(s)
	return bad == nil || bad.code == "date_order" || bad.code == "left_out" || years && bad.code == "year_only"
}

// What a column of ours may be called, the likeliest first.
var likely = []struct {
	ours  string
	names *regexp.Regexp
	order []string
}{
	{"currency", regexp.MustCompile(`(?i)^currency|iso currency|^curr`), []string{"currency"}},
	{"pack", regexp.MustCompile(`(?i)unit|pack|size|weight|grammage|uom|measure`), []string{"unit", "pack", "size"}},
	{"outlet", regexp.MustCompile(`(?i)outlet|store|shop|retailer|retid|^market`), []string{"market", "outlet", "store"}},
	{"region", regexp.MustCompile(`(?i)region|admin|^area|country|province|state|^geo|district|city`), []string{"admin1", "region", "geo", "area"}},
	{"item", regexp.MustCompile(`(?i)commodity|product|^item|description|article|good|food|fruit|vegetable|entity`), []string{"commodity", "product", "item name", "item_name", "item", "description"}},
	{"variety", regexp.MustCompile(`(?i)variety|brand|prodid|codein|gtin|ean`), []string{"variety", "prodid"}},
}

// findColumns says which column holds what.
func (g *guesser) findColumns() {
	g.used = map[int]bool{}
	wide := 0
	for _, h := range g.header {
		if g.isDate(noteMark.ReplaceAllString(h, ""), true) {
			wide++
		}
	}
	var values []int
	if wide >= 3 {
		g.src.Layout, g.src.Across = "wide", "observed_on"
		for i, h := range g.header {
			if g.isDate(noteMark.ReplaceAllString(h, ""), true) {
				g.used[i] = true
				values = append(values, i)
			}
		}
	} else {
		g.findDate()
		if v := g.findValue(); v >= 0 {
			values = []int{v}
		}
	}
	texts := func(i int) bool {
		return i < len(g.header) && g.header[i] != "" && !g.used[i]
	}
	isIndex := slices.ContainsFunc(append([]string{g.src.Name}, g.header...), indexWord.MatchString)
	for _, l := range likely {
		best, rank := -1, 1000
		for i, h := range g.header {
			if !texts(i) || !l.names.MatchString(h) || l.ours == "item" && share(g.column(i), isNumber) > 0.5 {
				continue
			}
			if (l.ours == "region" || l.ours == "item") && strings.Contains(strings.ToLower(h), "code") {
				continue
			}
			if l.ours == "currency" && share(g.column(i), currencyText.MatchString) < 0.9 {
				continue
			}
			if l.ours == "pack" && (share(g.column(i), isNumber) > 0.5 || isIndex) {
				continue
			}
			k := slices.Index(l.order, strings.ToLower(h))
			if k < 0 {
				k = 100 + i
			}
			if k < rank {
				best, rank = i, k
			}
		}
		if best >= 0 {
			g.src.Columns[l.ours] = g.header[best]
			g.used[best] = true
		}
	}
	for i := range g.header {
		isPack := func(s string) bool {
			_, err := quantity.ParsePack(s, quantity.Options{})
			return err == nil && !isNumber(s)
		}
		if c := g.column(i); g.src.Columns["pack"] == nil && texts(i) && !isIndex && len(c) > 0 && share(c, isPack) > 0.6 {
			g.src.Columns["pack"] = g.header[i]
			g.used[i] = true
		}
	}
	if g.src.Columns["item"] == nil {
		for i := range g.header {
			if c := g.column(i); texts(i) && len(c) > 0 && (share(c, isNumber) < 0.5 || i == 0 && g.src.Layout == "wide") {
				g.src.Columns["item"] = g.header[i]
				g.used[i] = true
				break
			}
		}
	}
	g.findForms(values)
	g.findFlags()
	g.settle(len(values), isIndex)
}

func (g *guesser) findDate() {
	year, period, date, yearOnly := -1, -1, -1, -1
	for i, h := range g.header {
		cells := g.column(i)
		if len(cells) == 0 || h == "" {
			continue
		}
		switch name := strings.ToLower(h); {
		case name == "year":
			year = i
		case (name == "period" || strings.Contains(name, "month")) && year >= 0 && period < 0 && share(cells, func(s string) bool { return g.isDate("2000 "+s, false) }) > 0.8:
			period = i
		}
		if date < 0 && share(cells, func(s string) bool { return g.isDate(s, false) }) > 0.9 {
			date = i
		} else if yearOnly < 0 && share(cells, func(s string) bool { return g.isDate(s, true) }) > 0.9 {
			yearOnly = i
		}
	}
	switch {
	case date >= 0:
		g.src.Columns["observed_on"] = g.header[date]
		g.used[date] = true
	case year >= 0 && period >= 0:
		g.src.Columns["observed_on"] = []any{g.header[year], g.header[period]}
		g.used[year], g.used[period] = true, true
	case yearOnly >= 0:
		g.src.Columns["observed_on"] = g.header[yearOnly]
		g.used[yearOnly] = true
	}
	if date < 0 {
		return
	}
	for _, c := range g.column(date) {
		p := yearBehind.FindStringSubmatch(c)
		switch {
		case p == nil:
		case len(p[1]) == 2 && p[1] > "12":
			g.src.DateOrder = "DMY"
		case len(p[2]) == 2 && p[2] > "12":
			g.src.DateOrder = "MDY"
		}
	}
}

var valueNames = []*regexp.Regexp{
	regexp.MustCompile(`(?i)^(retail)?[ _]?prices?$`), regexp.MustCompile(`(?i)^(obs_?)?value$`), regexp.MustCompile(`(?i)^(index|cpi)`),
	regexp.MustCompile(`(?i)^average`), regexp.MustCompile(`(?i)price|amount|allotment|cost|benefit`), regexp.MustCompile(`.`),
}

// isCatalogue says whether the first column names each row by a code of its own.
func (g *guesser) isCatalogue() bool {
	first := g.column(0)
	seen := map[string]bool{}
	for _, c := range first {
		seen[c] = true
	}
	return len(first) > 2 && len(seen) == len(first) && share(first, func(s string) bool { return g.isDate(s, true) }) < 0.5
}

func (g *guesser) findValue() int {
	for _, re := range valueNames {
		if re.String() == "." && g.isCatalogue() {
			return -1
		}
		for i, h := range g.header {
			c := g.column(i)
			if h != "" && !g.used[i] && !noValue.MatchString(h) && re.MatchString(h) && len(c) > 0 && share(c, isNumber) > 0.4 && !strings.Contains(strings.ToLower(h), "unit") {
				g.used[i] = true
				if g.src.Columns["observed_on"] != nil && len(g.header) == 2 && codeHeader.MatchString(h) {
					g.src.Layout = "series"
				} else {
					g.src.Columns["price"] = h
				}
				return i
			}
		}
	}
	return -1
}

// findForms sees how values are written: what stands for none, the decimal mark.
func (g *guesser) findForms(values []int) {
	comma, point, mixed := 0, 0, 0
	marks := map[string]int{}
	for _, i := range values {
		for _, c := range g.column(i) {
			switch {
			case commaGroups.MatchString(c):
				mixed++
			case commaDecimal.MatchString(c):
				comma++
			case strings.Contains(c, ".") && isNumber(c):
				point++
			}
			if _, err := quantity.ParseDecimal(strings.ReplaceAll(c, ",", "."), false); err != nil && len(c) <= 5 && !strings.ContainsAny(c, "0123456789") {
				marks[c]++
			}
		}
	}
	if comma > 0 && point == 0 && mixed == 0 {
		g.src.Decimal = ","
	}
	if mixed > 0 {
		g.src.Thousands = ","
	}
	for m := range marks {
		g.src.Missing = append(g.src.Missing, m)
	}
	slices.Sort(g.src.Missing)
}

// findFlags sees columns that sort prices by kind.
func (g *guesser) findFlags() {
	for i, h := range g.header {
		seen := map[string]bool{}
		for _, c := range g.column(i) {
			seen[strings.ToLower(c)] = true
		}
		if (seen["retail"] || seen["wholesale"]) && len(seen) <= 3 {
			g.src.Columns["market"] = h
			g.src.Words = map[string]map[string]string{"market": {}}
			for _, c := range g.column(i) {
				if low := strings.ToLower(c); low == "retail" || low == "wholesale" {
					g.src.Words["market"][c] = low
				}
			}
		}
		if strings.Contains(strings.ToLower(h), "flag") && len(seen) <= 6 {
			if g.src.LeaveOut == nil {
				g.src.LeaveOut = map[string][]string{}
			}
			if strings.Contains(strings.ToLower(h), "price") || seen["forecast"] {
				g.src.LeaveOut[h] = []string{"forecast"}
			}
		}
	}
}

// settle says what the file gives, and fills what it does not say.
func (g *guesser) settle(values int, isIndex bool) {
	has := func(ours string) bool { return g.src.Columns[ours] != nil }
	persons := slices.IndexFunc(g.header, personsWord.MatchString)
	switch {
	case values == 0:
		g.src.Gives = "catalogue"
		g.src.Layout = ""
		if len(g.header) > 0 {
			for ours, name := range g.src.Columns {
				if name == g.header[0] || !slices.Contains([]string{"item", "region", "pack", "variety"}, ours) {
					delete(g.src.Columns, ours)
				}
			}
			g.src.Columns["series"] = g.header[0]
			g.advise("Name the columns that a source which looks names up here is to take: item, region, pack, variety.")
		}
		return
	case persons >= 0:
		g.src.Gives = "allowances"
		g.src.Columns["persons"] = g.header[persons]
		delete(g.src.Columns, "item")
		delete(g.src.Columns, "pack")
		for i, h := range g.header {
			if name := strings.ToLower(h); strings.Contains(name, "from") && share(g.column(i), func(s string) bool { return g.isDate(s, false) }) > 0.9 {
				g.src.Columns["effective_from"] = h
			} else if strings.Contains(name, "effective_to") || name == "to" {
				g.src.Columns["effective_to"] = h
			}
		}
		if !has("effective_from") {
			g.src.Columns["effective_from"] = g.src.Columns["observed_on"]
		}
		delete(g.src.Columns, "observed_on")
		g.src.Fixed["programme"] = g.src.Name
		g.src.Fixed["amount_kind"] = "maximum"
	case isIndex:
		g.src.Gives = "index"
		delete(g.src.Columns, "pack")
		delete(g.src.Columns, "currency")
		if has("item") {
			g.src.Columns["index"] = g.src.Columns["item"]
			delete(g.src.Columns, "item")
		} else if g.src.Layout != "series" {
			g.src.Fixed["index"] = g.src.Name
		}
		g.src.Fixed["adjustment"] = "unadjusted"
	case has("outlet"):
		g.src.Gives = "quotes"
	default:
		g.src.Gives = "averages"
	}
	if !has("region") && g.src.Layout != "series" {
		var top []string
		for _, name := range g.r.regionNames {
			if g.r.regions[name].Parent == "" {
				top = append(top, name)
			}
		}
		if len(top) == 1 {
			g.src.Fixed["region"] = top[0]
		} else {
			g.advise("The file names no region: give it under [source.fixed] region.")
		}
	}
	if g.src.Layout == "series" && g.src.Gives == "index" {
		delete(g.src.Fixed, "adjustment")
	}
	if g.src.Gives == "index" {
		g.advise("Say the base period, such as base_period = \"2015 = 100\", under [source.fixed], unless the label of the index holds it, and whether it is adjusted for the season.")
	}
	if name, ok := g.src.Columns["observed_on"].(string); ok && share(g.column(slices.Index(g.header, name)), plainYear.MatchString) > 0.9 {
		g.advise("The file has years: month_of_year = 7 puts a figure of a year to its July; without it such rows are set aside.")
	}
	if g.src.Gives == "averages" && len(g.src.Names("item")) == 1 && g.src.Layout == "" {
		g.completeItem()
	}
	if (g.src.Gives == "averages" || g.src.Gives == "quotes") && !has("currency") {
		g.advise("The file names no currency: that of the region is taken; minor_units = 100 if prices are in cents.")
	}
}

func (g *guesser) advise(s string) { g.advice = append(g.advice, s) }

// completeItem joins a second column to the item where one name stands for
// several prices of a month.
func (g *guesser) completeItem() {
	repeats := func(more int) (n int) {
		seen := map[string]bool{}
		for _, r := range g.rows {
			key := ""
			for i, c := range r {
				if i == more || g.used[i] && !slices.Contains(g.src.Names("price"), g.header[min(i, len(g.header)-1)]) {
					key += c + "\x00"
				}
			}
			if seen[key] {
				n++
			}
			seen[key] = true
		}
		return n
	}
	if repeats(-1) == 0 {
		return
	}
	for i, h := range g.header {
		if c := g.column(i); h != "" && !g.used[i] && len(c) == len(g.rows) && share(c, isNumber) == 0 && share(c, func(s string) bool { return g.isDate(s, true) }) == 0 && repeats(i) == 0 {
			g.src.Columns["item"] = []any{g.src.Names("item")[0], h}
			return
		}
	}
	g.advise("Some rows have one date, region and item: join what sets them apart, as item = [\"…\", \"…\"].")
}

// findIDs sees items that are codes, and a catalogue that describes them.
func (g *guesser) findIDs() {
	var ids []string
	name, by := "", "series"
	if g.src.Layout == "series" {
		for _, h := range g.header {
			if !slices.Contains(g.src.Names("observed_on"), h) {
				ids = append(ids, h)
			}
		}
	} else if names := g.src.Names("item"); len(names) == 1 && g.src.Gives != "catalogue" && slices.Contains(g.header, names[0]) {
		name, by = names[0], names[0]
		ids = g.column(slices.Index(g.header, name))
	}
	if len(ids) == 0 || share(ids, idText.MatchString) < 0.9 {
		return
	}
	if name != "" {
		delete(g.src.Columns, "item")
		g.src.Columns["series"] = name
	}
	best := 0.5
	for _, s := range g.r.settings.Sources {
		if s.Gives != "catalogue" {
			continue
		}
		c, err := g.r.catalogue(s.Name)
		if err != nil {
			continue
		}
		if known := share(ids, func(id string) bool { return c.rows[id] != nil }); known > best {
			best = known
			g.src.Lookups = []workspace.Lookup{{Source: s.Name, By: by}}
		}
	}
	if g.src.Lookups == nil {
		g.advise("Items are codes: import a file that describes them as a source that gives \"catalogue\", and look them up in it, as lookups = [{ source = \"…\", by = " + tomlText(by) + " }], or describe them under [[source.series]].")
	}
}

// Block writes a source as a [[source]] of farthing.toml.
func Block(s workspace.Source) string {
	var b strings.Builder
	line := func(name, value string) { fmt.Fprintf(&b, "%s = %s\n", name, value) }
	text := func(name, v string) {
		if v != "" {
			line(name, tomlText(v))
		}
	}
	list := func(name string, v []string) {
		if len(v) > 0 {
			line(name, tomlList(v))
		}
	}
	number := func(name string, n int) {
		if n != 0 {
			line(name, fmt.Sprint(n))
		}
	}
	yes := func(name string, is bool) {
		if is {
			line(name, "true")
		}
	}
	b.WriteString("[[source]]\n")
	text("name", s.Name)
	text("gives", s.Gives)
	list("files", s.Files)
	text("producer", s.Producer)
	text("licence", s.Licence)
	text("address", s.Address)
	text("currency", s.Currency)
	text("layout", s.Layout)
	text("sheet", s.Sheet)
	text("encoding", s.Encoding)
	text("delimiter", s.Delimiter)
	number("header_line", s.HeaderLine)
	text("header_starts", s.HeaderStarts)
	number("skip_rows", s.SkipRows)
	yes("stop_at_blank", s.StopAtBlank)
	list("stop_starts", s.StopStarts)
	yes("strip_notes", s.StripNotes)
	if s.Across != "observed_on" {
		text("across", s.Across)
	}
	list("values", s.Values)
	var lookups []string
	for _, l := range s.Lookups {
		lookups = append(lookups, fmt.Sprintf("{ source = %s, by = %s }", tomlText(l.Source), tomlText(l.By)))
	}
	if lookups != nil {
		line("lookups", "["+strings.Join(lookups, ", ")+"]")
	}
	list("missing", s.Missing)
	yes("zero_is_missing", s.ZeroIsMissing)
	list("value_marks", s.ValueMarks)
	text("decimal", s.Decimal)
	text("thousands", s.Thousands)
	number("minor_units", s.MinorUnits)
	yes("round_prices", s.RoundPrices)
	yes("imperial", s.Imperial)
	text("date_order", s.DateOrder)
	list("month_names", s.MonthNames)
	number("month_of_year", s.MonthOfYear)
	text("week_one_on", s.WeekOneOn)
	tomlTable(&b, "keep", s.Keep, tomlList)
	tomlTable(&b, "leave_out", s.LeaveOut, tomlList)
	tomlTable(&b, "only", s.Only, tomlList)
	if len(s.Columns) > 0 {
		b.WriteString("[source.columns]\n")
		for _, ours := range workspace.SourceColumns {
			if names := s.Names(ours); len(names) == 1 {
				line(ours, tomlText(names[0]))
			} else if len(names) > 1 {
				line(ours, tomlList(names))
			}
		}
	}
	tomlTable(&b, "fixed", s.Fixed, tomlText)
	for _, k := range slices.Sorted(maps.Keys(s.Words)) {
		tomlTable(&b, "words."+k, s.Words[k], tomlText)
	}
	for _, x := range s.Series {
		b.WriteString("[[source.series]]\n")
		text("id", x.ID)
		text("region", x.Region)
		text("item", x.Item)
		text("pack", x.Pack)
		text("index", x.Index)
		text("base_period", x.BasePeriod)
		text("adjustment", x.Adjustment)
	}
	return b.String()
}

// tomlTable writes a table of a source, unless it is empty.
func tomlTable[V any](b *strings.Builder, name string, m map[string]V, text func(V) string) {
	if len(m) > 0 {
		fmt.Fprintf(b, "[source.%s]\n", name)
	}
	for _, k := range slices.Sorted(maps.Keys(m)) {
		fmt.Fprintf(b, "%s = %s\n", tomlKey(k), text(m[k]))
	}
}

// tomlText is a basic string of TOML 1.0.
func tomlText(s string) string {
	var b strings.Builder
	b.WriteByte('"')
	for _, r := range strings.ToValidUTF8(s, "\ufffd") {
		switch {
		case r == '"' || r == '\\':
			b.WriteByte('\\')
			b.WriteRune(r)
		case r < ' ' || r == 0x7f:
			fmt.Fprintf(&b, `\u%04X`, r)
		default:
			b.WriteRune(r)
		}
	}
	return b.String() + `"`
}

var bareKey = regexp.MustCompile(`^[A-Za-z0-9_-]+$`)

func tomlKey(s string) string {
	if bareKey.MatchString(s) {
		return s
	}
	return tomlText(s)
}

func tomlList(v []string) string {
	var b []string
	for _, s := range v {
		b = append(b, tomlText(s))
	}
	return "[" + strings.Join(b, ", ") + "]"
}
