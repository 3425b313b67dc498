package takeaway

import (
	"cmp"
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"path/filepath"
	"slices"
	"strings"

	"farthing/pipeline/result"
)

// origin is the files of one source under one licence.
type origin struct {
	Source, Producer, Licence string
	files                     int
}

// sources are an edition's sources, by name, producer and licence.
func sources(e *result.Edition) []origin {
	count := map[origin]int{}
	for _, s := range e.Sources {
		count[origin{Source: s.Source, Producer: s.Producer, Licence: s.Licence}]++
	}
	var list []origin
	for o, n := range count {
		o.files = n
		list = append(list, o)
	}
	slices.SortFunc(list, func(a, b origin) int {
		return cmp.Or(cmp.Compare(a.Source, b.Source), cmp.Compare(a.Producer, b.Producer), cmp.Compare(a.Licence, b.Licence))
	})
	return list
}

// title is never empty.
func (o origin) title() string { return cmp.Or(o.Source, "a file without a source") }

func (o origin) words() string {
	return fmt.Sprintf("%s: %s; licence: %s; %d file(s).", o.title(), cmp.Or(o.Producer, "producer not told"), cmp.Or(o.Licence, "not told"), o.files)
}

// citation is how to cite an edition, in one line.
func citation(e *result.Edition) string {
	return fmt.Sprintf("%s, edition %s, as of %s.", e.Name, e.Hash, e.AsOf)
}

// writeCitation writes the citation file and how to make the edition again.
func writeCitation(dir string, e *result.Edition) error {
	c, err := create(filepath.Join(dir, Citation))
	if err != nil {
		return err
	}
	_, err = c.WriteString(cff(e))
	if err := errors.Join(err, c.Close()); err != nil {
		return err
	}
	r, err := create(filepath.Join(dir, Reproduce))
	if err != nil {
		return err
	}
	text, err := reproduction(e)
	if err == nil {
		_, err = r.WriteString(text)
	}
	return errors.Join(err, r.Close())
}

// quoted is a text as a scalar of YAML: a JSON string is one.
func quoted(s string) string {
	var b strings.Builder
	enc := json.NewEncoder(&b)
	enc.SetEscapeHTML(false)
	_ = enc.Encode(s) // a text always encodes
	return strings.TrimSuffix(b.String(), "\n")
}

// cff is the Citation File Format, version 1.2.0, of an edition; its required
// keys are authors, cff-version, message and title. The workspace's name stands
// for its keepers; the producers stand with the sources.
func cff(e *result.Edition) string {
	var b strings.Builder
	line := func(key, value string) { fmt.Fprintf(&b, "%s: %s\n", key, quoted(value)) }
	line("cff-version", "1.2.0")
	line("message", "If you use these figures, cite the edition: other prices, tables or settings give other figures and another hash.")
	line("type", "dataset")
	line("title", cmp.Or(e.Name, "edition "+e.Hash))
	line("abstract", about(e))
	line("version", e.Hash)
	if e.AsOf != "" {
		line("date-released", e.AsOf)
	}
	fmt.Fprintf(&b, "authors:\n  - name: %s\n", quoted("the keepers of "+cmp.Or(e.Name, "this workspace")))
	fmt.Fprintf(&b, "identifiers:\n  - type: \"other\"\n    value: %s\n    description: \"hash of the edition: of the hashes of all its files\"\n", quoted(e.Hash))
	for i, s := range sources(e) {
		if i == 0 {
			b.WriteString("references:\n")
		}
		fmt.Fprintf(&b, "  - type: \"data\"\n    title: %s\n    authors:\n      - name: %s\n    notes: %s\n",
			quoted(s.title()), quoted(cmp.Or(s.Producer, "producer not told")), quoted("licence: "+cmp.Or(s.Licence, "not told")))
	}
	return b.String()
}

// reproduction says how to make the edition again, and lists what it is made
// from in the form that sha256sum --check reads.
func reproduction(e *result.Edition) (string, error) {
	sums, err := result.Manifest(e.Dir)
	if err != nil {
		return "", err
	}
	var b strings.Builder
	fmt.Fprintf(&b, `# Edition %s of %s, as of %s.
#
# To make it again, in a folder that holds the archive, the tables and farthing.toml below:
#
#   sha256sum --check site/data/%s
#   farthing rebuild --compare
#
# The same program gives the same edition: its hash, %s, is that of the
# hashes of all its files. Settings and tables as used stand in the edition's folder.
#
# Archived files
`, e.Hash, oneLine(e.Name), oneLine(e.AsOf), Reproduce, e.Hash)
	var archive []string
	for _, s := range e.Sources {
		archive = append(archive, checkLine(s.SHA256, "archive/"+s.SHA256+"/"+s.Name))
	}
	slices.Sort(archive)
	b.WriteString(strings.Join(slices.Compact(archive), ""))
	b.WriteString("#\n# Files of the edition\n")
	for _, name := range slices.Sorted(maps.Keys(sums)) {
		b.WriteString(checkLine(sums[name], "editions/"+e.Hash+"/"+name))
	}
	return b.String(), nil
}

func oneLine(s string) string { return strings.Join(strings.Fields(s), " ") }

// checkLine is a line of sha256sum: a name with a backslash or a line end is
// escaped, and a backslash before the line says so.
func checkLine(sum, name string) string {
	mark := ""
	if strings.ContainsAny(name, "\\\n\r") {
		mark, name = `\`, strings.NewReplacer(`\`, `\\`, "\n", `\n`, "\r", `\r`).Replace(name)
	}
	return mark + sum + "  " + name + "\n"
}
