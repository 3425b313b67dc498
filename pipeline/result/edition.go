package result

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"reflect"
	"sort"
	"strings"
	"sync"
)

// Meta says what an edition is and by which choices it was computed.
type Meta struct {
	Schema    string `json:"schema"`
	Name      string `json:"name"`
	Invented  bool   `json:"invented"`
	Caution   string `json:"caution"`
	AsOf      string `json:"as_of"`
	FirstOn   string `json:"first_on"`
	BaseMonth string `json:"base_month"`
	Deflator  string `json:"deflator"`
	// Options are the choices of the settings that the figures depend on, in
	// a fixed order, as name and value.
	Options [][2]string `json:"options"`
	// Publish are the combinations that get pages, the front page's first.
	Publish []Combination `json:"publish"`

	Accepted    int `json:"accepted"`
	Quarantined int `json:"quarantined"`
	Mended      int `json:"mended"` // of the quarantined
	Duplicate   int `json:"duplicate"`
	Held        int `json:"held"`
	Counted     int `json:"counted"` // observations that a published price rests on
}

// Combination is what one set of pages is about.
type Combination struct {
	Programme  string `json:"programme"`
	AmountKind string `json:"amount_kind"`
	Region     string `json:"region"`
	Household  string `json:"household"`
	Basket     string `json:"basket"`
}

// Edition is one complete, consistent state of all results.
type Edition struct {
	Hash string            `json:"-"`
	Dir  string            `json:"-"`
	Sums map[string]string `json:"-"` // hashes of files taken while they were written
	Meta

	Reach      []Reach
	Baskets    []Basket
	Lines      []BasketLine
	Items      []Item
	Levels     []RegionLevel
	Moved      []Moved
	Changes    []BasketChange
	Packs      []Pack
	Allowances []Allowance
	Deflators  []DeflatorValue
	Sources    []Source
	SetAside   []SetAside
	AsideRows  []SetAsideRow // to be written; Load leaves them to LoadAsideRows
	Warnings   []Warning

	Shoppings     []Shopping
	Meals         []Meal
	MealLines     []MealLine
	ShoppingLines []ShoppingLine
	Swaps         []Swapped
	Nutrients     []MealNutrient

	Regions    []Region
	Households []Household
	ItemNames  []ItemName

	Diets     []Diet
	DietLines []DietLine

	// To be written and published; Load leaves it, for no page has it.
	Sensitivity []Sensitivity
}

// file is one table of an edition.
type file struct {
	name  string
	write func(*Edition, io.Writer, bool) error
	read  func(*Edition, io.Reader) error
	// published tables stand in site/data as well
	published bool
	// few read an apart one, which may be long
	apart bool
	// columns are those of its rows
	columns []column
}

func table[T any](name string, published bool, rows func(*Edition) *[]T) file {
	return file{name,
		func(e *Edition, w io.Writer, exact bool) error { return WriteCSV(w, *rows(e), exact) },
		func(e *Edition, r io.Reader) (err error) { *rows(e), err = ReadCSV[T](r); return err },
		published, false, columnsOf(reflect.TypeFor[T]())}
}

var asideFile = apart(table("set_aside_rows", false, func(e *Edition) *[]SetAsideRow { return &e.AsideRows }))

// apart is a table that Load leaves.
func apart(f file) file {
	f.apart = true
	return f
}

var files = []file{
	table("reach", true, func(e *Edition) *[]Reach { return &e.Reach }),
	table("basket", true, func(e *Edition) *[]Basket { return &e.Baskets }),
	table("basket_lines", true, func(e *Edition) *[]BasketLine { return &e.Lines }),
	table("item", true, func(e *Edition) *[]Item { return &e.Items }),
	table("regions", true, func(e *Edition) *[]RegionLevel { return &e.Levels }),
	table("moved", true, func(e *Edition) *[]Moved { return &e.Moved }),
	table("basket_changes", true, func(e *Edition) *[]BasketChange { return &e.Changes }),
	table("packs", false, func(e *Edition) *[]Pack { return &e.Packs }),
	table("allowances", true, func(e *Edition) *[]Allowance { return &e.Allowances }),
	table("deflator_values", false, func(e *Edition) *[]DeflatorValue { return &e.Deflators }),
	table("shoppings", true, func(e *Edition) *[]Shopping { return &e.Shoppings }),
	table("meals", true, func(e *Edition) *[]Meal { return &e.Meals }),
	table("meal_lines", true, func(e *Edition) *[]MealLine { return &e.MealLines }),
	table("shopping_lines", true, func(e *Edition) *[]ShoppingLine { return &e.ShoppingLines }),
	table("swaps", true, func(e *Edition) *[]Swapped { return &e.Swaps }),
	table("meal_nutrients", true, func(e *Edition) *[]MealNutrient { return &e.Nutrients }),
	table("diets", true, func(e *Edition) *[]Diet { return &e.Diets }),
	table("diet_lines", true, func(e *Edition) *[]DietLine { return &e.DietLines }),
	table("sources", false, func(e *Edition) *[]Source { return &e.Sources }),
	table("set_aside", false, func(e *Edition) *[]SetAside { return &e.SetAside }),
	asideFile,
	table("warnings", false, func(e *Edition) *[]Warning { return &e.Warnings }),
	table("regions_named", false, func(e *Edition) *[]Region { return &e.Regions }),
	table("households_named", false, func(e *Edition) *[]Household { return &e.Households }),
	table("items_named", false, func(e *Edition) *[]ItemName { return &e.ItemNames }),
	apart(table("sensitivity", true, func(e *Edition) *[]Sensitivity { return &e.Sensitivity })),
}

const metaFile, manifestFile = "edition.json", "manifest.json"

// Observations is the name of the edition's largest file, which is streamed
// and never held here.
const Observations = "observations.csv"

// WriteData writes the published tables, rounded, into a folder.
func (e *Edition) WriteData(dir string) error {
	return e.writeTables(dir, false, func(f file) bool { return f.published })
}

// Write writes the exact tables and the description into a folder that may
// already hold other files of the edition (its observations, the tables used).
func (e *Edition) Write(dir string) error {
	return errors.Join(e.writeTables(dir, true, func(file) bool { return true }),
		writeFile(filepath.Join(dir, metaFile), func(w io.Writer) error { return writeJSON(w, e.Meta) }))
}

// writeTables writes tables side by side: each is a file of its own.
func (e *Edition) writeTables(dir string, exact bool, wanted func(file) bool) error {
	errs := make([]error, len(files))
	var wg sync.WaitGroup
	for i, f := range files {
		if wanted(f) {
			wg.Go(func() {
				errs[i] = writeFile(filepath.Join(dir, f.name+".csv"), func(w io.Writer) error { return f.write(e, w, exact) })
			})
		}
	}
	wg.Wait()
	return errors.Join(errs...)
}

func writeFile(path string, write func(io.Writer) error) error {
	f, err := os.Create(path)
	if err != nil {
		return err
	}
	if err := errors.Join(write(f), f.Sync(), f.Close()); err != nil {
		return fmt.Errorf("%s: %w", path, err)
	}
	return nil
}

func writeJSON(w io.Writer, v any) error {
	enc := json.NewEncoder(w)
	enc.SetIndent("", "  ")
	enc.SetEscapeHTML(false)
	return enc.Encode(v)
}

// manifestEntry is one file of an edition.
type manifestEntry struct {
	File   string `json:"file"`
	Bytes  int64  `json:"bytes"`
	SHA256 string `json:"sha256"`
}

// sitePrefix begins the name of a folder of pages drawn from an edition, which
// are no part of it.
const sitePrefix = "site-"

// SiteName is the folder, in an edition's, of the pages whose own hash is given.
func SiteName(hash string) string { return sitePrefix + hash }

// Manifest reads the hashes of an edition's files.
func Manifest(dir string) (map[string]string, error) {
	b, err := os.ReadFile(filepath.Join(dir, manifestFile))
	if err != nil {
		return nil, err
	}
	var list []manifestEntry
	if err := json.Unmarshal(b, &list); err != nil {
		return nil, fmt.Errorf("%s: %w", manifestFile, err)
	}
	sums := map[string]string{}
	for _, f := range list {
		sums[f.File] = f.SHA256
	}
	return sums, nil
}

// Seal lists every file below dir with its hash in a manifest and gives the
// edition's hash, which is that of the manifest. known are hashes taken while
// a file was written, by its name.
func Seal(dir string, known map[string]string) (string, error) {
	var list []manifestEntry
	err := filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if d != nil && d.IsDir() && strings.HasPrefix(d.Name(), sitePrefix) {
			return fs.SkipDir
		}
		if err != nil || d.IsDir() || d.Name() == manifestFile {
			return err
		}
		rel, err := filepath.Rel(dir, path)
		if err != nil {
			return err
		}
		entry := manifestEntry{File: filepath.ToSlash(rel), SHA256: known[rel]}
		if entry.SHA256 == "" {
			b, err := os.ReadFile(path)
			if err != nil {
				return err
			}
			sum := sha256.Sum256(b)
			entry.Bytes, entry.SHA256 = int64(len(b)), hex.EncodeToString(sum[:])
		} else {
			st, err := os.Stat(path)
			if err != nil {
				return err
			}
			entry.Bytes = st.Size()
		}
		list = append(list, entry)
		return nil
	})
	if err != nil {
		return "", err
	}
	sort.Slice(list, func(i, j int) bool { return list[i].File < list[j].File })
	var b bytes.Buffer
	if err := writeJSON(&b, list); err != nil {
		return "", err
	}
	sum := sha256.Sum256(b.Bytes())
	return hex.EncodeToString(sum[:8]), os.WriteFile(filepath.Join(dir, manifestFile), b.Bytes(), 0o644)
}

// LoadMeta reads an edition's description alone.
func LoadMeta(dir string) (m Meta, err error) {
	b, err := os.ReadFile(filepath.Join(dir, metaFile))
	if err != nil {
		return m, err
	}
	if err := json.Unmarshal(b, &m); err != nil {
		return m, fmt.Errorf("%s: %w", metaFile, err)
	}
	return m, nil
}

// Load reads an edition's folder; its name is the hash.
func Load(dir string) (*Edition, error) {
	e := &Edition{Hash: filepath.Base(dir), Dir: dir}
	var err error
	if e.Meta, err = LoadMeta(dir); err != nil {
		return nil, err
	}
	for _, f := range files {
		if f.apart {
			continue
		}
		if err := f.load(e); err != nil {
			return nil, err
		}
	}
	return e, nil
}

// LoadPublished is Load with every table that WriteData writes.
func LoadPublished(dir string) (*Edition, error) {
	e, err := Load(dir)
	if err != nil {
		return nil, err
	}
	for _, f := range files {
		if f.apart && f.published {
			err = errors.Join(err, f.load(e))
		}
	}
	return e, err
}

// LoadAsideRows reads every row set aside into a loaded edition.
func (e *Edition) LoadAsideRows() error { return asideFile.load(e) }

func (f file) load(e *Edition) error {
	r, err := os.Open(filepath.Join(e.Dir, f.name+".csv"))
	if errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("edition %s has no %s.csv, as one of an earlier version of the program: run again (%w)", e.Hash, f.name, err)
	}
	if err != nil {
		return err
	}
	defer r.Close()
	if err := f.read(e, r); err != nil {
		return fmt.Errorf("%s.csv: %w", f.name, err)
	}
	return nil
}
