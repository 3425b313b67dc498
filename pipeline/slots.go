package pipeline

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"time"
	_ "time/tzdata" // a job's time zone means the same on every machine

	"farthing/pipeline/intake"
	"farthing/pipeline/workspace"

	"github.com/robfig/cron/v3"
)

// calendar gives the slots of a job: the instants at which it is due.
//
// A slot is a time on the wall clock of the job's zone. One that the clock
// jumps over comes as much later as the jump is long; one that the clock
// passes twice comes once, at its first passing.
//
// Note: the cron library counts on that wall clock as if it had no changes.
// Told of the zone it would drop the slots that a change jumps over and give
// twice those that it repeats.
type calendar struct {
	cron cron.Schedule
	zone *time.Location
}

var fiveFields = cron.NewParser(cron.Minute | cron.Hour | cron.Dom | cron.Month | cron.Dow)

func newCalendar(j workspace.Job) (c calendar, err error) {
	bad := func(field, read, instead string) error {
		return &workspace.InputError{Code: "settings", File: workspace.SettingsFile, Field: field, Read: fmt.Sprintf("%q of job %s", read, j.Name), Instead: instead}
	}
	fields := strings.Fields(j.Cron)
	if len(fields) != 5 {
		return c, bad("job.cron", j.Cron, "write five fields, minute hour day month weekday, such as 30 5 * * 1")
	}
	if c.cron, err = fiveFields.Parse(strings.Join(fields, " ")); err != nil {
		return c, bad("job.cron", j.Cron, err.Error()+"; write five fields such as 30 5 * * 1")
	}
	if c.cron.Next(time.Date(2024, 1, 1, 0, 0, 0, 0, time.UTC)).IsZero() {
		return c, bad("job.cron", j.Cron, "no such day ever comes; write one that does")
	}
	if c.zone, err = time.LoadLocation(j.TimeZone); err != nil || j.TimeZone == "Local" {
		return c, bad("job.time_zone", j.TimeZone, "write a name of the IANA data base such as Africa/Nairobi, or leave it out for UTC")
	}
	return c, nil
}

// next is the first slot after t, or zero where none comes.
func (c calendar) next(t time.Time) time.Time {
	// Just after a jump the slots it moved stand behind the clock's hands: the
	// search begins where the hands would be without the jump.
	wall := t.Add(min(c.offset(t), c.offset(t.Add(-24*time.Hour))))
	var moved time.Time
	for {
		if wall = c.cron.Next(wall.UTC()); wall.IsZero() {
			return moved
		}
		at, jumped := c.instant(wall)
		switch {
		case !at.After(t):
		case jumped && moved.IsZero():
			moved = at
		case jumped:
		case moved.IsZero() || at.Before(moved):
			return at
		default:
			return moved
		}
	}
}

// instant is when the zone's clock shows what wall shows in UTC, the first
// time; where a change jumps over it, when it would have been without.
func (c calendar) instant(wall time.Time) (at time.Time, jumped bool) {
	before, after := c.offset(wall.Add(-24*time.Hour)), c.offset(wall.Add(24*time.Hour))
	for _, o := range []time.Duration{before, after} {
		if at := wall.Add(-o); c.offset(at) == o {
			return at, false
		}
	}
	return wall.Add(-before), true
}

// offset is how far the zone's clock is ahead of UTC at an instant.
func (c calendar) offset(at time.Time) time.Duration {
	_, seconds := at.In(c.zone).Zone()
	return time.Duration(seconds) * time.Second
}

// missed is the newest slot after t that is not after now, the one before it
// (zero if there is only one), and how many there are.
func (c calendar) missed(t, now time.Time) (newest, before time.Time, n int) {
	for s := c.next(t); !s.IsZero() && !s.After(now); s = c.next(s) {
		newest, before = s, newest
		n++
	}
	return newest, before, n
}

// What became of a slot.
const (
	slotAdded   = "added"   // no slot: the job was first seen then, and is due from then on
	slotRetry   = "retry"   // a try that failed; the slot is open
	slotDone    = "done"    //
	slotFailed  = "failed"  // every try failed until the next slot came
	slotSkipped = "skipped" // never tried, or the workspace was in use until the next slot came
)

// slotLine is a line of the slot log.
type slotLine struct {
	Job         string          `json:"job"`
	Slot        time.Time       `json:"slot"`
	From        time.Time       `json:"from,omitzero"`   // skipped: the first of several, Slot being the last
	Slots       int             `json:"slots,omitempty"` // skipped: how many
	Outcome     string          `json:"outcome"`
	Started     time.Time       `json:"started,omitzero"`
	Seconds     float64         `json:"seconds"`
	Tries       int             `json:"tries,omitempty"`
	RetryAt     time.Time       `json:"retry_at,omitzero"`
	InUse       bool            `json:"in_use,omitempty"` // the try met another process at work
	Quarantined int             `json:"quarantined,omitempty"`
	Fetched     *intake.Fetched `json:"fetched,omitempty"`
	Error       string          `json:"error"`
}

// slotLog is jobs/slots.jsonl: a JSON line for each slot settled and each try,
// only ever appended to.
//
// Note: it is a file and no table, because the database is a cache. Slots that
// were done must stay done when it is deleted or rebuilt, and must be readable
// while a job holds it.
type slotLog struct {
	path    string
	jobs    map[string]*slotState
	fetched map[string]intake.Fetched // by address: the newest file that reached the archive
}

// slotState is where a job stands.
type slotState struct {
	from time.Time // slots up to here are settled
	last slotLine  // the newest settled slot
	try  slotLine  // the newest try of the open slot
}

// readSlots reads the log. A last line without its end was cut off by a stop
// and counts for nothing; size is what stands before it.
func readSlots(dir string) (l *slotLog, size int64, err error) {
	l = &slotLog{filepath.Join(dir, "slots.jsonl"), map[string]*slotState{}, map[string]intake.Fetched{}}
	b, err := os.ReadFile(l.path)
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return nil, 0, err
	}
	whole := b[:bytes.LastIndexByte(b, '\n')+1]
	n := 0
	for text := range bytes.Lines(whole) {
		n++
		var line slotLine
		if err := json.Unmarshal(text, &line); err != nil {
			return nil, 0, &workspace.InputError{Code: "slot_log", File: l.path, Line: n, Read: err.Error(), Instead: "take the line out"}
		}
		l.apply(line)
	}
	return l, int64(len(whole)), nil
}

func (l *slotLog) of(job string) *slotState {
	if l.jobs[job] == nil {
		l.jobs[job] = &slotState{}
	}
	return l.jobs[job]
}

func (l *slotLog) apply(line slotLine) {
	s := l.of(line.Job)
	switch line.Outcome {
	case slotAdded:
		s.from = line.Slot
	case slotRetry:
		s.try = line
	default:
		s.from, s.last, s.try = line.Slot, line, slotLine{}
	}
	if line.Fetched != nil {
		l.fetched[line.Fetched.Address] = *line.Fetched
	}
}

func (l *slotLog) append(line slotLine) error {
	b, err := json.Marshal(line)
	if err != nil {
		return err
	}
	f, err := os.OpenFile(l.path, os.O_APPEND|os.O_CREATE|os.O_WRONLY, 0o644)
	if err != nil {
		return err
	}
	_, err = f.Write(append(b, '\n'))
	l.apply(line)
	return errors.Join(err, f.Close())
}
