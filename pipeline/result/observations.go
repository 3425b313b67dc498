package result

import (
	"bufio"
	"encoding/csv"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
)

// Observation is a row of an edition's observations.csv, good until the next one is read.
type Observation struct {
	at    map[string]int
	cells []string
}

// Get is the text of a column.
func (o Observation) Get(column string) string { return o.cells[o.at[column]] }

// IsHeld says whether an edit rule holds the row and no correction has settled it.
func (o Observation) IsHeld() bool { return o.Get("held") != "" && o.Get("correction") == "" }

// Clone is the row by column, to keep.
func (o Observation) Clone() map[string]string {
	m := map[string]string{}
	for name, i := range o.at {
		m[name] = strings.Clone(o.cells[i])
	}
	return m
}

// EachObservation reads the observations of an edition, one at a time.
func EachObservation(dir string, each func(Observation)) error {
	f, err := os.Open(filepath.Join(dir, Observations))
	if err != nil {
		return err
	}
	defer f.Close()
	r := csv.NewReader(bufio.NewReaderSize(f, 1<<20))
	r.ReuseRecord = true
	head, err := r.Read()
	if err != nil {
		return err
	}
	o := Observation{at: map[string]int{}}
	for i, name := range slices.Clone(head) {
		o.at[strings.Clone(name)] = i
	}
	for {
		if o.cells, err = r.Read(); err == io.EOF {
			return nil
		} else if err != nil {
			return err
		}
		each(o)
	}
}
