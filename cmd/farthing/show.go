package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"text/tabwriter"

	"farthing/pipeline/compute"
	"farthing/pipeline/result"
	"farthing/pipeline/workspace"

	"github.com/spf13/cobra"
)

// filters are the rows asked for; a blank one lets all pass.
type filters struct {
	programme, region, household, basket, item, month, from, to string
}

// shown is the answer of a reading command.
type shown struct {
	Schema   string            `json:"schema"`
	Edition  string            `json:"edition"`
	AsOf     string            `json:"as_of"`
	Filters  map[string]string `json:"filters"`
	Rows     []json.RawMessage `json:"rows"`
	Warnings []result.Warning  `json:"warnings"`
}

func (c *cli) showCommand() *cobra.Command {
	var f filters
	cmd := &cobra.Command{
		Use:     "show reach|basket|regions|moved|item",
		Short:   "Print a result of the newest edition",
		Long:    "Print a result of the newest edition, filtered. It reads the edition's files and waits for no job." + "\n" + exitHelp,
		Example: "  farthing show reach --workspace tavrin --region tavrin --household single --month 2024-03",
		Args:    args(cobra.ExactArgs(1)),
		RunE: func(_ *cobra.Command, list []string) error {
			_, e, err := c.edition()
			if err != nil {
				return err
			}
			switch list[0] {
			case "reach":
				return show(c, e, "reach", e.Reach, f, []string{"region", "household", "basket", "month", "allowance_lcu", "per_day_lcu", "reach_days", "days_in_month", "fed_days", "run_out_on", "shortfall_lcu", "obs_status"})
			case "basket":
				return show(c, e, "basket", e.Baskets, f, []string{"region", "household", "basket", "month", "per_day_lcu", "real_per_day_lcu", "observed_share", "imputed_share", "missing_share", "known_part_lcu", "obs_status"})
			case "regions":
				return show(c, e, "regions", e.Levels, f, []string{"basket", "month", "region", "per_day_lcu", "parity_lowe", "parity_cpd", "common_share", "rank_lo", "rank_hi", "n_outlets", "obs_status"})
			case "moved":
				return showMoved(c, e, f)
			case "item":
				return show(c, e, "item", e.Items, f, []string{"region", "item", "grade", "month", "unit_price_lcu", "base_unit", "matched_change_pct", "n_observations", "filled_by", "obs_status"})
			}
			return unknownName("result", list[0], []string{"reach", "basket", "regions", "moved", "item"})
		},
	}
	flags := cmd.Flags()
	flags.StringVar(&f.programme, "programme", "", "of this programme")
	flags.StringVar(&f.region, "region", "", "of this region")
	flags.StringVar(&f.household, "household", "", "of this household")
	flags.StringVar(&f.basket, "basket", "", "of this basket")
	flags.StringVar(&f.item, "item", "", "of this item")
	flags.StringVar(&f.month, "month", "", "of this month, as 2024-02")
	flags.StringVar(&f.from, "from", "", "from this month on")
	flags.StringVar(&f.to, "to", "", "to this month")
	return cmd
}

// edition loads the newest edition of the workspace.
func (c *cli) edition() (*workspace.Workspace, *result.Edition, error) {
	w, err := c.open()
	if err != nil {
		return nil, nil, err
	}
	dir, err := w.CurrentEdition()
	if err != nil {
		return w, nil, err
	}
	e, err := result.Load(dir)
	return w, e, err
}

// showMoved prints the fixed pairs of months, or any pair that --from and --to name.
func showMoved(c *cli, e *result.Edition, f filters) error {
	rows := e.Moved
	if f.month != "" {
		return usageError{errors.New("show moved compares two months: say --from and --to in the place of --month")}
	}
	if (f.from == "") != (f.to == "") {
		return usageError{errors.New("show moved compares two months: say both --from and --to")}
	}
	if f.from != "" || f.to != "" {
		from, errF := result.ParseMonth(f.from)
		to, errT := result.ParseMonth(f.to)
		if err := errors.Join(errF, errT); err != nil {
			return usageError{fmt.Errorf("show moved compares two months: %w", err)}
		}
		if rows = compute.Moved(e, from, to); len(rows) == 0 {
			return unknownName("month", f.from+" or "+f.to, values(e.Lines, "month"))
		}
	}
	f.from, f.to = "", ""
	return show(c, e, "moved", rows, f, []string{"region", "basket", "item", "from_month", "to_month", "price_from_lcu", "price_to_lcu", "change_pct", "pure_pct", "size_pct", "mix_pct", "contribution_pp", "rank", "obs_status"})
}

func unknownName(kind, read string, known []string) error {
	return &workspace.InputError{Code: "unknown_name", Field: kind, Read: fmt.Sprintf("%q is not known", read),
		Instead: workspace.DidYouMean(read, known, "write one of "+strings.Join(known, ", "))}
}

// show prints the rows that pass the filters; columns are those of the plain text.
func show[T any](c *cli, e *result.Edition, name string, rows []T, f filters, columns []string) error {
	asked := map[string]string{}
	for _, x := range []struct{ column, want string }{{"programme", f.programme}, {"region", f.region}, {"household", f.household}, {"basket", f.basket}, {"item", f.item}} {
		if x.want == "" {
			continue
		}
		if !slices.Contains(result.Columns[T](), x.column) {
			return usageError{fmt.Errorf("show %s has no --%s", name, x.column)}
		}
		if known := values(rows, x.column); !slices.Contains(known, x.want) {
			return unknownName(x.column, x.want, known)
		}
		asked[x.column] = x.want
	}
	for _, x := range []struct{ flag, want string }{{"month", f.month}, {"from", f.from}, {"to", f.to}} {
		if x.want == "" {
			continue
		}
		if _, err := result.ParseMonth(x.want); err != nil {
			return usageError{err}
		}
		asked[x.flag] = x.want
	}
	answer := shown{"farthing." + name + "/1", e.Hash, e.AsOf, asked, []json.RawMessage{}, append([]result.Warning{}, e.Warnings...)}
	var kept []T
	for _, row := range rows {
		month, _ := result.Field(row, "month")
		keep := (f.month == "" || month == f.month) && (f.from == "" || month >= f.from) && (f.to == "" || month <= f.to)
		for column, want := range asked {
			if have, ok := result.Field(row, column); ok && column != "month" && have != want {
				keep = false
			}
		}
		if keep {
			kept = append(kept, row)
			if c.json {
				answer.Rows = append(answer.Rows, result.JSONRow(row))
			}
		}
	}
	// A part of the key that is not shown is, where it tells rows apart.
	var apart []string
	for _, key := range result.Keys[T]() {
		if !slices.Contains(columns, key) && len(values(kept, key)) > 1 {
			apart = append(apart, key)
		}
	}
	return c.print(answer, func(out io.Writer) {
		printTable(out, kept, append(apart, columns...))
	})
}

// printTable prints some columns of rows, rounded as published.
func printTable[T any](out io.Writer, rows []T, columns []string) {
	t := tabwriter.NewWriter(out, 0, 0, 2, ' ', 0)
	fmt.Fprintln(t, strings.Join(columns, "\t"))
	for _, row := range rows {
		var cells []string
		for _, column := range columns {
			cells = append(cells, result.Printed(row, column))
		}
		fmt.Fprintln(t, strings.Join(cells, "\t"))
	}
	t.Flush()
}

// values are the different texts of a column, in order.
func values[T any](rows []T, column string) []string {
	seen := map[string]bool{}
	var list []string
	for _, row := range rows {
		if v, _ := result.Field(row, column); !seen[v] {
			seen[v] = true
			list = append(list, v)
		}
	}
	return list
}
