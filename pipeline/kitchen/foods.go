package kitchen

import (
	"bytes"
	"crypto/sha256"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"farthing/pipeline/reference"
	"farthing/pipeline/workspace"
)

// Foods say what foods are made of: the workspace's tables over the embedded ones.
type Foods struct{ *reference.Foods }

// ReadFoods lays tables/foods, nutrients and food_weights over the embedded
// tables, figure by figure; every fault found is in the error.
func ReadFoods(w *workspace.Workspace) (Foods, error) {
	foods, nutrients, weights, err := w.Foods()
	if err != nil {
		return Foods{}, err
	}
	var f []reference.FoodRow
	for _, r := range foods {
		f = append(f, reference.FoodRow{At: reference.At(r.At), Code: r.Code, Name: r.Name, Refuse: r.Refuse, Source: r.Source})
	}
	var n []reference.NutrientRow
	for _, r := range nutrients {
		n = append(n, reference.NutrientRow{At: reference.At(r.At), FoodCode: r.FoodCode, Nutrient: r.Nutrient, Per100g: r.Per100g, Unit: r.Unit, Source: r.Source})
	}
	var h []reference.WeightRow
	for _, r := range weights {
		h = append(h, reference.WeightRow{At: reference.At(r.At), FoodCode: r.FoodCode, Measure: r.Measure, Form: r.Form, Count: r.Count, Grams: r.Grams, Source: r.Source})
	}
	own, err := reference.FromTables(f, n, h)
	if err != nil {
		return Foods{}, asInput(err)
	}
	return Foods{own.Over(reference.Excerpt())}, nil
}

// asInput turns the faults of rows into those that are told to a user.
func asInput(err error) error {
	joined, ok := err.(interface{ Unwrap() []error })
	if !ok {
		return err
	}
	var errs []error
	for _, e := range joined.Unwrap() {
		var bad *reference.RowError
		if errors.As(e, &bad) {
			e = inputError(bad)
		}
		errs = append(errs, e)
	}
	return errors.Join(errs...)
}

func inputError(e *reference.RowError) *workspace.InputError {
	return &workspace.InputError{Code: "table", File: e.File, Line: e.Line, Field: e.Field, Read: e.Read, Instead: e.Instead}
}

// FoodImport says what became of a folder with a food composition table.
type FoodImport struct {
	Schema string                  `json:"schema"`
	Source string                  `json:"source"`
	Files  []FoodFile              `json:"files"`
	Bad    []*workspace.InputError `json:"quarantined_rows"`
	Tables []FoodTable             `json:"tables"`
}

// FoodFile counts the rows of a file: read = accepted + left out + quarantined.
type FoodFile struct {
	File        string         `json:"file"`
	SHA256      string         `json:"sha256"`
	Read        int            `json:"read"`
	Accepted    int            `json:"accepted"`
	LeftOut     int            `json:"left_out"`
	Quarantined int            `json:"quarantined"`
	Reasons     []FoodLeftRows `json:"left_out_reasons"`
}

// FoodLeftRows are rows that are well and not taken.
type FoodLeftRows struct {
	Why  string `json:"why"`
	Rows int    `json:"rows"`
}

// FoodTable is a table that the import makes.
type FoodTable struct {
	Table string `json:"table"`
	Rows  int    `json:"rows"`
	State string `json:"state"` // written, replaced or unchanged
}

// Quarantined counts the rows set aside.
func (x *FoodImport) Quarantined() int { return len(x.Bad) }

// IsFoods says whether a folder holds a food composition table.
func IsFoods(dir fs.FS) bool { return reference.IsSR26(dir) }

// FoodFiles are those that such a folder must hold.
const FoodFiles = "food.csv, nutrient_def.csv and nutrient.csv or nutrient.csv.gz"

// ImportFoods reads a folder with the USDA table (reference.ReadSR26) and writes
// it as the workspace's tables of foods, with source and licence. source is what
// the figures are cited as; blank: release 26, which the layout is that of. A
// table that stands there with other content is left, and all with it, unless
// replace. The household weights of foods that have embedded ones are left out:
// those were picked by hand, one for each measure.
func ImportFoods(w *workspace.Workspace, dir fs.FS, source string, replace bool) (*FoodImport, error) {
	licence := "source as told at the import: " + source
	if source == "" {
		source, licence = reference.SR26Source, reference.SR26Licence
	}
	read, err := reference.ReadSR26(dir, source, workspace.BadText)
	if err != nil {
		return nil, &workspace.InputError{Code: "foods", Read: err.Error(), Instead: "the files as published; nothing was written"}
	}
	x := &FoodImport{Schema: "farthing.import_foods/1", Source: source, Bad: []*workspace.InputError{}, Files: []FoodFile{}}
	for _, b := range read.Bad {
		x.Bad = append(x.Bad, inputError(b))
	}
	picked := 0
	for _, code := range read.Foods.Codes() {
		f, _ := read.Foods.Food(code)
		if built, ok := reference.Excerpt().Food(code); ok && built.Weights != nil {
			picked += len(f.Weights)
			f.Weights = nil
		}
	}
	about := []string{licence, "written by farthing import from"}
	for _, f := range read.Files {
		sum, err := hashOf(dir, f.File)
		if err != nil {
			return nil, err
		}
		file := FoodFile{File: f.File, SHA256: sum, Read: f.Read, Accepted: f.Taken, Quarantined: f.Bad, Reasons: []FoodLeftRows{}}
		for _, l := range f.LeftOut {
			file.Reasons = append(file.Reasons, FoodLeftRows(l))
		}
		if f.File == "weight.csv" && picked > 0 {
			file.Accepted -= picked
			file.Reasons = append(file.Reasons, FoodLeftRows{"of a food whose household weights are built in", picked})
		}
		for _, l := range file.Reasons {
			file.LeftOut += l.Rows
		}
		x.Files = append(x.Files, file)
		about = append(about, f.File+", sha256 "+sum)
	}
	type made struct {
		path string
		text []byte
	}
	var tables []made
	for _, t := range []struct {
		name  string
		write func(io.Writer) error
	}{{"foods", read.Foods.WriteFoods}, {"nutrients", read.Foods.WriteNutrients}, {"food_weights", read.Foods.WriteWeights}} {
		var b bytes.Buffer
		for _, line := range about {
			fmt.Fprintf(&b, "# %s\n", strings.Join(strings.Fields(strings.ReplaceAll(line, `"`, "'")), " "))
		}
		if err := t.write(&b); err != nil {
			return nil, err
		}
		name := "tables/" + t.name + ".csv"
		rows, err := rowsOf(b.Bytes())
		if err != nil {
			return nil, err
		}
		state, other := "written", false
		switch old, err := w.Text(name); {
		case err == nil && bytes.Equal(old, b.Bytes()):
			state = "unchanged"
		case err == nil:
			state, other = "replaced", true
		case !errors.Is(err, fs.ErrNotExist):
			return nil, err
		}
		if _, err := w.Text("tables/" + t.name + ".xlsx"); err == nil {
			return nil, &workspace.InputError{Code: "exists", File: "tables/" + t.name + ".xlsx", Read: "a table stands there", Instead: "take it away, or its rows into a CSV of your own; nothing was written"}
		}
		if other && !replace {
			return nil, &workspace.InputError{Code: "exists", File: name, Read: "a table with other content stands there", Instead: "--replace writes over it; nothing was written"}
		}
		x.Tables = append(x.Tables, FoodTable{"tables/" + t.name, rows, state})
		tables = append(tables, made{filepath.Join(w.Dir, filepath.FromSlash(name)), b.Bytes()})
	}
	for i, t := range tables {
		if x.Tables[i].State == "unchanged" {
			continue
		}
		if err := errors.Join(os.MkdirAll(filepath.Dir(t.path), 0o755), workspace.WriteFile(t.path, t.text)); err != nil {
			return nil, err
		}
	}
	return x, nil
}

// rowsOf counts the rows of a table below its heading.
func rowsOf(text []byte) (int, error) {
	r := csv.NewReader(bytes.NewReader(text))
	r.Comment = '#'
	r.ReuseRecord = true
	n := -1
	for {
		if _, err := r.Read(); err == io.EOF {
			return n, nil
		} else if err != nil {
			return 0, err
		}
		n++
	}
}

func hashOf(dir fs.FS, name string) (string, error) {
	f, err := dir.Open(name)
	if err != nil {
		return "", err
	}
	defer f.Close()
	h := sha256.New()
	_, err = io.Copy(h, f)
	return fmt.Sprintf("%x", h.Sum(nil)), err
}
