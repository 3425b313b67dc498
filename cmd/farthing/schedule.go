package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"text/tabwriter"
	"time"

	"farthing/pipeline"
	"farthing/pipeline/intake"
	"farthing/pipeline/workspace"

	"github.com/spf13/cobra"
)

func (c *cli) scheduleCommand() *cobra.Command {
	var list, due bool
	cmd := &cobra.Command{
		Use:   "schedule",
		Short: "Keep the jobs of farthing.toml at their times",
		Long: `Keep the jobs of farthing.toml, each at the times of its cron text, until
stopped. A job fetches the file of its source's address or takes in the files
of its path, then does what farthing run does. The database is open only then.

Slots that passed while nothing kept the jobs are made up for once: the newest
is done, the others are logged as skipped. A job that fails, or finds the
workspace in use, is tried again after 1, 2, 4 ... 60 minutes until its next
slot. Settings are read anew each time; no restart is needed.

Files: jobs/slots.jsonl, a line for each slot and each failed try; keep it with
the archive. jobs/fetch holds a file while it is fetched.` + "\n" + exitHelp + `
Stopped by a signal: 0 between two jobs, 130 within one, which is then due again.`,
		Example: `  farthing schedule --workspace tavrin
  farthing schedule --workspace tavrin --list
  farthing schedule --workspace tavrin --due`,
		Args: args(cobra.NoArgs),
		RunE: func(cmd *cobra.Command, _ []string) error {
			if list && due {
				return usageError{errors.New("give one of --list and --due")}
			}
			if list {
				return c.printJobs()
			}
			s := &pipeline.Scheduler{Dir: c.workspace, Now: c.now, Wait: c.wait,
				Do: func(ctx context.Context, w *workspace.Workspace, j workspace.Job, last intake.Fetched) (pipeline.JobWork, error) {
					return c.pipelineRun(w).Job(ctx, j, last)
				}}
			if !c.quiet {
				s.Tell = func(format string, args ...any) { fmt.Fprintf(c.err, "farthing: "+format+"\n", args...) }
			}
			if !due {
				return s.Keep(cmd.Context())
			}
			quarantined, err := s.Due(cmd.Context())
			if quarantined > 0 {
				c.code = exitQuarantined
			}
			if err != nil {
				return err
			}
			return c.printJobs()
		},
	}
	cmd.Flags().BoolVar(&list, "list", false, "list each job with its last and next slot, and do nothing")
	cmd.Flags().BoolVar(&due, "due", false, "do what is due now and end, for a timer of the machine's own")
	return cmd
}

// wait returns at the given time, after a minute at most: a machine that
// slept has a later time on its clock than a timer would tell.
func (c *cli) wait(ctx context.Context, until time.Time) error {
	timer := time.NewTimer(min(until.Sub(c.now()), time.Minute))
	defer timer.Stop()
	select {
	case <-ctx.Done():
		return ctx.Err()
	case <-timer.C:
		return nil
	}
}

func (c *cli) printJobs() error {
	w, err := c.open()
	if err != nil {
		return err
	}
	jobs, err := pipeline.Jobs(w, c.now())
	if err != nil {
		return err
	}
	answer := struct {
		Schema string              `json:"schema"`
		Jobs   []pipeline.JobState `json:"jobs"`
	}{"farthing.schedule/1", jobs}
	return c.print(answer, func(out io.Writer) { printJobs(out, jobs) })
}

func printJobs(out io.Writer, jobs []pipeline.JobState) {
	if len(jobs) == 0 {
		fmt.Fprintln(out, "no jobs: write a [[job]] with a name and cron into farthing.toml")
		return
	}
	show := func(t *time.Time, zone string) string {
		if t == nil {
			return "none"
		}
		at := *t
		if loc, err := time.LoadLocation(zone); err == nil {
			at = at.In(loc)
		}
		return at.Format("2006-01-02 15:04 -07:00")
	}
	table := tabwriter.NewWriter(out, 0, 0, 2, ' ', 0)
	fmt.Fprintln(table, "job\tcron\ttime zone\tlast slot\toutcome\tnext slot\tmissed")
	for _, j := range jobs {
		fmt.Fprintf(table, "%s\t%s\t%s\t%s\t%s\t%s\t%d\n", j.Job, j.Cron, j.TimeZone, show(j.LastSlot, j.TimeZone), j.Outcome, show(j.NextSlot, j.TimeZone), j.Missed)
	}
	table.Flush()
	for _, j := range jobs {
		if j.Error != "" {
			fmt.Fprintf(out, "%s: %s\n", j.Job, j.Error)
		}
	}
}
