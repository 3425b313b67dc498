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

const srSource = "USDA SR26 (2013)"

// ReadSR26 reads a folder with the USDA table as CSV files with headings: food.csv (food_id, food, ref_pct), nutrient_def.csv (nutr_id, unit), nutrient.csv
// or nutrient.csv.gz (food_id, nutr_id, value; per 100 g of edible portion) and, if it is there, weight.csv (food_id, amount, desc, weight in g). Other columns
// are passed over. Of the nutrients those of Nutrients are taken. A unit other than expected, a food without a name, a double figure, a number that is none:
// an error with file and line. A blank refuse is unknown. Household weights: cups and spoons as US volumes with their form, other measures by their own name
// ("clove", "large", "medium head"); of two that would bear one name the first stands.
func ReadSR26(dir fs.FS) (*Foods, error) {
	all := &Foods{map[string]*Food{}}
	err := each(dir, "food.csv", []string{"food_id", "food", "ref_pct"}, func(c []string) error {
		code := srCode(c[0])
		f := &Food{Code: code, Name: c[1], Nutrients: map[string]Content{}, Source: srSource + " food " + code, Status: quantity.Published}
		if code == "" || f.Name == "" {
			return errors.New("no food_id or no food")
		}
		if all.byCode[code] != nil {
			return fmt.Errorf("food %s stands twice", code)
		}
		if c[2] != "" {
			pct, err := quantity.ParseDecimal(c[2], false)
			if err != nil {
				return err
			}
			if pct.Sign() < 0 || pct.Cmp(big.NewRat(100, 1)) > 0 {
				return fmt.Errorf("refuse of %s %%", c[2])
			}
			f.Refuse = pct.Quo(pct, big.NewRat(100, 1))
		}
		if e, ok := Excerpt().Food(code); ok {
			f.Either = e.Either
		}
		all.byCode[code] = f
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
	err = each(dir, "nutrient_def.csv", []string{"nutr_id", "unit"}, func(c []string) error {
		if n, ok := wanted[c[0]]; ok {
			if _, fits := InUnit(new(big.Rat), c[1], n.Unit); !fits || strings.NewReplacer("µ", "u", "μ", "u").Replace(c[1]) != n.Unit {
				return fmt.Errorf("nutrient %s (%s) in %q, expected %s", c[0], n.Name, c[1], n.Unit)
			}
			defined[c[0]] = true
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	for _, n := range nutrients {
		if !defined[n.sr] {
			return nil, fmt.Errorf("nutrient_def.csv: nutrient %s (%s) is not there", n.sr, n.Name)
		}
	}
	name := "nutrient.csv"
	if _, err := fs.Stat(dir, name); err != nil {
		name += ".gz"
	}
	err = each(dir, name, []string{"food_id", "nutr_id", "value"}, func(c []string) error {
		n, ok := wanted[c[1]]
		if !ok || c[2] == "" {
			return nil
		}
		f := all.byCode[srCode(c[0])]
		if f == nil {
			return fmt.Errorf("no food %s in food.csv", c[0])
		}
		v, err := quantity.ParseDecimal(c[2], false)
		if err != nil {
			return err
		}
		if _, twice := f.Nutrients[n.Name]; twice || v.Sign() < 0 {
			return fmt.Errorf("food %s, nutrient %s: twice, or below zero", c[0], c[1])
		}
		f.Nutrients[n.Name] = Content{v, n.Unit, f.Source, f.Status}
		return nil
	})
	if err != nil {
		return nil, err
	}
	if _, err := fs.Stat(dir, "weight.csv"); err != nil {
		return all, nil
	}
	return all, each(dir, "weight.csv", []string{"food_id", "amount", "desc", "weight"}, func(c []string) error {
		f := all.byCode[srCode(c[0])]
		if f == nil {
			return fmt.Errorf("no food %s in food.csv", c[0])
		}
		if c[1] == "" || c[3] == "" {
			return nil
		}
		count, err := quantity.ParseDecimal(c[1], false)
		if err != nil {
			return err
		}
		grams, err := quantity.ParseDecimal(c[3], false)
		if err != nil {
			return err
		}
		measure, form, ok := srMeasure(c[2])
		if !ok || count.Sign() <= 0 || grams.Sign() <= 0 ||
			slices.ContainsFunc(f.Weights, func(w Weight) bool {
				return w.Form == form && (w.Measure == measure || isVolume(w.Measure) && isVolume(measure))
			}) {
			return nil
		}
		f.Weights = append(f.Weights, Weight{measure, form, count, grams, srSource + " household weight: " + c[1] + " " + c[2], quantity.Published})
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

var (
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

// each reads a CSV file with headings and hands on the named columns of every row.
func each(dir fs.FS, name string, columns []string, take func([]string) error) error {
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
	at := make([]int, len(columns))
	for i, column := range columns {
		if at[i] = slices.Index(head, column); at[i] < 0 {
			return fmt.Errorf("%s: no column %s; instead: the table with the columns %s", name, column, strings.Join(columns, ", "))
		}
	}
	cells := make([]string, len(columns))
	for {
		record, err := r.Read()
		if err == io.EOF {
			return nil
		}
		line := 0
		if err == nil {
			line, _ = r.FieldPos(0)
			for i, k := range at {
				cells[i] = strings.Clone(strings.TrimSpace(record[k]))
			}
			err = take(cells)
		}
		if err != nil {
			return fmt.Errorf("%s:%d: %w", name, line, err)
		}
	}
}
