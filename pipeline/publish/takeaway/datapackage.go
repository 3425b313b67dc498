package takeaway

import (
	"fmt"
	"path"
	"path/filepath"
	"slices"
	"strings"
	"time"
	"unicode"

	"farthing/pipeline/result"
)

// The Data Package standard, version 2: what is written of it. Sections of
// datapackage.org/standard are named beside what follows from them.
type (
	// dataPackage: Data Package, "Properties". edition is a property of our own.
	dataPackage struct {
		Schema      string     `json:"$schema"`
		Name        string     `json:"name"`
		Title       string     `json:"title"`
		Description string     `json:"description"`
		Version     string     `json:"version"`
		Edition     string     `json:"edition"`
		Created     string     `json:"created"`
		Keywords    []string   `json:"keywords"`
		Sources     []dpSource `json:"sources,omitempty"`
		Resources   []resource `json:"resources"`
	}
	// dpSource: Data Package, "sources"; producer and licence are our own.
	dpSource struct {
		Title    string `json:"title"`
		Path     string `json:"path,omitempty"`
		Producer string `json:"producer,omitempty"`
		Licence  string `json:"licence,omitempty"`
	}
	// resource: Data Resource, "Properties".
	resource struct {
		Schema      string       `json:"$schema"`
		Name        string       `json:"name"`
		Type        string       `json:"type,omitempty"`
		Path        string       `json:"path"`
		Title       string       `json:"title"`
		Description string       `json:"description"`
		Format      string       `json:"format"`
		MediaType   string       `json:"mediatype"`
		Encoding    string       `json:"encoding,omitempty"`
		Bytes       int64        `json:"bytes"`
		Hash        string       `json:"hash"`
		Edition     string       `json:"edition"`
		Rows        *int         `json:"rows,omitempty"`
		Dialect     *dialect     `json:"dialect,omitempty"`
		Table       *tableSchema `json:"schema,omitempty"`
	}
	// dialect: Table Dialect, "Properties".
	dialect struct {
		Schema         string `json:"$schema"`
		Delimiter      string `json:"delimiter"`
		LineTerminator string `json:"lineTerminator"`
		QuoteChar      string `json:"quoteChar"`
		DoubleQuote    bool   `json:"doubleQuote"`
		Header         bool   `json:"header"`
	}
	// tableSchema: Table Schema, "Schema".
	tableSchema struct {
		Schema        string   `json:"$schema"`
		Fields        []field  `json:"fields"`
		MissingValues []string `json:"missingValues"`
		PrimaryKey    []string `json:"primaryKey"`
	}
	// field: Table Schema, "Field"; unit is our own.
	field struct {
		Name        string `json:"name"`
		Type        string `json:"type"`
		Format      string `json:"format,omitempty"`
		Title       string `json:"title"`
		Description string `json:"description,omitempty"`
		Unit        string `json:"unit,omitempty"`
		// MissingValues of a text in the key is empty: there "" is a value, for
		// fields of a primaryKey can not be null.
		MissingValues *[]string `json:"missingValues,omitempty"`
	}
)

const profiles = "https://datapackage.org/profiles/2.0/"

var fieldTypes = map[result.Type]string{result.Text: "string", result.Day: "date", result.MonthOfYear: "yearmonth", result.Whole: "integer", result.Decimal: "number"}

// schemaOf is a table's schema.
func schemaOf(t result.Table) *tableSchema {
	s := &tableSchema{Schema: profiles + "tableschema.json", MissingValues: []string{""}, PrimaryKey: t.Keys()}
	for _, c := range t.Columns {
		f := field{Name: c.Name, Type: fieldTypes[c.Type], Title: c.Title, Description: c.Text, Unit: c.Unit}
		if c.Key && c.Type == result.Text {
			f.MissingValues = &[]string{}
		}
		s.Fields = append(s.Fields, f)
	}
	return s
}

// plainName makes a name of lower-case letters, digits and "-".
func plainName(s string) string {
	s = strings.Map(func(r rune) rune {
		if r = unicode.ToLower(r); r >= 'a' && r <= 'z' || r >= '0' && r <= '9' {
			return r
		}
		return '-'
	}, s)
	for strings.Contains(s, "--") {
		s = strings.ReplaceAll(s, "--", "-")
	}
	if s = strings.Trim(s, "-"); s == "" {
		return "edition"
	}
	return s
}

// writePackage writes the descriptor of all files of dir, and the same as linked data.
func writePackage(dir string, e *result.Edition, tables []taken, known map[string]string) error {
	p := dataPackage{Schema: profiles + "datapackage.json", Name: plainName(e.Name), Title: e.Name, Version: "0.0.0+" + e.Hash, Edition: e.Hash, Created: asOf(e).Format(time.RFC3339),
		Description: about(e) + "\n\n" + strings.Join(cautions(e), "\n\n"), Keywords: []string{"food prices", "food allowance", "cost of a food basket", "price index"}}
	for _, s := range sources(e) {
		p.Sources = append(p.Sources, dpSource{Title: s.title(), Producer: s.Producer, Licence: s.Licence})
	}
	add := func(r resource, file string) error {
		r.Schema, r.Path, r.Edition = profiles+"dataresource.json", file, e.Hash
		var err error
		if r.Bytes, r.Hash, err = sumOf(filepath.Join(dir, filepath.FromSlash(file)), known[file]); err != nil {
			return err
		}
		r.Hash = "sha256:" + r.Hash
		p.Resources = append(p.Resources, r)
		return nil
	}
	csv := &dialect{profiles + "tabledialect.json", ",", "\n", `"`, true, true}
	for _, t := range tables {
		if err := add(resource{Name: t.Name, Type: "table", Title: t.Title, Description: t.Text, Format: "csv", MediaType: "text/csv", Encoding: "utf-8",
			Rows: &t.rows, Dialect: csv, Table: schemaOf(t.Table)}, t.Name+".csv"); err != nil {
			return err
		}
	}
	for _, t := range tables {
		if err := add(resource{Name: t.Name + "-parquet", Title: t.Title + ", Parquet", Description: "The same values as " + t.Name + ".csv, typed; what is missing is null.",
			Format: "parquet", MediaType: "application/vnd.apache.parquet"}, t.Name+".parquet"); err != nil {
			return err
		}
	}
	for _, t := range tables {
		if t.rows > SpreadsheetRows {
			continue
		}
		if err := add(resource{Name: t.Name + "-spreadsheet", Title: t.Title + ", for a spreadsheet", Format: "csv", MediaType: "text/csv", Encoding: "utf-8",
			Description: "The same values as " + t.Name + ".csv; a text that a spreadsheet would run as a formula has an apostrophe before it."}, path.Join(SafeFolder, t.Name+".csv")); err != nil {
			return err
		}
	}
	if err := add(resource{Name: "workbook", Title: "Workbook", Description: "One sheet a table, with a cover.", Format: "xlsx",
		MediaType: "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"}, Workbook); err != nil {
		return err
	}
	if err := writeJSON(filepath.Join(dir, DataPackage), p); err != nil {
		return err
	}
	return writeJSON(filepath.Join(dir, JSONLD), linked(e, p))
}

// linked describes the edition as a Dataset of schema.org: the properties that
// it and Science-on-Schema ask of one (name, description, version, measured
// variables, distribution with the file's hash).
func linked(e *result.Edition, p dataPackage) map[string]any {
	var files, variables []any
	var told []string
	for _, r := range p.Resources {
		files = append(files, map[string]any{"@type": "DataDownload", "name": r.Title, "description": r.Description, "encodingFormat": r.MediaType,
			"contentUrl": r.Path, "contentSize": fmt.Sprintf("%d B", r.Bytes), "sha256": strings.TrimPrefix(r.Hash, "sha256:")})
		if r.Table == nil {
			continue
		}
		for _, f := range r.Table.Fields {
			if (f.Type != "number" && f.Type != "integer") || slices.Contains(told, f.Name) {
				continue
			}
			told = append(told, f.Name)
			v := map[string]any{"@type": "PropertyValue", "name": f.Name, "description": f.Title + ". " + f.Description}
			if f.Unit != "" {
				v["unitText"] = f.Unit
			}
			variables = append(variables, v)
		}
	}
	var based []any
	for _, s := range p.Sources {
		d := map[string]any{"@type": "Dataset", "name": s.Title, "description": s.Title + ": a source of this edition."}
		if s.Producer != "" {
			d["creator"] = map[string]any{"@type": "Organization", "name": s.Producer}
		}
		if s.Licence != "" {
			d["license"] = s.Licence
		}
		based = append(based, d)
	}
	d := map[string]any{"@context": "https://schema.org/", "@type": "Dataset", "name": p.Title, "description": p.Description, "version": e.Hash,
		"identifier": e.Hash, "dateModified": e.AsOf, "keywords": p.Keywords, "isAccessibleForFree": true, "inLanguage": "en",
		"variableMeasured": variables, "distribution": files, "creditText": citation(e)}
	if e.FirstOn != "" {
		d["temporalCoverage"] = e.FirstOn + "/" + e.AsOf
	}
	if based != nil {
		d["isBasedOn"] = based
	}
	return d
}
