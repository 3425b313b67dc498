package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"

	"farthing/pipeline"
	"farthing/pipeline/result"
	"farthing/pipeline/workspace"

	"github.com/spf13/cobra"
)

// quarantined is the answer about rows set aside, or about observations held.
type quarantined struct {
	shown
	Reasons []json.RawMessage `json:"reasons"`
	Sheets  []pipeline.Sheet  `json:"sheets"`
}

func (c *cli) quarantineCommand() *cobra.Command {
	var code, file, export string
	var held bool
	cmd := &cobra.Command{
		Use:   "quarantine",
		Short: "Rows set aside: why, what helps, out as a sheet, back in by import",
		Long: `List the rows that could not be read, by file and reason, or with --held the observations
that an edit rule holds. It reads the newest edition and the archive, and waits for no job;
before the first edition rows set aside are read from the database.

--export FILE.csv or FILE.xlsx writes the rows that wait under the header of their file, with
three columns more: mends says which row set aside a row stands for, why and cure are for you.
Mend the rows, take out those that you can not mend, and give the sheet to farthing import. It
may have any name: the profile of the original file reads it. Files of one source with the same
header share a sheet; where there are several sheets they are FILE-1.csv, FILE-2.csv and so on. A
cell that a spreadsheet would run as a formula has an apostrophe before it; import takes it off.
The original files stay as they are.` + "\n" + exitHelp,
		Example: "  farthing quarantine --workspace tavrin --code unknown_item\n  farthing quarantine --workspace tavrin --export mend.csv\n  farthing quarantine --workspace tavrin --held",
		Args:    args(cobra.NoArgs),
		RunE: func(cmd *cobra.Command, _ []string) error {
			w, e, err := c.edition()
			if input := workspace.InputErrors(err); len(input) == 1 && input[0].Code == "no_edition" && !held {
				e, err = c.pipelineRun(w).SetAside(cmd.Context())
			}
			if err != nil {
				return err
			}
			answer := quarantined{shown: shown{"farthing.quarantine/1", e.Hash, e.AsOf, map[string]string{}, []json.RawMessage{}, append([]result.Warning{}, e.Warnings...)}, Reasons: []json.RawMessage{}, Sheets: []pipeline.Sheet{}}
			if held {
				if code+file+export != "" {
					return usageError{errors.New("--held stands alone: held rows were read, and a line of tables/corrections lets them in")}
				}
				answer.Filters["held"] = "yes"
				rows, err := pipeline.Held(w, e, c.now())
				if err != nil {
					return err
				}
				for _, r := range rows {
					answer.Rows = append(answer.Rows, result.JSONRow(r))
				}
				return c.print(answer, func(out io.Writer) { printHeld(out, rows) })
			}
			for _, f := range []struct{ flag, column, want string }{{"code", "code", code}, {"file", "file", file}} {
				if f.want == "" {
					continue
				}
				if known := values(e.SetAside, f.column); !slices.Contains(known, f.want) {
					return unknownName(f.flag, f.want, known)
				}
				answer.Filters[f.flag] = f.want
			}
			if export != "" && !strings.HasSuffix(export, ".csv") && !strings.HasSuffix(export, ".xlsx") {
				return usageError{fmt.Errorf("--export %s: name a file that ends in .csv or .xlsx", export)}
			}
			q, err := pipeline.QuarantineOf(w, e, code, file)
			if err != nil {
				return err
			}
			for _, a := range q.Reasons {
				answer.Reasons = append(answer.Reasons, result.JSONRow(a))
			}
			if export != "" {
				sheets, warnings, err := q.Export(export)
				if err != nil {
					return err
				}
				answer.Sheets = append(answer.Sheets, sheets...)
				answer.Warnings = append(answer.Warnings, warnings...)
				return c.print(answer, func(out io.Writer) { printSheets(out, sheets, warnings) })
			}
			if c.json {
				for _, r := range q.Rows {
					answer.Rows = append(answer.Rows, result.JSONRow(r))
				}
			}
			return c.print(answer, func(out io.Writer) { printQuarantine(out, q, code+file != "") })
		},
	}
	flags := cmd.Flags()
	flags.StringVar(&code, "code", "", "rows set aside for this reason")
	flags.StringVar(&file, "file", "", "rows of the file of this name")
	flags.BoolVar(&held, "held", false, "the observations held, with lines for tables/corrections")
	flags.StringVar(&export, "export", "", "write the rows to `FILE`.csv or .xlsx, to be mended")
	return cmd
}

// fewRows is how many rows of a reason are listed where nothing is filtered.
const fewRows = 5

func printQuarantine(out io.Writer, q *pipeline.Quarantine, all bool) {
	mended := 0
	for _, r := range q.Rows {
		if r.Mended == "yes" {
			mended++
		}
	}
	fmt.Fprintf(out, "%d set aside, %d of them mended\n", len(q.Rows), mended)
	for _, a := range q.Reasons {
		fmt.Fprintf(out, "\n%d x %s in %s, first in line %s: %s %q\n  %s\n", a.Rows.V, a.Code, a.Name, a.FirstLine, a.Field, a.Text, a.Cure)
		n := 0
		for _, r := range q.Rows {
			if r.SHA256 != a.SHA256 || r.Code != a.Code || r.Field != a.Field {
				continue
			}
			if n++; n > fewRows && !all {
				continue
			}
			mark := ""
			if r.Mended == "yes" {
				mark = " (mended)"
			}
			fmt.Fprintf(out, "  %s%s: %s\n", r.Line, mark, r.Row)
		}
		if n > fewRows && !all {
			fmt.Fprintf(out, "  and %d more: --code %s lists them\n", n-fewRows, a.Code)
		}
	}
}

func printSheets(out io.Writer, sheets []pipeline.Sheet, warnings []result.Warning) {
	for _, s := range sheets {
		fmt.Fprintf(out, "%s: %d rows of %s\n", s.Path, s.Rows, strings.Join(s.Files, ", "))
	}
	for _, w := range warnings {
		fmt.Fprintf(out, "%s: %s\n", w.Text, w.Cure)
	}
	if len(sheets) == 0 {
		fmt.Fprintln(out, "no row waits to be mended in a sheet")
	}
}

func printHeld(out io.Writer, rows []pipeline.HeldRow) {
	fmt.Fprintf(out, "%d held\n", len(rows))
	for _, r := range rows {
		p := func(column string) string { return result.Printed(r, column) }
		fmt.Fprintf(out, "\n%s, %s: %s, %s %s, %s, %s for %s, %s a %s\n", r.ObservationID, r.Held, r.ObservedOn, r.Region, r.Outlet,
			strings.Join(strings.Fields(r.Item+" "+r.Grade+" "+r.Variety), " "), p("price_lcu"), r.Pack, p("unit_price_lcu"), r.BaseUnit)
		if r.Median.OK {
			fmt.Fprintf(out, "  the middle of %s neighbours (%s) is %s\n", r.Neighbours, r.Of, p("neighbours_median_lcu"))
		}
		fmt.Fprintf(out, "  %s:%s: %s\n  it is right:    %s\n  it is a slip:   %s\n", r.File, r.Line, r.Row, r.Release, r.Set)
	}
	if len(rows) > 0 {
		fmt.Fprintln(out, "\nOne of the two lines goes to tables/corrections, with the reason (sixth cell), and for a slip the right price (fifth).")
	}
}
