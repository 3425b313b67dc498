// Package queries holds the SQL of the project, one statement a file, with the
// header that says what each gives. It is a leaf: text only, no database.
package queries

import (
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"fmt"
	"io/fs"
	"path"
	"slices"
	"strings"
)

//go:embed schema/*.sql step/*.sql fault/*.sql
var files embed.FS

// Query is one SQL file.
type Query struct {
	Name string // of the file, and of the table a step makes
	Text string
	// Of the header: the columns that name a row, the tables read, the named
	// parameters. A test holds them against the parsed SQL.
	Grain, Inputs, Params []string
}

// The steps of the pipeline. A misspelt one does not compile; a test keeps
// them and the files in step.
var (
	ObsShared       = step("obs_shared")
	ObsRepeat       = step("obs_repeat")
	EditConflict    = step("edit_conflict")
	EditSuspect     = step("edit_suspect")
	EditHold        = step("edit_hold")
	ObsOwner        = step("obs_owner")
	PanelPack       = step("panel_pack")
	BasketPack      = step("basket_pack")
	PanelPrice      = step("panel_price")
	PanelChange     = step("panel_change")
	PanelAverage    = step("panel_average")
	PanelAbsent     = step("panel_absent")
	PanelHeld       = step("panel_held")
	ObservationList = step("observation_list")
	FileCount       = step("file_count")
	IntakeDigest    = step("intake_digest")
	SetAsideList    = step("set_aside_list")
	SetAsideReason  = step("set_aside_reason")
)

func step(name string) Query { return read("step/" + name + ".sql") }

// Faults are the checks before anything is published: each selects the rows
// that offend, so no rows is a pass.
var Faults = []Query{
	read("fault/rows_lost.sql"),
	read("fault/key_repeated.sql"),
}

// Schema is the statements that make an empty database, in order.
func Schema() []Query {
	names, err := fs.Glob(files, "schema/*.sql")
	if err != nil {
		panic(err)
	}
	slices.Sort(names)
	var list []Query
	for _, n := range names {
		list = append(list, read(n))
	}
	return list
}

// Hash is one hash of all SQL: a part of what makes a result.
func Hash() string {
	h := sha256.New()
	fs.WalkDir(files, ".", func(p string, d fs.DirEntry, err error) error {
		if !d.IsDir() {
			b, _ := files.ReadFile(p)
			fmt.Fprintf(h, "%s %x\n", p, sha256.Sum256(b))
		}
		return nil
	})
	return hex.EncodeToString(h.Sum(nil))
}

func read(name string) Query {
	b, err := files.ReadFile(name)
	if err != nil {
		panic(err)
	}
	q := Query{Name: strings.TrimSuffix(path.Base(name), ".sql"), Text: string(b)}
	for line := range strings.Lines(q.Text) {
		kind, rest, ok := strings.Cut(strings.TrimPrefix(line, "-- "), ":")
		if !ok || !strings.HasPrefix(line, "-- ") {
			continue
		}
		rest, _, _ = strings.Cut(rest, "(checked")
		var list []string
		for _, s := range strings.Split(rest, ",") {
			if s = strings.TrimSpace(s); s != "" && s != "none" {
				list = append(list, s)
			}
		}
		switch kind {
		case "grain":
			q.Grain = list
		case "inputs":
			q.Inputs = list
		case "params":
			q.Params = list
		}
	}
	return q
}
