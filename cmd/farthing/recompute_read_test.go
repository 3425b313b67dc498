package main

import (
	"crypto/sha256"
	"encoding/csv"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"math"
	"math/big"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"
)

// This file reads a workspace for the second opinion of recompute_test.go: settings, tables and archived price notes. It reads
// what the examples use, and stops the test at anything else: nothing is passed over.

// noValue stands for what is missing; every sum with it is missing too.
var noValue = math.NaN()

func missing(x float64) bool { return math.IsNaN(x) }

// calendarMonth counts the months since year 0.
type calendarMonth int

func monthOf(day time.Time) calendarMonth { return calendarMonth(day.Year()*12 + int(day.Month()) - 1) }

func (m calendarMonth) day(n int) time.Time {
	return time.Date(int(m)/12, time.Month(m%12+1), n, 0, 0, 0, 0, time.UTC)
}
func (m calendarMonth) days() int      { return (m + 1).day(0).Day() }
func (m calendarMonth) String() string { return m.day(1).Format("2006-01") }

func parseMonth(t *testing.T, s string) calendarMonth {
	t.Helper()
	day, err := time.Parse("2006-01", s)
	if err != nil {
		t.Fatal(err)
	}
	return monthOf(day)
}

// cells is a row of a CSV file by column.
type cells map[string]string

func readCells(t *testing.T, path string) []cells {
	t.Helper()
	f, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	records, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(path, err)
	}
	var rows []cells
	for _, record := range records[1:] {
		row := cells{}
		for i, column := range records[0] {
			row[column] = record[i]
		}
		rows = append(rows, row)
	}
	return rows
}

// number reads a cell; blank is no value.
func number(t *testing.T, s string) float64 {
	t.Helper()
	if s == "" {
		return noValue
	}
	x, err := strconv.ParseFloat(s, 64)
	if err != nil {
		t.Fatal(err)
	}
	return x
}

// choices are the lines of farthing.toml by section and key, as in panel.from_month; those of the second [[source]] and its
// first [[source.series]] as in source.1.series.0.id. The values here hold where it says nothing.
type choices map[string][]string

func readChoices(t *testing.T, path string) choices {
	t.Helper()
	c := choices{"prices.price_types": {"regular", "promo"}, "panel.sample": {"matched"}, "panel.source_order": {"quotes", "averages"}, "panel.min_observed_share": {"0.7"},
		"edit.own_ratio": {"2"}, "edit.peer_ratio": {"3.1622776601683795"}, "edit.window_days": {"183"}, "edit.min_own": {"3"}, "edit.min_peer": {"6"}}
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	section, count := "", map[string]int{}
	quoted := regexp.MustCompile(`"([^"\\]*)"|[\w.+-]+`)
	for line := range strings.Lines(string(text)) {
		line = strings.TrimSpace(line)
		key, value, ok := strings.Cut(line, "=")
		switch {
		case line == "" || line[0] == '#':
		case line[0] == '[':
			section = strings.Trim(line, "[]")
			if rest, of := strings.CutPrefix(section, "source."); of {
				section = fmt.Sprintf("source.%d.%s", count["source"]-1, rest)
			}
			if strings.HasPrefix(line, "[[") {
				count[section]++
				section = fmt.Sprintf("%s.%d", section, count[section]-1)
			}
			section += "."
		case ok:
			list := []string{}
			for _, m := range quoted.FindAllStringSubmatch(value, -1) {
				if m[1] == "" {
					m[1] = strings.Trim(m[0], `"`)
				}
				list = append(list, m[1])
			}
			c[section+strings.TrimSpace(key)] = list
		default:
			t.Fatalf("%s: cannot read %q", path, line)
		}
	}
	return c
}

func (c choices) text(key string) string { return strings.Join(c[key], ",") }

func (c choices) number(t *testing.T, key string) float64 { return number(t, c.text(key)) }

// named is where the [[source]] of a name stands, as in "source.1.".
func (c choices) named(t *testing.T, name string) string {
	t.Helper()
	for i := 0; c[fmt.Sprintf("source.%d.name", i)] != nil; i++ {
		if at := fmt.Sprintf("source.%d.", i); c.text(at+"name") == name {
			return at
		}
	}
	t.Fatalf("farthing.toml: no [[source]] %q", name)
	return ""
}

// Units by base unit. Pound and ounces: NIST Handbook 44, appendix C, exact.
var unitsOf = map[string]map[string]string{
	"kg":   {"kg": "1", "g": "0.001", "lb": "0.45359237", "oz": "0.028349523125"},
	"L":    {"L": "1", "ml": "0.001", "cl": "0.01", "gal": "3.785411784", "fl oz": "0.0295735295625"},
	"each": {"each": "1", "dozen": "12"},
}

// inBaseUnit turns a quantity of a unit into the base unit; ok is false where the unit is of another kind.
func inBaseUnit(quantity, unit, base string) (amount *big.Rat, ok bool) {
	times, ok := unitsOf[base][unit]
	if !ok {
		return nil, false
	}
	q, ok1 := new(big.Rat).SetString(quantity)
	f, ok2 := new(big.Rat).SetString(times)
	if !ok1 || !ok2 {
		return nil, false
	}
	return q.Mul(q, f), true
}

var packText = regexp.MustCompile(`^(?:(\d+) x )?(\d+(?:\.\d+)?) ([A-Za-z ]+)$`)

// readPack reads "500 g" or "3 x 80 g": as "3 x 0.08 kg", and how much it holds.
func readPack(pack, base string) (plain string, holds *big.Rat, ok bool) {
	m := packText.FindStringSubmatch(pack)
	if m == nil {
		return "", nil, false
	}
	if m[1] == "" {
		m[1] = "1"
	}
	one, ok := inBaseUnit(m[2], m[3], base)
	if !ok {
		return "", nil, false
	}
	count, _ := new(big.Rat).SetString(m[1])
	return fmt.Sprintf("%s x %s %s", m[1], plainDecimal(one), base), count.Mul(count, one), true
}

func plainDecimal(r *big.Rat) string {
	s := r.FloatString(12)
	return strings.TrimRight(strings.TrimRight(s, "0"), ".")
}

// notedPrice is one row of an archived file that could be read.
type notedPrice struct {
	day                                        time.Time
	region, outlet, item, variety, grade, pack string
	priceType                                  string
	price, quantity                            float64 // price is missing where there was none; quantity is what it buys, in base units
	isAverage, isRetail                        bool
	key, id                                    string // of the observation, as contracts: without and with its price
}

func (n *notedPrice) unitPrice() float64   { return n.price / n.quantity }
func (n *notedPrice) month() calendarMonth { return monthOf(n.day) }

// archived is a file of the archive, as its descriptor says.
type archived struct {
	Name, Source string
	path         string
}

// readArchive reads every archived file, by its source. A row that cannot be read is left out and counted.
func (o *opinion) readArchive(t *testing.T, dir string) {
	t.Helper()
	folders, err := filepath.Glob(filepath.Join(dir, "archive", "*"))
	if err != nil || len(folders) == 0 {
		t.Fatal("no archived files", err)
	}
	var files []archived
	for _, folder := range folders {
		b, err := os.ReadFile(filepath.Join(folder, "descriptor.json"))
		if err != nil {
			t.Fatal(err)
		}
		var f archived
		if err := json.Unmarshal(b, &f); err != nil {
			t.Fatal(err)
		}
		f.path = filepath.Join(folder, f.Name)
		if b, err = os.ReadFile(f.path); err != nil {
			t.Fatal(err)
		}
		if sum := sha256.Sum256(b); hex.EncodeToString(sum[:]) != filepath.Base(folder) {
			t.Fatalf("%s: its bytes are not those of its name", f.path)
		}
		files = append(files, f)
	}
	catalogue := o.readCatalogue(t, files)
	for _, f := range files {
		switch rows := readCells(t, f.path); {
		case len(rows) == 0:
		case f.Source == "notes":
			for _, row := range rows {
				if _, isNote := row["observed_on"]; !isNote { // a file that is of no source and no price notes
					o.keep(nil)
					continue
				}
				o.keep(o.readNote(t, row))
			}
		default:
			at := o.choices.named(t, f.Source)
			switch gives := o.choices.text(at + "gives"); gives {
			case "averages":
				o.readAverages(t, f, rows, catalogue)
			case "index":
				o.readIndex(t, at, rows)
			case "allowances":
				o.readAllowances(t, at, f.Source, rows)
			case "catalogue":
			default:
				t.Fatalf("source %s gives %q, which this test does not read", f.Source, gives)
			}
		}
	}
}

// keep takes a row, or counts it as unreadable if it is nil.
func (o *opinion) keep(n *notedPrice) {
	if n == nil {
		o.unreadable++
		return
	}
	o.notes = append(o.notes, n)
}

// means is what a source's own name means in the tables: the name itself where there is no alias.
func (o *opinion) means(source, kind, read string) string {
	for _, a := range o.aliases {
		if a["kind"] == kind && a["as_read"] == read && (a["source"] == "*" || a["source"] == source) {
			return a["means"]
		}
	}
	return read
}

// readCatalogue gives the region and title of each series, by the names that the catalogue's profile says.
func (o *opinion) readCatalogue(t *testing.T, files []archived) map[string]cells {
	t.Helper()
	series := map[string]cells{}
	for _, f := range files {
		if f.Source == "notes" || o.choices.text(o.choices.named(t, f.Source)+"gives") != "catalogue" {
			continue
		}
		columns := o.choices.named(t, f.Source) + "columns."
		for _, row := range readCells(t, f.path) {
			series[row[o.choices.text(columns+"id")]] = cells{"region": row[o.choices.text(columns+"region")], "item": row[o.choices.text(columns+"item")]}
		}
	}
	return series
}

// monthValues are the rows of a file of one series, its id over the values: month, value, or a blank value for "no value".
func monthValues(t *testing.T, rows []cells, noValue []string) (id string, values map[string]string) {
	t.Helper()
	values = map[string]string{}
	for _, row := range rows {
		for column, value := range row {
			if column != "Date" {
				id = column
				if slices.Contains(noValue, value) {
					value = ""
				}
				values[row["Date"][:7]] = value
			}
		}
	}
	if len(values) != len(rows) || len(rows) > 0 && len(rows[0]) != 2 {
		t.Fatalf("series %s: a month twice, or more columns than Date and a value", id)
	}
	return id, values
}

// perUnit finds what a published average is the price of at the end of its title: "Eggs, grade A, large, per doz.".
var perUnit = regexp.MustCompile(`, per (1/2 )?(lb|doz|gal)\.( \([^)]*\))?$`)

// readAverages types a series of monthly averages. A title that no alias names is of no item of ours.
func (o *opinion) readAverages(t *testing.T, f archived, rows []cells, catalogue map[string]cells) {
	t.Helper()
	id, values := monthValues(t, rows, o.choices[o.choices.named(t, f.Source)+"missing"])
	region, item := o.means(f.Source, "region", catalogue[id]["region"]), o.means(f.Source, "item", catalogue[id]["item"])
	m := perUnit.FindStringSubmatch(catalogue[id]["item"])
	if o.regions[region] == nil || o.items[item] == nil || m == nil {
		o.unreadable += len(rows)
		return
	}
	unit := map[string]string{"lb": "lb", "doz": "dozen", "gal": "gal"}[m[2]]
	amount, ok := inBaseUnit("1", unit, o.items[item]["base_unit"])
	if !ok {
		t.Fatalf("series %s: %s of %s", id, unit, item)
	}
	if m[1] != "" {
		amount.Quo(amount, big.NewRat(2, 1))
	}
	for month, value := range values {
		if value == "" {
			continue
		}
		n := &notedPrice{day: parseMonth(t, month).day(1), region: region, item: item, grade: o.choices.text("prices.default_grade"),
			price: number(t, value), priceType: "regular", isAverage: true, isRetail: true, key: id + month, id: value}
		n.quantity, _ = amount.Float64()
		o.keep(n)
	}
}

// readIndex adds a series of index numbers to the deflators.
func (o *opinion) readIndex(t *testing.T, at string, rows []cells) {
	t.Helper()
	id, values := monthValues(t, rows, o.choices[at+"missing"])
	for i := 0; ; i++ {
		series := fmt.Sprintf("%sseries.%d.", at, i)
		if o.choices[series+"id"] == nil {
			t.Fatalf("index series %s: not in farthing.toml", id)
		}
		if o.choices.text(series+"id") == id {
			for month, value := range values {
				if value != "" {
					o.deflators = append(o.deflators, cells{"series": o.choices.text(series + "index"), "region": o.choices.text(series + "region"), "month": month, "index_value": value})
				}
			}
			return
		}
	}
}

// readAllowances adds the rows of an open file that its profile asks for to the allowances. An amount of 0 is none.
func (o *opinion) readAllowances(t *testing.T, at, source string, rows []cells) {
	t.Helper()
	for _, row := range rows {
		a, wanted := cells{}, true
		for _, column := range []string{"programme", "region", "persons", "amount_kind", "effective_from", "effective_to", "amount_lcu"} {
			if a[column] = o.choices.text(at + "fixed." + column); o.choices[at+"columns."+column] != nil {
				a[column] = row[o.choices.text(at+"columns."+column)]
			}
			if only := o.choices[at+"only."+column]; only != nil && !slices.Contains(only, a[column]) {
				wanted = false
			}
		}
		a["region"] = o.means(source, "region", a["region"])
		switch {
		case !wanted:
		case !(number(t, a["amount_lcu"]) > 0):
			o.unreadable++
		default:
			o.allowances = append(o.allowances, a)
		}
	}
}

// readNote types a row of a price note; nil where it cannot be read.
func (o *opinion) readNote(t *testing.T, row cells) *notedPrice {
	t.Helper()
	for column, value := range row {
		known := []string{"observed_on", "region", "outlet", "item", "price", "pack", "variety", "grade", "gtin", "packs", "price_type", "kind", "market", "row_id", "note"}
		if value != "" && !slices.Contains(known, column) {
			t.Fatalf("column %s: this test does not read it", column)
		}
	}
	means := func(kind string) string { return o.means("notes", kind, row[kind]) }
	n := &notedPrice{region: means("region"), outlet: row["outlet"], item: means("item"), variety: row["variety"], grade: means("grade"),
		priceType: row["price_type"], isAverage: row["kind"] == "average", isRetail: row["market"] != "wholesale"}
	if n.priceType == "" {
		n.priceType = "regular"
	}
	var err error
	if n.day, err = time.Parse("2006-01-02", row["observed_on"]); err != nil {
		if n.day, err = time.Parse("2006-01", row["observed_on"]); err != nil || !n.isAverage {
			return nil
		}
	}
	item, region := o.items[n.item], o.regions[n.region]
	if item == nil || region == nil || !n.isAverage && !o.outlets[n.outlet] {
		return nil
	}
	price, hold, packs := new(big.Rat), new(big.Rat), row["packs"]
	priceRead := ""
	if row["pack"] != "" || row["price"] != "" {
		var ok bool
		if n.pack, hold, ok = readPack(row["pack"], item["base_unit"]); !ok {
			return nil
		}
	}
	if packs != "" && packs != "1" {
		times, ok := new(big.Rat).SetString(packs)
		if !ok {
			return nil
		}
		n.pack, hold = packs+" of "+n.pack, hold.Mul(hold, times)
	}
	n.price = noValue
	if row["price"] != "" {
		if _, ok := price.SetString(row["price"]); !ok || price.Sign() <= 0 {
			return nil
		}
		n.price, _ = price.Float64()
		priceRead = plainDecimal(price)
	}
	n.quantity, _ = hold.Float64()
	n.key = strings.Join([]string{n.day.Format("2006-01-02"), n.region, n.outlet, n.item, n.variety, n.grade, row["gtin"], n.pack, n.priceType, region.currency, "", ""}, "|")
	sum := sha256.Sum256([]byte(n.key + priceRead))
	n.id = hex.EncodeToString(sum[:6])
	if n.grade == "" {
		n.grade = o.choices.text("prices.default_grade")
	}
	return n
}
