package reference

import (
	"compress/gzip"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math/big"
	"regexp"
	"slices"
	"strings"

	"farthing/pipeline/quantity"
)

// SR26Source and SR26Licence are those of the published table.
const (
	SR26Source  = "USDA SR26 (2013)"
	SR26Licence = "USDA National Nutrient Database for Standard Reference, release 26 (2013): a work of the US government, in the public domain (CC0 1.0)"
)

// IsSR26 says whether a folder holds the files of ReadSR26.
func IsSR26(dir fs.FS) bool {
	for _, name := range []string{"food.csv", "nutrient_def.csv", srNutrients(dir)} {
		if _, err := fs.Stat(dir, name); err != nil {
			return false
		}
	}
	return true
}

func srNutrients(dir fs.FS) string {
	if _, err := fs.Stat(dir, "nutrient.csv"); err != nil {
		return "nutrient.csv.gz"
	}
	return "nutrient.csv"
}

// SR26 is what ReadSR26 read.
type SR26 struct {
	Foods *Foods
	Files []FileRows
	Bad   []*RowError // rows set aside, in the order of reading
}

// FileRows counts the rows of a file: Read = Taken + those of LeftOut + Bad.
type FileRows struct {
	File             string
	Read, Taken, Bad int
	LeftOut          []LeftOut
}

// LeftOut are rows that are well and not taken.
type LeftOut struct {
	Why  string
	Rows int
}

// notTaken is why a well row is left out.
type notTaken string

func (n notTaken) Error() string { return string(n) }

// ReadSR26 reads a folder with the USDA table as CSV files with headings: food.csv (food_id, food, ref_pct), nutrient_def.csv (nutr_id, unit), nutrient.csv
// or nutrient.csv.gz (food_id, nutr_id, value; per 100 g of edible portion) and, if it is there, weight.csv (food_id, amount, desc, weight in g). Other columns
// are passed over. Of the nutrients those of Nutrients are taken. source is what the figures are cited as. A row that can not be (a food without a name or a
// figure of a food twice, a number that is none, a refuse above 100 %, more than 100 g in 100 g, a text of which badText, "" for a good one, says what is wrong)
// is set aside; a file or column that is not there, broken quotes, or a nutrient that is not there or in another unit is an error with file and line. A blank
// refuse is unknown. Household weights: cups and spoons as US volumes with their form, other measures by their own name ("clove", "large", "medium head"); of
// two that would bear one name the first stands.
func ReadSR26(dir fs.FS, source string, badText func(string) string) (*SR26, error) {
	x := &SR26{Foods: &Foods{map[string]*Food{}}}
	all := x.Foods.byCode
	number := func(field, text string) (*big.Rat, error) {
		n, err := quantity.ParseDecimal(text, false)
		if err != nil {
			return nil, &RowError{Field: field, Read: fmt.Sprintf("%q", text), Instead: "a number such as 12.5"}
		}
		return n, nil
	}
	bad := func(field, read, instead string) error { return &RowError{Field: field, Read: read, Instead: instead} }
	foodOf := func(id string) (*Food, error) {
		if f := all[srCode(id)]; f != nil {
			return f, nil
		}
		return nil, bad("food_id", id+" is not in food.csv", "the number of a food there")
	}
	err := x.each(dir, "food.csv", []string{"food_id", "food", "ref_pct"}, badText, func(c []string) error {
		code := srCode(c[0])
		f := &Food{Code: code, Name: c[1], Nutrients: map[string]Content{}, Source: source + " food " + code, Status: quantity.Published}
		switch {
		case !srNumber.MatchString(c[0]):
			return bad("food_id", fmt.Sprintf("%q", c[0]), "a number of up to five digits")
		case f.Name == "":
			return bad("food", "nothing", "the food's name")
		case all[code] != nil:
			return bad("food_id", code+" stands twice", "one row for a food")
		}
		if c[2] != "" {
			pct, err := number("ref_pct", c[2])
			if err != nil {
				return err
			}
			if pct.Sign() < 0 || pct.Cmp(hundred) > 0 {
				return bad("ref_pct", c[2], "a percentage from 0 to 100, or nothing where it is not known")
			}
			f.Refuse = pct.Quo(pct, hundred)
		}
		if e, ok := Excerpt().Food(code); ok {
			f.Either = e.Either
		}
		all[code] = f
		return nil
	})
	if err != nil {
		return nil, err
	}
	wanted := map[string]Nutrient{}
	for _, n := range nutrients {
		wanted[n.sr] = n
	}
	defined := map[string]bool{}
	var units error
	err = x.each(dir, "nutrient_def.csv", []string{"nutr_id", "unit"}, badText, func(c []string) error {
		n, ok := wanted[c[0]]
		if !ok {
			return notTaken("a nutrient that is not used")
		}
		if strings.NewReplacer("µ", "u", "μ", "u").Replace(c[1]) != n.Unit {
			units = errors.Join(units, fmt.Errorf("nutrient_def.csv: nutrient %s (%s) in %q, expected %s", c[0], n.Name, c[1], n.Unit))
		}
		defined[c[0]] = true
		return nil
	})
	if err := errors.Join(err, units); err != nil {
		return nil, err
	}
	for _, n := range nutrients {
		if !defined[n.sr] {
			return nil, fmt.Errorf("nutrient_def.csv: nutrient %s (%s) is not there", n.sr, n.Name)
		}
	}
	err = x.each(dir, srNutrients(dir), []string{"food_id", "nutr_id", "value"}, badText, func(c []string) error {
		n, ok := wanted[c[1]]
		switch {
		case !ok:
			return notTaken("of a nutrient that is not used")
		case c[2] == "":
			return notTaken("without a value")
		}
		f, err := foodOf(c[0])
		if err != nil {
			return err
		}
		v, err := number("value", c[2])
		if err != nil {
			return err
		}
		if why := perHundred(v, n.Unit); why != "" {
			return bad("value", c[2]+" "+n.Unit+": "+why, "the amount in 100 g")
		}
		if _, twice := f.Nutrients[n.Name]; twice {
			return bad("nutr_id", c[1]+" of food "+f.Code+" stands twice", "one row for a food and nutrient")
		}
		f.Nutrients[n.Name] = Content{v, n.Unit, f.Source, f.Status}
		return nil
	})
	if err != nil {
		return nil, err
	}
	if _, err := fs.Stat(dir, "weight.csv"); err != nil {
		return x, nil
	}
	return x, x.each(dir, "weight.csv", []string{"food_id", "amount", "desc", "weight"}, badText, func(c []string) error {
		f, err := foodOf(c[0])
		if err != nil {
			return err
		}
		if c[1] == "" || c[3] == "" {
			return notTaken("without an amount or a weight")
		}
		count, err := number("amount", c[1])
		if err != nil {
			return err
		}
		grams, err := number("weight", c[3])
		if err != nil {
			return err
		}
		measure, form, ok := srMeasure(c[2])
		w := Weight{measure, form, count, grams, source + " household weight: " + c[1] + " " + c[2], quantity.Published}
		switch {
		case !ok:
			return notTaken("a measure that no recipe names")
		case count.Sign() <= 0 || grams.Sign() <= 0:
			return notTaken("an amount or a weight of nothing")
		case f.has(w):
			return notTaken("a second weight of one measure and form")
		}
		f.Weights = append(f.Weights, w)
		return nil
	})
}

// isVolume says of a measure of household weights that it gives a density.
func isVolume(measure string) bool { return strings.HasSuffix(measure, "_us") }

// srCode gives a number back the leading zeros that the CSV files lost.
func srCode(id string) string {
	if id == "" {
		return ""
	}
	return strings.Repeat("0", max(0, 5-len(id))) + id
}

// volumes are the measures that isVolume means.
var volumes = []string{"cup_us", "tbsp_us", "tsp_us", "floz_us"}

var (
	srNumber  = regexp.MustCompile(`^[0-9]{1,5}$`)
	srVolume  = regexp.MustCompile(`^(cup|tbsp|tablespoon|tsp|teaspoon|fl oz)\b[ ,]*(.*)$`)
	srVolumes = map[string]string{"cup": "cup_us", "tbsp": "tbsp_us", "tablespoon": "tbsp_us", "tsp": "tsp_us", "teaspoon": "tsp_us", "fl oz": "floz_us"}
	srSized   = regexp.MustCompile(`^([a-z]+), (small|medium|large)$`)
	srPlain   = regexp.MustCompile(`^[a-z]+(?: [a-z]+)?$`)
	srAside   = regexp.MustCompile(`\s*\(.*$`)
)

// srMeasure splits a description of the USDA table: "cup, chopped", "head, medium (6in dia)", "clove". False for what no cook would write.
func srMeasure(desc string) (measure, form string, ok bool) {
	text := strings.ToLower(strings.Join(strings.Fields(desc), " "))
	if text == "cup (8 fl oz)" {
		text = "cup"
	}
	if m := srVolume.FindStringSubmatch(text); m != nil {
		words := srAside.ReplaceAllString(m[2], "")
		if words != m[2] && words == "" || words != "" && !srPlain.MatchString(strings.ReplaceAll(words, " or ", " ")) {
			return "", "", false
		}
		return srVolumes[m[1]], strings.ReplaceAll(words, " or ", "|"), true
	}
	text = srAside.ReplaceAllString(text, "")
	if m := srSized.FindStringSubmatch(text); m != nil {
		return m[2] + " " + m[1], "", true
	}
	return text, "", srPlain.MatchString(text) && !strings.Contains(text, "serving")
}

// each reads a CSV file with headings, hands on the named columns of every row and counts what becomes of it.
func (x *SR26) each(dir fs.FS, name string, columns []string, badText func(string) string, take func([]string) error) error {
	f, err := dir.Open(name)
	if err != nil {
		return err
	}
	defer f.Close()
	var in io.Reader = f
	if strings.HasSuffix(name, ".gz") {
		z, err := gzip.NewReader(f)
		if err != nil {
			return fmt.Errorf("%s: %w", name, err)
		}
		in = z
	}
	r := csv.NewReader(in)
	r.ReuseRecord = true
	head, err := r.Read()
	if err != nil {
		return fmt.Errorf("%s: %w", name, err)
	}
	head[0] = strings.TrimPrefix(head[0], "\ufeff")
	at := make([]int, len(columns))
	for i, column := range columns {
		if at[i] = slices.Index(head, column); at[i] < 0 {
			return fmt.Errorf("%s: no column %s; instead: the table with the columns %s", name, column, strings.Join(columns, ", "))
		}
	}
	n := FileRows{File: name}
	cells := make([]string, len(columns))
	for {
		record, err := r.Read()
		if err == io.EOF {
			x.Files = append(x.Files, n)
			return nil
		}
		if err != nil {
			return fmt.Errorf("%s: %w", name, err)
		}
		n.Read++
		line, _ := r.FieldPos(0)
		for i, k := range at {
			cells[i] = strings.Clone(strings.TrimSpace(record[k]))
			if why := badText(cells[i]); why != "" && err == nil {
				err = &RowError{Field: columns[i], Read: fmt.Sprintf("%q", cells[i]), Instead: why}
			}
		}
		if err == nil {
			err = take(cells)
		}
		var bad *RowError
		var left notTaken
		switch {
		case err == nil:
			n.Taken++
		case errors.As(err, &bad):
			bad.At = At{name, line}
			x.Bad = append(x.Bad, bad)
			n.Bad++
		case errors.As(err, &left):
			i := slices.IndexFunc(n.LeftOut, func(l LeftOut) bool { return l.Why == string(left) })
			if i < 0 {
				i = len(n.LeftOut)
				n.LeftOut = append(n.LeftOut, LeftOut{Why: string(left)})
			}
			n.LeftOut[i].Rows++
		default:
			return fmt.Errorf("%s:%d: %w", name, line, err)
		}
	}
}
