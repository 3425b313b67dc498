package reference

import (
	"bytes"
	"encoding/csv"
	"math/big"
	"slices"
	"strconv"
	"strings"
	"testing"
	"testing/fstest"
)

func TestInUnit(t *testing.T) {
	for _, c := range []struct {
		amount, from, to, want string
	}{
		{"1", "g", "mg", "1000"}, {"1", "mg", "ug", "1000"}, {"5", "µg", "ug", "5"}, {"5", "μg", "mg", "1/200"}, {"5", "mcg", "ug", "5"},
		{"523/125", "kJ", "kcal", "1"}, {"1", "kcal", "kJ", "523/125"}, // 4.184
		{"1", "IU", "IU", "1"}, {"1", "IU", "ug", ""}, {"1", "g", "kcal", ""}, {"1", "", "", ""}, {"1", "kg", "g", ""},
	} {
		got, ok := InUnit(rat(t, c.amount), c.from, c.to)
		if ok != (c.want != "") || ok && got.RatString() != c.want {
			t.Errorf("%s %s in %s: got %v, %v, want %s", c.amount, c.from, c.to, got, ok, c.want)
		}
	}
}

func TestFromRows(t *testing.T) {
	good := NutrientRow{2, "own-1", "iron", big.NewRat(1, 1000), "g", "label"}
	f, err := FromRows([]NutrientRow{good, {3, "own-1", "energy", big.NewRat(4184, 10), "kJ", "label"}, {4, "1123", "lutein", big.NewRat(5, 1), "mg", "paper"},
		{5, "own-1", "lutein", big.NewRat(5, 1), "ug", "paper"}, {6, "own-1", "sodium", new(big.Rat), "mg", "label"}})
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct{ code, nutrient, want, unit string }{
		{"own-1", "iron", "1", "mg"}, {"own-1", "energy", "100", "kcal"}, {"01123", "lutein", "5", "mg"}, {"own-1", "lutein", "1/200", "mg"}, {"own-1", "sodium", "0", "mg"},
		{"own-1", "calcium", "", ""}, // no row: unknown, not zero
	} {
		food, ok := f.Food(c.code)
		if !ok {
			t.Fatalf("no food %s", c.code)
		}
		got, ok := food.Nutrients[c.nutrient]
		if ok != (c.want != "") || ok && (got.Per100g.RatString() != c.want || got.Unit != c.unit || got.Source == "") {
			t.Errorf("%s %s: got %+v, want %s %s", c.code, c.nutrient, got, c.want, c.unit)
		}
	}
	for says, bad := range map[string]NutrientRow{
		"line 3: own-1, iron: it stands twice":   {3, "own-1", "iron", big.NewRat(1, 1), "mg", "label"},
		"no food_code":                           {3, " ", "iron", big.NewRat(1, 1), "mg", "label"},
		"no nutrient":                            {3, "x", "", big.NewRat(1, 1), "mg", "label"},
		"no source":                              {3, "x", "iron", big.NewRat(1, 1), "mg", ""},
		"no amount":                              {3, "x", "iron", nil, "mg", "label"},
		"below zero":                             {3, "x", "iron", big.NewRat(-1, 1), "mg", "label"},
		`read unit "IU"; instead: ug`:            {3, "x", "vitamin_d", big.NewRat(1, 1), "IU", "label"},
		`read unit ""`:                           {3, "x", "lutein", big.NewRat(1, 1), "", "label"},
		"more than 100 g in 100 g":               {3, "x", "protein", big.NewRat(101, 1), "g", "label"},
		"read 200000 mg: more than 100 g in 100": {3, "x", "iron", big.NewRat(200000, 1), "mg", "label"},
	} {
		if _, err := FromRows([]NutrientRow{good, bad}); err == nil || !strings.Contains(err.Error(), says) || !strings.Contains(err.Error(), "line 3") {
			t.Errorf("got %v, want %q", err, says)
		}
	}
}

// What is written reads back as the same figures, whatever order it is read in, and the user's figure lies over the excerpt's.
func TestWriteTable(t *testing.T) {
	back := func(text string) (list []NutrientRow) {
		lines, err := csv.NewReader(strings.NewReader(text)).ReadAll()
		if err != nil {
			t.Fatal(err)
		}
		if head := strings.Join(lines[0], ","); head != "food_code,nutrient,per_100g_edible,unit,source" {
			t.Fatalf("got heading %s", head)
		}
		for i, l := range lines[1:] {
			list = append(list, NutrientRow{i + 2, l[0], l[1], rat(t, l[2]), l[3], l[4]})
		}
		return list
	}
	var all, again, two bytes.Buffer
	if err := Excerpt().WriteTable(&all); err != nil {
		t.Fatal(err)
	}
	list := back(all.String())
	slices.Reverse(list)
	f, err := FromRows(list)
	if err != nil {
		t.Fatal(err)
	}
	if err := f.WriteTable(&again); err != nil || again.String() != all.String() {
		t.Errorf("written again it differs: %v", err)
	}
	n := 0
	for _, code := range Excerpt().Codes() {
		food, _ := Excerpt().Food(code)
		n += len(food.Nutrients)
	}
	if len(list) != n {
		t.Errorf("got %d rows of %d figures", len(list), n)
	}
	if err := Excerpt().WriteTable(&two, "11282", "1123", "01123"); err != nil {
		t.Fatal(err)
	}
	rows := back(two.String())
	if rows[0].FoodCode != "01123" || rows[0].Nutrient != "energy" || rows[len(rows)-1].FoodCode != "11282" {
		t.Errorf("got %+v first", rows[0])
	}
	if err := Excerpt().WriteTable(&two, "77777"); err == nil || !strings.Contains(err.Error(), "77777") {
		t.Errorf("an unknown code: got %v", err)
	}

	own, err := FromRows([]NutrientRow{{2, "11282", "iron", big.NewRat(9, 1), "mg", "own label"}, {3, "own-1", "iron", big.NewRat(8, 1), "mg", "own label"}})
	if err != nil {
		t.Fatal(err)
	}
	both := own.Over(Excerpt())
	onion, _ := both.Food("11282")
	under, _ := Excerpt().Food("11282")
	if onion.Nutrients["iron"].Source != "own label" || onion.Nutrients["energy"].Per100g.Cmp(under.Nutrients["energy"].Per100g) != 0 || onion.Name != under.Name ||
		len(onion.Weights) != len(under.Weights) || onion.Refuse != under.Refuse {
		t.Errorf("got %+v", onion)
	}
	if under.Nutrients["iron"].Source == "own label" {
		t.Error("the excerpt was changed")
	}
	if _, ok := both.Food("own-1"); !ok || len(both.Codes()) != len(Excerpt().Codes())+1 {
		t.Error("a food of the user's own is missing")
	}
}

// small is the USDA layout in little; the figures are made up.
func small() fstest.MapFS {
	defs := "\"nutr_id\",\"unit\",\"nutr_abbr\",\"nutr\",\"precision\",\"seq\"\n999,\"g\",\"\",\"Other\",1,1\n"
	for _, n := range nutrients {
		defs += n.sr + "," + strings.Replace(n.Unit, "ug", "µg", 1) + ",,,0,0\n"
	}
	return fstest.MapFS{
		"food.csv":         {Data: []byte("food_id,grp_id,food,ref_pct\n1001,100,\"Invented, \"\"raw\"\"\",10\n11002,100,Other,\n")},
		"nutrient_def.csv": {Data: []byte(defs)},
		"nutrient.csv":     {Data: []byte("food_id,nutr_id,value,se\n1001,208,50,\n1001,303,0,\n1001,999,7,\n11002,203,1.25,0.1\n11002,204,,\n")},
		"weight.csv": {Data: []byte("food_id,seq,amount,desc,weight\n1001,1,1,\"cup, chopped\",100\n1001,2,1,\"tbsp chopped\",9\n1001,3,0.5,\"cup, sliced or diced\",40\n" +
			"1001,4,1,\"medium (2\"\" dia)\",60\n1001,5,1,\"head, small\",500\n1001,6,1,\"cup (8 fl oz)\",240\n1001,7,1,\"NLEA serving\",85\n1001,8,,odd,5\n1001,9,1,\"slice, thin (1/8\"\" thick)\",9\n")},
	}
}

func TestReadSR26(t *testing.T) {
	f, err := ReadSR26(small())
	if err != nil {
		t.Fatal(err)
	}
	a, _ := f.Food("1001")
	b, _ := f.Food("11002")
	if a == nil || b == nil || a.Name != `Invented, "raw"` || a.Refuse.RatString() != "1/10" || b.Refuse != nil {
		t.Fatalf("got %+v, %+v", a, b)
	}
	if len(a.Nutrients) != 2 || a.Nutrients["energy"].Per100g.RatString() != "50" || a.Nutrients["iron"].Per100g.Sign() != 0 || len(b.Nutrients) != 1 || b.Nutrients["protein"].Per100g.RatString() != "5/4" {
		t.Errorf("got %v and %v: a blank or missing value is no figure, a published 0 is one", a.Nutrients, b.Nutrients)
	}
	var got []string
	for _, w := range a.Weights {
		got = append(got, w.Measure+"|"+w.Form+"|"+w.Count.RatString()+"|"+w.Grams.RatString())
	}
	if want := []string{"cup_us|chopped|1|100", "cup_us|sliced|diced|1/2|40", "medium||1|60", "small head||1|500", "cup_us||1|240"}; !slices.Equal(got, want) {
		t.Errorf("got %q, want %q", got, want)
	}
	if d := f.Facts("01001", "diced", big.NewRat(1, 1)).Density.Amount.String(); d != "(160000000/473176473) kg" { // 80 g a cup
		t.Errorf("diced: got %s", d)
	}
	for _, c := range []struct{ file, old, new, says string }{
		{"food.csv", "11002", "1001", "food.csv:3: food 01001 stands twice"},
		{"food.csv", ",10\n", ",110\n", "food.csv:2: refuse of 110 %"},
		{"food.csv", ",10\n", ",x\n", "food.csv:2"},
		{"food.csv", "ref_pct", "refuse", "no column ref_pct"},
		{"food.csv", "Other", "", "food.csv:3: no food_id or no food"},
		{"nutrient_def.csv", "303,mg", "303,g", `nutrient 303 (iron) in "g", expected mg`},
		{"nutrient_def.csv", "303,mg", "9303,mg", "nutrient 303 (iron) is not there"},
		{"nutrient.csv", "1001,303,0", "1001,208,0", "nutrient.csv:3: food 1001, nutrient 208: twice"},
		{"nutrient.csv", "208,50", "208,-50", "below zero"},
		{"nutrient.csv", "208,50", "208,1e3", "nutrient.csv:2"},
		{"nutrient.csv", "11002,203", "11003,203", "no food 11003"},
		{"nutrient.csv", "1001,999,7,", "1001,999", "nutrient.csv"},
		{"weight.csv", ",100\n", ",x\n", "weight.csv:2"},
	} {
		dir := small()
		text := string(dir[c.file].Data)
		if !strings.Contains(text, c.old) {
			t.Fatalf("%q is not in %s", c.old, c.file)
		}
		dir[c.file].Data = []byte(strings.Replace(text, c.old, c.new, 1))
		if _, err := ReadSR26(dir); err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s with %q: got %v, want %q", c.file, strconv.Quote(c.new), err, c.says)
		}
	}
	for _, name := range []string{"food.csv", "nutrient.csv", "nutrient_def.csv"} {
		dir := small()
		delete(dir, name)
		if _, err := ReadSR26(dir); err == nil || !strings.Contains(err.Error(), name) {
			t.Errorf("without %s: got %v", name, err)
		}
	}
	dir := small()
	delete(dir, "weight.csv")
	if f, err := ReadSR26(dir); err != nil || len(f.Codes()) != 2 {
		t.Errorf("without household weights: got %v", err)
	}
}
