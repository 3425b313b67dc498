package pipeline

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"farthing/pipeline/intake"
	"farthing/pipeline/workspace"
)

func utc(t *testing.T, text string) time.Time {
	t.Helper()
	at, err := time.Parse("2006-01-02 15:04", text)
	if err != nil {
		t.Fatal(err)
	}
	return at
}

// TestCalendar: clock changes as the IANA time zone data base has them.
func TestCalendar(t *testing.T) {
	for _, c := range []struct {
		name, cron, zone string
		after            string // UTC
		want             string // UTC, the next slots
	}{
		{"every weekday", "30 5 * * 1-5", "", "2024-03-01 05:30", "03-04 05:30, 03-05 05:30"},
		{"month names", "0 0 1 jan,jul *", "UTC", "2024-01-01 00:00", "07-01 00:00, 01-01 00:00"},
		{"a zone ahead", "30 5 * * *", "Africa/Nairobi", "2024-03-01 00:00", "03-01 02:30, 03-02 02:30"},

		// London 2024: 31 March 01:00 becomes 02:00; 27 October 02:00 becomes 01:00.
		{"jumped over", "30 1 * * *", "Europe/London", "2024-03-30 01:30", "03-31 01:30, 04-01 00:30"},
		{"the first moment after the jump", "0 2 * * *", "Europe/London", "2024-03-30 02:00", "03-31 01:00, 04-01 01:00"},
		{"jumped over and just after, once each", "0,30 1,2 * * *", "Europe/London", "2024-03-30 02:30", "03-31 01:00, 03-31 01:30, 04-01 00:00"},
		{"through the jump", "*/20 * * * *", "Europe/London", "2024-03-31 00:40", "03-31 01:00, 03-31 01:20"},
		{"passed twice", "30 1 * * *", "Europe/London", "2024-10-26 00:30", "10-27 00:30, 10-28 01:30"},
		{"passed twice, begun in the second", "30 1 * * *", "Europe/London", "2024-10-27 01:10", "10-28 01:30"},
		{"through the repeat", "*/30 * * * *", "Europe/London", "2024-10-27 00:00", "10-27 00:30, 10-27 02:00"},

		// Lord Howe Island 2024: 6 October 02:00 becomes 02:30, UTC+10:30 to +11.
		// By hand: 02:35 at +11 is 15:35; 02:20 would have been at 15:50, at +10:30.
		{"jumped over, beyond one that was not", "20,35 2 * * *", "Australia/Lord_Howe", "2024-10-05 15:00", "10-05 15:35, 10-05 15:50, 10-06 15:20, 10-06 15:35"},
		// Apia went over 30 December 2011: from UTC-10 to +14.
		{"a day that was not", "0 5 * * *", "Pacific/Apia", "2011-12-29 14:59", "12-29 15:00, 12-30 15:00, 12-31 15:00"},
	} {
		cal, err := newCalendar(workspace.Job{Name: "a", Cron: c.cron, TimeZone: c.zone})
		if err != nil {
			t.Fatalf("%s: %v", c.name, err)
		}
		at, got := utc(t, c.after), []string{}
		for range strings.Count(c.want, ",") + 1 {
			at = cal.next(at)
			got = append(got, at.UTC().Format("01-02 15:04"))
		}
		if strings.Join(got, ", ") != c.want {
			t.Errorf("%s: got %s, want %s", c.name, strings.Join(got, ", "), c.want)
		}
	}
}

func TestCalendarRefuses(t *testing.T) {
	for _, c := range []struct{ name, cron, zone, want string }{
		{"no text", "", "", "five fields"},
		{"six fields", "0 0 5 * * *", "", "five fields"},
		{"a name", "@daily", "", "five fields"},
		{"a zone in the text", "TZ=UTC 0 5 * *", "", "five fields"},
		{"a zone alone", "TZ=0", "", "five fields"},
		{"hour 24", "0 24 * * *", "", "above maximum"},
		{"words", "a b c d e", "", "five fields such as"},
		{"30 February", "0 0 30 2 *", "", "no such day ever comes"},
		{"no zone", "0 5 * * *", "Tavrin/Mirrow", "IANA"},
		{"the machine's zone", "0 5 * * *", "Local", "IANA"},
	} {
		_, err := newCalendar(workspace.Job{Name: "a", Cron: c.cron, TimeZone: c.zone})
		var input *workspace.InputError
		if !errors.As(err, &input) || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: got %v, want a fault of input with %q", c.name, err, c.want)
		}
	}
}

// jobsFolder is a workspace with nothing but jobs.
func jobsFolder(t *testing.T, settings string) string {
	t.Helper()
	dir := t.TempDir()
	if err := os.WriteFile(filepath.Join(dir, workspace.SettingsFile), []byte(settings), 0o644); err != nil {
		t.Fatal(err)
	}
	return dir
}

// loggedLines are the lines of the slot log.
func loggedLines(t *testing.T, dir string) (list []slotLine) {
	t.Helper()
	b, err := os.ReadFile(filepath.Join(dir, "jobs", "slots.jsonl"))
	if err != nil {
		t.Fatal(err)
	}
	for text := range strings.Lines(string(b)) {
		var line slotLine
		if err := json.Unmarshal([]byte(text), &line); err != nil {
			t.Fatalf("%q: %v", text, err)
		}
		list = append(list, line)
	}
	return list
}

// simulated is a clock, a machine that stops, and work that takes time.
type simulated struct {
	t        *testing.T
	now      time.Time
	stopAt   time.Time
	stop     context.CancelFunc
	work     func(job string) (time.Duration, error) // nil: takes no time
	atRest   func()
	begun    []string // job and time of each try
	waited   int      // tries begun before the last wait
	ended    time.Time
	tried    map[string]time.Time   // by job, when its newest try began
	finished map[string][]time.Time // by job, when a try went through
}

func (m *simulated) wait(ctx context.Context, until time.Time) error {
	if ctx.Err() != nil {
		return ctx.Err()
	}
	if !until.After(m.now) { // a slot that came while another job was done
		if m.waited == len(m.begun) {
			m.t.Fatalf("waits until %s at %s with nothing done: would never rest", until, m.now)
		}
		m.waited = len(m.begun)
		return nil
	}
	m.waited = len(m.begun)
	if m.atRest != nil {
		m.atRest()
	}
	if until.After(m.stopAt) {
		m.now = m.stopAt
		m.stop()
		return ctx.Err()
	}
	m.now = until
	return nil
}

func (m *simulated) do(ctx context.Context, _ *workspace.Workspace, j workspace.Job, _ intake.Fetched) (JobWork, error) {
	if m.now.Before(m.ended) {
		m.t.Errorf("job %s begins at %s, before the last one's end at %s", j.Name, m.now, m.ended)
	}
	m.tried[j.Name] = m.now
	m.begun = append(m.begun, j.Name+" "+m.now.Format("02 15:04"))
	var took time.Duration
	var err error
	if m.work != nil {
		took, err = m.work(j.Name)
	}
	if m.now.Add(took).After(m.stopAt) {
		m.now, m.ended = m.stopAt, m.stopAt
		m.stop()
		return JobWork{}, ctx.Err()
	}
	m.now = m.now.Add(took)
	m.ended = m.now
	if err == nil {
		m.finished[j.Name] = append(m.finished[j.Name], m.now)
	}
	return JobWork{}, err
}

// keep runs a scheduler from the clock's time to stopAt.
func (m *simulated) keep(dir string, stopAt time.Time) error {
	ctx, stop := context.WithCancel(context.Background())
	defer stop()
	if m.finished == nil {
		m.tried, m.finished = map[string]time.Time{}, map[string][]time.Time{}
	}
	m.stopAt, m.stop = stopAt, stop
	s := &Scheduler{Dir: dir, Now: func() time.Time { return m.now }, Wait: m.wait, Do: m.do}
	return s.Keep(ctx)
}

// wallSlots are the instants at which a zone's clock first shows hh:mm on each
// day, found by watching the clock in steps of 15 minutes; where it jumps over
// the time, the instant is as far behind the jump as the time was.
func wallSlots(zone *time.Location, hour, minute int, from, to time.Time) (slots []time.Time) {
	seen := map[string]bool{}
	reading := func(at time.Time) time.Time {
		_, offset := at.In(zone).Zone()
		return at.Add(time.Duration(offset) * time.Second).UTC()
	}
	const step = 15 * time.Minute
	for at := from.Truncate(step).Add(-48 * time.Hour); !at.After(to); at = at.Add(step) {
		// What the clock passes in this step: one reading, or all that a jump leaves out.
		for r := reading(at.Add(-step)).Add(step); !r.After(reading(at)); r = r.Add(step) {
			day := r.Format("2006-01-02")
			if r.Hour() != hour || r.Minute() != minute || seen[day] {
				continue
			}
			seen[day] = true
			slot := at
			if jump := reading(at).Sub(r); jump > 0 {
				slot = at.Add(r.Sub(reading(at.Add(-step)).Add(step)))
			}
			slots = append(slots, slot)
		}
	}
	slices.SortFunc(slots, time.Time.Compare)
	slots = slices.CompactFunc(slots, time.Time.Equal)
	return slices.DeleteFunc(slots, func(s time.Time) bool { return !s.After(from) || s.After(to) })
}

// TestTenYears: daily slots in six zones at hours that their clocks change at,
// 200 stops of up to 20 days at random times, also within jobs, and tries that
// fail or meet another process. Each slot is settled once, in order; the work
// of each done slot went through once, at or after the slot and before the
// next; and whenever the scheduler rests, the newest slot has been tried.
func TestTenYears(t *testing.T) {
	zones := []struct {
		name         string
		hour, minute int
	}{
		{"Europe/London", 1, 30},
		{"America/New_York", 2, 30},
		{"America/Sao_Paulo", 0, 0}, // changed at midnight until 2019
		{"Australia/Lord_Howe", 2, 15},
		{"Africa/Casablanca", 2, 45}, // up to four changes a year
		{"Pacific/Apia", 3, 30},      // without 30 December 2011
	}
	from, to := utc(t, "2010-01-01 00:07"), utc(t, "2020-01-01 00:00")
	settings := "name = \"a\"\n"
	want := map[string][]time.Time{}
	for _, z := range zones {
		settings += fmt.Sprintf("[[job]]\nname = %q\ncron = \"%d %d * * *\"\ntime_zone = %q\n", z.name, z.minute, z.hour, z.name)
		loc, err := time.LoadLocation(z.name)
		if err != nil {
			t.Fatal(err)
		}
		want[z.name] = wallSlots(loc, z.hour, z.minute, from, to)
		days := 3652 // by hand: 10 x 365 + 2 (2012, 2016)
		if n := len(want[z.name]); n < days-1 || n > days+1 {
			t.Fatalf("%s: got %d slots, want about one on each of %d days", z.name, n, days)
		}
	}
	dir := jobsFolder(t, settings)
	rng := rand.New(rand.NewPCG(4, 20100101))
	m := &simulated{t: t, now: from}
	m.work = func(string) (time.Duration, error) {
		took := time.Duration(rng.IntN(600)) * time.Second
		switch rng.IntN(40) {
		case 0:
			took += time.Duration(rng.IntN(72)) * time.Hour // longer than a slot's period
		case 1, 2, 3:
			return took, errors.New("the shop does not answer")
		case 4:
			return took, fmt.Errorf("job: %w", workspace.ErrInUse)
		}
		return took, nil
	}
	m.atRest = func() {
		for name, slots := range want {
			i, _ := slices.BinarySearchFunc(slots, m.now, func(s, now time.Time) int { return s.Compare(now.Add(1)) })
			if i > 0 && m.tried[name].Before(slots[i-1]) {
				t.Fatalf("%s rests at %s with slot %s not tried", name, m.now, slots[i-1])
			}
		}
	}
	const stops = 200
	cut := 0
	for i := range stops {
		span := to.Sub(m.now) / time.Duration(stops-i)
		up := min(time.Duration(rng.Float64()*2*float64(span)), to.Sub(m.now))
		if err := m.keep(dir, m.now.Add(up)); err != nil {
			cut++
		}
		down := time.Duration(rng.Int64N(int64(20 * 24 * time.Hour)))
		if i%4 > 0 {
			down /= 100
		}
		m.now = m.now.Add(min(down, to.Sub(m.now)))
	}
	if m.now.Before(to) {
		if err := m.keep(dir, to); err != nil {
			t.Fatal(err)
		}
	}

	settled, count := map[string]int{}, map[string]int{}
	done := map[string][]slotLine{}
	for _, line := range loggedLines(t, dir) {
		count[line.Outcome]++
		slots := want[line.Job]
		if line.Outcome == slotAdded || line.Outcome == slotRetry {
			continue
		}
		for range max(line.Slots, 1) {
			if settled[line.Job] == len(slots) {
				t.Fatalf("%s: slot %s is none", line.Job, line.Slot)
			}
			settled[line.Job]++
		}
		if last := slots[settled[line.Job]-1]; !line.Slot.Equal(last) {
			t.Fatalf("%s: got slot %s settled as %s, want %s", line.Job, line.Slot, line.Outcome, last)
		}
		if line.Outcome == slotDone {
			done[line.Job] = append(done[line.Job], line)
			if n := settled[line.Job]; line.Started.Before(line.Slot) || n < len(slots) && !line.Started.Before(slots[n]) {
				t.Fatalf("%s: slot %s was begun at %s, out of its period", line.Job, line.Slot, line.Started)
			}
		}
	}
	for _, z := range zones {
		open := len(want[z.name]) - settled[z.name]
		if open > 25 { // the last stop may be 20 days long
			t.Errorf("%s: got %d slots not settled at the end", z.name, open)
		}
		if len(done[z.name]) != len(m.finished[z.name]) {
			t.Fatalf("%s: got %d slots done by %d tries that went through", z.name, len(done[z.name]), len(m.finished[z.name]))
		}
		for i, line := range done[z.name] {
			if end := line.Started.Add(time.Duration(line.Seconds * float64(time.Second))); m.finished[z.name][i].Sub(end).Abs() > time.Second {
				t.Fatalf("%s: slot %s logged as done at %s, want %s", z.name, line.Slot, end, m.finished[z.name][i])
			}
		}
	}
	t.Logf("%v, %d stops within a job", count, cut)
	for _, o := range []string{slotAdded, slotDone, slotFailed, slotSkipped, slotRetry} {
		if count[o] == 0 {
			t.Errorf("no line says %q: the simulation shows too little", o)
		}
	}
	if cut < 5 {
		t.Errorf("got %d stops within a job, want some", cut)
	}
}

// TestBackOff: tries of hourly jobs, by hand: 0, +1, +2, +4, +8, +16 minutes; a
// pause of 32 would end after the next slot.
func TestBackOff(t *testing.T) {
	const settings = "[[job]]\nname = \"bad\"\ncron = \"0 * * * *\"\n[[job]]\nname = \"good\"\ncron = \"0 * * * *\"\n"
	tries := "bad 01 01:00, good 01 01:00, bad 01 01:01, bad 01 01:03, bad 01 01:07, bad 01 01:15, bad 01 01:31, bad 01 02:00, good 01 02:00"
	for _, c := range []struct {
		name    string
		fault   func() error
		outcome string
	}{
		{"a source that fails", func() error { return errors.New("no answer") }, slotFailed},
		{"a workspace in use", func() error { return fmt.Errorf("%w: held", workspace.ErrInUse) }, slotSkipped},
		{"a panic", func() error { panic("index out of range") }, slotFailed},
	} {
		t.Run(c.name, func(t *testing.T) {
			dir := jobsFolder(t, settings)
			m := &simulated{t: t, now: utc(t, "2024-03-01 00:30")}
			m.work = func(job string) (time.Duration, error) {
				if job == "bad" {
					return 0, c.fault()
				}
				return 0, nil
			}
			if err := m.keep(dir, utc(t, "2024-03-01 02:00")); err != nil {
				t.Fatal(err)
			}
			if got := strings.Join(m.begun, ", "); got != tries {
				t.Errorf("got %s\nwant %s", got, tries)
			}
			var settled []string
			for _, line := range loggedLines(t, dir) {
				if line.Job == "bad" && line.Outcome != slotAdded && line.Outcome != slotRetry {
					settled = append(settled, fmt.Sprint(line.Slot.Format("15:04"), line.Outcome, line.Tries, line.Error != ""))
				}
			}
			if want := fmt.Sprint([]string{"01:00" + c.outcome + "6 true"}); fmt.Sprint(settled) != want {
				t.Errorf("got settled %v, want %s", settled, want)
			}
		})
	}
	for tries, want := range map[int]int{1: 1, 2: 2, 3: 4, 6: 32, 7: 60, 8: 60, 1000: 60} {
		if got := backOff(tries); got != time.Duration(want)*time.Minute {
			t.Errorf("after %d tries: got %s, want %d min", tries, got, want)
		}
	}
}

// TestMissed: what one look finds after times of any length away.
func TestMissed(t *testing.T) {
	const settings = "[[job]]\nname = \"daily\"\ncron = \"0 5 * * *\"\n"
	for _, c := range []struct {
		name, log, now, want string
	}{
		{"first seen", "", "2024-03-05 06:00", "added 05 06:00"},
		{"not yet", "done 04", "2024-03-05 04:59", ""},
		{"on time", "done 04", "2024-03-05 05:00", "done 05 05:00"},
		{"late by hours", "done 04", "2024-03-05 23:00", "done 05 05:00"},
		{"two missed", "done 04", "2024-03-06 12:00", "skipped 05 05:00, done 06 05:00"},
		{"a month missed", "done 04", "2024-04-04 12:00", "skipped 03 05:00 x30, done 04 05:00"},
		{"cut off within the line", "done 04|{\"job\":\"daily\",\"slo", "2024-03-05 05:00", "done 05 05:00"},
		{"clock set back", "done 04", "2024-03-02 06:00", ""},
		{"pausing after a try", "done 04|retry 05 05:30", "2024-03-05 05:29", ""},
		{"pause over", "done 04|retry 05 05:30", "2024-03-05 05:30", "done 05 05:00"},
		{"tried, then away", "done 04|retry 05 05:30", "2024-03-07 05:30", "failed 05 05:00, skipped 06 05:00, done 07 05:00"},
	} {
		dir := jobsFolder(t, settings)
		if err := os.Mkdir(filepath.Join(dir, "jobs"), 0o755); err != nil {
			t.Fatal(err)
		}
		log := &slotLog{filepath.Join(dir, "jobs", "slots.jsonl"), map[string]*slotState{}, map[string]intake.Fetched{}}
		n, torn := 0, ""
		for part := range strings.SplitSeq(c.log, "|") {
			var day, retry string
			switch f := strings.Fields(part); {
			case len(f) == 0:
				continue
			case f[0] == "done":
				day = f[1]
			case f[0] == "retry":
				day, retry = f[1], f[2]
			default:
				torn = part
				continue
			}
			line := slotLine{Job: "daily", Slot: utc(t, "2024-03-"+day+" 05:00"), Outcome: slotDone, Tries: 1}
			if retry != "" {
				line.Outcome, line.RetryAt = slotRetry, utc(t, "2024-03-"+day+" "+retry)
			}
			if err := log.append(line); err != nil {
				t.Fatal(err)
			}
			n++
		}
		if torn != "" {
			b, _ := os.ReadFile(log.path)
			if err := os.WriteFile(log.path, append(b, torn...), 0o644); err != nil {
				t.Fatal(err)
			}
		}
		m := &simulated{t: t, now: utc(t, c.now), stopAt: utc(t, "2030-01-01 00:00"), tried: map[string]time.Time{}, finished: map[string][]time.Time{}}
		s := &Scheduler{Dir: dir, Now: func() time.Time { return m.now }, Do: m.do}
		if _, err := s.Due(context.Background()); err != nil {
			t.Errorf("%s: %v", c.name, err)
		}
		var got []string
		if _, err := os.Stat(log.path); err == nil {
			for _, line := range loggedLines(t, dir)[n:] {
				text := line.Outcome + " " + line.Slot.Format("02 15:04")
				if line.Slots > 1 {
					text += fmt.Sprintf(" x%d", line.Slots)
				}
				got = append(got, text)
			}
		}
		if strings.Join(got, ", ") != c.want {
			t.Errorf("%s: got %q, want %q", c.name, strings.Join(got, ", "), c.want)
		}
	}
}

// TestKeepAlone: one scheduler a workspace; a broken log stops it with its line.
func TestKeepAlone(t *testing.T) {
	dir := jobsFolder(t, "[[job]]\nname = \"a\"\ncron = \"0 5 * * *\"\n")
	release, err := (&workspace.Workspace{Dir: dir}).Lock("run")
	if err != nil {
		t.Fatal(err)
	}
	m := &simulated{t: t, now: utc(t, "2024-03-01 00:00")}
	m.atRest = func() {
		other := &simulated{t: t, now: m.now}
		if err := other.keep(dir, m.now.Add(time.Hour)); !errors.Is(err, workspace.ErrInUse) || !strings.Contains(err.Error(), "farthing schedule") {
			t.Errorf("got %v, want in use by farthing schedule", err)
		}
	}
	// The workspace's own lock is not needed between jobs.
	if err := m.keep(dir, utc(t, "2024-03-01 01:00")); err != nil {
		t.Error(err)
	}
	release()
	path := filepath.Join(dir, "jobs", "slots.jsonl")
	b, _ := os.ReadFile(path)
	if err := os.WriteFile(path, append(b, "no line\n"...), 0o644); err != nil {
		t.Fatal(err)
	}
	var input *workspace.InputError
	if err := m.keep(dir, utc(t, "2024-03-01 02:00")); !errors.As(err, &input) || input.Line != 2 {
		t.Errorf("got %v, want a fault in line 2", err)
	}
}

// TestSettingsWhileKept: a job added later is kept, and a slip of the pen stops nothing.
func TestSettingsWhileKept(t *testing.T) {
	dir := jobsFolder(t, "[[job]]\nname = \"a\"\ncron = \"0 * * * *\"\n")
	m := &simulated{t: t, now: utc(t, "2024-03-01 00:30")}
	for i, text := range []string{"[[job]]\nname = \"a\"\ncron = \"0 * * * *\"\n", "[[job]\n", "[[job]]\nname = \"a\"\ncron = \"0 * * * *\"\n[[job]]\nname = \"b\"\ncron = \"15 * * * *\"\n"} {
		at := i
		before := m.atRest
		m.atRest = func() {
			if before != nil {
				before()
			}
			if m.now.Hour() == at {
				os.WriteFile(filepath.Join(dir, workspace.SettingsFile), []byte(text), 0o644)
			}
		}
	}
	if err := m.keep(dir, utc(t, "2024-03-01 05:00")); err != nil {
		t.Fatal(err)
	}
	want := "a 01 01:00, a 01 02:00, a 01 03:00, b 01 03:15, a 01 04:00, b 01 04:15, a 01 05:00"
	if got := strings.Join(m.begun, ", "); got != want {
		t.Errorf("got %s\nwant %s", got, want)
	}
}

func TestJobFiles(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "a[b]*")
	for _, name := range []string{"drop/b.csv", "drop/a.csv", "drop/c.txt"} {
		if err := errors.Join(os.MkdirAll(filepath.Join(dir, "drop"), 0o755), os.WriteFile(filepath.Join(dir, name), nil, 0o644)); err != nil {
			t.Fatal(err)
		}
	}
	for from, want := range map[string]string{
		"":                                "",
		"drop/a.csv":                      "drop/a.csv",
		"drop/none.csv":                   "drop/none.csv", // import says that it is not there
		"drop/*.csv":                      "drop/a.csv drop/b.csv",
		"drop/*.xlsx":                     "",
		"/srv/drop/a.csv":                 "/srv/drop/a.csv",
		filepath.Join("drop", "[ac].csv"): "drop/a.csv",
	} {
		list, err := jobFiles(&workspace.Workspace{Dir: dir}, from)
		for i := range list {
			list[i] = strings.TrimPrefix(list[i], dir+"/")
		}
		if got := strings.Join(list, " "); err != nil || got != want {
			t.Errorf("%q: got %q, %v; want %q", from, got, err, want)
		}
	}
}
