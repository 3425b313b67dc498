package pipeline

import (
	"bufio"
	"encoding/csv"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"farthing/pipeline/result"
)

// observation is a row of an edition's observations.csv, good until the next one is read.
type observation struct {
	at    map[string]int
	cells []string
}

func (o observation) get(column string) string { return o.cells[o.at[column]] }

func (o observation) clone() map[string]string {
	m := map[string]string{}
	for name, i := range o.at {
		m[name] = strings.Clone(o.cells[i])
	}
	return m
}

// eachObservation reads the observations of an edition, one at a time.
func eachObservation(dir string, each func(observation)) error {
	f, err := os.Open(filepath.Join(dir, result.Observations))
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
	o := observation{at: map[string]int{}}
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
