package intake

import (
	"compress/gzip"
	"context"
	"encoding/csv"
	"io"
	"maps"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// sharedData are published files that a clone does not have; these tests hold
// the reading of them to figures that their publishers print.
const sharedData = "../../../shared/data"

func published(t *testing.T, patterns ...string) (files []string) {
	t.Helper()
	if _, err := os.Stat(sharedData); err != nil {
		t.Skip("the published files are not here: they are no part of a clone")
	}
	for _, p := range patterns {
		found, err := filepath.Glob(filepath.Join(sharedData, p))
		if err != nil || len(found) == 0 {
			t.Fatalf("no file %s: %v", p, err)
		}
		files = append(files, found...)
	}
	return files
}

// table reads a CSV file as rows by column name, its first row being line 2.
func table(t *testing.T, path string) (rows []map[string]string) {
	t.Helper()
	f, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	var in io.Reader = f
	if strings.HasSuffix(path, ".gz") {
		if in, err = gzip.NewReader(f); err != nil {
			t.Fatal(err)
		}
	}
	r := csv.NewReader(in)
	r.FieldsPerRecord = -1
	all, err := r.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	for _, rec := range all[1:] {
		row := map[string]string{}
		for i, name := range all[0] {
			if i < len(rec) {
				row[name] = strings.TrimSpace(rec[i])
			}
		}
		rows = append(rows, row)
	}
	return rows
}

func float(t *testing.T, s string) float64 {
	t.Helper()
	x, err := strconv.ParseFloat(s, 64)
	if err != nil {
		t.Fatal(err)
	}
	return x
}

// got is a stored price with its amount; duplicates have none.
type got struct{ price, quantity float64 }

// prices are the prices of a file by their number in it, repeats too.
func (k *taken) prices(sha string) map[int]got {
	k.Helper()
	m := map[int]got{}
	if err := k.st.Query(context.Background(), func(scan func(...any) error) error {
		var place int32
		var micro *int64
		var quantity *float64
		if err := scan(&place, &micro, &quantity); err != nil || micro == nil {
			return err
		}
		g := got{price: float64(*micro) / 1e6}
		if quantity != nil {
			g.quantity = *quantity
		}
		m[int(place)] = g
		return nil
	}, `SELECT p.line, p.micro_price, a.quantity FROM obs_price p JOIN amount a ON a.amount_id = p.amount JOIN file f USING (file_id) WHERE f.sha256 = $1
		UNION ALL SELECT d.line, p.micro_price, NULL FROM obs_duplicate d JOIN obs_price p ON p.file_id = d.of_file AND p.line = d.of_line
		JOIN file f ON f.file_id = d.file_id WHERE f.sha256 = $1`, sha); err != nil {
		k.Fatal(err)
	}
	return m
}

// report logs what became of each file, or of all of a source where they are many.
func (k *taken) report() {
	k.Helper()
	type sum struct{ files, read, accepted, quarantined, duplicate, unmapped int }
	sums := map[string]*sum{}
	codes := map[string]map[string]int{}
	for _, f := range k.all.Files {
		name := f.Source
		if sums[name] == nil {
			sums[name], codes[name] = &sum{}, map[string]int{}
		}
		s := sums[name]
		s.files, s.read, s.accepted, s.quarantined, s.duplicate = s.files+1, s.read+f.Read, s.accepted+f.Accepted, s.quarantined+f.Quarantined, s.duplicate+f.Duplicate
		for _, r := range f.Reasons {
			codes[name][r.Code] += r.Rows
			if namesOne(r.Code) {
				s.unmapped++
			}
		}
	}
	for _, name := range slices.Sorted(maps.Keys(sums)) {
		k.Logf("%s: %+v %v", name, *sums[name], codes[name])
	}
}

// TestPublishedCounts runs every published file and holds what became of it.
func TestPublishedCounts(t *testing.T) {
	for _, c := range []struct {
		family string
		files  []string
		want   map[string][4]int // read, accepted, quarantined, duplicate of a source
	}{
		// 17,881 and 14,923 rows of prices: README of the files. Both saves of Kenya are one set of observations.
		{"wfp-ken", []string{"wfp-ken/wfp_food_prices_ken.csv", "wfp-ken/*.gz", "wfp-ken/consumer*"},
			map[string][4]int{"wfp-ken": {2 * 17881, 15037, 2 * 2844, 15037}, "fao-cpi": {807, 546, 261, 0}}},
		{"wfp-hti", []string{"wfp-hti/*.csv"}, map[string][4]int{"wfp-hti": {14923, 6072, 8851, 0}}},
		// 117,487 rows in 370 series, 15,402 of the query screen, of which all that are mapped repeat the series.
		{"bls", []string{"bls-ap-fred/series_index.csv", "bls-ap-fred/series/*", "bls-ap-labstat/ap.[ais]*", "bls-ap-labstat/ap.G*", "bls-ap-pdq/*"},
			map[string][4]int{"one-series-a-file": {117487, 30312, 80591, 6584}, "query-screen": {15402, 6584, 654, 8164}}},
		{"ons", []string{"ons-uk/avgprice.csv", "ons-uk/metadata.csv", "ons-uk/chained.csv"},
			map[string][4]int{"average-prices": {37740, 5355, 32385, 0}, "item-indices": {37740, 12070, 25670, 0}}},
		{"statcan", []string{"statcan-18100245/*"}, map[string][4]int{"retail-averages": {6 * 85, 6 * 85, 0, 0}}},
		{"ers", []string{"ers-produce/*"}, map[string][4]int{"fruit-2022": {62, 62, 0, 0}, "vegetable-2022": {93, 93, 0, 0},
			"fruit-2013": {61, 61, 0, 0}, "vegetable-2016": {92, 92, 0, 0}}},
		{"allowances", []string{"snap-allotments/*.csv", "usda-food-plans/*.csv"}, map[string][4]int{"benefit": {348, 102, 246, 0}, "food-plan": {151, 16, 135, 0}}},
		{"cpi", []string{"cpi-us-monthly/*.csv", "cpi-world-annual/*.csv", "cpi-us-regions/*.csv"},
			map[string][4]int{"all-items": {1360, 1360, 0, 0}, "world-annual": {11182, 0, 11182, 0}}},
		{"scanner-oj", []string{"scanner-oj/brands.csv", "scanner-oj/*_yx*"}, map[string][4]int{"till-juice": {106139, 106139, 0, 0}}},
		{"scanner-pl", []string{"scanner-pl-milk-sugar/milk.csv", "scanner-pl-milk-sugar/sugar.csv", "scanner-pl-dairy/*.gz"},
			map[string][4]int{"till-milk": {4386, 4281, 0, 105}, "till-sugar": {7666, 7666, 0, 0}, "till-dairy": {139600, 137329, 2271, 0}}},
	} {
		t.Run(c.family, func(t *testing.T) {
			k := takeIn(t, c.family, published(t, c.files...)...)
			k.report()
			for source, want := range c.want {
				var sum [4]int
				for _, f := range k.all.Files {
					if f.Source == source {
						for i, n := range []int{f.Read, f.Accepted, f.Quarantined, f.Duplicate} {
							sum[i] += n
						}
					}
				}
				if source == "query-screen" || source == "one-series-a-file" { // which of two files of one series came first is no matter
					sum[1], sum[3], want[1], want[3] = sum[1]+sum[3], 0, want[1]+want[3], 0
				}
				if sum != want {
					t.Errorf("%s: got %v read, accepted, quarantined, duplicate, want %v", source, sum, want)
				}
			}
		})
	}
}

// TestCupEquivalent: USDA ERS, Fruit and Vegetable Prices, 2022: retail price /
// yield x size of a cup equivalent is its price, within 0.006 on every row. A
// pint is 16 fluid ounces.
func TestCupEquivalent(t *testing.T) {
	files := published(t, "ers-produce/*2022.csv")
	k := takeIn(t, "ers", files...)
	rows := 0
	for _, path := range files {
		prices := k.prices(k.file[filepath.Base(path)].SHA256)
		for i, row := range table(t, path) {
			p := prices[i+2]
			cup := float(t, row["CupEquivalentSize"]) * 0.45359237 // kg
			if row["CupEquivalentUnit"] == "fluid ounces" {
				cup = float(t, row["CupEquivalentSize"]) / 16 * 0.473176473 // L
			}
			rows++
			if g, want := p.price/p.quantity/float(t, row["Yield"])*cup, float(t, row["CupEquivalentPrice"]); !(math.Abs(g-want) <= 0.006) {
				t.Errorf("%v: got %.4f a cup, want %.4f", row, g, want)
			}
		}
	}
	if rows != 155 {
		t.Errorf("got %d rows, want the 155 of 2022", rows)
	}
}

// TestItemAverages: the Office for National Statistics makes its average prices
// from that of a first month and the chained index of the item: both files, as
// read, agree to the rounding of a penny and of the index. 85 months.
func TestItemAverages(t *testing.T) {
	k := takeIn(t, "ons", published(t, "ons-uk/avgprice.csv", "ons-uk/metadata.csv", "ons-uk/chained.csv")...)
	n := k.number("SELECT count(*) FROM obs_price WHERE micro_price > 0")
	off := k.number(`WITH p AS (
			SELECT s.word AS id, p.month, p.micro_price / 1e6 AS price FROM obs_price p JOIN word s ON s.word_id = p.series WHERE p.micro_price > 0),
		first AS (SELECT p.id, p.price, x.index_value FROM p JOIN obs_index x ON x.series = p.id AND x.month = p.month
			WHERE p.month = (SELECT min(month) FROM obs_index)),
		each AS (SELECT p.price, f.price * x.index_value / f.index_value AS model, x.index_value / f.index_value AS relative FROM p JOIN first f USING (id) JOIN obs_index x ON x.series = p.id AND x.month = p.month)
		SELECT count(*) FROM each WHERE abs(price - model) > 0.0055 * (1 + relative)`)
	if n < 5000 || off != 0 {
		t.Errorf("got %v prices, %v of them off their index; want 5000 or more, 0", n, off)
	}
}

// TestMarketPrices: every accepted price of the World Food Programme's file
// stands as published, in its own unit; Kenya's 90 KG is 90 kg.
func TestMarketPrices(t *testing.T) {
	units := map[string]float64{"KG": 1, "90 KG": 90, "50 KG": 50, "64 KG": 64, "13 KG": 13, "126 KG": 126, "L": 1, "500 ML": .5, "200 ML": .2, "200 G": .2, "400 G": .4,
		"Unit": 1, "Pound": 0.45359237, "350 G": .35, "Gallon": 3.785411784}
	for _, c := range []struct{ family, file string }{{"wfp-ken", "wfp-ken/wfp_food_prices_ken.csv"}, {"wfp-hti", "wfp-hti/wfp_food_prices_hti.csv"}} {
		files := published(t, c.file)
		k := takeIn(t, c.family, files...)
		prices := k.prices(k.all.Files[0].SHA256)
		rows := table(t, files[0])
		for place, g := range prices {
			row := rows[place-2]
			if want := float(t, row["price"]); math.Abs(g.price-want) > 1e-9 || math.Abs(g.quantity-units[row["unit"]]) > 1e-9 || row["priceflag"] == "forecast" {
				t.Errorf("%s:%d: got %v for %v, want %v for %s, %s", c.file, place, g.price, g.quantity, want, row["unit"], row["priceflag"])
			}
		}
		if len(prices) != k.all.Accepted {
			t.Errorf("%s: got %d prices, want %d", c.file, len(prices), k.all.Accepted)
		}
	}
}

// TestTills: index numbers and figures that the README of a package of price
// indices prints for its milk data, which need no more than import, units and
// averages: unit values are sum(price x quantity) / sum(quantity) of a product
// in a month. The prices are those stored, the quantities the file's.
func TestTills(t *testing.T) {
	files := published(t, "scanner-pl-milk-sugar/milk.csv")
	k := takeIn(t, "scanner-pl", files...)
	prices := k.prices(k.all.Files[0].SHA256)
	type key struct{ month, name string }
	value, sold := map[key]float64{}, map[key]float64{}
	for i, row := range table(t, files[0]) {
		p, ok := prices[i+2]
		if !ok {
			t.Fatalf("line %d is nowhere", i+2)
		}
		q := float(t, row["quantities"])
		for _, name := range []string{row["prodID"], row["description"]} {
			value[key{row["time"][:7], name}] += p.price * q
			sold[key{row["time"][:7], name}] += q
		}
	}
	ids := map[string]bool{}
	for k := range sold {
		if strings.Trim(k.name, "0123456789") == "" {
			ids[k.name] = true
		}
	}
	unit := func(m, id string) float64 { return value[key{m, id}] / sold[key{m, id}] }
	both := func(a, b string) (list []string) {
		for id := range ids {
			if sold[key{a, id}] > 0 && sold[key{b, id}] > 0 {
				list = append(list, id)
			}
		}
		return list
	}
	checked := 0
	for _, row := range table(t, filepath.Join(sharedData, "scanner-pl-milk-sugar/expected_milk.csv")) {
		base, month := row["base_period"], row["period"]
		var g float64
		switch m := row["measure"]; {
		case m == "jevons":
			for _, id := range both(base, month) {
				g += math.Log(unit(month, id) / unit(base, id))
			}
			g = math.Exp(g / float64(len(both(base, month))))
		case m == "fisher":
			var l0, l1, p0, p1 float64
			for _, id := range both(base, month) {
				b, n := key{base, id}, key{month, id}
				l0, l1 = l0+unit(base, id)*sold[b], l1+unit(month, id)*sold[b]
				p0, p1 = p0+unit(base, id)*sold[n], p1+unit(month, id)*sold[n]
			}
			g = math.Sqrt(l1 / l0 * p1 / p0)
		case strings.HasPrefix(m, "unit value prodID "):
			g = unit(month, strings.TrimPrefix(m, "unit value prodID "))
		case strings.HasPrefix(m, "quantity prodID "):
			g = sold[key{month, strings.TrimPrefix(m, "quantity prodID ")}]
		case strings.HasPrefix(m, "sales "):
			for k, v := range value { // of the months from base to period
				if k.name == strings.TrimPrefix(m, "sales ") && k.month >= base && k.month <= month {
					g += v
				}
			}
		case m == "count prodID in both periods":
			g = float64(len(both(base, month)))
		case m == "count new prodID":
			g = float64(len(both(month, month)) - len(both(base, month)))
		case m == "count disappearing prodID":
			g = float64(len(both(base, base)) - len(both(base, month)))
		case m == "count prodID in either period":
			g = float64(len(both(base, base)) + len(both(month, month)) - len(both(base, month)))
		default:
			continue
		}
		checked++
		want := float(t, row["published_value"])
		printed := 0.5 * math.Pow10(-len(row["published_value"])+1+strings.IndexByte(row["published_value"]+".", '.'))
		if !strings.Contains(row["published_value"], ".") {
			printed = 0.5
		}
		if !(math.Abs(g-want) <= printed+1e-6*want) {
			t.Errorf("%s, %s to %s: got %.7f, want %v", row["measure"], base, month, g, want)
		}
	}
	if checked != 37 {
		t.Errorf("got %d figures checked, want 37", checked)
	}
}

// TestSeriesTwice: the same month of a survey from two files is one observation.
func TestSeriesTwice(t *testing.T) {
	k := takeIn(t, "bls", published(t, "bls-ap-fred/series_index.csv", "bls-ap-fred/series/APU0000711111.csv", "bls-ap-pdq/Apples.csv")...)
	fred, pdq := k.file["APU0000711111.csv"], k.file["Apples.csv"]
	overlap := 0
	months := map[string]string{}
	for _, row := range table(t, filepath.Join(sharedData, "bls-ap-fred/series/APU0000711111.csv")) {
		months[row["Date"][:7]] = row["APU0000711111"]
	}
	for _, row := range table(t, filepath.Join(sharedData, "bls-ap-pdq/Apples.csv")) {
		if v, ok := months[row["Year"]+"-"+strings.TrimPrefix(row["Period"], "M")]; ok && (v == "NA") == (row["Value"] == "-") {
			overlap++
		}
	}
	if got := fred.Duplicate + pdq.Duplicate; got != overlap || overlap < 400 || k.all.Quarantined != 0 {
		t.Errorf("got %d repeats, %d set aside, want %d (the months that both have), 0", got, k.all.Quarantined, overlap)
	}
}

// TestOneIntake takes in all of four families at once, as one run does.
func TestOneIntake(t *testing.T) {
	families := []string{"wfp-ken", "wfp-hti", "bls", "ons"}
	files := published(t, "wfp-ken/wfp_food_prices_ken.csv", "wfp-hti/*.csv", "bls-ap-fred/series_index.csv", "bls-ap-fred/series/*", "ons-uk/avgprice.csv", "ons-uk/metadata.csv")
	dir := t.TempDir()
	settings := "name = \"all\"\n"
	tables := map[string][]string{}
	seen := map[string]bool{}
	for _, f := range families {
		b, err := os.ReadFile(filepath.Join(sourcesDir, f, "farthing.toml"))
		if err != nil {
			t.Fatal(err)
		}
		settings += string(b[strings.Index(string(b), "[[source]]"):])
		for name, keys := range map[string]int{"regions": 1, "items": 1, "aliases": 3} {
			b, err := os.ReadFile(filepath.Join(sourcesDir, f, "tables", name+".csv"))
			if err != nil {
				t.Fatal(err)
			}
			r := csv.NewReader(strings.NewReader(string(b)))
			lines := strings.Split(string(b), "\n")
			for i := 0; ; i++ {
				rec, err := r.Read()
				if err != nil {
					break
				}
				if key := name + strings.Join(rec[:keys], ","); !seen[key] {
					seen[key] = true
					tables[name] = append(tables[name], lines[i])
				}
			}
		}
	}
	if err := os.MkdirAll(filepath.Join(dir, "tables"), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(dir, "farthing.toml"), []byte(settings), 0o644); err != nil {
		t.Fatal(err)
	}
	for name, lines := range tables {
		if err := os.WriteFile(filepath.Join(dir, "tables", name+".csv"), []byte(strings.Join(lines, "\n")+"\n"), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	k := takeInto(t, dir, files...)
	k.report()
	if want := 17881 + 14923 + 370 + 117487 + 37740 + 444; k.all.Read != want || k.all.Accepted < 60000 {
		t.Errorf("got %d read, %d accepted, want %d, 60000 or more", k.all.Read, k.all.Accepted, want)
	}
}
