package main

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"

	"farthing/pipeline"
	"farthing/pipeline/intake"
	"farthing/pipeline/kitchen"
	"farthing/pipeline/workspace"

	"github.com/spf13/cobra"
)

// args turns a wrong number of arguments into a usage error.
func args(check cobra.PositionalArgs) cobra.PositionalArgs {
	return func(cmd *cobra.Command, list []string) error {
		if err := check(cmd, list); err != nil {
			return usageError{fmt.Errorf("%w; see farthing %s --help", err, cmd.Name())}
		}
		return nil
	}
}

func (c *cli) importCommand() *cobra.Command {
	var preview, replace bool
	var source string
	cmd := &cobra.Command{
		Use:   "import [FILE... | FOLDER]",
		Short: "Take price files into the archive and the database",
		Long: `Take the named files, or all in the inbox, into the archive and the database.
Each is kept byte for byte; each row is accepted, quarantined or a duplicate.
With --preview: show how the one named file would be read, store nothing, and
write a profile of its source beside farthing.toml.

A folder holds a food composition table in the layout of USDA SR26 (` + kitchen.FoodFiles + `,
weight.csv if it is there). It becomes tables/foods, tables/nutrients and tables/food_weights, which stand over the built-in
excerpt by an item's food_code. Its rows are accepted, left out with a reason, or quarantined.` + "\n" + exitHelp,
		Example: "  farthing import --workspace tavrin notes-2024-03.csv\n  farthing import --workspace tavrin --preview prices.csv\n  farthing import --workspace tavrin ../data/usda-sr26",
		RunE: func(cmd *cobra.Command, files []string) error {
			for _, f := range files {
				if st, err := os.Stat(f); err == nil && st.IsDir() {
					if len(files) != 1 || preview {
						return &workspace.InputError{Code: "no_file", File: f, Read: "a folder", Instead: "name the files in it; a folder with a food composition table is imported alone, without --preview"}
					}
					return c.importFoods(f, source, replace)
				}
			}
			if replace || source != "" {
				return usageError{errors.New("--replace and --source go with a folder that holds a food composition table")}
			}
			if preview {
				if len(files) != 1 {
					return usageError{errors.New("name the one file to preview")}
				}
				return c.preview(cmd.Context(), files[0])
			}
			w, err := c.open()
			if err != nil {
				return err
			}
			rep, err := c.pipelineRun(w).Import(cmd.Context(), files)
			if err != nil {
				return err
			}
			if rep.Quarantined > 0 {
				c.code = exitQuarantined
			}
			return c.print(rep, func(out io.Writer) { printImport(out, rep) })
		},
	}
	cmd.Flags().BoolVar(&replace, "replace", false, "of a food composition table: write over tables of foods that differ")
	cmd.Flags().StringVar(&source, "source", "", "of a food composition table: what its figures are cited as (default USDA SR26, release 26 of 2013)")
	cmd.Flags().BoolVar(&preview, "preview", false, "show how the file would be read, and store nothing")
	return cmd
}

// importFoods takes a folder with a food composition table.
func (c *cli) importFoods(dir, source string, replace bool) error {
	if !kitchen.IsFoods(os.DirFS(dir)) {
		return usageError{fmt.Errorf("%s: no food composition table in this folder, which would hold %s; price files are named one by one", dir, kitchen.FoodFiles)}
	}
	w, err := c.open()
	if err != nil {
		return err
	}
	x, err := c.pipelineRun(w).ImportFoods(dir, source, replace)
	if err != nil {
		return err
	}
	if x.Quarantined() > 0 {
		c.code = exitQuarantined
	}
	return c.print(x, func(out io.Writer) { printFoods(out, x) })
}

func printFoods(out io.Writer, x *kitchen.FoodImport) {
	for _, f := range x.Files {
		fmt.Fprintf(out, "%s: %d read = %d accepted + %d left out + %d quarantined\n", f.File, f.Read, f.Accepted, f.LeftOut, f.Quarantined)
		for _, l := range f.Reasons {
			fmt.Fprintf(out, "  left out: %d %s\n", l.Rows, l.Why)
		}
	}
	const shown = 20
	for i, b := range x.Bad {
		if i == shown {
			fmt.Fprintf(out, "  and %d more: --json lists all\n", len(x.Bad)-shown)
			break
		}
		fmt.Fprintf(out, "  quarantined: %v\n", b)
	}
	for _, t := range x.Tables {
		fmt.Fprintf(out, "%s: %d rows, %s\n", t.Table, t.Rows, t.State)
	}
	fmt.Fprintf(out, "source: %s\nnext: write a food_code of tables/foods to each item, then farthing run\n", x.Source)
}

func printImport(out io.Writer, rep *intake.Report) {
	for _, f := range rep.Files {
		if f.AlreadyKnown {
			fmt.Fprintf(out, "%s: already in the archive\n", f.Path)
			continue
		}
		fmt.Fprintf(out, "%s: %d read = %d accepted + %d quarantined + %d duplicate; %d held\n", f.Path, f.Read, f.Accepted, f.Quarantined, f.Duplicate, f.Held)
		if f.Mended > 0 {
			fmt.Fprintf(out, "  rows set aside before, mended now: %d\n", f.Mended)
		}
		for _, r := range f.Reasons {
			fmt.Fprintf(out, "  %d x %s, first in line %d: %s %q: %s\n", r.Rows, r.Code, r.FirstLine, r.Field, r.Text, r.Cure)
		}
	}
	if len(rep.Files) == 0 {
		fmt.Fprintln(out, "nothing to import: name files, or drop them in the inbox")
	}
}

func (c *cli) runCommand() *cobra.Command {
	return &cobra.Command{
		Use:     "run",
		Short:   "Do everything that is due: take in, compute, publish",
		Long:    "Take in the inbox, compute and publish, each stage only where its inputs changed." + "\n" + exitHelp,
		Example: "  farthing run --workspace tavrin",
		Args:    args(cobra.NoArgs),
		RunE: func(cmd *cobra.Command, _ []string) error {
			w, err := c.open()
			if err != nil {
				return err
			}
			rep, err := c.pipelineRun(w).Do(cmd.Context())
			if rep.Intake != nil && rep.Intake.Quarantined > 0 {
				c.code = exitQuarantined
			}
			if errPrint := c.print(rep, func(out io.Writer) { printRun(out, rep) }); errPrint != nil {
				return errPrint
			}
			return err
		},
	}
}

func printRun(out io.Writer, rep *pipeline.Report) {
	if rep.Intake != nil {
		for _, f := range rep.Intake.Files {
			if !f.AlreadyKnown {
				printImport(out, rep.Intake)
				break
			}
		}
	}
	for _, s := range rep.Stages {
		fmt.Fprintf(out, "%-8s %-6s %s\n", s.Stage, s.State, s.Why)
	}
	if rep.Published {
		fmt.Fprintf(out, "edition %s as of %s is published: site/index.html\n", *rep.Edition, *rep.AsOf)
	}
}

func (c *cli) statusCommand() *cobra.Command {
	return &cobra.Command{
		Use:     "status",
		Short:   "Freshness, counts, warnings and their cures",
		Long:    "Say how the workspace stands, from its newest edition; waits for no job." + "\n" + exitHelp,
		Example: "  farthing status --workspace tavrin",
		Args:    args(cobra.NoArgs),
		RunE: func(*cobra.Command, []string) error {
			w, err := c.open()
			if err != nil {
				return err
			}
			s, err := pipeline.StatusOf(w, c.now())
			if err != nil {
				return err
			}
			return c.print(s, func(out io.Writer) { printStatus(out, s) })
		},
	}
}

func printStatus(out io.Writer, s *pipeline.Status) {
	if s.Edition != nil {
		fmt.Fprintf(out, "edition     %s\nnewest on   %s, %d days ago\naccepted    %d\nquarantined %d, %d of them mended\nduplicate   %d\nheld        %d\n",
			*s.Edition, *s.NewestOn, *s.AgeDays, s.Accepted, s.Quarantined, s.Mended, s.Duplicate, s.Held)
	}
	if len(s.Waiting) > 0 {
		fmt.Fprintf(out, "in the inbox: %s\n", strings.Join(s.Waiting, ", "))
	}
	if len(s.Changed) > 0 {
		fmt.Fprintf(out, "changed since the edition: %s; farthing run brings it up to date\n", strings.Join(s.Changed, ", "))
	}
	for _, a := range s.SetAside {
		if a.Mended == a.Rows {
			continue
		}
		fmt.Fprintf(out, "set aside: %s, %d x %s, first in line %s: %s %q: %s\n", a.Name, a.Rows.V, a.Code, a.FirstLine, a.Field, a.Text, a.Cure)
	}
	for _, w := range s.Warnings {
		fmt.Fprintf(out, "warning: %s; %s\n", w.Text, w.Cure)
	}
}

func (c *cli) rebuildCommand() *cobra.Command {
	var compare bool
	cmd := &cobra.Command{
		Use:     "rebuild",
		Short:   "Make the database again from the archive and the tables",
		Long:    "Make the database and the edition again from the archive and the tables, and publish." + "\n" + exitHelp,
		Example: "  farthing rebuild --workspace tavrin --compare",
		Args:    args(cobra.NoArgs),
		RunE: func(cmd *cobra.Command, _ []string) error {
			w, err := c.open()
			if err != nil {
				return err
			}
			was := ""
			if dir, err := w.CurrentEdition(); err == nil {
				was = filepath.Base(dir)
			}
			rep, err := c.pipelineRun(w).Rebuild(cmd.Context())
			if err != nil {
				return err
			}
			answer := struct {
				*pipeline.Report
				Was         string                `json:"was"`
				Differences []pipeline.Difference `json:"differences"`
			}{rep, was, []pipeline.Difference{}}
			if compare && was != "" {
				if answer.Differences, err = pipeline.Compare(w, was, *rep.Edition); err != nil {
					return err
				}
				if len(answer.Differences) > 0 {
					c.code = exitFault
				}
			}
			return c.print(answer, func(out io.Writer) {
				printRun(out, rep)
				for _, d := range answer.Differences {
					fmt.Fprintf(out, "differs: %s was %s, is %s\n", d.File, d.Was, d.Is)
				}
				if compare && was != "" && len(answer.Differences) == 0 {
					fmt.Fprintf(out, "every file of edition %s came out the same\n", was)
				}
			})
		},
	}
	cmd.Flags().BoolVar(&compare, "compare", false, "compare every file's hash with the edition that stood before")
	return cmd
}

func (c *cli) initCommand() *cobra.Command {
	var with string
	cmd := &cobra.Command{
		Use:     "init DIR",
		Short:   "Make a new workspace with commented settings and tables",
		Long:    "Make a new workspace. An existing folder must be empty." + "\n" + exitHelp,
		Example: "  farthing init tavrin --with demo",
		Args:    args(cobra.ExactArgs(1)),
		RunE: func(_ *cobra.Command, list []string) error {
			dir := list[0]
			if entries, err := os.ReadDir(dir); err == nil && len(entries) > 0 {
				return usageError{fmt.Errorf("%s is not empty: name a new folder", dir)}
			}
			if err := start(dir, with); err != nil {
				return err
			}
			answer := struct {
				Schema    string `json:"schema"`
				Workspace string `json:"workspace"`
				With      string `json:"with"`
			}{"farthing.init/1", dir, with}
			return c.print(answer, func(out io.Writer) {
				fmt.Fprintf(out, "made %s\nnext: farthing run --workspace %s\n", dir, dir)
			})
		},
	}
	cmd.Flags().StringVar(&with, "with", "", "start from an example: "+strings.Join(examples, ", "))
	return cmd
}
