package main

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"farthing/pipeline/intake"

	"github.com/xuri/excelize/v2"
)

// This file takes rows out of quarantine as sheets, mends them as a person would, and brings them back.

// aside is the answer of quarantine.
type aside struct {
	Edition  string
	Reasons  []struct{ Code, File string }
	Rows     []map[string]any
	Sheets   []struct{ Path string }
	Warnings []struct{ Code, Text, Cure string }
}

func quarantineOf(t *testing.T, dir string, args ...string) (a aside) {
	t.Helper()
	if err := json.Unmarshal(call(t, []int{exitDone}, append([]string{"quarantine", "--workspace", dir, "--json"}, args...)...), &a); err != nil {
		t.Fatal(err)
	}
	return a
}

// taken is the report on files, written into a folder of their own, by name and text.
func taken(t *testing.T, dir string, code int, files ...string) (rep intake.Report) {
	t.Helper()
	args, given := []string{"import", "--workspace", dir, "--json", "--quiet"}, t.TempDir()
	for i := 0; i < len(files); i += 2 {
		args = append(args, filepath.Join(given, files[i]))
		if err := os.WriteFile(args[len(args)-1], []byte(files[i+1]), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	if err := json.Unmarshal(call(t, []int{code}, args...), &rep); err != nil {
		t.Fatal(err)
	}
	return rep
}

// ran runs a workspace and gives its edition.
func ran(t *testing.T, dir string) string {
	t.Helper()
	var answer struct{ Edition string }
	if err := json.Unmarshal(call(t, []int{exitDone}, "run", "--workspace", dir, "--json", "--quiet"), &answer); err != nil {
		t.Fatal(err)
	}
	return answer.Edition
}

// exported is the one sheet of what waits to be mended, as text.
func exported(t *testing.T, dir string, args ...string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "mend.csv")
	if a := quarantineOf(t, dir, append([]string{"--export", path}, args...)...); len(a.Sheets) != 1 {
		t.Fatalf("got %+v, want one sheet", a)
	}
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

// mended is a sheet with texts replaced, each of which must be there.
func mended(t *testing.T, sheet string, pairs ...string) string {
	t.Helper()
	for i := 0; i < len(pairs); i += 2 {
		if !strings.Contains(sheet, pairs[i]) {
			t.Fatalf("%q is not in\n%s", pairs[i], sheet)
		}
		sheet = strings.Replace(sheet, pairs[i], pairs[i+1], 1)
	}
	return sheet
}

// wantMended holds how many rows stand set aside and how many of them mended, in quarantine, status and the run's edition.
func wantMended(t *testing.T, dir string, rows, mended int) {
	t.Helper()
	n := 0
	a := quarantineOf(t, dir)
	for _, r := range a.Rows {
		if r["mended"] == "yes" {
			n++
		}
	}
	if len(a.Rows) != rows || n != mended {
		t.Errorf("quarantine: got %d rows, %d mended, want %d, %d", len(a.Rows), n, rows, mended)
	}
	if out := string(call(t, []int{exitDone}, "status", "--workspace", dir)); !strings.Contains(out, fmt.Sprintf("quarantined %d, %d of them mended\n", rows, mended)) {
		t.Errorf("status: got\n%s", out)
	}
}

const badNotes = shortHeader + "2024-01-01,cove,hall,oats,2.40,1 kg\n2024-01-02,cove,hall,otas,2.41,1 kg\n2024-01-03,cove,hall,oats,-2.42,1 kg\n04/01/2024,cove,hall,oats,2.43,1 kg\n"

func TestMend(t *testing.T) {
	dir := town(t, "")
	first := taken(t, dir, exitQuarantined, "notes.csv", badNotes)
	before := bytesOf(t, filepath.Join(dir, "archive", first.Files[0].SHA256))
	ran(t, dir)
	sheet := exported(t, dir)
	if !strings.Contains(sheet, "observed_on,region,outlet,item,price,pack,mends,why,cure\n") || !strings.Contains(sheet, ",'-2.42,") || !strings.Contains(sheet, first.Files[0].SHA256[:12]+":4,") {
		t.Errorf("got the sheet\n%s", sheet)
	}
	// Two are mended, the third comes back as it was.
	rep := taken(t, dir, exitQuarantined, "any name.csv", mended(t, sheet, "otas,2.41", "oats,2.41", "'-2.42", "2.42"))
	if f := rep.Files[0]; f.Read != 3 || f.Accepted != 2 || f.Quarantined != 1 || f.Mended != 2 || f.Source != "notes" {
		t.Errorf("got %+v, want 2 of 3 rows accepted, 2 mended", f)
	}
	ran(t, dir)
	wantMended(t, dir, 4, 2)
	if d := different(before, bytesOf(t, filepath.Join(dir, "archive", first.Files[0].SHA256))); d != nil {
		t.Errorf("the original changed: %q", d)
	}
	for _, r := range readCells(t, filepath.Join(dir, "editions", current(t, dir), "sources.csv")) {
		if r["file"] == "notes.csv" && (r["rows_read"] != "4" || r["rows_accepted"] != "1" || r["rows_quarantined"] != "3") {
			t.Errorf("the original's counts: got %v", r)
		}
	}
	// What failed again goes with its original: the row stands in the next sheet once.
	again := exported(t, dir)
	if n := strings.Count(again, "\n"); n != 2 || !strings.Contains(again, first.Files[0].SHA256[:12]+":5,") {
		t.Errorf("the second sheet: got\n%s", again)
	}
	if f := taken(t, dir, exitDone, "second.csv", mended(t, again, "04/01/2024,", "2024-01-04,")).Files[0]; f.Accepted != 1 || f.Mended != 1 {
		t.Errorf("the second sheet: got %+v", f)
	}
	edition := ran(t, dir)
	wantMended(t, dir, 4, 4)
	if out := call(t, []int{exitDone}, "quarantine", "--workspace", dir, "--export", filepath.Join(t.TempDir(), "none.csv")); !strings.Contains(string(out), "no row waits") {
		t.Errorf("nothing to export: got %s", out)
	}
	var days []string
	for _, r := range readCells(t, filepath.Join(dir, "site", "data", "observations.csv")) {
		days = append(days, r["observed_on"]+" "+r["price_lcu"]+" "+r["counts"])
	}
	if want := []string{"2024-01-01 2.4 yes", "2024-01-02 2.41 yes", "2024-01-03 2.42 yes", "2024-01-04 2.43 yes"}; !slices.Equal(days, want) {
		t.Errorf("got %q, want %q", days, want)
	}
	if out := string(call(t, []int{exitDone}, "rebuild", "--workspace", dir, "--compare", "--quiet")); !strings.Contains(out, "every file of edition "+edition) {
		t.Errorf("rebuild: got %s", out)
	}
	// Once the original can be read as it stands, nothing is left to mend.
	replaceText(t, filepath.Join(dir, "tables", "aliases.csv"), "*,item,Rolled oats", "*,item,otas,oats,,,\n*,item,Rolled oats")
	call(t, []int{exitDone, exitQuarantined}, "run", "--workspace", dir, "--quiet")
	a := quarantineOf(t, dir, "--code", "mends")
	if len(a.Rows) != 1 || a.Rows[0]["mended"] != "no" || !strings.Contains(a.Rows[0]["cure"].(string), "is set aside now") {
		t.Errorf("a row that mends what can be read: got %+v", a.Rows)
	}
}

func current(t *testing.T, dir string) string {
	t.Helper()
	b, err := os.ReadFile(filepath.Join(dir, "editions", "current"))
	if err != nil {
		t.Fatal(err)
	}
	return strings.TrimSpace(string(b))
}

// TestMendSpreadsheet: an XLSX file goes out as CSV and as XLSX; its day numbers are written out, and back it counts days again.
func TestMendSpreadsheet(t *testing.T) {
	book := excelize.NewFile()
	defer book.Close()
	for i, row := range [][]any{{"observed_on", "region", "outlet", "item", "price", "pack"}, {45292, "cove", "hall", "oats", 2.4, "1 kg"}, {45293, "cove", "hall", "=otas", 2.41, "1 kg"}} {
		if err := book.SetSheetRow("Sheet1", fmt.Sprintf("A%d", i+1), &row); err != nil {
			t.Fatal(err)
		}
	}
	var b bytes.Buffer
	if err := book.Write(&b); err != nil {
		t.Fatal(err)
	}
	for _, ext := range []string{".csv", ".xlsx"} {
		dir, path := town(t, ""), filepath.Join(t.TempDir(), "mend"+ext)
		taken(t, dir, exitQuarantined, "notes.xlsx", b.String())
		ran(t, dir)
		quarantineOf(t, dir, "--export", path)
		if ext == ".csv" {
			text, err := os.ReadFile(path)
			if err != nil || !strings.Contains(string(text), "2024-01-02,cove,hall,'=otas,2.41,1 kg,") { // day 45292 is 2024-01-01
				t.Errorf("got %v\n%s", err, text)
			}
			replaceText(t, path, "'=otas", "oats")
		} else {
			f, err := excelize.OpenFile(path)
			if err != nil {
				t.Fatal(err)
			}
			if got, _ := f.GetCellValue("Sheet1", "D2"); got != "'=otas" {
				t.Errorf("got the cell %q", got)
			}
			f.SetCellValue("Sheet1", "D2", "oats")
			f.SetCellValue("Sheet1", "A2", 45294) // as a spreadsheet keeps a day that is typed into it
			if err := f.Save(); err != nil {
				t.Fatal(err)
			}
			f.Close()
		}
		call(t, []int{exitDone}, "import", "--workspace", dir, "--quiet", path)
		ran(t, dir)
		wantMended(t, dir, 1, 1)
		rows := readCells(t, filepath.Join(dir, "site", "data", "observations.csv"))
		if want := map[string]string{".csv": "2024-01-02", ".xlsx": "2024-01-03"}[ext]; len(rows) != 2 || rows[1]["observed_on"] != want {
			t.Errorf("%s: got %v, want a second day %s", ext, rows, want)
		}
	}
}

// TestMendClaims: a claim that can not stand sets its row aside, and says why.
func TestMendClaims(t *testing.T) {
	dir := town(t, "")
	sha := taken(t, dir, exitQuarantined, "notes.csv", badNotes).Files[0].SHA256[:12]
	const head = "observed_on,region,outlet,item,price,pack,mends,why,cure\n"
	row := func(day int, price, mark string) string {
		return fmt.Sprintf("2024-01-%02d,cove,hall,oats,%s,1 kg,%s,,\n", day, price, mark)
	}
	for _, c := range []struct {
		name, text, says             string
		accepted, aside, dup, mended int
	}{
		{name: "a line that was accepted", text: row(2, "2.41", sha+":2"), aside: 1, says: "no row of source notes with that mark is set aside"},
		{name: "no such line", text: row(2, "2.41", sha+":99"), aside: 1, says: "no row of source notes"},
		{name: "no such file", text: row(2, "2.41", "000000000000:3"), aside: 1, says: "no row of source notes"},
		{name: "no mark", text: row(2, "2.41", "line 3"), aside: 1, says: "quarantine --export"},
		{name: "a blank mark", text: row(20, "2.45", "") + row(2, "x", sha+":3"), accepted: 1, aside: 1, says: "decimal mark"},
		{name: "twice in one sheet", text: row(2, "2.41", sha+":3") + row(2, "2.44", sha+":3"), accepted: 1, aside: 1, mended: 1, says: "line 2 of sheet.csv mends that row already"},
		{name: "the same twice", text: row(2, "2.41", sha+":3") + row(2, "2.41", sha+":3"), accepted: 1, dup: 1, mended: 1},
		{name: "an unknown column beside", text: "", aside: 1, says: "did you mean"},
	} {
		t.Run(c.name, func(t *testing.T) {
			dir := town(t, "")
			taken(t, dir, exitQuarantined, "notes.csv", badNotes)
			text, code := head+c.text, exitDone
			if c.text == "" {
				text = strings.Replace(head, "price", "prise", 1) + row(2, "2.41", sha+":3")
			}
			if c.aside > 0 {
				code = exitQuarantined
			}
			f := taken(t, dir, code, "sheet.csv", text).Files[0]
			if f.Accepted != c.accepted || f.Quarantined != c.aside || f.Duplicate != c.dup || f.Mended != c.mended {
				t.Errorf("got %+v, want %d accepted, %d aside, %d duplicate, %d mended", f, c.accepted, c.aside, c.dup, c.mended)
			}
			if c.says != "" && (len(f.Reasons) != 1 || !strings.Contains(f.Reasons[0].Cure, c.says)) {
				t.Errorf("got %+v, want a cure with %q", f.Reasons, c.says)
			}
			ran(t, dir)
		})
	}
	// Columns of a sheet without its marks are columns that nobody knows.
	if f := taken(t, dir, exitQuarantined, "why.csv", strings.Replace(head, "mends,", "", 1)+"2024-01-02,cove,hall,oats,2.41,1 kg,,\n").Files[0]; f.Reasons[0].Code != "unknown_column" {
		t.Errorf("without marks: got %+v", f)
	}
}

// TestMendAnyOrder: two sheets that mend one row differently, and a sheet of a
// row that stands in a sheet, give the same edition in whatever order they come.
func TestMendAnyOrder(t *testing.T) {
	dir := town(t, "")
	sha := taken(t, dir, exitQuarantined, "notes.csv", badNotes).Files[0].SHA256[:12]
	const head = "observed_on,region,outlet,item,price,pack,mends\n"
	one := head + "2024-01-02,cove,hall,oats,2.41,1 kg," + sha + ":3\n2024-01-05,cove,hall,oast,2.50,1 kg,\n"
	two := head + "2024-01-02,cove,hall,oats,2.44,1 kg," + sha + ":3\n2024-01-03,cove,hall,oats,2.42,1 kg," + sha + ":4\n"
	shaOne := taken(t, dir, exitQuarantined, "one.csv", one).Files[0].SHA256[:12]
	three := head + "2024-01-05,cove,hall,oats,2.50,1 kg," + shaOne + ":3\n"
	files := map[string]string{"notes.csv": badNotes, "one.csv": one, "two.csv": two, "three.csv": three}
	want := ""
	for _, order := range []string{"notes one two three", "three two one notes", "two notes three one", "one three notes two"} {
		dir := town(t, "")
		for _, name := range strings.Fields(order) {
			call(t, []int{exitDone, exitQuarantined}, "import", "--workspace", dir, "--quiet", given(t, name+".csv", files[name+".csv"]))
		}
		got := ran(t, dir)
		if want == "" {
			want = got
			// Of the four rows set aside in notes and one, and the row of the sheet that came too late, one still waits.
			wantMended(t, dir, 5, 4)
		}
		if got != want {
			t.Errorf("%s: got edition %s, want %s", order, got, want)
		}
	}
}

func given(t *testing.T, name, text string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), name)
	if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
	return path
}

const otherSources = `
[[source]]
name = "market"
gives = "quotes"
files = ["market-*.txt"]
header_line = 3
skip_rows = 1
delimiter = ";"
encoding = "windows-1252"
decimal = ","
date_order = "DMY"
currency = "XTS"
[source.columns]
observed_on = "Tag"
region = "Gegend"
outlet = "Stand"
item = "Ware"
price = "Preis"
pack = "Menge"
note = "Bemerkung, die"

[[source]]
name = "means"
gives = "averages"
files = ["means-*.csv"]
layout = "wide"
[source.columns]
region = "place"
item = "food"
pack = "unit"
`

// TestMendOtherLayouts: a sheet of another source's rows is plain, has any name, and is read by that source's profile.
func TestMendOtherLayouts(t *testing.T) {
	dir := town(t, otherSources)
	market := "M\xe4rkte\n\nTag;Gegend;Stand;Ware;Preis;Menge;Bemerkung, die\n(d);;;;(XTS);;\n01/02/2024;cove;hall;oats;2,40;1 kg;gr\xfcn\n02/02/2024;cove;hall;Gr\xfctze;2,41;1 kg;\"a;b\"\n"
	means := "place,food,unit,2024-01,2024-02\ncove,milk,1 L,1.20,1.21\ncove,milch,1 L,1.30,1.31\n"
	taken(t, dir, exitQuarantined, "market-1.txt", market, "means-1.csv", means, "notes.csv", badNotes)
	ran(t, dir)
	path := filepath.Join(t.TempDir(), "out.csv")
	a := quarantineOf(t, dir, "--export", path)
	if len(a.Sheets) != 2 {
		t.Fatalf("got %+v, want two sheets", a)
	}
	if i := slices.IndexFunc(a.Warnings, func(w struct{ Code, Text, Cure string }) bool { return w.Code == "not_exported" }); i < 0 || a.Warnings[i].Text != "2 rows of means-1.csv stand in no sheet" {
		t.Errorf("a wide file: got %+v", a.Warnings)
	}
	sheet := exported(t, dir, "--file", "market-1.txt")
	if !strings.Contains(sheet, "Tag,Gegend,Stand,Ware,Preis,Menge,\"Bemerkung, die\",mends,why,cure\n02/02/2024,cove,hall,Grütze,\"2,41\",1 kg,a;b,") {
		t.Errorf("got the sheet\n%s", sheet)
	}
	for _, s := range []struct{ Path string }(a.Sheets) {
		b, err := os.ReadFile(s.Path)
		if err != nil || !regexp.MustCompile(`out-[12]\.csv$`).MatchString(s.Path) {
			t.Errorf("%s: %v", s.Path, err)
		}
		if strings.Contains(string(b), "Grütze") && string(b) != sheet {
			t.Errorf("got\n%s\nand alone\n%s", b, sheet)
		}
	}
	// A sheet that a spreadsheet saved with semicolons is as good.
	r := csv.NewReader(strings.NewReader(strings.TrimPrefix(mended(t, sheet, "Grütze", "oats"), "\ufeff")))
	rows, err := r.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	w := csv.NewWriter(&b)
	w.Comma = ';'
	w.WriteAll(rows)
	if f := taken(t, dir, exitDone, "von mir.csv", b.String()).Files[0]; f.Source != "market" || f.Accepted != 1 || f.Mended != 1 {
		t.Errorf("got %+v, want 1 accepted of source market", f)
	}
	ran(t, dir)
	wantMended(t, dir, 6, 1)
	// By hand: 2,41 for 1 kg; trace finds the line in the sheet.
	out := string(call(t, []int{exitDone}, "trace", "--workspace", dir, "item/cove/oats//2024-02/unit_price_lcu"))
	if !strings.Contains(out, "von mir.csv:2: ") || !strings.Contains(out, "market-1.txt:5: ") {
		t.Errorf("got\n%s", out)
	}
}

func TestHeld(t *testing.T) {
	dir := town(t, "")
	text := shortHeader
	for day := 1; day <= 7; day++ {
		text += fmt.Sprintf("2024-01-%02d,cove,hall,oats,%.2f,1 kg\n", day, 2.3+float64(day)/10)
	}
	taken(t, dir, exitDone, "notes.csv", text+"2024-01-09,cove,hall,oats,24.00,1 kg\n2024-01-09,fell,barn,oats,23.00,1 kg\n")
	ran(t, dir)
	a := quarantineOf(t, dir, "--held")
	if len(a.Rows) != 2 {
		t.Fatalf("got %+v, want two rows", a.Rows)
	}
	own, peer := a.Rows[0], a.Rows[1]
	// By hand: the middle of 2.40, 2.50 ... 3.00 is 2.70; with the 24.00 there are eight, and it lies between 2.70 and 2.80.
	for column, want := range map[string]any{"held": "own_series", "price_lcu": 24.0, "neighbours_median_lcu": 2.7, "n_neighbours": 7.0, "neighbours": "own series",
		"file": "notes.csv", "line": 9.0, "row": "2024-01-09,cove,hall,oats,24.00,1 kg"} {
		if own[column] != want {
			t.Errorf("%s: got %v, want %v", column, own[column], want)
		}
	}
	if peer["neighbours"] != "peers" || peer["neighbours_median_lcu"] != 2.75 || peer["n_neighbours"] != 8.0 {
		t.Errorf("got %v, want the middle 2.75 of 8 peers", peer)
	}
	// What is held is in no price, and its row says so: fell has nothing else.
	heldOf := func(region string) string {
		for _, r := range readCSV(t, filepath.Join(dir, "site", "data", "item.csv")) {
			if r["region"] == region && r["item"] == "oats" && r["month"] == "2024-01" {
				return strings.Join([]string{r["n_held"], r["held_lo_lcu"], r["held_hi_lcu"], r["n_observations"], r["obs_status"]}, " ")
			}
		}
		return "no row"
	}
	for region, want := range map[string]string{"cove": "1 24.0000 24.0000 7 U", "fell": "1 23.0000 23.0000  Q"} {
		if got := heldOf(region); got != want {
			t.Errorf("item.csv, %s: got %q, want %q", region, got, want)
		}
	}
	// The lines work once they are completed; without a reason the table refuses them.
	table := filepath.Join(dir, "tables", "corrections.csv")
	const head = "observation_id,column,action,from,to,reason,source,decided_on\n"
	release, set := peer["release"].(string), own["set"].(string)
	if err := os.WriteFile(table, []byte(head+release+"\n"+set+"\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	if code, _, errOut := called("run", "--workspace", dir, "--quiet"); code != exitFailed || !strings.Contains(errOut, "corrections.csv:2: reason") {
		t.Errorf("without a reason: got exit %d, %s", code, errOut)
	}
	set = strings.Replace(strings.Replace(set, ",24,,", ",24,2.40,", 1), ",2.40,,", ",2.40,point misplaced,", 1)
	release = strings.Replace(release, ",,,,,", ",,,seen twice,,", 1)
	if err := os.WriteFile(table, []byte(head+release+"\n"+set+"\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	ran(t, dir)
	if a := quarantineOf(t, dir, "--held"); len(a.Rows) != 0 {
		t.Errorf("after the corrections: got %+v", a.Rows)
	}
	for region, want := range map[string]string{"cove": "0   8 U", "fell": "0   1 U"} {
		if got := heldOf(region); got != want {
			t.Errorf("item.csv after the corrections, %s: got %q, want %q", region, got, want)
		}
	}
}

// TestHeldWouldCount: n_held is what would join the prices that count, were all that
// is held released; trace names those prices, also where there is no other.
func TestHeldWouldCount(t *testing.T) {
	dir := town(t, "")
	text := "observed_on,region,outlet,item,price,pack,packs,price_type\n"
	for day := 1; day <= 9; day++ {
		text += fmt.Sprintf("2024-01-%02d,cove,hall,oats,%.2f,1 kg,1,regular\n", day, 2.3+float64(day)/10)
	}
	taken(t, dir, exitDone, "notes.csv", text+"2024-01-10,cove,hall,oats,24.00,1 kg,1,regular\n2024-01-11,cove,hall,oats,0.20,1 kg,1,promo\n"+
		"2024-01-12,cove,hall,oats,99.00,1 kg,2,multibuy\n2024-01-13,fell,barn,oats,23.00,1 kg,1,regular\n")
	ran(t, dir)
	cells := func() map[string]map[string]string {
		rows := map[string]map[string]string{}
		for _, r := range readCSV(t, filepath.Join(dir, "site", "data", "item.csv")) {
			rows[strings.Join([]string{r["region"], r["item"], r["grade"], r["month"]}, "/")] = r
		}
		return rows
	}
	count := func(s string) int { n, _ := strconv.Atoi(s); return n }
	before := cells()
	lines := "observation_id,column,action,from,to,reason,source,decided_on\n"
	held := quarantineOf(t, dir, "--held").Rows
	for _, r := range held {
		lines += strings.Replace(r["release"].(string), ",,,,,", ",,,all,,", 1) + "\n"
	}
	if n := count(before["cove/oats//2024-01"]["n_held"]); len(held) != 4 || n != 2 { // the multibuy would not count
		t.Fatalf("got %d held, %d of them in cove's cell; want 4, 2", len(held), n)
	}
	for key, want := range map[string]string{"cove/oats//2024-01/held_lo_lcu = 0.2": "notes.csv:12", "cove/oats//2024-01/held_hi_lcu = 24": "notes.csv:11", "fell/oats//2024-01/unit_price_lcu = null": "notes.csv:14"} {
		key, value, _ := strings.Cut(key, " = ")
		if out := string(call(t, []int{exitDone}, "trace", "--workspace", dir, "item/"+key)); !strings.Contains(out, key+" = "+value) || !strings.Contains(out, want) {
			t.Errorf("%s: got\n%s\nwant %s, and %s", key, out, value, want)
		}
	}
	if err := os.WriteFile(filepath.Join(dir, "tables", "corrections.csv"), []byte(lines), 0o644); err != nil {
		t.Fatal(err)
	}
	ran(t, dir)
	after := cells()
	for k, r := range before {
		if got, want := count(after[k]["n_observations"]), count(r["n_observations"])+count(r["n_held"]); got != want {
			t.Errorf("%s: got %d prices once all are released, want %d and the %s held", k, got, want, r["n_held"])
		}
	}
}

// TestQuarantineFirst: where every row is set aside there is no edition, and a
// way out all the same.
func TestQuarantineFirst(t *testing.T) {
	dir := town(t, "")
	taken(t, dir, exitQuarantined, "notes.csv", shortHeader+"2024-01-02,cove,hall,otas,2.41,1 kg\n2024-01-03,cove,hall,oats,-2.42,1 kg\n")
	if code, _, errOut := called("run", "--workspace", dir, "--quiet"); code != exitFailed || !strings.Contains(errOut, "farthing quarantine") {
		t.Fatalf("got exit %d, %s; want no edition, and quarantine named", code, errOut)
	}
	if code, _, errOut := called("quarantine", "--workspace", dir, "--code", "unknown_itm"); code != exitUsage || !strings.Contains(errOut, `did you mean "unknown_item"?`) {
		t.Errorf("got exit %d, %s", code, errOut)
	}
	before := quarantineOf(t, dir)
	if len(before.Rows) != 2 || len(before.Reasons) != 2 || before.Edition != "" || before.Rows[0]["row"] != "2024-01-02,cove,hall,otas,2.41,1 kg" {
		t.Errorf("got %+v, want the two rows as they stand, of no edition", before)
	}
	sheet := exported(t, dir)
	taken(t, dir, exitDone, "mended.csv", mended(t, sheet, "otas,2.41", "oats,2.41", "'-2.42", "2.42"))
	if after := quarantineOf(t, dir); after.Rows[0]["mended"] != "yes" || after.Rows[1]["mended"] != "yes" {
		t.Errorf("got %+v, want both mended, still of no edition", after)
	}
	ran(t, dir)
	wantMended(t, dir, 2, 2)
}

func TestQuarantineRefuses(t *testing.T) {
	dir := town(t, "")
	there := given(t, "there.csv", "mended with care")
	if code, _, errOut := called("quarantine", "--workspace", dir); code != exitFailed || !strings.Contains(errOut, "farthing import") {
		t.Errorf("before the first import: got exit %d, %s", code, errOut)
	}
	taken(t, dir, exitQuarantined, "notes.csv", badNotes)
	if code, _, errOut := called("quarantine", "--workspace", dir, "--held"); code != exitFailed || !strings.Contains(errOut, "farthing run") {
		t.Errorf("held before the first run: got exit %d, %s", code, errOut)
	}
	ran(t, dir)
	for _, c := range []struct {
		args string
		says string
	}{
		{"--code unknown_itm", `did you mean "unknown_item"?`},
		{"--file note.csv", `did you mean "notes.csv"?`},
		{"--held --code price", "--held stands alone"},
		{"--export mend.ods", ".csv or .xlsx"},
		{"--export " + there, "is there already"},
		{"notes.csv", "quarantine --help"},
	} {
		code, out, errOut := called(append([]string{"quarantine", "--workspace", dir}, strings.Fields(c.args)...)...)
		if code != exitUsage || out != "" || !strings.Contains(errOut, c.says) {
			t.Errorf("%s: got exit %d, %s%s, want %q", c.args, code, out, errOut, c.says)
		}
	}
	if b, err := os.ReadFile(there); err != nil || string(b) != "mended with care" {
		t.Errorf("the file that was there: got %q, %v", b, err)
	}
	// Few rows of a reason are listed unless they are asked for.
	many := shortHeader
	for i := range 9 {
		many += fmt.Sprintf("2024-03-%02d,cove,hall,oats,x,1 kg\n", i+1)
	}
	taken(t, dir, exitQuarantined, "many.csv", many)
	ran(t, dir)
	if out := string(call(t, []int{exitDone}, "quarantine", "--workspace", dir)); !strings.Contains(out, "12 set aside, 0 of them mended\n") || !strings.Contains(out, "and 4 more: --code price") || strings.Contains(out, "2024-03-09") {
		t.Errorf("got\n%s", out)
	}
	if out := string(call(t, []int{exitDone}, "quarantine", "--workspace", dir, "--file", "many.csv")); !strings.Contains(out, "  10: 2024-03-09,cove,hall,oats,x,1 kg\n") || strings.Contains(out, "otas") {
		t.Errorf("got\n%s", out)
	}
}
