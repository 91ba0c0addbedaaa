// SPDX-License-Identifier: Apache-2.0

package web

import (
	"encoding/json"
	"fmt"
	"html/template"
	"io/fs"
	"net/http"
	"strings"
)

// The kinds of a Lock.
const (
	LockDamaged    = "damaged"    // the store's file is spoilt
	LockNewer      = "newer"      // a later version has written it
	LockUnreadable = "unreadable" // the system does not let it be read or written

	LockKey           = "key"            // the file of the box's signing key is spoilt
	LockKeyUnreadable = "key_unreadable" // the system does not let it be read
)

// A Lock says why the records of a box cannot be opened, or its key not be used.
type Lock struct {
	Kind   string // one of those above
	Detail string // what was found, in English
	File   string // the store's file, or the key's
}

func (l Lock) ofKey() bool { return l.Kind == LockKey || l.Kind == LockKeyUnreadable }

// says is what the lock comes to, for who reads it raw.
func (l Lock) says() string {
	if l.ofKey() {
		return "This box cannot use its signing key"
	}
	return "The records of this box cannot be opened"
}

// A step is one thing to do, with the command for it if there is one.
type step struct{ Say, Command string }

type lockedPage struct {
	Language                              string
	Title, Say, Why, Kind, Detail, Legend string
	ToDo                                  string
	Steps                                 []step
	Again                                 string
}

var lockedHTML = template.Must(template.New("locked").Parse(`<!doctype html>
<html lang="{{.Language}}"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width, initial-scale=1"><meta name="color-scheme" content="light dark"><title>{{.Title}} · tallyhood</title><link rel="icon" href="/page/icon.svg"><link rel="stylesheet" href="/page/style.css"><link rel="stylesheet" href="/page/locked.css"></head>
<body><main class="sheet locked"><h1>{{.Title}}</h1><p class="say">{{.Say}}</p>
<h2>{{.Why}}</h2><p>{{.Kind}}</p><pre lang="en">{{.Detail}}</pre>
<h2>{{.ToDo}}</h2><ol>{{range .Steps}}<li>{{.Say}}{{with .Command}}<pre lang="en">{{.}}</pre>{{end}}</li>{{end}}</ol>
{{with .Legend}}<p>{{.}}</p>{{end}}<p><a class="go" href="/">{{.Again}}</a></p></main></body></html>
`))

// Locked answers for a box whose records cannot be opened: every page says so,
// why, and what to do, in the reader's language as far as there are words. The
// interface answers 503 with the reason. It holds nothing by which a run could
// be started. Folder is the pages' folder, nil for the built-in one. Requests
// are guarded as those of a Server are.
func Locked(l Lock, folder fs.FS) (http.Handler, error) {
	if folder == nil {
		var err error
		if folder, err = Pages(); err != nil {
			return nil, err
		}
	}
	mux := http.NewServeMux()
	mux.Handle("GET /page/", http.StripPrefix("/page/", http.FileServerFS(folder)))
	mux.HandleFunc("/api/", l.problem)
	mux.HandleFunc("/live", l.problem)
	mux.HandleFunc("/healthz", l.problem)
	mux.HandleFunc("/", func(w http.ResponseWriter, r *http.Request) { l.page(w, r, folder) })
	return guard(mux), nil
}

// problem answers in the form of the interface.
func (l Lock) problem(w http.ResponseWriter, _ *http.Request) {
	h := w.Header()
	h.Set("Content-Type", "application/problem+json")
	h.Set("Cache-Control", "no-store")
	w.WriteHeader(http.StatusServiceUnavailable)
	_ = json.NewEncoder(w).Encode(struct { // who asked may be gone
		Title  string `json:"title"`
		Status int    `json:"status"`
		Detail string `json:"detail"`
		Why    string `json:"why"`
	}{
		http.StatusText(http.StatusServiceUnavailable), http.StatusServiceUnavailable,
		l.says() + ": " + l.Detail + ". The box's first page says what to do.", "records_locked",
	})
}

func (l Lock) page(w http.ResponseWriter, r *http.Request, folder fs.FS) {
	if r.Method != http.MethodGet && r.Method != http.MethodHead {
		w.Header().Set("Allow", "GET, HEAD")
		http.Error(w, l.says()+", so nothing is taken.", http.StatusMethodNotAllowed)
		return
	}
	language, words := lockedWords(folder, r.Header.Get("Accept-Language"))
	say := func(key string) string { return words["locked."+key] }
	p := lockedPage{
		Language: language, Title: say("title"), Say: say("say"), Why: say("why"), Kind: say(l.Kind), Detail: l.Detail,
		ToDo: say("todo"), Again: say("again"),
		Steps: []step{{say("keep"), ""}},
	}
	if l.ofKey() {
		p.Title, p.Say, p.Steps = say("key_title"), say("key_say"), []step{{say("key_keep"), ""}}
	}
	file := shellWord(l.File)
	stop := step{say("stop"), "sudo systemctl stop tallyhood"}
	look := step{say("look"), "sudo -u tallyhood tallyhood records verify --store " + file}
	start := step{say("start"), "sudo systemctl restart tallyhood"}
	switch l.Kind {
	case LockNewer:
		p.Steps = append(p.Steps, step{say("update"), ""}, start)
	case LockUnreadable:
		p.Steps = append(p.Steps, step{say("rights"), ""}, start)
	case LockKeyUnreadable:
		p.Steps = append(p.Steps, step{say("rights"), ""}, start)
	case LockKey:
		p.Steps = append(p.Steps,
			step{say("key_copy"), "sudo -u tallyhood cp COPY " + file}, step{say("key_aside"), "sudo -u tallyhood mv " + file + " " + shellWord(l.File+".damaged")}, start)
		p.Legend = say("key_legend")
	default:
		p.Steps = append(p.Steps, stop, look, step{say("restore"), "sudo -u tallyhood tallyhood restore BACKUP --over --passphrase-file PASSPHRASE --store " + file}, start)
		p.Legend = say("legend")
	}
	h := w.Header()
	h.Set("Content-Type", "text/html; charset=utf-8")
	h.Set("Cache-Control", "no-store")
	w.WriteHeader(http.StatusServiceUnavailable)
	_ = lockedHTML.Execute(w, p) // who asked may be gone
}

// lockedWords are the phrases of the page in the first language asked for that
// has them, else in English.
func lockedWords(folder fs.FS, languages string) (code string, words map[string]string) {
	for tag := range strings.SplitSeq(languages+",en", ",") {
		code, _, _ = strings.Cut(strings.TrimSpace(tag), ";")
		code, _, _ = strings.Cut(strings.ToLower(code), "-")
		if len(code) != 2 || strings.Trim(code, "abcdefghijklmnopqrstuvwxyz") != "" {
			continue
		}
		text, err := fs.ReadFile(folder, fmt.Sprintf("lang/%s/locked.json", code))
		if err == nil && json.Unmarshal(text, &words) == nil {
			return code, words
		}
	}
	return "en", nil
}

// shellWord is a path as a shell takes it for one word.
func shellWord(path string) string {
	if path != "" && strings.Trim(path, "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789/._-") == "" {
		return path
	}
	return "'" + strings.ReplaceAll(path, "'", `'\''`) + "'"
}
