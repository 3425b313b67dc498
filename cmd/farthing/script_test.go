package main

import (
	"crypto/sha256"
	"database/sql"
	"encoding/hex"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	_ "github.com/marcboeker/go-duckdb"
)

// In the statements DIR stands for the workspace and NOTES for a scan of the archived notes. The scan leaves a blank text ”
// and not NULL, so that a bad row can be put together again.
const scriptScan = `read_csv('FILE', all_varchar = true, header = true, delim = ',', quote = '"', escape = '"', nullstr = '\N')`

// The words that repeat, each list filled alphabetically so that its codes sort as text.
var scriptWords = []string{`
CREATE TABLE items AS SELECT item, base_unit FROM read_csv('DIR/tables/items.csv')`, `
CREATE TYPE item AS ENUM (SELECT item FROM items ORDER BY item)`, `
CREATE TYPE region AS ENUM (SELECT region FROM read_csv('DIR/tables/regions.csv') ORDER BY region)`, `
CREATE TYPE outlet AS ENUM (SELECT outlet FROM read_csv('DIR/tables/outlets.csv') ORDER BY outlet)`, `
CREATE TEMP TABLE word AS SELECT DISTINCT item, variety, grade, pack, price_type, currency FROM NOTES`, `
CREATE TYPE variety AS ENUM (SELECT DISTINCT variety FROM word ORDER BY variety)`, `
CREATE TYPE grade AS ENUM (SELECT DISTINCT grade FROM word ORDER BY grade)`, `
CREATE TYPE price_type AS ENUM (SELECT DISTINCT price_type FROM word ORDER BY price_type)`, `
CREATE TYPE currency AS ENUM (SELECT DISTINCT currency FROM word ORDER BY currency)`,
}

// The rest, once packs is there. An offer is an item in a pack of its own unit. rowid + 2 is a note's line: no field of the
// made notes holds a line break. A join in the load would cost that, for it hands on unmatched rows after the others.
var scriptSteps = []string{`
CREATE TABLE offers AS
SELECT DISTINCT item || ', ' || pack AS offer, CAST(item AS item) AS item, quantity
FROM word JOIN items USING (item) JOIN packs USING (pack, base_unit)`, `
CREATE TYPE offer AS ENUM (SELECT offer FROM offers ORDER BY offer)`, `
CREATE TABLE note AS
WITH typed AS (
  SELECT *, TRY_CAST(observed_on AS DATE) AS day, TRY_CAST(region AS region) AS place, TRY_CAST(outlet AS outlet) AS shop,
    TRY_CAST(item || ', ' || pack AS offer) AS offer, TRY_CAST(price AS DECIMAL(12,4)) AS paid,
    CASE WHEN packs = '' THEN 1 ELSE TRY_CAST(packs AS SMALLINT) END AS times
  FROM NOTES)
SELECT day, place AS region, shop AS outlet, offer, CAST(variety AS variety) AS variety, CAST(grade AS grade) AS grade,
  paid AS price, times AS packs, CAST(price_type AS price_type) AS price_type, CAST(currency AS currency) AS currency,
  CASE WHEN day IS NULL OR place IS NULL OR shop IS NULL OR offer IS NULL OR paid IS NULL OR paid <= 0 OR times IS NULL OR times <= 0
  THEN concat_ws(',', observed_on, region, outlet, item, variety, grade, price, pack, packs, price_type, currency) END AS bad_text
FROM typed`, `
CREATE TABLE set_aside AS SELECT rowid + 2 AS line, bad_text FROM note WHERE bad_text IS NOT NULL`,
	// Duplicates: first a cheap look by hash, then the few suspects by all columns.
	`
CREATE TEMP TABLE keyed AS
SELECT rowid + 2 AS line, hash(day, region, outlet, offer, variety, grade, price, price_type, currency) AS h
FROM note WHERE bad_text IS NULL`, `
CREATE TEMP TABLE twice AS SELECT h FROM keyed GROUP BY h HAVING count(*) > 1`, `
CREATE TABLE duplicate AS
SELECT rowid + 2 AS line
FROM note WHERE rowid + 2 IN (SELECT line FROM keyed SEMI JOIN twice USING (h))
QUALIFY row_number() OVER (
  PARTITION BY day, region, outlet, offer, variety, grade, price, price_type, currency ORDER BY rowid) > 1`,
	// Logs are averaged as whole numbers of 1e-12: the same bytes on any number of threads.
	`
CREATE TABLE panel AS
WITH over_days AS (
  SELECT date_trunc('month', day) AS month, region, outlet, offer, grade, variety,
    avg(CAST(round(ln(CAST(price AS DOUBLE) / packs) * 1e12) AS BIGINT)) AS ln_pack
  FROM note ANTI JOIN duplicate ON note.rowid + 2 = line
  WHERE bad_text IS NULL AND price_type IN ('regular', 'promo')
  GROUP BY ALL),
over_packs AS (
  SELECT month, region, outlet, item, grade, avg(CAST(round(ln_pack - ln(quantity) * 1e12) AS BIGINT)) AS ln_price
  FROM over_days JOIN offers USING (offer)
  GROUP BY ALL),
over_outlets AS MATERIALIZED (
  SELECT month, region, item, grade, avg(CAST(round(ln_price) AS BIGINT)) / 1e12 AS ln_price, count(*) AS n_outlets
  FROM over_packs
  GROUP BY ALL)
SELECT * FROM over_outlets
UNION ALL BY NAME
SELECT month, CAST(parent AS region) AS region, item, grade,
  sum(CAST(round(population_weight * ln_price * 1e12) AS HUGEINT)) / 1e12 / sum(CAST(population_weight AS DECIMAL(18,6))) AS ln_price,
  CAST(sum(n_outlets) AS BIGINT) AS n_outlets
FROM over_outlets JOIN read_csv('DIR/tables/regions.csv') AS r ON r.region = over_outlets.region
WHERE parent IS NOT NULL
GROUP BY ALL`, `
COPY (
  SELECT region, item, grade, strftime(month, '%Y-%m') AS month, CAST(exp(ln_price) AS DECIMAL(18,4)) AS unit_price_lcu, n_outlets
  FROM panel ORDER BY region, item, grade, panel.month) TO 'DIR/script/panel.csv' (HEADER)`, `
COPY (
  WITH line AS (
    SELECT basket, CAST(item AS item) AS item, CAST(coalesce(grade, '') AS grade) AS grade,
      quantity / CASE per WHEN 'day' THEN 1 WHEN 'week' THEN 7 WHEN 'month' THEN 30.4375 END AS per_day
    FROM read_csv('DIR/tables/baskets.csv', types = {'grade': 'VARCHAR'})),
  place AS (SELECT DISTINCT region, month FROM panel)
  SELECT region, basket, strftime(place.month, '%Y-%m') AS month,
    CASE WHEN count(ln_price) = count(*) THEN CAST(sum(per_day * exp(ln_price) ORDER BY item, grade) AS DECIMAL(18,4)) END AS per_day_lcu
  FROM place CROSS JOIN line LEFT JOIN panel USING (region, month, item, grade)
  GROUP BY region, basket, place.month ORDER BY region, basket, place.month) TO 'DIR/script/basket.csv' (HEADER)`,
}

// What an outsider needs to compute it all again: every typed row with its line, in order, as the program publishes it.
var scriptExport = []string{`
COPY (
  SELECT day AS observed_on, region, outlet, item, variety, grade, offer, quantity * packs AS quantity, price AS price_lcu,
    CAST(price / (quantity * packs) AS DECIMAL(18,4)) AS unit_price_lcu, price_type, currency AS currency_code, note.rowid + 2 AS line
  FROM note JOIN offers USING (offer) ANTI JOIN duplicate ON note.rowid + 2 = line
  WHERE bad_text IS NULL
  ORDER BY region, item, grade, date_trunc('month', day), outlet, variety, offer, day, price) TO 'DIR/script/observations.csv' (HEADER)`,
}

// runScript is the yardstick of the speed tests: the way from dir/notes.csv to elementary prices and a basket's cost a
// person and day, written straight down by hand; with export, to the sorted file of observations too. It fills and
// holds nothing. All it makes is in dir/script.
func runScript(dir string, export bool) error {
	out := filepath.Join(dir, "script")
	if err := os.RemoveAll(out); err != nil {
		return err
	}
	file, err := scriptArchive(filepath.Join(dir, "notes.csv"), filepath.Join(out, "archive"))
	if err != nil {
		return err
	}
	db, err := sql.Open("duckdb", filepath.Join(out, "script.duckdb")+"?threads=2")
	if err != nil {
		return err
	}
	defer db.Close()
	db.SetMaxOpenConns(1) // TEMP tables belong to their connection
	names := strings.NewReplacer("NOTES", strings.Replace(scriptScan, "FILE", file, 1), "DIR", dir)
	run := func(steps []string) error {
		for _, step := range steps {
			if _, err := db.Exec(names.Replace(step)); err != nil {
				return fmt.Errorf("%.40s: %w", step[1:], err)
			}
		}
		return nil
	}
	if err := run(scriptWords); err != nil {
		return err
	}
	if err := scriptPacks(db); err != nil {
		return err
	}
	if err := run(scriptSteps); err != nil {
		return err
	}
	if export {
		if err := run(scriptExport); err != nil {
			return err
		}
	}
	return db.Close()
}

// scriptArchive copies a file into folder, named by its sha256, and returns the copy's path.
func scriptArchive(name, folder string) (string, error) {
	if err := os.MkdirAll(folder, 0o777); err != nil {
		return "", err
	}
	in, err := os.Open(name)
	if err != nil {
		return "", err
	}
	defer in.Close()
	part, err := os.Create(filepath.Join(folder, "part"))
	if err != nil {
		return "", err
	}
	defer part.Close()
	sum := sha256.New()
	if _, err := io.Copy(io.MultiWriter(part, sum), in); err != nil {
		return "", err
	}
	to := filepath.Join(folder, hex.EncodeToString(sum.Sum(nil))+".csv")
	return to, os.Rename(part.Name(), to)
}

var scriptPack = regexp.MustCompile(`^(?:(\d+) x )?(\d+(?:\.\d+)?) (kg|g|L|cl|ml|each)$`)

// scriptPacks fills packs from the distinct texts; a text it cannot read gets no row.
func scriptPacks(db *sql.DB) error {
	units := map[string]struct {
		base  string
		times float64
	}{"kg": {"kg", 1}, "g": {"kg", .001}, "L": {"L", 1}, "cl": {"L", .01}, "ml": {"L", .001}, "each": {"each", 1}}
	if _, err := db.Exec("CREATE TABLE packs (pack VARCHAR, base_unit VARCHAR, quantity DOUBLE)"); err != nil {
		return err
	}
	rows, err := db.Query("SELECT DISTINCT pack FROM word ORDER BY pack")
	if err != nil {
		return err
	}
	defer rows.Close()
	var texts []string
	for rows.Next() {
		var text string
		if err := rows.Scan(&text); err != nil {
			return err
		}
		texts = append(texts, text)
	}
	if err := rows.Err(); err != nil {
		return err
	}
	for _, text := range texts {
		m := scriptPack.FindStringSubmatch(text)
		if m == nil {
			continue
		}
		count, _ := strconv.ParseFloat(m[1], 64) // digits, or blank for one
		quantity, _ := strconv.ParseFloat(m[2], 64)
		if m[1] == "" {
			count = 1
		}
		if quantity *= count * units[m[3]].times; quantity > 0 {
			if _, err := db.Exec("INSERT INTO packs VALUES (?, ?, ?)", text, units[m[3]].base, quantity); err != nil {
				return err
			}
		}
	}
	return nil
}

// TestScript holds the yardstick to what the generator planted, line by line.
func TestScript(t *testing.T) {
	dir := t.TempDir()
	want, err := writeNotes(dir, 20_000)
	if err != nil {
		t.Fatal(err)
	}
	if err := runScript(dir, true); err != nil {
		t.Fatal(err)
	}
	aside, copies := scriptDropped(t, dir)
	if len(aside) != want.bad || len(copies) != want.duplicates || want.bad < 100 || want.duplicates < 100 {
		t.Errorf("got %d bad, %d duplicates; want %d, %d, each about 200", len(aside), len(copies), want.bad, want.duplicates)
	}
	first := map[string]bool{}
	for i, text := range readLines(t, dir, "notes.csv") {
		line := i + 1
		if bad, ok := aside[line]; ok && bad != text {
			t.Errorf("line %d: got %q set aside, want %q", line, bad, text)
		}
		if got := slices.Contains(copies, line); got != first[text] {
			t.Errorf("line %d: got duplicate %v, want %v: %s", line, got, first[text], text)
		}
		first[text] = true
	}
}

// TestScriptByHand: the yardstick's formulas on a few notes.
func TestScriptByHand(t *testing.T) {
	dir := t.TempDir()
	if err := writeTables(dir); err != nil {
		t.Fatal(err)
	}
	notes := []string{
		"observed_on,region,outlet,item,variety,grade,price,pack,packs,price_type,currency",
		"2020-01-03,district-01,district-01-shop-01,bread-1,a,,1.00,500 g,1,regular,XTS",     // 2 a kg
		"2020-01-17,district-01,district-01-shop-01,bread-1,a,,8.00,500 g,2,promo,XTS",       // 8: days give 4
		"2020-01-17,district-01,district-01-shop-01,bread-1,b,,16.00,4 x 250 g,,regular,XTS", // 16: shop 8
		"2020-01-17,district-01,district-01-shop-01,bread-1,b,,9.00,1 L,1,regular,XTS",       // bad: no density
		"2020-01-17,district-01,district-01-shop-02,bread-1,a,,2.00,1 kg,1,regular,XTS",      // shop 2: district (8 x 2)^1/2 = 4
		"2020-01-18,district-01,district-01-shop-02,bread-1,a,,1.00,1 kg,1,member,XTS",       // not counted
		"2020-01-18,district-02,district-02-shop-01,bread-1,a,,8.00,1 kg,1,regular,XTS",
	}
	for i := range madeBasket { // 12 x 2.00 in another month
		name, _, unit := madeItem(i)
		notes = append(notes, fmt.Sprintf("2020-02-01,district-01,district-01-shop-01,%s,a,,2.00,1 %s,1,regular,XTS", name, unit))
	}
	if err := os.WriteFile(filepath.Join(dir, "notes.csv"), []byte(strings.Join(notes, "\n")+"\n"), 0o666); err != nil {
		t.Fatal(err)
	}
	if err := runScript(dir, true); err != nil {
		t.Fatal(err)
	}
	if aside, copies := scriptDropped(t, dir); len(aside) != 1 || aside[5] != notes[4] || len(copies) != 0 {
		t.Errorf("got %v set aside, duplicates %v; want line 5, none", aside, copies)
	}
	for _, want := range []struct{ file, line string }{
		{"panel.csv", `district-01,bread-1,"",2020-01,4.0000,2`},
		{"panel.csv", `district-02,bread-1,"",2020-01,8.0000,1`},
		{"panel.csv", `country,bread-1,"",2020-01,6.3394,3`}, // weights .0048, .0095: 2^((.0048 x 2 + .0095 x 3) / .0143)
		{"basket.csv", `district-01,plain,2020-01,`},         // eleven lines without a price
		{"basket.csv", `district-01,plain,2020-02,2.1429`},   // 2 x (.25 + .5 + .75 + 1) x 3 / 7
	} {
		if lines := readLines(t, dir, "script", want.file); !slices.Contains(lines, want.line) {
			t.Errorf("%s: got %q, want a line %q", want.file, lines, want.line)
		}
	}
}

// scriptDropped returns what the script's last run left out: the text of bad rows by line, and the lines of duplicates.
func scriptDropped(t *testing.T, dir string) (aside map[int]string, copies []int) {
	t.Helper()
	db, err := sql.Open("duckdb", filepath.Join(dir, "script", "script.duckdb"))
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	rows, err := db.Query("SELECT line, bad_text FROM set_aside UNION ALL SELECT line, NULL FROM duplicate ORDER BY line")
	if err != nil {
		t.Fatal(err)
	}
	defer rows.Close()
	aside = map[int]string{}
	for rows.Next() {
		var line int
		var text sql.NullString
		if err := rows.Scan(&line, &text); err != nil {
			t.Fatal(err)
		}
		if text.Valid {
			aside[line] = text.String
		} else {
			copies = append(copies, line)
		}
	}
	if err := rows.Err(); err != nil {
		t.Fatal(err)
	}
	return aside, copies
}

func readLines(t *testing.T, path ...string) []string {
	t.Helper()
	text, err := os.ReadFile(filepath.Join(path...))
	if err != nil {
		t.Fatal(err)
	}
	return strings.Split(strings.TrimSuffix(string(text), "\n"), "\n")
}
