package main

import (
	"compress/gzip"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"io"
	"math/big"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"farthing/pipeline/kitchen"
)

const (
	inventedFoods = "../../testdata/sources/usda-sr26"
	openFoods     = "../../../shared/data/usda-sr26"
)

// importFoods imports a folder and wants the counts of each file to add up.
func importFoods(t *testing.T, code int, dir, folder string, args ...string) kitchen.FoodImport {
	t.Helper()
	var x kitchen.FoodImport
	if err := json.Unmarshal(call(t, []int{code}, append([]string{"import", folder, "--workspace", dir, "--json"}, args...)...), &x); err != nil {
		t.Fatal(err)
	}
	bad := 0
	for _, f := range x.Files {
		left := 0
		for _, r := range f.Reasons {
			left += r.Rows
		}
		if bad += f.Quarantined; f.Read != f.Accepted+f.LeftOut+f.Quarantined || left != f.LeftOut {
			t.Errorf("%+v does not add up", f)
		}
	}
	if bad != len(x.Bad) {
		t.Errorf("%d rows counted as quarantined, %d listed", bad, len(x.Bad))
	}
	return x
}

// tableRows are a table's rows by column name, its comments passed over.
func tableRows(t *testing.T, dir, name string) (rows []map[string]string) {
	t.Helper()
	f, err := os.Open(filepath.Join(dir, "tables", name+".csv"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	r := csv.NewReader(f)
	r.Comment = '#'
	lines, err := r.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	for _, l := range lines[1:] {
		row := map[string]string{}
		for i, h := range lines[0] {
			row[h] = l[i]
		}
		rows = append(rows, row)
	}
	return rows
}

func amend(t *testing.T, path, old, new string) {
	t.Helper()
	b, err := os.ReadFile(path)
	if err != nil || !strings.Contains(string(b), old) {
		t.Fatalf("%s: %v, no %q in it", path, err, old)
	}
	if err := os.WriteFile(path, []byte(strings.Replace(string(b), old, new, 1)), 0o644); err != nil {
		t.Fatal(err)
	}
}

// TestImportFoods takes the small invented table in, cooks with it, and holds every count to the files as they stand.
func TestImportFoods(t *testing.T) {
	dir := kitchenDemo(t)
	x := importFoods(t, exitDone, dir, inventedFoods, "--source", "an invented table")
	var counts []string
	for _, f := range x.Files {
		counts = append(counts, fmt.Sprint(f.File, " ", f.Read, f.Accepted, f.LeftOut, f.Quarantined))
	}
	// By hand from the files: 29 nutrients of which two are not used; of nine figures two are of those and one is blank; of six
	// weights one is a second volume, one a serving, one of nothing, one of a food whose weights are built in.
	if want := []string{"food.csv 3 3 0 0", "nutrient_def.csv 29 27 2 0", "nutrient.csv 9 6 3 0", "weight.csv 6 2 4 0"}; !slices.Equal(counts, want) {
		t.Errorf("got %q, want %q", counts, want)
	}
	var made []string
	for _, f := range x.Tables {
		made = append(made, fmt.Sprint(f.Table, " ", f.Rows, " ", f.State))
	}
	if want := []string{"tables/foods 3 written", "tables/nutrients 6 written", "tables/food_weights 2 written"}; !slices.Equal(made, want) {
		t.Errorf("got %q, want %q", made, want)
	}
	nutrients := filepath.Join(dir, "tables", "nutrients.csv")
	text, err := os.ReadFile(nutrients)
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"# source as told at the import: an invented table\n", x.Files[2].SHA256, "\n90001,iron,0,mg,an invented table food 90001\n", "\n01001,energy,700,kcal,"} {
		if !strings.Contains(string(text), want) {
			t.Errorf("nothing of %q in %s", want, text)
		}
	}
	if strings.Contains(string(text), "90001,vitamin_c") {
		t.Error("a blank value became a figure")
	}

	// Again: nothing changes. Another table: it is left alone unless told. All three name the files that they are from.
	if x := importFoods(t, exitDone, dir, inventedFoods, "--source", "an invented table"); x.Tables[0].State != "unchanged" || x.Tables[1].State != "unchanged" || x.Tables[2].State != "unchanged" {
		t.Errorf("again: got %+v", x.Tables)
	}
	other := t.TempDir()
	if err := os.CopyFS(other, os.DirFS(inventedFoods)); err != nil {
		t.Fatal(err)
	}
	amend(t, filepath.Join(other, "nutrient.csv"), "90001,203,10,", "90001,203,11,")
	code, _, said := called("import", other, "--workspace", dir, "--source", "an invented table")
	if after, _ := os.ReadFile(nutrients); code != exitUsage || !strings.Contains(said, "tables/foods.csv") || !strings.Contains(said, "--replace") || string(after) != string(text) {
		t.Errorf("another table: got exit %d, %s", code, said)
	}
	if x := importFoods(t, exitDone, dir, other, "--source", "an invented table", "--replace"); x.Tables[0].State != "replaced" || x.Tables[1].State != "replaced" {
		t.Errorf("replaced: got %+v", x.Tables)
	}
	importFoods(t, exitDone, dir, inventedFoods, "--source", "an invented table", "--replace")

	// A dish of it: lentils stand for the pods. 400 g with a refuse of 20 % are 320 g to eat with 32 g of protein and 384 kcal, for
	// 2; two handfuls of 50 g to eat are .125 kg as bought, at 3.60 a kg .45.
	amend(t, filepath.Join(dir, "tables", "items.csv"), "kg,16069,", "kg,90001,")
	amend(t, filepath.Join(dir, "tables", "recipes.csv"), "porridge,1,", "pods,1,2,lentils,,,400,g,AP,,,bought,,,\npodlet,1,1,lentils,,,2,handful,AP,,,bought,,,\nporridge,1,")
	if out := farthing(t, exitDone, "run", "--workspace", dir, "--quiet"); !strings.Contains(out, "tables/nutrients") || !strings.Contains(out, "tables/foods") {
		t.Errorf("the run does not say that the tables of foods are new: %s", out)
	}
	pods := answerOf[mealJSON](t, exitDone, "meal", "pods", "--workspace", dir)
	got := map[string]mealNutrient{}
	for _, n := range pods.Nutrients {
		got[n.Nutrient] = n
	}
	for nutrient, want := range map[string]float64{"protein": 16, "energy": 192, "iron": 0} {
		if n := got[nutrient]; n.PerServing == nil || *n.PerServing != want || n.IsAtLeast {
			t.Errorf("%s: got %+v, want %v", nutrient, n, want)
		}
	}
	if n := got["vitamin_c"]; n.PerServing != nil || !n.IsAtLeast {
		t.Errorf("vitamin C: got %+v, want it unknown", n)
	}
	if podlet := answerOf[mealJSON](t, exitDone, "meal", "podlet", "--workspace", dir); podlet.Total == nil || *podlet.Total != .45 {
		t.Errorf("two handfuls: got %v, want .45", show64(podlet.Total))
	}

	// What no item uses makes nothing stale, and stands in no edition; what one uses does.
	fresh := func(want string) {
		t.Helper()
		out := farthing(t, exitDone, "run", "--workspace", dir, "--quiet")
		if !strings.Contains(out, want) {
			t.Errorf("got %s, want %q", out, want)
		}
	}
	fresh("compute  fresh")
	amend(t, nutrients, "90002,calcium,25.5,", "90002,calcium,26,")
	fresh("compute  fresh")
	if kept := tableRows(t, filepath.Join(dir, "editions", editionOf(t, dir)), "nutrients"); len(kept) != 3 {
		t.Errorf("the edition keeps %v, want the three figures of 90001", kept)
	}
	amend(t, nutrients, "90001,protein,10,", "90001,protein,12,")
	if out := farthing(t, exitDone, "status", "--workspace", dir); !strings.Contains(out, "tables/nutrients.csv") {
		t.Errorf("status does not name the table that changed: %s", out)
	}
	fresh("compute  done   changed: tables/nutrients\n")
	for _, n := range answerOf[mealJSON](t, exitDone, "meal", "pods", "--workspace", dir).Nutrients {
		if n.Nutrient == "protein" && *n.PerServing != 19.2 { // 320 g x 12 / 100 / 2
			t.Errorf("protein: got %v, want 19.2", *n.PerServing)
		}
	}

	// A row that can not be: file, line, field, what was read, what instead.
	amend(t, nutrients, "90001,protein,12,g,", "90001,protein,12,IU,")
	line := 1 + strings.Count(string(text[:strings.Index(string(text), "90001,protein")]), "\n")
	if out := farthing(t, exitFailed, "run", "--workspace", dir); !strings.Contains(out, fmt.Sprintf(`tables/nutrients.csv:%d: unit: "IU"; g`, line)) {
		t.Errorf("got %s, want line %d, the unit and g", out, line)
	}
	amend(t, filepath.Join(other, "nutrient.csv"), "90001,208,120,", "90001,208,1x0,")
	x = importFoods(t, exitQuarantined, dir, other, "--replace")
	if len(x.Bad) != 1 || x.Bad[0].File != "nutrient.csv" || x.Bad[0].Line != 4 || x.Bad[0].Field != "value" || x.Bad[0].Read != `"1x0"` || x.Bad[0].Instead == "" || x.Files[2].Quarantined != 1 {
		t.Errorf("got %+v", x.Bad)
	}
	if rows := tableRows(t, dir, "nutrients"); len(rows) != 5 {
		t.Errorf("got %v, want the five other figures", rows)
	}

	// What is no such folder, or does not go together, is told.
	if err := os.Remove(filepath.Join(other, "nutrient_def.csv")); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		exit int
		says string
		args []string
	}{
		{exitUsage, "no food composition table", []string{other}},
		{exitFailed, "imported alone", []string{inventedFoods, "prices.csv"}},
		{exitFailed, "imported alone", []string{inventedFoods, "--preview"}},
		{exitUsage, "--replace", []string{"prices.csv", "--replace"}},
	} {
		if code, _, said := called(append([]string{"import", "--workspace", dir}, c.args...)...); code != c.exit || !strings.Contains(said, c.says) {
			t.Errorf("%q: got exit %d, %s", c.args, code, said)
		}
	}
}

// TestImportOpenFoods takes the published table in and holds every figure of the tables to the file by a reader of its own.
func TestImportOpenFoods(t *testing.T) {
	f, err := os.Open(filepath.Join(openFoods, "nutrient.csv.gz"))
	if err != nil {
		t.Skip("the open data is not beside the repository, in ../shared/data: the published table is not imported")
	}
	defer f.Close()
	z, err := gzip.NewReader(f)
	if err != nil {
		t.Fatal(err)
	}
	there, published := map[string]string{}, 0
	for r := csv.NewReader(z); ; published++ {
		row, err := r.Read()
		if err == io.EOF {
			break
		}
		if err != nil {
			t.Fatal(err)
		}
		there[fmt.Sprintf("%05s|%s", row[0], row[1])] = row[2]
	}
	published-- // the heading

	dir := kitchenDemo(t)
	x := importFoods(t, exitDone, dir, openFoods)
	// Foods, figures, nutrients and weights as the catalogue of the open data counts them: 8,463; 632,894; 150; 15,137.
	for i, want := range []int{8463, 150, 632894, 15137} {
		if x.Files[i].Read != want {
			t.Errorf("%s: got %d rows, want %d", x.Files[i].File, x.Files[i].Read, want)
		}
	}
	if published != 632894 {
		t.Errorf("the test's own reader counts %d figures", published)
	}
	// The numbers of the USDA table that stand for our names; source: nutrient_def.csv there.
	numbers := map[string]string{"energy": "208", "protein": "203", "fat": "204", "saturated_fat": "606", "carbohydrate": "205", "fibre": "291", "sugars": "269", "sodium": "307", "calcium": "301", "iron": "303",
		"magnesium": "304", "phosphorus": "305", "potassium": "306", "zinc": "309", "copper": "312", "selenium": "317", "vitamin_a_rae": "320", "vitamin_c": "401", "vitamin_d": "328", "vitamin_e": "323",
		"vitamin_k": "430", "thiamin": "404", "riboflavin": "405", "niacin": "406", "vitamin_b6": "415", "folate_dfe": "435", "vitamin_b12": "418"}
	wanted := 0
	for key := range there {
		_, number, _ := strings.Cut(key, "|")
		for _, n := range numbers {
			if n == number {
				wanted++
			}
		}
	}
	rows := tableRows(t, dir, "nutrients")
	if len(rows) != wanted || len(rows) != x.Tables[1].Rows || len(numbers) != 27 {
		t.Errorf("got %d figures and %d told, want %d", len(rows), x.Tables[1].Rows, wanted)
	}
	for _, r := range rows {
		value := there[r["food_code"]+"|"+numbers[r["nutrient"]]]
		got, okG := new(big.Rat).SetString(r["per_100g_edible"])
		want, okW := new(big.Rat).SetString(value)
		if !okG || !okW || got.Cmp(want) != 0 || !strings.HasPrefix(r["source"], "USDA SR26 (2013) food "+r["food_code"]) {
			t.Fatalf("got %v, there %q", r, value)
		}
	}
	// Of refuse the catalogue says: above 0 for 1,830 foods, empty for 24.
	above, blank := 0, 0
	for _, r := range tableRows(t, dir, "foods") {
		switch share, _ := new(big.Rat).SetString(r["refuse_share"]); {
		case r["refuse_share"] == "":
			blank++
		case share.Sign() > 0:
			above++
		}
	}
	if above != 1830 || blank != 24 {
		t.Errorf("got %d foods with refuse and %d without a figure, want 1830 and 24", above, blank)
	}

	// The demo's day stays as it is, for the excerpt is of the same table; a food from outside the excerpt is cooked beside.
	const code = "09059" // its figures are read from the files below
	amend(t, filepath.Join(dir, "tables", "items.csv"), "kg,04073,", "kg,"+code+",")
	amend(t, filepath.Join(dir, "tables", "recipes.csv"), "porridge,1,", "pods,1,2,margarine,,,400,g,AP,,,bought,,,\nporridge,1,")
	before := answerOf[mealJSON](t, exitDone, "meal", "day", "--workspace", dir)
	farthing(t, exitDone, "run", "--workspace", dir, "--quiet")
	after := answerOf[mealJSON](t, exitDone, "meal", "day", "--workspace", dir)
	if fmt.Sprint(before.Lines) != fmt.Sprint(after.Lines) || !slices.EqualFunc(before.Nutrients, after.Nutrients, func(a, b mealNutrient) bool {
		return a.Nutrient == b.Nutrient && fmt.Sprint(show64(a.PerServing)) == fmt.Sprint(show64(b.PerServing)) && a.IsAtLeast == b.IsAtLeast
	}) {
		t.Error("the demo's day changed with the full table")
	}
	for _, n := range answerOf[mealJSON](t, exitDone, "meal", "pods", "--workspace", dir).Nutrients {
		value, ok := there[code+"|"+numbers[n.Nutrient]]
		if !ok {
			if n.PerServing != nil {
				t.Errorf("%s: got %v of a figure that is missing", n.Nutrient, *n.PerServing)
			}
			continue
		}
		want, _ := new(big.Rat).SetString(value)
		refuse := refuseOf(t, code)
		want.Mul(want, new(big.Rat).Sub(big.NewRat(100, 1), refuse)).Mul(want, big.NewRat(2, 100)) // 200 g a serving, as bought
		if w, _ := want.Float64(); n.PerServing == nil || *n.PerServing != w {
			t.Errorf("%s: got %v, want %v", n.Nutrient, show64(n.PerServing), w)
		}
	}
}

// refuseOf reads the refuse of a food, in percent, from the open table.
func refuseOf(t *testing.T, code string) *big.Rat {
	t.Helper()
	f, err := os.Open(filepath.Join(openFoods, "food.csv"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	lines, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	for _, l := range lines[1:] {
		if fmt.Sprintf("%05s", l[0]) == code {
			n, _ := new(big.Rat).SetString(l[slices.Index(lines[0], "ref_pct")])
			return n
		}
	}
	t.Fatalf("no food %s", code)
	return nil
}
