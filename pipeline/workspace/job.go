package workspace

import (
	"fmt"
	"net/url"
	"path"
	"slices"
	"strings"
)

// Job is work that is done again and again at the times of a calendar: it
// takes files in, from a source's address or from a path, and then runs.
type Job struct {
	Name     string `toml:"name"`
	Cron     string `toml:"cron"`      // minute, hour, day of month, month, day of week
	TimeZone string `toml:"time_zone"` // of the IANA data base; blank: UTC
	Source   string `toml:"source"`    // a [[source]] with fetch = true
	From     string `toml:"from"`      // a path or a pattern of paths, relative to the workspace
	Run      *bool  `toml:"run"`       // not set: true
}

// Runs says whether the job computes and publishes once the files are in.
func (j Job) Runs() bool { return j.Run == nil || *j.Run }

// JobsDir holds the log of slots and the lock of who keeps the jobs.
func (w *Workspace) JobsDir() string { return w.path("jobs") }

// DefaultContentTypes are what a fetched file may say it is where its source
// does not list its own. A page of HTML is not among them: it is most often
// an error or a sign-in page in the file's place.
var DefaultContentTypes = []string{"text/*", "application/csv", "application/json", "application/zip", "application/octet-stream",
	"application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"}

// Allows says whether the source takes a file of that media type.
func (s Source) Allows(mediaType string) bool {
	list := s.ContentTypes
	if len(list) == 0 {
		if mediaType == "text/html" {
			return false
		}
		list = DefaultContentTypes
	}
	return slices.ContainsFunc(list, func(p string) bool { ok, _ := path.Match(p, mediaType); return ok })
}

// FetchName is the name that a fetched file is kept under.
func (s Source) FetchName() string {
	if s.FileName != "" {
		return s.FileName
	}
	u, err := url.Parse(s.Address)
	if err != nil {
		return ""
	}
	return path.Base(u.Path)
}

// Source finds a source by its name.
func (s Settings) Source(name string) (Source, bool) {
	i := slices.IndexFunc(s.Sources, func(src Source) bool { return src.Name == name })
	if i < 0 {
		return Source{}, false
	}
	return s.Sources[i], true
}

// checkJobs fills in the limits of sources and lists the faults of jobs and of
// the sources they fetch: field, what was read, what to write. The calendar's
// own text is checked where it is used.
func (s *Settings) checkJobs() (faults [][3]string) {
	bad := func(field, read, instead string) { faults = append(faults, [3]string{field, read, instead}) }
	for i := range s.Sources {
		src := &s.Sources[i]
		for _, n := range []struct {
			field string
			value *int
			plain int
			most  int
		}{{"source.max_mb", &src.MaxMB, 64, 4096}, {"source.timeout_s", &src.TimeoutS, 60, 3600}} {
			if *n.value == 0 {
				*n.value = n.plain
			}
			if *n.value < 1 || *n.value > n.most {
				bad(n.field, fmt.Sprint(*n.value), fmt.Sprintf("write a whole number from 1 to %d", n.most))
			}
		}
		for _, p := range src.ContentTypes {
			if _, err := path.Match(p, ""); err != nil || !strings.Contains(p, "/") {
				bad("source.content_types", fmt.Sprintf("%q", p), "write a media type such as text/csv or text/*")
			}
		}
		if src.Fetch {
			s.checkFetch(*src, bad)
		}
	}
	for i, j := range s.Jobs {
		if j.Name == "" {
			bad("job.name", "no name", "give each [[job]] a name")
		} else if slices.ContainsFunc(s.Jobs[:i], func(o Job) bool { return o.Name == j.Name }) {
			bad("job.name", fmt.Sprintf("%q twice", j.Name), "give each [[job]] a name of its own")
		}
		if src, ok := s.Source(j.Source); j.Source != "" && !ok {
			var names []string
			for _, o := range s.Sources {
				names = append(names, o.Name)
			}
			bad("job.source", fmt.Sprintf("%q is no source", j.Source), DidYouMean(j.Source, names, "name a [[source]] that has an address and fetch = true"))
		} else if j.Source != "" && !src.Fetch {
			bad("job.source", fmt.Sprintf("%q may not be fetched", j.Source), "write fetch = true in that [[source]] if its address may be asked")
		}
		if j.Source == "" && j.From == "" && !j.Runs() {
			bad("job", fmt.Sprintf("%q does nothing", j.Name), "name a source or a path in from, or take run = false out")
		}
		if _, err := path.Match(j.From, ""); err != nil {
			bad("job.from", fmt.Sprintf("%q", j.From), "write a path or a pattern such as drop/*.csv")
		}
	}
	return faults
}

// checkFetch lists what keeps a source's file from being fetched and then read by that source.
func (s *Settings) checkFetch(src Source, bad func(field, read, instead string)) {
	u, err := url.Parse(src.Address)
	switch {
	case err != nil || u.Scheme != "http" && u.Scheme != "https" || u.Host == "":
		bad("source.address", fmt.Sprintf("%q", src.Address), "a source with fetch = true needs an address such as https://data.example/prices.csv")
		return
	case u.User != nil:
		bad("source.address", "a user name or password in the address of "+src.Name, "take it out: settings are published with each edition")
		return
	}
	name := src.FetchName()
	if name == "" || name == "." || name[0] == '.' || strings.ContainsAny(name, `/\:*?"<>|`) || strings.ContainsFunc(name, func(r rune) bool { return r < ' ' }) {
		bad("source.file_name", fmt.Sprintf("%q of source %s", name, src.Name), "write file_name, a plain name such as prices.csv")
		return
	}
	for _, o := range s.Sources { // the first that matches reads the file
		if !slices.ContainsFunc(o.Files, func(p string) bool { ok, _ := path.Match(p, name); return ok }) {
			continue
		}
		if o.Name != src.Name {
			bad("source.file_name", fmt.Sprintf("%q of source %s would be read by source %s", name, src.Name, o.Name), "write a file_name that only its own files patterns match")
		}
		return
	}
	bad("source.file_name", fmt.Sprintf("%q of source %s is matched by no files pattern", name, src.Name), "write a file_name that files of this source matches")
}
