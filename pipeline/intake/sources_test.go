package intake

import (
	"context"
	"math"
	"os"
	"path/filepath"
	"testing"
	"time"

	"farthing/pipeline/store"
	"farthing/pipeline/workspace"
)

const sourcesDir = "../../testdata/sources"

// taken is what one intake of files made.
type taken struct {
	*testing.T
	w    *workspace.Workspace
	st   *store.Store
	file map[string]FileReport // by name
	all  *Report
}

// takeIn takes files into a new workspace with the settings and tables of a
// family, and checks that no row is lost.
func takeIn(t *testing.T, family string, files ...string) *taken {
	t.Helper()
	dir := t.TempDir()
	if err := os.CopyFS(dir, os.DirFS(filepath.Join(sourcesDir, family))); err != nil {
		t.Fatal(err)
	}
	return takeInto(t, dir, files...)
}

// takeInto takes files into a workspace.
func takeInto(t *testing.T, dir string, files ...string) *taken {
	t.Helper()
	w, err := workspace.Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	tables, err := w.Tables()
	if err != nil {
		t.Fatal(err)
	}
	if _, _, err := Keep(w, files, time.Date(2024, 5, 1, 0, 0, 0, 0, time.UTC)); err != nil {
		t.Fatal(err)
	}
	ctx := context.Background()
	st, err := store.Open(ctx, "")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { st.Close() })
	k := &taken{T: t, w: w, st: st, file: map[string]FileReport{}}
	if err := st.Tx(ctx, func() (err error) { k.all, err = Load(ctx, st, w, tables, false, nil); return err }); err != nil {
		t.Fatal(err)
	}
	for _, f := range k.all.Files {
		k.file[f.Path] = f
		if f.Read != f.Accepted+f.Quarantined+f.Duplicate {
			t.Errorf("%s: got %d read, %d accepted, %d quarantined, %d duplicate: no sum", f.Path, f.Read, f.Accepted, f.Quarantined, f.Duplicate)
		}
		n := 0
		for _, r := range f.Reasons {
			n += r.Rows
		}
		if n != f.Quarantined {
			t.Errorf("%s: got reasons for %d rows, want %d", f.Path, n, f.Quarantined)
		}
		if g := f.Gives(k); g == "quotes" || g == "averages" || g == "notes" {
			if stored := k.number("SELECT count(*) FROM obs_price p JOIN file f USING (file_id) WHERE f.sha256 = ?", f.SHA256); stored != float64(f.Accepted) {
				t.Errorf("%s: got %v rows stored, want the %d accepted", f.Path, stored, f.Accepted)
			}
		}
	}
	return k
}

// Gives is what the file's source gives.
func (f FileReport) Gives(k *taken) string {
	return (&lexicon{settings: k.w.Settings}).source(filepath.Base(f.Path)).Gives
}

// number is the one figure of a query.
func (k *taken) number(query string, args ...any) (x float64) {
	k.Helper()
	if err := k.st.Query(context.Background(), func(scan func(...any) error) error { return scan(&x) }, "SELECT CAST(("+query+") AS DOUBLE)", args...); err != nil {
		k.Fatal(err)
	}
	return x
}

// rows of a code are how many rows of a file were set aside for it.
func (f FileReport) rows(code string) (n int) {
	for _, r := range f.Reasons {
		if r.Code == code {
			n += r.Rows
		}
	}
	return n
}

// filesOf are the excerpts of a family: the layout and traps of the published
// files, values invented.
func filesOf(t *testing.T, family string) []string {
	t.Helper()
	files, err := filepath.Glob(filepath.Join(sourcesDir, family, "files", "*"))
	if err != nil || len(files) == 0 {
		t.Fatalf("no files of %s: %v", family, err)
	}
	return files
}

func TestSources(t *testing.T) {
	type counts struct {
		file                                   string
		read, accepted, quarantined, dup, held int
		code                                   string // a reason, with its rows
		rows                                   int
	}
	for _, c := range []struct {
		family string
		files  []counts
	}{
		{"wfp-ken", []counts{
			{"wfp_food_prices_ken.resaved.csv.gz", 27, 15, 12, 0, 0, "left_out", 6}, // fuel, and forecasts of 0; M/D/YYYY
			{"wfp_food_prices_ken.csv", 27, 0, 12, 15, 0, "unknown_item", 3},        // the same observations, saved otherwise
			{"consumer-price-indices_ken.csv", 14, 12, 2, 0, 0, "left_out", 2},      // the annual row and the change in %
		}},
		{"wfp-hti", []counts{{"wfp_food_prices_hti.csv", 30, 18, 12, 0, 0, "pack", 6}}}, // a Marmite has no weight until declared
		{"bls", []counts{
			{"APU0000701111.csv", 4, 4, 0, 0, 0, "", 0}, // one is NA
			{"APU0000FJ1101.csv", 4, 0, 4, 0, 0, "unknown_series", 4},
			{"Flour.csv", 5, 0, 1, 4, 0, "left_out", 1}, // the same series from the query screen, its year's mean left out
			{"ap.Gasoline", 6, 4, 2, 0, 0, "unknown_code", 1},
		}},
		{"cpi", []counts{
			{"cpiai.csv", 38, 38, 0, 0, 0, "", 0},
			{"CUUR0000SAF11.csv", 36, 36, 0, 0, 0, "", 0},
			{"CUUR0100SAF11.csv", 36, 0, 36, 0, 0, "implausible_index", 36},
			{"cpi.csv", 30, 0, 30, 0, 0, "implausible_index", 20},
		}},
		{"ons", []counts{
			{"metadata.csv", 6, 6, 0, 0, 0, "", 0},
			{"avgprice.csv", 90, 45, 45, 0, 0, "pack", 30}, // a range of sizes, and no size
			{"chained.csv", 30, 30, 0, 0, 0, "", 0},
		}},
		{"statcan", []counts{{"1810024501-eng.csv", 25, 20, 5, 0, 0, "unknown_item", 5}}},
		{"ers", []counts{
			{"Fruit-Prices-2022.csv", 2, 2, 0, 0, 0, "", 0},
			{"Fruit Prices 2013.csv", 3, 3, 0, 0, 0, "", 0},
			{"Vegetable-Prices-2022.csv", 1, 1, 0, 0, 0, "", 0},
		}},
		{"allowances", []counts{
			{"snap_max_allotment.csv", 6, 3, 3, 0, 0, "persons", 1},
			{"food_plan_costs.csv", 3, 2, 1, 0, 0, "persons", 1},
		}},
		{"scanner-oj", []counts{{"orangeJuice_yx.csv.gz", 12, 12, 0, 0, 0, "", 0}}},
		{"scanner-pl", []counts{
			{"milk.csv", 5, 4, 0, 1, 2, "", 0}, // two prices of one product at one outlet in one month are held
			{"dataCOICOP.csv", 4, 3, 1, 0, 0, "left_out", 1},
		}},
	} {
		t.Run(c.family, func(t *testing.T) {
			k := takeIn(t, c.family, filesOf(t, c.family)...)
			for _, want := range c.files {
				f, ok := k.file[want.file]
				got := counts{want.file, f.Read, f.Accepted, f.Quarantined, f.Duplicate, f.Held, want.code, f.rows(want.code)}
				if !ok || got != want {
					t.Errorf("got %+v, want %+v; %+v", got, want, f.Reasons)
				}
			}
		})
	}
}

// TestUnderstood looks at what single rows of the excerpts became.
func TestUnderstood(t *testing.T) {
	const price = `SELECT p.micro_price / 1e6 / a.quantity FROM obs_price p JOIN amount a ON a.amount_id = p.amount JOIN word i ON i.word_id = p.item
		JOIN word v ON v.word_id = p.variety WHERE i.word = ? AND `
	for _, c := range []struct {
		name, family, query string
		args                []any
		want                float64
	}{
		{"unit from a title, pounds", "bls", price + "strftime(p.day, '%Y-%m') = '2019-01'", []any{"flour-white-all-purpose"}, 0.533 / 0.45359237}, // the legal pound, NIST Handbook 44, appendix C
		{"litres in an imperial pack: 4 pints", "ons", `SELECT max(a.quantity) FROM obs_price p JOIN amount a ON a.amount_id = p.amount JOIN word i ON i.word_id = p.item WHERE i.word = ?`,
			[]any{"whole-milk"}, 4 * 0.56826125}, // Weights and Measures Act 1985: pint 0.56826125 L
		{"an item not yet in the basket has no price", "ons", `SELECT count(*) FROM obs_price p JOIN word i ON i.word_id = p.item WHERE i.word = ? AND p.micro_price IS NULL`, []any{"avocados"}, 3},
		{"months are in the header", "ons", `SELECT count(DISTINCT p.month) FROM obs_price p JOIN word i ON i.word_id = p.item WHERE i.word = ?`, []any{"avocados"}, 15},
		{"a dozen, footnote figure off the name, .. is no value", "statcan", `SELECT count(*) + 100 * max(a.quantity) FROM obs_price p JOIN amount a ON a.amount_id = p.amount JOIN word i ON i.word_id = p.item
			WHERE i.word = ? AND p.micro_price > 0`, []any{"eggs"}, 4 + 100*12},
		{"4.54 kilograms", "statcan", `SELECT max(a.quantity) FROM obs_price p JOIN amount a ON a.amount_id = p.amount JOIN word i ON i.word_id = p.item WHERE i.word = ?`, []any{"potatoes"}, 4.54},
		{"per pint of juice", "ers", price + "true", []any{"apples-ready-to-drink-juice"}, 0.9 / 0.473176473}, // NIST Handbook 44, appendix C
		{"wholesale is marked", "wfp-ken", `SELECT count(*) FROM obs_price WHERE is_wholesale`, nil, 9},
		{"retail beside wholesale, the same price", "wfp-ken", `SELECT count(*) FROM obs_price p JOIN word i ON i.word_id = p.item WHERE i.word = ? AND NOT is_wholesale`, []any{"maize"}, 3},
		{"quotes are no averages", "wfp-ken", `SELECT count(*) FROM obs_price WHERE is_average`, nil, 0},
		{"averages are", "bls", `SELECT count(*) FROM obs_price WHERE NOT is_average`, nil, 0},
		{"NA is no value", "bls", `SELECT count(*) FROM obs_price p JOIN word t ON t.word_id = p.price_type WHERE t.word = 'missing'`, nil, 4},
		{"the index of a label's base", "wfp-ken", `SELECT count(*) FROM obs_index WHERE base_period = '2015 = 100' AND series = 'food' AND region = 'kenya'`, nil, 12},
		{"a month that was never published stays away", "cpi", `SELECT count(*) FROM obs_index WHERE series = 'all-items' AND month > 2025 * 12`, nil, 2},
		{"adjusted under a name of its own", "cpi", `SELECT count(*) FROM obs_index WHERE adjustment = 'adjusted' AND series <> 'food-at-home-adjusted'`, nil, 0},
		{"an amount from a day to a day", "allowances", `SELECT amount FROM obs_allowance WHERE region = 'us' AND programme = 'benefit' AND effective_from = DATE '2021-01-01' AND effective_to = DATE '2021-09-30'`, nil, 230},
		{"an amount of one month", "allowances", `SELECT amount FROM obs_allowance WHERE programme = 'plan, thrifty' AND effective_from = DATE '1997-09-01' AND effective_to = DATE '1997-09-30'`, nil, 243},
		{"the note stands beside the source", "allowances", `SELECT count(*) FROM obs_allowance WHERE source = 'invented (SUSPECT)'`, nil, 1},
		{"price in the column of its brand", "scanner-oj", `SELECT sum(p.micro_price) FROM obs_price p JOIN word v ON v.word_id = p.variety JOIN word o ON o.word_id = p.outlet WHERE v.word = ? AND o.word = '2'`, []any{"Alba, 96"}, 2 * 20497},
		{"weeks by number", "scanner-oj", `SELECT count(*) FROM obs_price WHERE day = DATE '1989-09-14' + 7 * 39`, nil, 6},
		{"a promotion is one", "scanner-oj", `SELECT count(*) FROM obs_price p JOIN word t ON t.word_id = p.price_type WHERE t.word = 'promo'`, nil, 8},
		{"a label known to be wrong", "scanner-pl", `SELECT max(a.quantity) FROM obs_price p JOIN amount a ON a.amount_id = p.amount JOIN word v ON v.word_id = p.variety WHERE v.word = '82149'`, nil, 10},
	} {
		t.Run(c.name, func(t *testing.T) {
			k := takeIn(t, c.family, filesOf(t, c.family)...)
			if got := k.number(c.query, c.args...); math.Abs(got-c.want) > 1e-9*max(1, math.Abs(c.want)) {
				t.Errorf("got %v, want %v", got, c.want)
			}
		})
	}
}
