package main

import (
	"context"
	"fmt"
	"io"
	"maps"
	"slices"
	"strings"

	"farthing/pipeline/intake"
)

// preview shows how a file would be read, and writes the profile; it opens no
// database and waits for no job.
func (c *cli) preview(ctx context.Context, file string) error {
	w, err := c.open()
	if err != nil {
		return err
	}
	tables, err := w.Tables()
	if err != nil {
		return err
	}
	p, err := intake.PreviewFile(ctx, w, tables, file)
	if err != nil {
		return err
	}
	return c.print(p, func(out io.Writer) { printPreview(out, p) })
}

func printPreview(out io.Writer, p *intake.Preview) {
	fmt.Fprintf(out, "%s\nsource   %s, gives %s: %s\n", p.Path, p.Source, p.Gives, p.Why)
	if p.HeaderLine > 0 {
		fmt.Fprintf(out, "header   line %d, layout %s\n", p.HeaderLine, p.Layout)
	}
	for _, col := range p.Columns {
		fmt.Fprintf(out, "  %-16s %s\n", col.Column, col.From)
	}
	if n := len(p.Values); n > 0 {
		fmt.Fprintf(out, "values   %d columns, %s to %s\n", n, p.Values[0], p.Values[n-1])
	}
	if len(p.Dates) == 2 {
		fmt.Fprintf(out, "dates    %s to %s\n", p.Dates[0], p.Dates[1])
	}
	for _, u := range p.Units {
		fmt.Fprintf(out, "unit     %q is %s\n", u.AsRead, u.Means)
	}
	for _, r := range p.Rows {
		var cells []string
		for _, k := range slices.Sorted(maps.Keys(r.Cells)) {
			cells = append(cells, k+"="+r.Cells[k])
		}
		fmt.Fprintf(out, "line %-4d %s\n", r.Line, strings.Join(cells, ", "))
	}
	f := p.Counts
	fmt.Fprintf(out, "would be %d read = %d accepted + %d quarantined + %d duplicate of rows in the file itself; nothing is stored\n", f.Read, f.Accepted, f.Quarantined, f.Duplicate)
	for _, r := range f.Reasons {
		if slices.Contains([]string{"unknown_item", "unknown_region", "unknown_outlet"}, r.Code) {
			continue // listed below
		}
		fmt.Fprintf(out, "  %d x %s, first in line %d: %s %q: %s\n", r.Rows, r.Code, r.FirstLine, r.Field, r.Text, r.Cure)
	}
	if len(p.Unmapped) > 0 {
		fmt.Fprintln(out, "names that mean nothing here yet, the most frequent first; lines for tables/aliases, with what each is likely to mean:")
	}
	for _, u := range p.Unmapped {
		fmt.Fprintf(out, "  %6d  %s\n", u.Rows, u.Alias)
	}
	if p.Profile == "" {
		return
	}
	fmt.Fprintf(out, "profile, to correct and to put into farthing.toml:\n\n%s\n", p.Profile)
	if p.ProfileFile != "" {
		fmt.Fprintf(out, "written to %s\n", p.ProfileFile)
	} else {
		fmt.Fprintf(out, "not written: source-%s.toml is there and holds another\n", p.Source)
	}
}
