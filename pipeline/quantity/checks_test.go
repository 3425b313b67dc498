package quantity

import (
	"encoding/csv"
	"errors"
	"math/big"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
)

// published reads a table of testdata/published; the sources stand in its columns or its first line.
func published(t *testing.T, name string) []map[string]string {
	t.Helper()
	f, err := os.Open(filepath.Join("..", "..", "testdata", "published", name))
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
	var rows []map[string]string
	for _, line := range lines[1:] {
		row := map[string]string{}
		for i, column := range lines[0] {
			row[column] = line[i]
		}
		rows = append(rows, row)
	}
	return rows
}

func rat(t *testing.T, text string) *big.Rat {
	t.Helper()
	r, ok := new(big.Rat).SetString(text)
	if !ok {
		t.Fatalf("test data: %q is no number", text)
	}
	return r
}

// near: |got - want| <= max(abs, rel |want|), in exact arithmetic.
func near(t *testing.T, got *big.Rat, want, abs, rel string) {
	t.Helper()
	w := rat(t, want)
	most := new(big.Rat).Mul(rat(t, rel), new(big.Rat).Abs(w))
	if a := rat(t, abs); most.Cmp(a) < 0 {
		most = a
	}
	diff := new(big.Rat).Sub(got, w)
	if diff.Abs(diff).Cmp(most) > 0 {
		t.Errorf("got %s, want %s", got.FloatString(15), want)
	}
}

func unitOf(t *testing.T, token string) Amount {
	t.Helper()
	a, err := ParseUnit(token)
	if err != nil {
		t.Fatal(err)
	}
	return a
}

// counted fails if a table lost cases: a test that runs nothing proves nothing.
func counted(t *testing.T, got map[string]int, want map[string]int) {
	t.Helper()
	for kind, n := range want {
		if got[kind] != n {
			t.Errorf("%s: got %d cases, want %d", kind, got[kind], n)
		}
	}
}

func TestPublishedUnits(t *testing.T) {
	ran := map[string]int{}
	for _, row := range published(t, "units.csv") {
		ran[row["kind"]]++
		t.Run(row["case"], func(t *testing.T) {
			switch row["kind"] {
			case "convert":
				got, err := unitOf(t, row["from"]).Times(rat(t, row["value"])).In(unitOf(t, row["to"]))
				if err != nil {
					t.Fatal(err)
				}
				near(t, got, row["want"], "0", row["rel_tolerance"])
			case "mismatch":
				a := unitOf(t, row["from"]).Times(rat(t, row["value"]))
				to := unitOf(t, row["to"])
				if _, err := a.In(to); !errors.Is(err, ErrDimension) {
					t.Errorf("In: got %v, want ErrDimension", err)
				}
				if _, err := a.To(to.Dimension(), Bridge{Source: "none"}); !errors.Is(err, ErrDimension) {
					t.Errorf("To: got %v, want ErrDimension", err)
				}
			case "parse":
				a, err := ParseAmount(row["from"], Options{})
				if err != nil {
					t.Fatal(err)
				}
				got, err := a.In(unitOf(t, row["to"]))
				if err != nil {
					t.Fatal(err)
				}
				near(t, got, row["want"], "0", row["rel_tolerance"])
			default:
				t.Errorf("unknown kind %q", row["kind"])
			}
		})
	}
	counted(t, ran, map[string]int{"convert": 42, "mismatch": 2, "parse": 5})
}

func TestPublishedUnitPrices(t *testing.T) {
	ran := map[string]int{}
	var offers []Offer
	var wantRank []map[string]string
	for _, row := range published(t, "unitprice.csv") {
		ran[row["kind"]]++
		t.Run(row["case"], func(t *testing.T) {
			switch row["kind"] {
			case "us", "uk":
				size := unitOf(t, row["unit"]).Times(rat(t, row["size"]))
				got, err := UnitPrice(rat(t, row["price"]), size, unitOf(t, row["per"]))
				if err != nil {
					t.Fatal(err)
				}
				near(t, got, row["want_exact"], row["abs_tolerance"], row["rel_tolerance"])
				near(t, rat(t, DisplayUnitPrice(got)), row["want_display"], row["abs_tolerance"], row["rel_tolerance"])
			case "basis":
				d, ok := DimensionOf(row["per"])
				if !ok || d.String() != row["name"] || d.BaseUnit() != row["per"] {
					t.Errorf("got %s per %q, want %s per %s", d, d.BaseUnit(), row["name"], row["per"])
				}
			case "rank":
				// Against the wanted order, so that ranking has something to do.
				size := unitOf(t, row["unit"]).Times(rat(t, row["size"]))
				offers = append([]Offer{{row["name"], rat(t, row["price"]), size}}, offers...)
				wantRank = append(wantRank, row)
			default:
				t.Errorf("unknown kind %q", row["kind"])
			}
		})
	}
	counted(t, ran, map[string]int{"us": 11, "uk": 6, "basis": 3, "rank": 3})
	ranked, err := Rank(offers, unitOf(t, "kg"))
	if err != nil || len(ranked) != len(wantRank) {
		t.Fatalf("got %d ranked and %v, want %d", len(ranked), err, len(wantRank))
	}
	for i, want := range wantRank {
		if ranked[i].Name != want["name"] {
			t.Errorf("place %d: got %s, want %s", i+1, ranked[i].Name, want["name"])
		}
		near(t, ranked[i].UnitPrice, want["want_exact"], want["abs_tolerance"], want["rel_tolerance"])
	}
}

func TestPublishedGTIN(t *testing.T) {
	ran := map[string]int{}
	for _, row := range published(t, "gtin.csv") {
		ran[row["kind"]]++
		t.Run(row["case"], func(t *testing.T) {
			var got string
			var err error
			switch code := row["code"]; row["kind"] {
			case "check_digit":
				var digit int
				digit, err = CheckDigit(code)
				got = strconv.Itoa(digit)
			case "valid":
				got = strconv.FormatBool(ValidGTIN(code))
			case "gtin14":
				got, err = GTIN14(code)
			case "case":
				got, err = CaseGTIN14(code, int(rat(t, row["indicator"]).Num().Int64()))
			case "upce":
				got, err = ExpandUPCE(code)
			case "restricted":
				var restricted bool
				restricted, err = Restricted(code)
				got = strconv.FormatBool(restricted)
			}
			if err != nil || got != row["want"] {
				t.Errorf("%s %s: got %q and %v, want %q", row["kind"], row["code"], got, err, row["want"])
			}
		})
	}
	counted(t, ran, map[string]int{"check_digit": 8, "valid": 10, "gtin14": 3, "case": 1, "upce": 1, "restricted": 3})
}

// Price of a cup equivalent = price per unit x cup size in that unit / yield (USDA ERS). The parser reads the units.
func TestPublishedCupPrices(t *testing.T) {
	ran := map[string]int{}
	for _, row := range published(t, "cupprice.csv") {
		ran["cup"]++
		t.Run(row["case"], func(t *testing.T) {
			per, err := ParseAmount(row["price_unit"], Options{})
			if err != nil {
				t.Fatal(err)
			}
			cup, err := ParseAmount(row["cup_size"]+" "+row["cup_unit"], Options{})
			if err != nil {
				t.Fatal(err)
			}
			n, err := cup.In(per)
			if err != nil {
				t.Fatal(err)
			}
			got := n.Mul(n, rat(t, row["price"]))
			got.Quo(got, rat(t, row["yield"]))
			near(t, got, row["want"], row["abs_tolerance"], row["rel_tolerance"])
		})
	}
	counted(t, ran, map[string]int{"cup": 17})
}

func TestPublishedSeriesTitles(t *testing.T) {
	ran := map[string]int{}
	for _, row := range published(t, "series_titles.csv") {
		ran["title"]++
		a, read, err := ParseTitleUnit(row["title"])
		if row["want_amount"] == "" {
			ran["none"]++
			if !errors.Is(err, ErrUnit) {
				t.Errorf("%s: got %s and %v, want ErrUnit", row["title"], a, err)
			}
			continue
		}
		if err != nil || a.String() != row["want_amount"] || !strings.Contains(row["title"], read) {
			t.Errorf("%s: got %s from %q and %v, want %s", row["title"], a, read, err, row["want_amount"])
		}
	}
	counted(t, ran, map[string]int{"title": 155, "none": 5})
}

// The price of one unit bought, and the units to buy for so many servings.
func TestPublishedPurchases(t *testing.T) {
	ran := map[string]int{}
	for _, row := range published(t, "edible.csv") {
		ran[row["kind"]]++
		t.Run(row["case"], func(t *testing.T) {
			var got *big.Rat
			var err error
			switch row["kind"] {
			case "ap_unit_cost":
				got, err = UnitPrice(rat(t, row["a"]), unitOf(t, "lb").Times(rat(t, row["b"])), unitOf(t, "lb"))
			case "purchase_units_for_servings":
				got, err = PurchaseUnits(rat(t, row["a"]), rat(t, row["b"]), 1)
			default: // of pipeline/reference
				return
			}
			if err != nil {
				t.Fatal(err)
			}
			near(t, got, row["want"], "0", row["rel_tolerance"])
		})
	}
	counted(t, ran, map[string]int{"ap_unit_cost": 1, "purchase_units_for_servings": 8})
	zero, one := new(big.Rat), big.NewRat(1, 1)
	for _, bad := range [][2]*big.Rat{{nil, one}, {one, nil}, {one, zero}, {big.NewRat(-1, 1), one}} {
		if got, err := PurchaseUnits(bad[0], bad[1], 1); !errors.Is(err, ErrSyntax) {
			t.Errorf("%v: got %v and %v, want ErrSyntax", bad, got, err)
		}
	}
	if got, err := PurchaseUnits(zero, one, 0); err != nil || got.Sign() != 0 {
		t.Errorf("no servings: got %v and %v", got, err)
	}
	if got, err := PurchaseUnits(big.NewRat(7, 1), big.NewRat(2, 1), 0); err != nil || got.RatString() != "4" {
		t.Errorf("whole units: got %v and %v, want 4", got, err)
	}
}
