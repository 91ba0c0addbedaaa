// SPDX-License-Identifier: Apache-2.0

package web_test

import (
	"encoding/json"
	"html"
	"io"
	"io/fs"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"

	"tallyhood/console/web"
)

// Whatever page of a box is asked for whose records cannot be opened, it says so
// in the reader's language, why, and what to do, and nothing can be started.
func TestLockedRecords(t *testing.T) {
	pages, err := web.Pages()
	if err != nil {
		t.Fatal(err)
	}
	words := func(code string) map[string]string {
		text, err := fs.ReadFile(pages, "lang/"+code+"/locked.json")
		var out map[string]string
		if err == nil {
			err = json.Unmarshal(text, &out)
		}
		if err != nil {
			t.Fatal(err)
		}
		return out
	}
	const detail = `store /var/lib/x: page 3 <b>is</b> not what was written`
	shown := map[string]bool{}
	for kind, commands := range map[string][]string{
		web.LockDamaged: {"systemctl stop", "records verify --store '/var/lib/it''s'", "restore BACKUP --over", "systemctl restart"}, web.LockNewer: {"systemctl restart"}, web.LockUnreadable: {"systemctl restart"},
		web.LockKey: {"cp COPY '/var/lib/it''s'", "mv '/var/lib/it''s' '/var/lib/it''s.damaged'", "systemctl restart"}, web.LockKeyUnreadable: {"systemctl restart"},
	} {
		h, err := web.Locked(web.Lock{Kind: kind, Detail: detail, File: "/var/lib/it's"}, nil)
		if err != nil {
			t.Fatal(err)
		}
		ask := func(method, path string, header map[string]string) (int, http.Header, string) {
			r := httptest.NewRequest(method, "http://127.0.0.1:8080"+path, nil)
			for k, v := range header {
				r.Header.Set(k, v)
			}
			if v, ok := header["Host"]; ok {
				r.Host = v
			}
			w := httptest.NewRecorder()
			h.ServeHTTP(w, r)
			body, err := io.ReadAll(w.Result().Body)
			if err != nil {
				t.Fatal(err)
			}
			return w.Code, w.Header(), string(body)
		}
		for accept, code := range map[string]string{
			"": "en", "pl-PL,pl;q=0.9": "pl", "xx, ../, fr;q=0.5, es": "fr", "ar": "en", "es": "es", "ro": "ro", "pt-BR": "pt", "en-GB, pl": "en",
		} {
			own := words(code)
			for _, path := range []string{"/", "/bench", "/wearer", "/records/r000100", "/settings", "/nowhere/at/all"} {
				status, header, body := ask("GET", path, map[string]string{"Accept-Language": accept})
				if status != http.StatusServiceUnavailable || !strings.HasPrefix(header.Get("Content-Type"), "text/html") || header.Get("Cache-Control") != "no-store" {
					t.Errorf("%s: %d, %v", path, status, header)
				}
				text := html.UnescapeString(body)
				keys := []string{"title", "say", "keep"}
				if strings.HasPrefix(kind, web.LockKey) {
					keys = []string{"key_title", "key_say", "key_keep"}
				}
				for _, key := range append(keys, "why", kind, "todo", "again") {
					if !strings.Contains(text, own["locked."+key]) {
						t.Errorf("%s for %q lacks %s in %s", path, accept, key, code)
					}
				}
				for key, phrase := range own {
					if strings.Contains(text, phrase) {
						shown[key] = true
					}
				}
				for _, c := range commands {
					if !strings.Contains(text, strings.ReplaceAll(c, "''", `'\''`)) {
						t.Errorf("%s for a store that is %s lacks %q:\n%s", path, kind, c, body)
					}
				}
				if !strings.Contains(text, detail) || strings.Contains(body, "<b>") || strings.Contains(body, "<script") || !strings.Contains(body, `<html lang="`+code+`">`) {
					t.Errorf("%s for %q:\n%s", path, accept, body)
				}
			}
		}
		for _, c := range []struct{ method, path string }{
			{"GET", "/api/v1/people"}, {"POST", "/api/v1/people"}, {"GET", "/api/box"}, {"GET", "/live"}, {"GET", "/healthz"}, {"PUT", "/api/v1/backup"},
		} {
			status, header, body := ask(c.method, c.path, nil)
			var p struct {
				Status      int
				Why, Detail string
			}
			if err := json.Unmarshal([]byte(body), &p); err != nil || status != 503 || p.Status != 503 || p.Why != "records_locked" || !strings.Contains(p.Detail, detail) || header.Get("Content-Type") != "application/problem+json" {
				t.Errorf("%s %s: %d, %s, %v", c.method, c.path, status, body, err)
			}
		}
		for what, c := range map[string]struct {
			method, path string
			header       map[string]string
			status       int
		}{
			"another host":  {"GET", "/", map[string]string{"Host": "box.example"}, http.StatusMisdirectedRequest},
			"another page":  {"GET", "/api/box", map[string]string{"Origin": "http://elsewhere.example"}, http.StatusForbidden},
			"a change":      {"POST", "/", nil, http.StatusMethodNotAllowed},
			"the style":     {"GET", "/page/locked.css", nil, http.StatusOK},
			"the own page":  {"GET", "/api/box", map[string]string{"Origin": "http://127.0.0.1:8080"}, http.StatusServiceUnavailable},
			"only the head": {"HEAD", "/", nil, http.StatusServiceUnavailable},
		} {
			status, header, _ := ask(c.method, c.path, c.header)
			if status != c.status || !strings.Contains(header.Get("Content-Security-Policy"), "default-src 'self'") {
				t.Errorf("%s: %d, want %d, %v", what, status, c.status, header)
			}
		}
	}
	for key := range words("en") {
		if !shown[key] {
			t.Errorf("%s is never shown", key)
		}
	}
}
