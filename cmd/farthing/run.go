package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"farthing/pipeline"
	"farthing/pipeline/compute"
	"farthing/pipeline/workspace"

	"github.com/spf13/cobra"
)

// Exit codes; the strongest that holds is given.
const (
	exitDone        = 0
	exitFailed      = 1
	exitUsage       = 2
	exitQuarantined = 3   // done, but this call set rows aside
	exitFault       = 4   // a check failed or a correction is stale; the old site stands
	exitInUse       = 5   // another process works on the workspace
	exitInterrupted = 130 // stopped by the user; the workspace is consistent
)

const exitHelp = `
Exit: 0 done; 1 failed; 2 usage or unknown name; 3 done, rows of this call quarantined;
4 a check failed or a correction is stale, nothing published; 5 workspace in use; 130 interrupted.`

// cli is one call of the program.
type cli struct {
	in        io.Reader
	out, err  io.Writer
	now       func() time.Time
	workspace string
	json      bool
	quiet     bool
	code      int // what a command that went through wants to exit with
}

// usageError is a mistake in the call itself.
type usageError struct{ error }

// run is the whole program: tests call what users call.
func run(ctx context.Context, args []string, in io.Reader, out, errOut io.Writer, now func() time.Time) int {
	c := &cli{in: in, out: out, err: errOut, now: now}
	root := &cobra.Command{
		Use:           "farthing",
		Short:         "Track food prices and show how far an allowance reaches",
		Long:          "Track food prices and show how far an allowance reaches." + "\n" + exitHelp,
		SilenceUsage:  true,
		SilenceErrors: true,
		RunE: func(cmd *cobra.Command, args []string) error {
			if len(args) > 0 {
				return usageError{fmt.Errorf("unknown command %q", args[0])}
			}
			return cmd.Help()
		},
		Args: cobra.ArbitraryArgs,
	}
	root.CompletionOptions.DisableDefaultCmd = true
	flags := root.PersistentFlags()
	flags.StringVar(&c.workspace, "workspace", ".", "the workspace's folder")
	flags.BoolVar(&c.json, "json", false, "print JSON, numbers unrounded")
	flags.BoolVar(&c.quiet, "quiet", false, "print no progress")
	root.AddCommand(c.initCommand(), c.importCommand(), c.runCommand(), c.scheduleCommand(), c.statusCommand(), c.quarantineCommand(), c.showCommand(), c.shelfCommand(), c.mealCommand(), c.swapCommand(), c.dietCommand(), c.indexCommand(), c.traceCommand(), c.rebuildCommand())
	root.SetArgs(args)
	root.SetIn(in)
	root.SetOut(out)
	root.SetErr(errOut)
	root.SetFlagErrorFunc(func(_ *cobra.Command, err error) error { return usageError{err} })
	err := root.ExecuteContext(ctx)
	if err == nil {
		return c.code
	}
	if strings.HasPrefix(err.Error(), "unknown command") {
		err = usageError{err}
	}
	c.report(err)
	return exitCode(ctx, err)
}

func exitCode(ctx context.Context, err error) int {
	var usage usageError
	switch {
	case errors.Is(err, workspace.ErrInUse):
		return exitInUse
	case errors.As(err, &usage):
		return exitUsage
	case ctx.Err() != nil:
		return exitInterrupted
	case errors.Is(err, compute.ErrFault):
		return exitFault
	}
	var input *workspace.InputError
	if errors.As(err, &input) && slices.Contains([]string{"no_workspace", "unknown_name", "exists", "label", "shelf"}, input.Code) {
		return exitUsage
	}
	return exitFailed
}

// report prints an error: a line for each fault, or each as a JSON object.
func (c *cli) report(err error) {
	if !c.json {
		for line := range strings.Lines(err.Error() + "\n") {
			fmt.Fprintf(c.err, "farthing: %s", line)
		}
		return
	}
	faults := workspace.InputErrors(err)
	if len(faults) == 0 {
		code := "failed"
		if errors.Is(err, workspace.ErrInUse) {
			code = "in_use"
		}
		faults = []*workspace.InputError{{Code: code, Read: err.Error()}}
	}
	for _, f := range faults {
		b, _ := json.Marshal(struct {
			Error *workspace.InputError `json:"error"`
		}{f})
		fmt.Fprintf(c.err, "%s\n", b)
	}
}

func (c *cli) open() (*workspace.Workspace, error) { return workspace.Open(c.workspace) }

// pipelineRun prepares a writing command.
func (c *cli) pipelineRun(w *workspace.Workspace) *pipeline.Run {
	r := &pipeline.Run{W: w, Library: chartLibrary(), Now: c.now}
	if !c.quiet {
		r.Tell = func(format string, args ...any) { fmt.Fprintf(c.err, "farthing: "+format+"\n", args...) }
	}
	return r
}

// chartLibrary finds the chart library's file: in the folder that the
// environment names, or in "assets" beside the program.
func chartLibrary() string {
	dirs := []string{os.Getenv("FARTHING_ASSETS")}
	if exe, err := os.Executable(); err == nil {
		dirs = append(dirs, filepath.Join(filepath.Dir(exe), "assets"))
	}
	for _, d := range dirs {
		if d == "" {
			continue
		}
		path := filepath.Join(d, "echarts.min.js")
		if _, err := os.Stat(path); err == nil {
			return path
		}
	}
	return ""
}

// print writes v as JSON, or what text prints.
func (c *cli) print(v any, text func(io.Writer)) error {
	if !c.json {
		text(c.out)
		return nil
	}
	enc := json.NewEncoder(c.out)
	enc.SetEscapeHTML(false)
	return enc.Encode(v)
}
