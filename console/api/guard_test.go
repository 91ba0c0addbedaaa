// SPDX-License-Identifier: Apache-2.0

package api

import (
	"context"
	"encoding/json"
	"io"
	"mime"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"tallyhood/console/procedure"
	"tallyhood/console/programme"
)

func set(name, value string) func(*http.Request) {
	return func(r *http.Request) {
		if value == "" {
			r.Header.Del(name)
			return
		}
		r.Header.Set(name, value)
	}
}

// Only a page of this box changes anything, and no other page reads.
func TestOrigin(t *testing.T) {
	s := newSite(t, nil)
	body := object{"form": exampleForm(), "by": agnes}
	before, _ := s.store.Last()
	for _, origin := range []string{
		"", "null", "http://localhost", "http://localhost:80", "http://evil.example", "ftp://" + host, "http://" + host + ".evil.example", "http://evil.example#" + host,
		"http://" + host + "/", "http://agnes@" + host, "http://" + host + "?x", host, "http://[::1]:8427", "http://127.0.0.1:8427",
	} {
		s.ask("POST", "/people", body, set("Origin", origin)).why(403, WhyOrigin)
		s.ask("PUT", "/policy", body, set("Origin", origin)).why(403, WhyOrigin)
		if origin != "" {
			s.ask("GET", "/people", nil, set("Origin", origin)).why(403, WhyOrigin)
		}
	}
	s.ask("POST", "/people", body, func(r *http.Request) { r.Header.Add("Origin", "http://"+host) }).why(403, WhyOrigin) // two of them
	for _, site := range []string{"cross-site", "same-site", "whatever"} {
		s.ask("POST", "/people", body, set("Sec-Fetch-Site", site)).why(403, WhyOrigin)
		s.ask("GET", "/people", nil, set("Sec-Fetch-Site", site)).why(403, WhyOrigin)
	}
	s.ask("GET", "/people", nil, set("Sec-Fetch-Site", "none")).is(200, nil)
	if last, _ := s.store.Last(); last != before {
		t.Errorf("the journal grew from %d to %d", before, last)
	}
}

func TestContentType(t *testing.T) {
	s := newSite(t, (&parts{}).all)
	form, err := json.Marshal(object{"form": programme.PersonForm{Name: "Ilse Brandvold", Languages: []string{}, Facepieces: []string{}}, "by": agnes})
	must(t, err)
	for _, kind := range []string{
		"", "text/plain", "application/x-www-form-urlencoded", "multipart/form-data; boundary=x", "application/json; charset=utf-16", "application/jsonp",
		"application/problem+json", "application/json, text/plain", "json", "APPLICATION/OCTET-STREAM", "application/json; charset",
	} {
		s.ask("POST", "/people", form, set("Content-Type", kind)).why(415, WhyContentType)
	}
	s.ask("POST", "/people", form, set("Content-Encoding", "gzip")).why(415, WhyContentType)
	s.ask("POST", "/people", form, func(r *http.Request) { r.Header.Add("Content-Type", "text/plain") }).why(415, WhyContentType)
	s.ask("POST", "/people", form, set("Content-Type", "application/json; charset=UTF-8")).is(200, nil)
	s.ask("POST", "/people/import/preview?name=x.csv", "a;b").why(415, WhyContentType)
	s.ask("POST", "/restore", "x", set("Content-Type", typeJSON)).why(415, WhyContentType)
}

func TestMethodsAndPaths(t *testing.T) {
	s := newSite(t, nil)
	for _, c := range []struct{ method, path, allow string }{
		{"DELETE", "/people", "GET, POST"}, {"PATCH", "/people/p-22222222", "GET, PUT"}, {"PUT", "/people", "GET, POST"},
		{"OPTIONS", "/people", "GET, POST"}, {"POST", "/kit", "GET"}, {"GET", "/restore", "POST"}, {"PUT", "/backup", "GET, POST"}, {"POST", "/openapi.json", "GET"},
	} {
		g := s.ask(c.method, c.path, nil)
		g.why(405, WhyMethod)
		if allow := g.header.Get("Allow"); allow != c.allow {
			t.Errorf("%s %s: allow %q, want %q", c.method, c.path, allow, c.allow)
		}
	}
	for _, path := range []string{"", "/", "/person", "/people/", "/docs", "/schemas/Person.json", "/openapi.yaml", "/openapi-3.0.json", "/people/p-22222222/photo", "/runs/r000100/record.exe"} {
		s.ask("GET", path, nil).why(404, WhyNotKnown)
	}
	g := s.ask("HEAD", "/people", nil, set("Origin", ""))
	if g.status != 200 {
		t.Errorf("HEAD: %d", g.status)
	}
}

func TestTooLarge(t *testing.T) {
	s := newSite(t, (&parts{}).all)
	long := strings.Repeat(" ", mostJSON)
	s.ask("POST", "/people", long+"{}").why(413, WhyTooLarge)
	s.ask("POST", "/people", long+"{}", func(r *http.Request) { r.ContentLength = -1 }).why(413, WhyTooLarge) // it does not say how long it is
	octets := set("Content-Type", typeBytes)
	file := strings.Repeat("x", mostUpload)
	s.ask("POST", "/people/import/preview?name=x.csv", file, octets).is(200, nil)
	s.ask("POST", "/people/import/preview?name=x.csv", file+"x", octets).why(413, WhyTooLarge)
	s.ask("POST", "/people/import/preview?name=x.csv", file+"x", octets, func(r *http.Request) { r.ContentLength = -1 }).why(413, WhyTooLarge)
	s.ask("GET", "/people?find="+strings.Repeat("x", 121), nil).why(422, WhyMalformed)
	s.ask("GET", "/people", "{}").why(422, WhyMalformed)
}

func TestMalformed(t *testing.T) {
	s := newSite(t, nil)
	for _, body := range []string{
		"", "{", "null", "[]", `"x"`, "7", `{"form":null,"by":"x"}`, `{"form":{},"by":7}`, `{"form":[],"by":"x"}`, `{"by":"x"}{}`, "\xff\xfe", `{"form":{"name":"x","extra":1},"by":"x"}`,
		strings.Repeat("[", 20_000), `{"form":` + strings.Repeat(`{"form":`, 9_000),
	} {
		s.ask("POST", "/people", body).why(422, WhyMalformed)
	}
	// What was sent does not come back: it may be about a person.
	g := s.ask("POST", "/people", `{"form":{"name":"Tomasz Zieliński"},"by":["Agnes"]}`).is(422, nil)
	if strings.Contains(string(g.body), "Tomasz") || strings.Contains(string(g.body), `"Agnes"`) {
		t.Errorf("answer %s", g.body)
	}
}

// A GET changes nothing: the journal stays and so do the tables.
func TestGetChangesNothing(t *testing.T) {
	s := newSite(t, (&parts{}).all)
	person := s.enter()
	s.play("r000100", person, procedure.Pass)
	last, hash := s.store.Last()
	for path, item := range s.handler.(*api).huma.OpenAPI().Paths {
		if item.Get == nil {
			continue
		}
		path = strings.NewReplacer("{run}", "r000100", "{agent}", "bitter", "{strength}", "weak", "{job}", "j-0000000000000000").Replace(path)
		id := person
		if !strings.HasPrefix(path, "/people") {
			id = "bitter-strong-1"
		}
		s.ask("GET", strings.ReplaceAll(path, "{id}", id), nil)
	}
	if now, h := s.store.Last(); now != last || h != hash {
		t.Errorf("the journal went from %d to %d", last, now)
	}
}

// A panic ends one request, with an answer that says nothing of it.
func TestPanic(t *testing.T) {
	s := newSite(t, func(c *Config) { c.Evidence = panics{} })
	g := s.ask("GET", "/evidence/head", nil)
	g.why(500, WhyFailed)
	if strings.Contains(string(g.body), "Tomasz") || strings.Contains(s.log.String(), "Tomasz") || !strings.Contains(s.log.String(), "stack") {
		t.Errorf("answer %s, log %s", g.body, s.log)
	}
}

type panics struct{ Evidence }

func (panics) Head(context.Context) (SignedHead, error) { panic("Tomasz Zieliński") }

// Over a real connection the deadlines of the box hold, and an answer that takes
// longer than its request did is not cut off.
func TestOverTheWire(t *testing.T) {
	p := &parts{wait: make(chan struct{})}
	s := newSite(t, func(c *Config) {
		p.all(c)
		c.Moment = time.Now
	})
	server := httptest.NewServer(s.handler)
	defer server.Close()
	time.AfterFunc(100*time.Millisecond, func() { close(p.wait) })
	r, err := http.NewRequest("POST", server.URL+Base+"/people/import/preview?name=x.csv", strings.NewReader("Name\nIlse Brandvold\n"))
	must(t, err)
	r.Header.Set("Origin", server.URL)
	r.Header.Set("Content-Type", typeBytes)
	for range 2 {
		again := r.Clone(t.Context())
		again.Body, err = r.GetBody()
		must(t, err)
		response, err := server.Client().Do(again)
		must(t, err)
		text, err := io.ReadAll(response.Body)
		must(t, err)
		response.Body.Close()
		if response.StatusCode != 200 {
			t.Errorf("%d %s", response.StatusCode, text)
		}
	}
}

func TestDisposition(t *testing.T) {
	for name, want := range map[string]string{
		"people.csv":              `attachment; filename="people.csv"`,
		"Łukasz Żółć.pdf":         `attachment; filename="_ukasz ____.pdf"; filename*=UTF-8''%C5%81ukasz%20%C5%BB%C3%B3%C5%82%C4%87.pdf`,
		"a\"b\r\nSet-Cookie: x":   `attachment; filename="a-b--Set-Cookie- x"`,
		"../../etc/passwd":        `attachment; filename="-..-etc-passwd"`,
		"100 %41.pdf":             `attachment; filename="100 _41.pdf"; filename*=UTF-8''100%20%2541.pdf`,
		"":                        `attachment; filename="file"`,
		"...":                     `attachment; filename="file"`,
		"\xff\xfe.pdf":            `attachment; filename="-.pdf"`,
		"Δέσποινα + a'b (c).json": `attachment; filename="________ + a'b (c).json"; filename*=UTF-8''%CE%94%CE%AD%CF%83%CF%80%CE%BF%CE%B9%CE%BD%CE%B1%20%2B%20a%27b%20%28c%29.json`,
	} {
		got := disposition(name)
		if got != want {
			t.Errorf("%q: %s, want %s", name, got, want)
		}
		if _, params, err := mime.ParseMediaType(got); err != nil || params["filename"] == "" {
			t.Errorf("%q: %s cannot be read: %v", name, got, err)
		}
	}
}

// Whatever a body holds, the answer is one that the document knows, and nothing
// panics.
func FuzzBodies(f *testing.F) {
	s := newSite(f, (&parts{}).all)
	var posts []string
	for path, item := range s.handler.(*api).huma.OpenAPI().Paths {
		for method, op := range operations(item) {
			if op == nil || op.RequestBody == nil {
				continue
			}
			posts = append(posts, method+" "+path)
		}
	}
	for i, p := range posts {
		method, path, _ := strings.Cut(p, " ")
		item := s.handler.(*api).huma.OpenAPI().Paths[path]
		m := operations(item)[method].RequestBody.Content[typeJSON]
		if m == nil {
			continue
		}
		b, err := json.Marshal(m.Example)
		must(f, err)
		f.Add(uint(i), b)
	}
	f.Add(uint(0), []byte(`{"form":{"name":"\ud800","facepieces":[null]},"by":"\u0000"}`))
	f.Add(uint(3), []byte("--x\r\nContent-Disposition: form-data; name=passphrase\r\n\r\n"))
	f.Fuzz(func(t *testing.T, which uint, body []byte) {
		method, path, _ := strings.Cut(posts[which%uint(len(posts))], " ")
		path = strings.NewReplacer("{run}", "r000100").Replace(path)
		id := "p-22222222"
		if !strings.HasPrefix(path, "/people") {
			id = "bitter-strong-1"
		}
		s.t = t
		g := s.ask(method, strings.ReplaceAll(path, "{id}", id), body, func(r *http.Request) {
			switch path {
			case "/people/import/preview":
				r.URL.RawQuery = "name=x.csv"
				r.Header.Set("Content-Type", typeBytes)
			case "/restore":
				r.Header.Set("Content-Type", "multipart/form-data; boundary=x")
			}
		})
		if g.status >= 500 && g.status != 503 {
			t.Errorf("%s %s: %d %s", method, path, g.status, g.body)
		}
	})
}
