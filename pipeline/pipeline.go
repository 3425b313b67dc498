// Package pipeline runs the stages in order, each only where its inputs
// changed, and writes down what it did.
//
// The plan stands in (*Run).plan: intake -> compute -> publish. A stage is one
// transaction with its row of the run log inside. Stages know nothing of each
// other but their results: the database's observations, and an edition's files.
package pipeline

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"runtime/debug"
	"slices"
	"sort"
	"strings"
	"time"

	"farthing/pipeline/compute"
	"farthing/pipeline/intake"
	"farthing/pipeline/kitchen"
	"farthing/pipeline/publish"
	"farthing/pipeline/result"
	"farthing/pipeline/store"
	"farthing/pipeline/workspace"
	"farthing/queries"
)

// Stage is what a run did with one stage.
type Stage struct {
	Stage   string  `json:"stage"`
	State   string  `json:"state"` // fresh, done, failed
	Why     string  `json:"why"`
	Seconds float64 `json:"seconds"`
}

// Report is what a run did.
type Report struct {
	Schema    string          `json:"schema"`
	AsOf      *string         `json:"as_of"`
	Stages    []Stage         `json:"stages"`
	Faults    []compute.Fault `json:"faults"`
	Edition   *string         `json:"edition"`
	Published bool            `json:"published"`

	Intake *intake.Report `json:"-"`
}

// Run is one call of the pipeline on a workspace.
type Run struct {
	W       *workspace.Workspace
	Library string // the chart library's file, "" where there is none
	Now     func() time.Time
	Tell    func(format string, args ...any) // progress, for a person

	st     *store.Store
	tables *workspace.Tables
	runID  int
	report Report
	kept   []intake.FileReport
	given  map[string]os.FileInfo // files of the inbox as they were kept, removed once they are taken in
	made   *result.Edition        // by this run's compute
}

// parts are a stage's inputs, each with a hash, and whether what it makes is in place.
type parts map[string]string

// standing begins the name of a part that says whether what a stage made is in
// place; absent is what it says where it is not.
const standing, absent = "standing ", "absent"

// stage is one step of the plan.
type stage struct {
	name   string
	inputs func(ctx context.Context) (parts, error)
	// do works in a transaction; it gives the hash of what it made, and rows in, out and rejected.
	do func(ctx context.Context, changed []string) (outcome, error)
}

type outcome struct {
	hash                  string
	rowsIn, out, rejected int
}

// plan is everything that a run does.
func (r *Run) plan() []stage {
	return []stage{
		{"intake", r.intakeInputs, r.intake},    // archive + tables of names -> typed observations, held and set-aside rows
		{"compute", r.computeInputs, r.compute}, // observations + tables of amounts -> an edition
		{"publish", r.publishInputs, r.publish}, // an edition -> site/
	}
}

// Import keeps the files, those of the inbox if none is named, and takes them
// in. It computes nothing.
func (r *Run) Import(ctx context.Context, paths []string) (*intake.Report, error) {
	err := r.open(ctx, "import", paths, func() error { return r.walk(ctx, r.plan()[:1]) })
	if err != nil {
		return nil, err
	}
	return r.report.Intake, nil
}

// ImportFoods takes a folder with a food composition table as the workspace's tables of foods.
func (r *Run) ImportFoods(dir, source string, replace bool) (x *kitchen.FoodImport, err error) {
	err = r.locked("import", func() error {
		x, err = kitchen.ImportFoods(r.W, os.DirFS(dir), source, replace)
		return err
	})
	return x, err
}

// Do runs everything that is due. The report is there on error too.
func (r *Run) Do(ctx context.Context) (*Report, error) {
	return r.all(ctx, func() error {
		return r.open(ctx, "run", nil, func() error { return r.walk(ctx, r.plan()) })
	})
}

// all reports what work did with all stages.
func (r *Run) all(ctx context.Context, work func() error) (*Report, error) {
	r.report = Report{Schema: "farthing.run/1", Stages: []Stage{}, Faults: []compute.Fault{}}
	err := work()
	if current, errC := r.W.CurrentEdition(); errC == nil {
		if meta, errM := result.LoadMeta(current); errM == nil {
			r.report.AsOf = &meta.AsOf
		}
		r.report.Published = err == nil && r.report.Edition != nil && filepath.Base(current) == *r.report.Edition
	}
	return &r.report, err
}

// locked takes the workspace for one command.
func (r *Run) locked(command string, work func() error) error {
	if r.Tell == nil {
		r.Tell = func(string, ...any) {}
	}
	release, err := r.W.Lock(command)
	if err != nil {
		return err
	}
	defer release()
	return work()
}

// open takes the workspace, keeps the given files or the inbox's, opens the
// database and works.
func (r *Run) open(ctx context.Context, command string, paths []string, work func() error) error {
	return r.locked(command, func() error { return r.opened(ctx, paths, work) })
}

func (r *Run) opened(ctx context.Context, paths []string, work func() error) (err error) {
	if r.tables, err = r.W.Tables(); err != nil {
		return err
	}
	if len(paths) == 0 {
		if paths, err = intake.InboxFiles(r.W); err != nil {
			return err
		}
		r.given = map[string]os.FileInfo{}
		for _, p := range paths {
			if r.given[p], err = os.Stat(p); err != nil {
				return err
			}
		}
	}
	if _, r.kept, err = intake.Keep(r.W, paths, r.Now()); err != nil {
		return err
	}
	return r.stored(ctx, func() error {
		if err := r.st.Query(ctx, func(scan func(...any) error) error { return scan(&r.runID) },
			"SELECT CAST(coalesce(max(run_id), 0) + 1 AS BIGINT) FROM run_log"); err != nil {
			return err
		}
		return work()
	})
}

// stored opens the database and works.
func (r *Run) stored(ctx context.Context, work func() error) (err error) {
	if r.st, err = store.Open(ctx, r.W.Database()); err != nil {
		if errors.Is(err, store.ErrHeld) {
			return fmt.Errorf("%w: %w", workspace.ErrInUse, err)
		}
		return err
	}
	defer func() { err = errors.Join(err, r.st.Close()) }()
	return work()
}

// walk goes through the stages: a fresh one is passed over, a failed one ends the run.
func (r *Run) walk(ctx context.Context, plan []stage) error {
	for _, s := range plan {
		began := r.Now()
		in, err := s.inputs(ctx)
		if err != nil {
			return fmt.Errorf("%s: %w", s.name, err)
		}
		last, err := r.lastGood(ctx, s.name)
		if err != nil {
			return err
		}
		changed := in.against(last.parts)
		state, why := "fresh", "nothing changed"
		var o outcome
		if len(changed) > 0 {
			state, why = "done", "changed: "+strings.Join(changed, ", ")
			if last.parts == nil {
				why = "never run before"
			}
			r.Tell("%s (%s)", s.name, why)
			err = r.st.Tx(ctx, func() error {
				if o, err = s.do(ctx, changed); err != nil {
					return err
				}
				return r.log(ctx, s.name, state, why, in, o, began, nil)
			})
		} else {
			o = last.outcome
			if s.name == "intake" && r.report.Intake == nil {
				r.report.Intake = &intake.Report{Files: []intake.FileReport{}}
			}
		}
		if err != nil {
			state = "failed"
			r.stage(s.name, state, err.Error(), began)
			errLog := r.st.Tx(context.WithoutCancel(ctx), func() error {
				return r.log(context.WithoutCancel(ctx), s.name, state, why, in, o, began, err)
			})
			return errors.Join(fmt.Errorf("%s: %w", s.name, err), errLog)
		}
		r.stage(s.name, state, why, began)
		switch s.name {
		case "intake":
			r.reportKept()
			for p, was := range r.given {
				now, err := os.Stat(p)
				if err != nil || now.Size() != was.Size() || !now.ModTime().Equal(was.ModTime()) {
					continue // written to since: it stays for the next run
				}
				if err := os.Remove(p); err != nil {
					return err
				}
			}
		case "compute":
			r.report.Edition = &o.hash
		}
	}
	return nil
}

func (r *Run) stage(name, state, why string, began time.Time) {
	r.report.Stages = append(r.report.Stages, Stage{name, state, why, r.Now().Sub(began).Seconds()})
}

// against names the parts that differ from those of the last good run, and
// what is no longer in place.
func (p parts) against(last parts) (changed []string) {
	for name, hash := range p {
		if strings.HasPrefix(name, standing) && last != nil {
			if hash == absent {
				changed = append(changed, name)
			}
		} else if last[name] != hash {
			changed = append(changed, name)
		}
	}
	for name := range last {
		if _, ok := p[name]; !ok && !strings.HasPrefix(name, standing) {
			changed = append(changed, name)
		}
	}
	sort.Strings(changed)
	return changed
}

// good is the last run of a stage that did not fail.
type good struct {
	parts
	outcome
}

func (r *Run) lastGood(ctx context.Context, stage string) (g good, err error) {
	err = r.st.Query(ctx, func(scan func(...any) error) error {
		var text string
		if err := scan(&text, &g.hash); err != nil {
			return err
		}
		return json.Unmarshal([]byte(text), &g.parts)
	}, "SELECT parts, output_hash FROM run_log WHERE stage = ? AND state = 'done' ORDER BY run_id DESC LIMIT 1", stage)
	return g, err
}

func (r *Run) log(ctx context.Context, name, state, why string, in parts, o outcome, began time.Time, failure error) error {
	text, err := json.Marshal(in)
	if err != nil {
		return err
	}
	sum := sha256.Sum256(text)
	message := ""
	if failure != nil {
		message = failure.Error()
	}
	return r.st.Exec(ctx, "INSERT INTO run_log VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)", r.runID, name, state, why,
		hex.EncodeToString(sum[:]), string(text), o.hash, o.rowsIn, o.out, o.rejected, began.UTC(), r.Now().Sub(began).Seconds(), message)
}

// hashOf is the hash of a value's JSON.
func hashOf(v any) (string, error) {
	b, err := json.Marshal(v)
	sum := sha256.Sum256(b)
	return hex.EncodeToString(sum[:8]), err
}

// program names the program's own part in every result: its revision, or
// where that is not known for sure the file itself.
func program() (string, error) {
	if info, ok := debug.ReadBuildInfo(); ok {
		revision, modified := "", true
		for _, s := range info.Settings {
			switch s.Key {
			case "vcs.revision":
				revision = s.Value
			case "vcs.modified":
				modified = s.Value == "true"
			}
		}
		if revision != "" && !modified {
			return revision, nil
		}
	}
	path, err := os.Executable()
	if err != nil {
		return "", err
	}
	st, err := os.Stat(path)
	if err != nil {
		return "", err
	}
	return fmt.Sprintf("%s %d %d", queries.Hash(), st.Size(), st.ModTime().UnixNano()), nil
}

// tableParts adds one part for each of the named tables, present or not.
func (r *Run) tableParts(p parts, names []string) error {
	for _, n := range names {
		h, err := r.W.HashFiles("tables/"+n+".csv", "tables/"+n+".xlsx")
		if err != nil {
			return err
		}
		p["tables/"+n] = h[:16]
	}
	return nil
}

func (r *Run) intakeInputs(ctx context.Context) (p parts, err error) {
	p = parts{}
	list, err := intake.Archived(r.W)
	if err != nil {
		return nil, err
	}
	var shas []string
	for _, d := range list {
		shas = append(shas, d.SHA256+" "+d.Name)
	}
	if p["files"], err = hashOf(shas); err != nil {
		return nil, err
	}
	if p["settings"], err = hashOf([]any{r.W.Prices.Decimal, r.W.Prices.DateOrder, r.W.Edit, r.W.Sources}); err != nil {
		return nil, err
	}
	if p["program"], err = program(); err != nil {
		return nil, err
	}
	return p, r.tableParts(p, workspace.IntakeTables)
}

// intake reads the files that are new. Where more than the files changed, what
// was read before may be wrong now, so everything is read again.
func (r *Run) intake(ctx context.Context, changed []string) (o outcome, err error) {
	again := slices.ContainsFunc(changed, func(s string) bool { return s != "files" })
	rep, err := intake.Load(ctx, r.st, r.W, r.tables, again, r.kept)
	if err != nil {
		return o, err
	}
	r.report.Intake = rep
	err = r.st.Query(ctx, func(scan func(...any) error) error { return scan(new(int), &o.hash) }, queries.IntakeDigest.Text)
	sum := sha256.Sum256([]byte(o.hash))
	o.hash = hex.EncodeToString(sum[:8])
	o.rowsIn, o.out, o.rejected = rep.Read, rep.Accepted, rep.Quarantined
	return o, err
}

// reportKept puts the files of this call into the report in the order given,
// then any that lay in the archive unread. One that the database held before
// has nothing read.
func (r *Run) reportKept() {
	rep := r.report.Intake
	mine := &intake.Report{Schema: "farthing.import/1", Files: []intake.FileReport{}}
	reported := map[string]bool{}
	for _, k := range r.kept {
		i := slices.IndexFunc(rep.Files, func(f intake.FileReport) bool { return f.SHA256 == k.SHA256 && !f.AlreadyKnown })
		if i < 0 || reported[k.SHA256] {
			k.AlreadyKnown = true
			mine.Add(k)
			continue
		}
		f := rep.Files[i]
		f.Path = k.Path
		reported[k.SHA256] = true
		mine.Add(f)
	}
	for _, f := range rep.Files {
		if !f.AlreadyKnown && !reported[f.SHA256] {
			mine.Add(f)
		}
	}
	r.report.Intake = mine
}

func (r *Run) computeInputs(ctx context.Context) (p parts, err error) {
	p = parts{}
	last, err := r.lastGood(ctx, "intake")
	if err != nil {
		return nil, err
	}
	p["prices"] = last.hash
	for _, name := range r.W.EditionFiles() { // all that the edition keeps, used or not
		b, err := r.W.Kept(name)
		if err != nil {
			return nil, err
		}
		sum := sha256.Sum256(b)
		p[strings.TrimSuffix(strings.TrimSuffix(name, ".csv"), ".xlsx")] = hex.EncodeToString(sum[:8])
	}
	p[standing+"edition"] = absent
	if made, err := r.lastGood(ctx, "compute"); err != nil {
		return nil, err
	} else if _, err := result.Manifest(filepath.Join(r.W.EditionsDir(), made.hash)); err == nil && made.hash != "" {
		p[standing+"edition"] = "in place"
	}
	if p["program"], err = program(); err != nil {
		return nil, err
	}
	return p, nil
}

// compute makes an edition's folder beside and gives it its name, the hash of
// its content: the same results have the same name.
func (r *Run) compute(ctx context.Context, _ []string) (o outcome, err error) {
	if err := os.MkdirAll(r.W.EditionsDir(), 0o755); err != nil {
		return o, err
	}
	tmp, err := os.MkdirTemp(r.W.EditionsDir(), ".new-")
	if err != nil {
		return o, err
	}
	defer os.RemoveAll(tmp)
	e, faults, err := compute.Run(ctx, r.st, r.W, r.tables, tmp)
	r.report.Faults = append(r.report.Faults, faults...)
	if err != nil {
		return o, err
	}
	if o.hash, err = result.Seal(tmp, e.Sums); err != nil {
		return o, err
	}
	o.rowsIn, o.out = e.Accepted, len(e.Reach)+len(e.Baskets)+len(e.Items)
	if err := os.Chmod(tmp, 0o755); err != nil {
		return o, err
	}
	to := filepath.Join(r.W.EditionsDir(), o.hash)
	if _, err := result.Manifest(to); err != nil {
		if err := errors.Join(os.RemoveAll(to), workspace.Settle(tmp, to)); err != nil { // what stands there is damaged
			return o, err
		}
	} // else the same edition was made before
	e.Hash, e.Dir = o.hash, filepath.Join(r.W.EditionsDir(), o.hash)
	r.made = e
	return o, err
}

func (r *Run) publishInputs(ctx context.Context) (p parts, err error) {
	p = parts{}
	last, err := r.lastGood(ctx, "compute")
	if err != nil {
		return nil, err
	}
	p["edition"] = last.hash
	if p["settings"], err = hashOf(r.W.Pages); err != nil {
		return nil, err
	}
	if p["program"], err = program(); err != nil {
		return nil, err
	}
	p["chart library"] = "none"
	if r.Library != "" {
		b, err := os.ReadFile(r.Library)
		if err != nil {
			return nil, err
		}
		sum := sha256.Sum256(b)
		p["chart library"] = hex.EncodeToString(sum[:8])
	}
	// A site that was taken away or is of another edition is made again.
	p[standing+"site"] = absent
	if current, err := r.W.CurrentEdition(); err == nil && filepath.Base(current) == last.hash {
		// A link into the edition, or where there are no links a folder with its data.
		target, errLink := filepath.EvalSymlinks(r.W.Site())
		_, errData := os.Stat(filepath.Join(r.W.Site(), "data", "reach.csv"))
		if errLink == nil && errData == nil && (filepath.Base(filepath.Dir(target)) == filepath.Base(current) || filepath.Base(target) == "site") {
			p[standing+"site"] = "in place"
		}
	}
	return p, nil
}

func (r *Run) publish(ctx context.Context, _ []string) (o outcome, err error) {
	last, err := r.lastGood(ctx, "compute")
	if err != nil {
		return o, err
	}
	e := r.made
	if e == nil || e.Hash != last.hash {
		if e, err = result.LoadPublished(filepath.Join(r.W.EditionsDir(), last.hash)); err != nil {
			return o, err
		}
	}
	if err := publish.Run(r.W, e, r.Library); err != nil {
		return o, err
	}
	o.hash, o.rowsIn = last.hash, len(e.Reach)
	return o, nil
}

// Rebuild makes the database again from the archive and the tables, and the
// edition with it. The old database stays until the new one is complete.
func (r *Run) Rebuild(ctx context.Context) (*Report, error) {
	old := r.W.Database()
	aside := old + ".old"
	return r.all(ctx, func() error {
		return r.locked("rebuild", func() error {
			if err := rename(old, aside); err != nil {
				return err
			}
			if err := r.opened(ctx, nil, func() error { return r.walk(ctx, r.plan()) }); err != nil {
				return errors.Join(err, store.Remove(old), rename(aside, old))
			}
			return store.Remove(aside)
		})
	})
}

func rename(from, to string) error {
	if err := os.Rename(from, to); !errors.Is(err, os.ErrNotExist) {
		return err
	}
	return nil
}

func sortedKeys(lists ...map[string]string) []string {
	seen := map[string]bool{}
	for _, m := range lists {
		for k := range m {
			seen[k] = true
		}
	}
	return slices.Sorted(maps.Keys(seen))
}
