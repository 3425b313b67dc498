package reference

import (
	"bytes"
	"encoding/csv"
	"errors"
	"io"
	"math/big"
	"reflect"
	"slices"
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

func TestFromTables(t *testing.T) {
	at := func(line int) At { return At{"tables/nutrients.csv", line} }
	good := NutrientRow{at(2), "own-1", "iron", big.NewRat(1, 1000), "g", "label"}
	f, err := FromTables([]FoodRow{{at(2), "1123", "Invented", big.NewRat(1, 8), "paper"}}, []NutrientRow{good, {at(3), "own-1", "energy", big.NewRat(4184, 10), "kJ", "label"},
		{at(4), "1123", "lutein", big.NewRat(5, 1), "mg", "paper"}, {at(5), "own-1", "lutein", big.NewRat(5, 1), "ug", "paper"}, {at(6), "own-1", "sodium", new(big.Rat), "mg", "label"}},
		[]WeightRow{{at(2), "own-1", "cup_us", "", big.NewRat(1, 1), big.NewRat(80, 1), "scale"}, {at(3), "own-1", "cup_us", "sliced", big.NewRat(1, 1), big.NewRat(90, 1), "scale"},
			{at(4), "own-1", "piece", "", big.NewRat(2, 1), big.NewRat(50, 1), "scale"}})
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
	if x, _ := f.Food("01123"); x.Name != "Invented" || x.Refuse.RatString() != "1/8" {
		t.Errorf("got %+v", x)
	}
	if facts := f.Facts("own-1", "", big.NewRat(1, 1)); facts.Piece.Amount.String() != "0.025 kg" { // 50 g for two
		t.Errorf("a piece: got %s", facts.Piece.Amount)
	}
	one := big.NewRat(1, 1)
	for says, bad := range map[string]any{
		":3: nutrient: iron of own-1 stands twice":                 NutrientRow{at(3), "own-1", "iron", one, "mg", "label"},
		":3: food_code: nothing":                                   NutrientRow{at(3), " ", "iron", one, "mg", "label"},
		":3: nutrient: nothing":                                    NutrientRow{at(3), "x", "", one, "mg", "label"},
		":3: source: nothing":                                      NutrientRow{at(3), "x", "iron", one, "mg", ""},
		":3: per_100g_edible: nothing":                             NutrientRow{at(3), "x", "iron", nil, "mg", "label"},
		":3: per_100g_edible: -1 mg: below zero":                   NutrientRow{at(3), "x", "iron", big.NewRat(-1, 1), "mg", "label"},
		`:3: unit: "IU"; ug`:                                       NutrientRow{at(3), "x", "vitamin_d", one, "IU", "label"},
		`:3: unit: ""`:                                             NutrientRow{at(3), "x", "lutein", one, "", "label"},
		":3: per_100g_edible: 101 g: more than 100 g in 100 g":     NutrientRow{at(3), "x", "protein", big.NewRat(101, 1), "g", "label"},
		":3: per_100g_edible: 200000 mg: more than 100 g in 100 g": NutrientRow{at(3), "x", "iron", big.NewRat(200000, 1), "mg", "label"},
		":3: food_name: nothing":                                   FoodRow{at(3), "x", "", nil, "label"},
		":3: refuse_share: 10; a share":                            FoodRow{at(3), "x", "X", big.NewRat(10, 1), "label"},
		":3: food_code: 1 stands twice":                            FoodRow{at(3), "1", "X", nil, "label"},
		":3: measure: nothing":                                     WeightRow{at(3), "x", "", "", one, one, "label"},
		":3: measure: gill_us; one of cup_us":                      WeightRow{at(3), "x", "gill_us", "", one, one, "label"},
		":3: count, grams: nothing, or not above 0":                WeightRow{at(3), "x", "piece", "", one, new(big.Rat), "label"},
		":3: measure: tbsp_us of 1 stands twice":                   WeightRow{at(3), "1", "tbsp_us", "", one, one, "label"},
	} {
		foods, amounts, weights := []FoodRow{{at(2), "1", "One", nil, "x"}}, []NutrientRow{good}, []WeightRow{{at(2), "1", "cup_us", "", one, one, "x"}}
		switch r := bad.(type) {
		case FoodRow:
			foods = append(foods, r)
		case NutrientRow:
			amounts = append(amounts, r)
		case WeightRow:
			weights = append(weights, r)
		}
		_, err := FromTables(foods, amounts, weights)
		var row *RowError
		if err == nil || !strings.Contains(err.Error(), says) || !errors.As(err, &row) || row.Instead == "" {
			t.Errorf("got %v, want %q and what to write instead", err, says)
		}
	}
	_, err = FromTables(nil, []NutrientRow{{at(3), "x", "iron", nil, "mg", "l"}, {at(4), "x", "iron", one, "kcal", "l"}}, nil)
	if err == nil || !strings.Contains(err.Error(), ":3:") || !strings.Contains(err.Error(), ":4:") {
		t.Errorf("got %v, want both rows", err)
	}
}

// What is written reads back as the same, whatever order it is read in, and the user's figure lies over the excerpt's.
func TestWriteTables(t *testing.T) {
	back := func(f *Foods) (foods []FoodRow, amounts []NutrientRow, weights []WeightRow, text string) {
		read := func(write func(io.Writer) error) [][]string {
			var b bytes.Buffer
			if err := write(&b); err != nil {
				t.Fatal(err)
			}
			text += b.String()
			lines, err := csv.NewReader(&b).ReadAll()
			if err != nil {
				t.Fatal(err)
			}
			return lines[1:]
		}
		share := func(text string) *big.Rat {
			if text == "" {
				return nil
			}
			return rat(t, text)
		}
		for i, l := range read(f.WriteFoods) {
			foods = append(foods, FoodRow{At{"foods", i + 2}, l[0], l[1], share(l[2]), l[3]})
		}
		for i, l := range read(f.WriteNutrients) {
			amounts = append(amounts, NutrientRow{At{"nutrients", i + 2}, l[0], l[1], rat(t, l[2]), l[3], l[4]})
		}
		for i, l := range read(f.WriteWeights) {
			weights = append(weights, WeightRow{At{"food_weights", i + 2}, l[0], l[1], l[2], rat(t, l[3]), rat(t, l[4]), l[5]})
		}
		return foods, amounts, weights, text
	}
	foods, amounts, weights, text := back(Excerpt())
	slices.Reverse(foods)
	slices.Reverse(amounts)
	f, err := FromTables(foods, amounts, weights)
	if err != nil {
		t.Fatal(err)
	}
	if _, _, _, again := back(f); again != text {
		t.Error("written again it differs")
	}
	figures, measures := 0, 0
	for _, code := range Excerpt().Codes() {
		food, _ := Excerpt().Food(code)
		figures, measures = figures+len(food.Nutrients), measures+len(food.Weights)
	}
	if len(foods) != len(Excerpt().Codes()) || len(amounts) != figures || len(weights) != measures || figures < 3000 {
		t.Errorf("got %d foods, %d figures, %d weights", len(foods), len(amounts), len(weights))
	}

	own, err := FromTables(nil, []NutrientRow{{At{}, "11282", "iron", big.NewRat(9, 1), "mg", "own label"}, {At{}, "own-1", "iron", big.NewRat(8, 1), "mg", "own label"}}, nil)
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
	// A food that is sold with and without its refuse stays so under the same share, and not under the user's own.
	at := slices.IndexFunc(Excerpt().Codes(), func(code string) bool { x, _ := Excerpt().Food(code); return x.Either })
	either, _ := Excerpt().Food(Excerpt().Codes()[at])
	for share, want := range map[*big.Rat]bool{either.Refuse: true, big.NewRat(1, 100): false, nil: true} {
		own, err := FromTables([]FoodRow{{At{}, either.Code, "X", share, "own"}}, nil, nil)
		if err != nil {
			t.Fatal(err)
		}
		if got, _ := own.Over(Excerpt()).Food(either.Code); got.Either != want || got.Refuse == nil {
			t.Errorf("under a share of %v: got %v, want %v", share, got.Either, want)
		}
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

func readSmall(dir fstest.MapFS) (*SR26, error) {
	return ReadSR26(dir, "invented", func(text string) string {
		if strings.ContainsRune(text, 7) {
			return "no bells"
		}
		return ""
	})
}

func TestReadSR26(t *testing.T) {
	x, err := readSmall(small())
	if err != nil {
		t.Fatal(err)
	}
	f := x.Foods
	a, _ := f.Food("1001")
	b, _ := f.Food("11002")
	if a == nil || b == nil || a.Name != `Invented, "raw"` || a.Refuse.RatString() != "1/10" || b.Refuse != nil || a.Source != "invented food 01001" {
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
	// By hand: of five figures two are of energy and iron, one of protein, one of another nutrient, one blank; of nine weights five are taken.
	want := []FileRows{{"food.csv", 2, 2, 0, nil}, {"nutrient_def.csv", 28, 27, 0, []LeftOut{{"a nutrient that is not used", 1}}},
		{"nutrient.csv", 5, 3, 0, []LeftOut{{"of a nutrient that is not used", 1}, {"without a value", 1}}},
		{"weight.csv", 9, 5, 0, []LeftOut{{"a second weight of one measure and form", 1}, {"a measure that no recipe names", 2}, {"without an amount or a weight", 1}}}}
	if !reflect.DeepEqual(x.Files, want) || len(x.Bad) != 0 {
		t.Errorf("got %+v, %v, want %+v", x.Files, x.Bad, want)
	}
	// A row that can not be is set aside with where it stands, and is counted; the others are read.
	for _, c := range []struct{ file, old, new, says string }{
		{"food.csv", "11002", "1001", "food.csv:3: food_id: 01001 stands twice"},
		{"food.csv", "11002", "110021", `food.csv:3: food_id: "110021"; a number`},
		{"food.csv", ",10\n", ",110\n", "food.csv:2: ref_pct: 110; a percentage"},
		{"food.csv", ",10\n", ",x\n", `food.csv:2: ref_pct: "x"; a number`},
		{"food.csv", "Other", "", "food.csv:3: food: nothing"},
		{"food.csv", "Other", "Oth\aer", `food.csv:3: food: "Oth\aer"; no bells`},
		{"nutrient.csv", "1001,303,0", "1001,208,0", "nutrient.csv:3: nutr_id: 208 of food 01001 stands twice"},
		{"nutrient.csv", "203,1.25", "203,101", "nutrient.csv:5: value: 101 g: more than 100 g in 100 g"},
		{"nutrient.csv", "208,50", "208,-50", "nutrient.csv:2: value: "},
		{"nutrient.csv", "208,50", "208,1e3", `nutrient.csv:2: value: "1e3"; a number`},
		{"nutrient.csv", "11002,203", "11003,203", "nutrient.csv:5: food_id: 11003 is not in food.csv"},
		{"weight.csv", ",100\n", ",x\n", `weight.csv:2: weight: "x"; a number`},
	} {
		dir := small()
		text := string(dir[c.file].Data)
		if !strings.Contains(text, c.old) {
			t.Fatalf("%q is not in %s", c.old, c.file)
		}
		dir[c.file].Data = []byte(strings.Replace(text, c.old, c.new, 1))
		x, err := readSmall(dir)
		if err != nil || len(x.Bad) == 0 || !strings.HasPrefix(x.Bad[0].Error(), c.says) {
			t.Errorf("%s with %q: got %v, %+v, want %q", c.file, c.new, err, x, c.says)
			continue
		}
		bad := 0
		for _, n := range x.Files {
			left := 0
			for _, l := range n.LeftOut {
				left += l.Rows
			}
			if bad += n.Bad; n.Read != n.Taken+left+n.Bad {
				t.Errorf("%s with %q: %+v does not add up", c.file, c.new, n)
			}
		}
		if bad != len(x.Bad) {
			t.Errorf("%s with %q: %d rows counted, %d set aside", c.file, c.new, bad, len(x.Bad))
		}
	}
	// What makes the whole file doubtful is an error.
	for _, c := range []struct{ file, old, new, says string }{
		{"food.csv", "ref_pct", "refuse", "no column ref_pct"},
		{"nutrient_def.csv", "303,mg", "303,g", `nutrient 303 (iron) in "g", expected mg`},
		{"nutrient_def.csv", "303,mg", "9303,mg", "nutrient 303 (iron) is not there"},
		{"nutrient.csv", "1001,999,7,", "1001,999", "nutrient.csv"},
	} {
		dir := small()
		dir[c.file].Data = []byte(strings.Replace(string(dir[c.file].Data), c.old, c.new, 1))
		if _, err := readSmall(dir); err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s with %q: got %v, want %q", c.file, c.new, err, c.says)
		}
	}
	for _, name := range []string{"food.csv", "nutrient.csv", "nutrient_def.csv"} {
		dir := small()
		delete(dir, name)
		if _, err := readSmall(dir); err == nil || !strings.Contains(err.Error(), name) || IsSR26(dir) {
			t.Errorf("without %s: got %v", name, err)
		}
	}
	dir := small()
	delete(dir, "weight.csv")
	if x, err := readSmall(dir); err != nil || len(x.Foods.Codes()) != 2 || !IsSR26(dir) {
		t.Errorf("without household weights: got %v", err)
	}
}
