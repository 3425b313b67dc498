// Package reference holds what kitchens and food tables know of foods in general: household weights, yields, keeping times, nutrients and reference
// intakes, each figure with its source and status.
//
// The tables are the CSV files beside this code. They are stand-ins: what a user weighed, read on a label or wrote into a table of their own comes first.
// Food codes are those of the USDA National Nutrient Database for Standard Reference, release 26 (2013, a work of the US government, CC0), five digits.
// Nothing is looked up by a name in silence: names give suggestions (Suggest), a code gives figures. What no table has is missing, never zero.
package reference

import (
	"bytes"
	"embed"
	"encoding/csv"
	"fmt"
	"io/fs"
	"math/big"
	"slices"
	"strconv"
	"strings"
	"sync"

	"farthing/pipeline/quantity"
)

//go:embed foods.csv measures.csv kitchen.csv yields.csv keeping.csv needs.csv
var files embed.FS

// row is one line of an embedded table by column name.
type row map[string]string

// rows reads an embedded table. It panics on a fault in it: the tests read them all.
func rows(name string) (list []row) {
	text, err := fs.ReadFile(files, name)
	if err != nil {
		panic(err)
	}
	r := csv.NewReader(bytes.NewReader(text))
	r.Comment = '#'
	lines, err := r.ReadAll()
	if err != nil {
		panic(name + ": " + err.Error())
	}
	for _, line := range lines[1:] {
		entry := row{}
		for i, column := range lines[0] {
			entry[column] = line[i]
		}
		list = append(list, entry)
	}
	return list
}

func (r row) status() quantity.Status {
	s, ok := quantity.ParseStatus(r["status"])
	if !ok || r["source"] == "" {
		panic(fmt.Sprintf("a figure without source or status: %v", r))
	}
	return s
}

// decimal is a number of an embedded table, nil where the cell is blank.
func (r row) decimal(column string) *big.Rat {
	if r[column] == "" {
		return nil
	}
	n, err := quantity.ParseDecimal(r[column], false)
	if err != nil {
		panic(fmt.Sprintf("%s: %v in %v", column, err, r))
	}
	return n
}

// Code is a food code as the tables write it: a spreadsheet that took 01001 for the number 1001 lost its zero. Codes that are not
// of four digits stay as they are.
func Code(text string) string {
	text = strings.TrimSpace(text)
	if _, err := strconv.ParseUint(text, 10, 32); err == nil && len(text) == 4 {
		return "0" + text
	}
	return text
}

// Yield is what a kilogram bought becomes: EP (edible, raw) or cooked.
type Yield struct {
	FoodCode, Food string
	Preparation    string   // "peeled", "boiled"; blank for the share that a food table calls edible
	Gives          string   // EP or cooked
	Yield          *big.Rat // kg per kg as bought; above 1 where water is taken up
	Status         quantity.Status
	Source         string
}

var yields = sync.OnceValue(func() (list []Yield) {
	for _, r := range rows("yields.csv") {
		list = append(list, Yield{r["food_code"], r["food"], r["preparation"], r["gives"], r.decimal("yield"), r.status(), r["source"]})
	}
	return list
})

// Yields are the yields known of a food, those of the embedded table first, then one minus its refuse share. They may differ: a published mean of a food bought at its
// best and a kitchen's trimming are not the same. A food that is sold with and without its refuse has no share of the second kind. None: empty.
func (f *Foods) Yields(foodCode string) (list []Yield) {
	code := Code(foodCode)
	for _, y := range yields() {
		if y.FoodCode == code {
			list = append(list, y)
		}
	}
	if x, ok := f.Food(code); ok && x.Refuse != nil && !x.Either {
		list = append(list, Yield{code, x.Name, "", "EP", new(big.Rat).Sub(big.NewRat(1, 1), x.Refuse), x.Status, x.Source + ", 1 - refuse"})
	}
	return list
}

// Keeping is how long a food keeps: the lower end of a printed range.
type Keeping struct {
	Keeps                  string // what: "milk, fresh"
	FoodCodes              []string
	Place                  string // refrigerator, cupboard ...
	SealedDays, OpenedDays int
	Printed                string // the range as printed
	Status                 quantity.Status
	Source                 string
}

// KeepingCaution goes with every keeping time that is shown.
const KeepingCaution = "Keeping times are general guidance on quality, the lower end of the printed range. The date on the label and local food-safety guidance come first; when in doubt, do not eat it."

var keeping = sync.OnceValue(func() (list []Keeping) {
	days := func(text string) int {
		n, err := strconv.Atoi(text)
		if err != nil || n <= 0 {
			panic("keeping.csv: days " + text)
		}
		return n
	}
	for _, r := range rows("keeping.csv") {
		list = append(list, Keeping{r["keeps"], strings.Fields(r["food_codes"]), r["place"], days(r["sealed_days"]), days(r["opened_days"]), r["printed"], r.status(), r["source"]})
	}
	return list
})

// AllKeeping is the table of keeping times, that of cooked dishes and leftovers included.
func AllKeeping() []Keeping { return slices.Clone(keeping()) }

// Keeps is the keeping time of a food, and false where none is known: then it is not said to spoil or to keep.
func Keeps(foodCode string) (Keeping, bool) {
	for _, k := range keeping() {
		if slices.Contains(k.FoodCodes, Code(foodCode)) {
			return k, true
		}
	}
	return Keeping{}, false
}

// Need is one reference value of intake a day.
type Need struct {
	Standard, Group string
	Nutrient, Unit  string
	Kind            string   // EAR meets half of a healthy group; RDA, AI for one person; DV of labels; UL most of total intake; reference
	Lower, Upper    *big.Rat // nil: no such bound
	Status          quantity.Status
	Source          string
}

var needs = sync.OnceValue(func() (list []Need) {
	for _, r := range rows("needs.csv") {
		list = append(list, Need{r["standard"], r["person_group"], r["nutrient"], r["unit"], r["kind"], r.decimal("lower"), r.decimal("upper"), r.status(), r["source"]})
	}
	return list
})

// Needs are the reference values of a standard ("DRI", "daily value 2016") for a group of persons, in the order of the table. Upper levels that hold
// for added or medicinal forms alone are left out. A nutrient may stand twice, once with a lower and once with an upper bound. Unknown: empty.
func Needs(standard, group string) (list []Need) {
	for _, n := range needs() {
		if n.Standard == standard && n.Group == group {
			list = append(list, n)
		}
	}
	return list
}

// Groups are the groups of persons of a standard, in the order of the table.
func Groups(standard string) (list []string) {
	for _, n := range needs() {
		if n.Standard == standard && !slices.Contains(list, n.Group) {
			list = append(list, n.Group)
		}
	}
	return list
}
