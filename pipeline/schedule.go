package pipeline

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"time"

	"farthing/pipeline/intake"
	"farthing/pipeline/workspace"
)

// Scheduler keeps the jobs of a workspace: it does each at its slots, one job
// at a time. Which slots are due follows from the slot log and the clock alone,
// so a stop, a sleep or a change of the settings needs no care: of the slots
// that passed by meanwhile the newest is done and the others are logged as
// skipped.
//
// A try that fails is logged and made again after 1, 2, 4 ... 60 minutes until
// the job's next slot. It keeps no other job waiting for longer than it takes.
//
// Note: the cron library's own runner is not used. It forgets its slots when it
// stops, reads the machine's clock, and starts jobs side by side.
type Scheduler struct {
	Dir string // of the workspace; its settings are read anew at every look
	Now func() time.Time
	// Wait returns at the given time, or before it for another look, or with an
	// error once the context ends.
	Wait func(ctx context.Context, until time.Time) error
	// Do is one try of a job; last is what its source's address gave before.
	Do   func(ctx context.Context, w *workspace.Workspace, j workspace.Job, last intake.Fetched) (JobWork, error)
	Tell func(format string, args ...any)

	log         *slotLog
	quarantined int
}

// JobWork is what one try of a job brought, as far as it came.
type JobWork struct {
	Quarantined int
	Fetched     *intake.Fetched // the file is in the archive
}

// keptJob is a job with its calendar.
type keptJob struct {
	workspace.Job
	calendar
}

// jobsOf are the jobs of the settings.
func jobsOf(w *workspace.Workspace) (list []keptJob, err error) {
	for _, j := range w.Jobs {
		c, errC := newCalendar(j)
		list, err = append(list, keptJob{j, c}), errors.Join(err, errC)
	}
	return list, err
}

// Keep does the jobs at their slots until the context ends: nil if that was
// between two jobs, its error if it cut one off. What was cut off is as if it
// had not been begun, and due at the next start.
func (s *Scheduler) Keep(ctx context.Context) error {
	return s.hold(func(w *workspace.Workspace, jobs []keptJob) error {
		for {
			next, _, err := s.look(ctx, w, jobs)
			if err != nil {
				return err
			}
			if next.IsZero() {
				next = s.Now().Add(24 * time.Hour) // no slot within the library's five years
			}
			if s.Wait(ctx, next) != nil {
				return nil
			}
			newW, newJobs, err := s.settings()
			if err != nil {
				s.Tell("the settings can not be read, so the jobs stay as they were: %v", err)
				continue
			}
			w, jobs = newW, newJobs
		}
	})
}

// Due does what is due now and returns; the error has the tries that failed. It
// is for a machine whose own timer calls it every few minutes.
func (s *Scheduler) Due(ctx context.Context) (quarantined int, err error) {
	err = s.hold(func(w *workspace.Workspace, jobs []keptJob) error {
		_, failed, err := s.look(ctx, w, jobs)
		return errors.Join(failed, err)
	})
	return s.quarantined, err
}

func (s *Scheduler) settings() (*workspace.Workspace, []keptJob, error) {
	w, err := workspace.Open(s.Dir)
	if err != nil {
		return nil, nil, err
	}
	jobs, err := jobsOf(w)
	if err == nil && len(jobs) == 0 {
		err = &workspace.InputError{Code: "no_job", File: workspace.SettingsFile, Read: "no job", Instead: "write a [[job]] with a name and cron"}
	}
	return w, jobs, err
}

// hold reads the settings and the log, and works as the only one who keeps the jobs.
func (s *Scheduler) hold(work func(*workspace.Workspace, []keptJob) error) error {
	if s.Tell == nil {
		s.Tell = func(string, ...any) {}
	}
	w, jobs, err := s.settings()
	if err != nil {
		return err
	}
	dir := w.JobsDir()
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return err
	}
	// A lock beside the workspace's own, which stays free between the jobs.
	release, err := (&workspace.Workspace{Dir: dir}).Lock("schedule")
	if err != nil {
		return err
	}
	defer release()
	log, size, err := readSlots(dir)
	if err != nil {
		return err
	}
	if err := os.Truncate(log.path, size); err != nil && !errors.Is(err, os.ErrNotExist) {
		return err
	}
	s.log = log
	return work(w, jobs)
}

// look tends every job once. It returns when the next look is due, and the
// tries that failed; err only where the scheduler itself can not go on.
func (s *Scheduler) look(ctx context.Context, w *workspace.Workspace, jobs []keptJob) (next time.Time, failed, err error) {
	for _, j := range jobs {
		at, errTry, err := s.tend(ctx, w, j)
		if err != nil {
			return next, failed, err
		}
		failed = errors.Join(failed, errTry)
		if next.IsZero() || !at.IsZero() && at.Before(next) {
			next = at
		}
	}
	return next, failed, nil
}

// tend settles what passed by of a job's slots, tries the newest if it is time,
// and returns when to look again.
func (s *Scheduler) tend(ctx context.Context, w *workspace.Workspace, j keptJob) (again time.Time, failed, err error) {
	now := s.Now().UTC().Truncate(time.Second)
	state := s.log.of(j.Name)
	if state.from.IsZero() {
		if err := s.log.append(slotLine{Job: j.Name, Slot: now, Outcome: slotAdded}); err != nil {
			return again, nil, err
		}
	}
	slot, before, n := j.missed(state.from, now)
	if n == 0 {
		return j.next(state.from), nil, nil
	}
	if n > 1 {
		if err := s.passBy(j, before, n-1); err != nil {
			return again, nil, err
		}
	}
	next := j.next(slot)
	if state.try.RetryAt.After(now) {
		return earlier(state.try.RetryAt, next), nil, nil
	}
	line := slotLine{Job: j.Name, Slot: slot.UTC(), Started: now, Tries: state.try.Tries + 1}
	done, failed := s.try(ctx, w, j)
	if failed != nil && ctx.Err() != nil {
		return again, nil, fmt.Errorf("job %s was cut off and is due at the next start: %w", j.Name, ctx.Err())
	}
	ended := s.Now().UTC()
	line.Seconds, line.Quarantined, line.Fetched = ended.Sub(now).Seconds(), done.Quarantined, done.Fetched
	s.quarantined += done.Quarantined
	if failed == nil {
		line.Outcome = slotDone
		s.Tell("job %s, slot %s: done in %.1f s", j.Name, j.show(slot), line.Seconds)
		return next, nil, s.log.append(line)
	}
	line.Outcome, line.Error, line.InUse = slotRetry, failed.Error(), errors.Is(failed, workspace.ErrInUse)
	line.RetryAt = ended.Add(backOff(line.Tries)).Truncate(time.Second) // as now is
	s.Tell("job %s, slot %s: try %d failed: %v; next try %s", j.Name, j.show(slot), line.Tries, failed, j.show(earlier(line.RetryAt, next)))
	return earlier(line.RetryAt, next), fmt.Errorf("job %s: %w", j.Name, failed), s.log.append(line)
}

// passBy settles the n slots up to last: a newer one takes their place. The
// first of them may have been tried.
func (s *Scheduler) passBy(j keptJob, last time.Time, n int) error {
	state := s.log.of(j.Name)
	first := j.next(state.from)
	if try := state.try; try.Tries > 0 && try.Slot.Equal(first) {
		try.Outcome, try.RetryAt = slotFailed, time.Time{}
		if try.InUse {
			try.Outcome = slotSkipped
		}
		s.Tell("job %s, slot %s: %s after %d tries", j.Name, j.show(first), try.Outcome, try.Tries)
		if err := s.log.append(try); err != nil {
			return err
		}
		if n--; n == 0 {
			return nil
		}
		first = j.next(first)
	}
	s.Tell("job %s: %d slots passed by from %s to %s: skipped", j.Name, n, j.show(first), j.show(last))
	return s.log.append(slotLine{Job: j.Name, Slot: last.UTC(), From: first.UTC(), Slots: n, Outcome: slotSkipped, Error: "not running, or busy with an earlier slot; a newer slot takes its place"})
}

// try makes a panic of one job an error like any other, so that the jobs after it are kept.
func (s *Scheduler) try(ctx context.Context, w *workspace.Workspace, j keptJob) (done JobWork, err error) {
	defer func() {
		if p := recover(); p != nil {
			err = fmt.Errorf("a fault of the program: %v", p)
		}
	}()
	src, _ := w.Source(j.Source)
	return s.Do(ctx, w, j.Job, s.log.fetched[src.Address])
}

// backOff is the pause after the given number of failed tries.
func backOff(tries int) time.Duration {
	return min(time.Minute<<min(tries-1, 6), time.Hour)
}

// earlier of two times, of which the second may be zero for never.
func earlier(a, b time.Time) time.Time {
	if !b.IsZero() && b.Before(a) {
		return b
	}
	return a
}

// show writes a time for a person, in the job's zone.
func (j keptJob) show(t time.Time) string { return t.In(j.zone).Format("2006-01-02 15:04 -07:00") }

// Job is one try of a job: it fetches and takes in what the job names, and runs.
func (r *Run) Job(ctx context.Context, j workspace.Job, last intake.Fetched) (done JobWork, err error) {
	paths, err := jobFiles(r.W, j.From)
	if err != nil {
		return done, err
	}
	var got intake.Fetched
	if src, ok := r.W.Source(j.Source); ok {
		// Who is at work on the folder now is better met before the download.
		release, err := r.W.Lock("schedule")
		if err != nil {
			return done, err
		}
		release()
		dir := filepath.Join(r.W.JobsDir(), "fetch")
		if err := errors.Join(os.RemoveAll(dir), os.MkdirAll(dir, 0o755)); err != nil {
			return done, err
		}
		defer os.RemoveAll(dir)
		if _, err := os.Stat(filepath.Join(r.W.Archive(), last.SHA256)); err != nil {
			last = intake.Fetched{} // what is not kept any more must come again
		}
		if got, err = (intake.Fetcher{}).Fetch(ctx, src, last, dir); err != nil {
			return done, err
		}
		if !got.Unchanged {
			paths = append(paths, got.Path)
		}
	}
	if len(paths) > 0 {
		rep, err := r.Import(ctx, paths)
		if err != nil {
			return done, err
		}
		done.Quarantined = rep.Quarantined
	}
	if got.Address != "" {
		done.Fetched = &got
	}
	if j.Runs() {
		rep, err := r.Do(ctx)
		if rep.Intake != nil {
			done.Quarantined += rep.Intake.Quarantined
		}
		return done, err
	}
	return done, nil
}

// jobFiles are the files of a job's path or pattern, which starts at the
// workspace. A pattern may match none; a path must be there.
func jobFiles(w *workspace.Workspace, from string) ([]string, error) {
	if from == "" {
		return nil, nil
	}
	dir := ""
	if !filepath.IsAbs(from) {
		dir = w.Dir
	}
	if !strings.ContainsAny(from, `*?[\`) {
		return []string{filepath.Join(dir, from)}, nil
	}
	literal := strings.NewReplacer(`\`, `\\`, `*`, `\*`, `?`, `\?`, `[`, `\[`)
	return filepath.Glob(filepath.Join(literal.Replace(dir), from))
}

// JobStatus is where a job stands, by its log. Times are UTC.
type JobStatus struct {
	Job      string     `json:"job"`
	LastSlot *time.Time `json:"last_slot"` // the newest that is settled
	NextSlot *time.Time `json:"next_slot"` // the first that is still to come
	Missed   int        `json:"missed"`    // slots that passed and are not settled
}

// JobState is a JobStatus with what else a person wants to know.
type JobState struct {
	JobStatus
	Cron     string `json:"cron"`
	TimeZone string `json:"time_zone"`
	Outcome  string `json:"outcome"` // of the last slot, "" before the first
	Tries    int    `json:"tries"`   // of the open slot
	Error    string `json:"error"`   // of the newest try
}

// Jobs lists the jobs of a workspace as they stand. It opens no database and
// takes no lock.
func Jobs(w *workspace.Workspace, now time.Time) ([]JobState, error) {
	jobs, err := jobsOf(w)
	if err != nil {
		return nil, err
	}
	log, _, err := readSlots(w.JobsDir())
	if err != nil {
		return nil, err
	}
	list := []JobState{}
	for _, j := range jobs {
		state := log.of(j.Name)
		s := JobState{JobStatus: JobStatus{Job: j.Name}, Cron: j.Cron, TimeZone: j.zone.String(), Outcome: state.last.Outcome, Tries: state.try.Tries, Error: state.last.Error}
		if s.Tries > 0 {
			s.Error = state.try.Error
		}
		if s.Outcome != "" {
			s.LastSlot = &state.last.Slot
		}
		after := now.UTC()
		if !state.from.IsZero() {
			_, _, s.Missed = j.missed(state.from, after)
			if state.from.After(after) {
				after = state.from // the machine's clock was set back
			}
		}
		if next := j.next(after).UTC(); !next.IsZero() {
			s.NextSlot = &next
		}
		list = append(list, s)
	}
	return list, nil
}

// warning says what is wrong with a job, if anything is.
func (s JobState) warning() (text, cure string) {
	switch {
	case s.Tries > 0:
		return fmt.Sprintf("job %s failed %d times: %s", s.Job, s.Tries, s.Error), "it is tried again by itself; mend what the message says"
	case s.Missed > 0:
		return fmt.Sprintf("job %s has missed %d slots", s.Job, s.Missed), "keep farthing schedule running, or call farthing schedule --due"
	case s.Outcome == slotFailed:
		return fmt.Sprintf("job %s failed in its last slot: %s", s.Job, s.Error), "it is tried again in its next slot; mend what the message says"
	}
	return "", ""
}
