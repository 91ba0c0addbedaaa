// SPDX-License-Identifier: Apache-2.0

package api

import (
	"bytes"
	"context"
	"encoding/base64"
	"errors"
	"fmt"
	"mime/multipart"
	"net/http"
	"os"
	"strings"
	"testing"
	"time"

	"tallyhood/console/procedure"
	"tallyhood/console/programme"
	"tallyhood/console/sealing"
	"tallyhood/store"
)

// Every operation does what it says, and is refused in words when it cannot.
// Each answer is held against the document; at the end no operation is left
// that was not seen to work and to fail.
func TestOperations(t *testing.T) {
	p := &parts{}
	s := newSite(t, func(c *Config) {
		p.all(c)
		c.Pages = os.DirFS("../web/page")
	})
	person := s.enter()
	s.play("r000100", person, procedure.Pass)
	s.play("r000200", person, procedure.Fail)
	s.play("r000300", person, "") // open
	who := func(more object) object {
		more["by"] = agnes
		return more
	}
	missing := "p-22222222"

	// People
	var people People
	s.ask("GET", "/people?find=ZIELI&limit=5", nil).is(200, &people)
	if len(people.People) != 1 || people.People[0].Name != "Tomasz Zieliński" {
		t.Errorf("found %+v", people)
	}
	if s.ask("GET", "/people?find=ZIELI&limit=1", nil).is(200, &people); people.Next == "" {
		t.Error("a full part does not say where the next begins")
	}
	if s.ask("GET", "/people?find=ZIELI&limit=1&after="+people.Next, nil).is(200, &people); len(people.People) != 0 || people.Next != "" {
		t.Errorf("after the last one: %+v", people)
	}
	s.ask("GET", "/people?find=ZIELI&after=A", nil).why(422, WhyMalformed)
	s.ask("GET", "/people?limit=1", nil).is(200, &people)
	if people.Next != person {
		t.Errorf("next %q", people.Next)
	}
	s.ask("GET", "/people?after="+person, nil).is(200, &people)
	if len(people.People) != 0 || people.Next != "" {
		t.Errorf("after the last: %+v", people)
	}
	s.ask("GET", "/people?limit=0", nil).why(422, WhyMalformed)
	s.ask("GET", "/people?limit=1000000", nil).why(422, WhyMalformed)
	s.ask("GET", "/people?who=me", nil).why(422, WhyMalformed)
	s.ask("GET", "/people?after=../x", nil).why(422, WhyMalformed)
	s.ask("POST", "/people", who(object{"form": programme.PersonForm{}})).why(409, "missing")
	s.ask("POST", "/people", object{"form": exampleForm()}).why(422, WhyMalformed)
	s.ask("POST", "/people", who(object{"form": object{"name": "Ilse"}})).why(422, WhyMalformed)
	var page PersonPage
	s.ask("GET", "/people/"+person, nil).is(200, &page)
	if len(page.Runs) != 2 || page.Person.Number != "HS-021" {
		t.Errorf("page %+v", page)
	}
	s.ask("GET", "/people/"+missing, nil).why(404, WhyNotKnown)
	s.ask("GET", "/people/p-22", nil).why(422, WhyMalformed)
	s.ask("GET", "/people/%2e%2e", nil).why(422, WhyMalformed)
	form := exampleForm()
	form.Job = "banker mason"
	s.ask("PUT", "/people/"+person, who(object{"form": form})).is(200, nil)
	s.ask("PUT", "/people/"+missing, who(object{"form": form})).why(404, WhyNotKnown)
	s.ask("GET", "/people/"+person, nil).is(200, &page)
	if page.Person.Job != "banker mason" {
		t.Errorf("job %q", page.Person.Job)
	}
	s.ask("POST", "/people/"+person+"/clearance", who(object{"on": "2026-09-01", "who": "Dr Hale"})).is(200, nil)
	s.ask("POST", "/people/"+person+"/clearance", who(object{"on": "1 September", "who": "Dr Hale"})).why(422, WhyMalformed)
	s.ask("POST", "/people/"+person+"/trigger", who(object{"trigger": "dental", "on": "2026-09-14"})).is(200, nil)
	s.ask("POST", "/people/"+person+"/trigger", who(object{"trigger": "mood", "on": "2026-09-14"})).why(422, WhyMalformed)
	s.ask("POST", "/people/"+missing+"/left", who(object{"on": "2026-09-14"})).why(404, WhyNotKnown)
	s.ask("POST", "/people/"+missing+"/back", who(object{})).why(404, WhyNotKnown)
	s.ask("POST", "/people/"+person+"/left", who(object{"on": "2026-09-14"})).is(200, nil)
	s.ask("POST", "/people/"+person+"/back", who(object{})).is(200, nil)
	var is PersonPage
	if s.ask("GET", "/people/"+person, nil).is(200, &is); is.Person.Left != "" || len(is.Person.Due) == 0 {
		t.Errorf("back again: %+v", is.Person)
	}
	s.ask("POST", "/people/"+missing+"/listed", who(object{"day": "2026-09-20"})).why(404, WhyNotKnown)
	s.ask("POST", "/people/"+person+"/listed", who(object{"day": "soon"})).why(422, WhyMalformed)
	for _, off := range []bool{false, true} {
		s.ask("POST", "/people/"+person+"/listed", who(object{"day": "2026-09-20", "place": 3, "off": off})).is(200, nil)
		var day programme.Day
		s.ask("GET", "/day?on=2026-09-20", nil).is(200, &day)
		for _, e := range day.Expected {
			if e.Person == person && e.Listed == off {
				t.Errorf("taken off: %v, and listed: %v", off, e.Listed)
			}
		}
	}

	var due DueList
	s.ask("GET", "/due?by=2030-01-01", nil).is(200, &due)
	if len(due.Due) != 1 || due.Due[0].Name != "Tomasz Zieliński" || due.Due[0].Label != "Fellside Corrie, medium" {
		t.Errorf("due %+v", due)
	}
	s.ask("GET", "/due?by=soon", nil).why(422, WhyMalformed)
	s.ask("GET", "/due?after=%21", nil).why(422, WhyMalformed)
	var everything struct {
		Person programme.Person
		Runs   []struct{ View struct{ Wearer string } }
		Facts  []struct{ Kind string }
	}
	s.ask("GET", "/people/"+person+"/export", nil).is(200, &everything)
	if len(everything.Runs) != 2 || everything.Runs[0].View.Wearer != "Tomasz Zieliński" || len(everything.Facts) != 8 {
		t.Errorf("everything %+v", everything)
	}
	s.ask("GET", "/people/"+missing+"/export", nil).why(404, WhyNotKnown)

	// Facepieces and kit
	var pieces FacepieceList
	s.ask("GET", "/facepieces", nil).is(200, &pieces)
	if len(pieces.Facepieces) != 2 || pieces.Facepieces[0].Refused["us-osha"] == "" || len(pieces.Facepieces[1].Refused) != 0 {
		t.Errorf("facepieces %+v", pieces)
	}
	s.ask("GET", "/facepieces?x=1", nil).why(422, WhyMalformed)
	s.ask("PUT", "/facepieces/Corrie%20M", who(object{"form": exampleFacepieceForm()})).why(422, WhyMalformed)
	bad := exampleFacepieceForm()
	bad.Stock = -1
	s.ask("PUT", "/facepieces/corrie-m", who(object{"form": bad})).why(409, "number")
	s.ask("POST", "/facepieces/corrie-m/cleaned", who(object{"piece": "C-M-1"})).is(200, nil)
	s.ask("POST", "/facepieces/corrie-m/cleaned", who(object{"piece": "C-M-9"})).why(404, WhyNotKnown)
	s.ask("POST", "/facepieces/nothing/cleaned", who(object{"piece": "C-M-1"})).why(404, WhyNotKnown)
	s.ask("PUT", "/hoods/hood-1", who(object{"form": programme.HoodForm{Mark: "H1", AcrossMM: 9000}})).why(409, "size")
	s.ask("PUT", "/nebulisers/bitter-strong-1", who(object{"form": programme.NebuliserForm{Mark: "B2", Role: "both", Agent: "bitter"}})).why(409, "role")
	old := exampleSolution().SolutionForm
	old.Expires = "2026-09-02"
	s.ask("PUT", "/solutions/bitter-old", who(object{"form": old})).is(200, nil)
	old.Expires = "never"
	s.ask("PUT", "/solutions/bitter-old", who(object{"form": old})).why(409, "day")
	s.untrusted = true
	s.ask("POST", "/nebulisers/bitter-strong-1/filled", who(object{"solution": "bitter-strong-260901"})).why(409, WhyClockUnset)
	s.ask("POST", "/nebulisers/bitter-strong-1/mist", who(object{"good": true, "shown": []string{}})).why(409, WhyClockUnset)
	s.untrusted = false
	s.ask("POST", "/nebulisers/bitter-strong-1/filled", who(object{"solution": "bitter-old"})).why(409, "solution_expired")
	s.ask("POST", "/nebulisers/bitter-strong-1/filled", who(object{"solution": "bitter-strong-260901"})).is(200, nil)
	var kit Kit
	s.ask("GET", "/kit", nil).is(200, &kit)
	whys := map[string]string{}
	for _, w := range kit.Warnings {
		whys[w.ID] = w.What
		if inWords[w.What] == "" {
			t.Errorf("%s has no words", w.What)
		}
	}
	if whys["hood-2"] != "hood_oversized" || whys["bitter-old"] != "solution_expired" || whys["bitter-strong-1"] != "mist_not_checked" || len(whys) != 3 {
		t.Errorf("warnings %+v", kit.Warnings)
	}
	if left := kit.Nebulisers[0].StaleInS; left == nil || *left != 4*3600 {
		t.Errorf("stale in %v", left)
	}
	s.ask("GET", "/kit?x=1", nil).why(422, WhyMalformed)

	// Mist check: what is shown has to be what goes.
	var sweep programme.Sweep
	s.ask("GET", "/nebulisers/bitter-strong-1/sweep", nil).is(200, &sweep)
	if len(sweep.Runs) != 2 || len(sweep.People) != 1 {
		t.Errorf("sweep %+v", sweep)
	}
	s.ask("GET", "/nebulisers/none/sweep", nil).why(404, WhyNotKnown)
	s.ask("GET", "/solutions/bitter-strong-260901/sweep?agent=bitter&strength=weak&expires=2026-09-20", nil).is(200, &sweep)
	s.ask("GET", "/solutions/bitter-strong-260901/sweep?agent=salty&strength=weak&expires=2026-09-20", nil).why(422, WhyMalformed)
	s.ask("POST", "/nebulisers/bitter-strong-1/mist", who(object{"good": false, "shown": []string{"r000100"}})).why(409, "changed")
	s.ask("GET", "/recipes", nil).is(200, nil)
	s.ask("GET", "/recipes?x=1", nil).why(422, WhyMalformed)

	// Records
	var list RunList
	s.ask("GET", "/runs?limit=1", nil).is(200, &list)
	if len(list.Runs) != 1 || list.Runs[0].Run.Run != "r000200" || list.Runs[0].Name != "Tomasz Zieliński" || list.Next == "" {
		t.Errorf("runs %+v", list)
	}
	s.ask("GET", "/runs?limit=5&before="+list.Next, nil).is(200, &list)
	if len(list.Runs) != 1 || list.Runs[0].Run.Run != "r000100" || list.Next != "" {
		t.Errorf("runs %+v", list)
	}
	for filter, want := range map[string]int{
		"outcome=pass": 1, "outcome=not_valid": 0, "person=" + person: 2, "person=p-00000000": 0, "facepiece=corrie-m": 2, "facepiece=beacon-m": 0, "to=2026-09-14": 2, "to=2026-09-13": 0,
		"tester=agnes+THORLEY": 2, "tester=Bram+Okafor": 0, "only=recalled": 0, "only=practice": 0, "only=tests": 2, "tester=Agnes+Thorley&outcome=pass&to=2026-09-14&from=2026-09-14": 1,
	} {
		if s.ask("GET", "/runs?"+filter, nil).is(200, &list); len(list.Runs) != want {
			t.Errorf("runs with %s: %d, want %d", filter, len(list.Runs), want)
		}
	}
	s.ask("GET", "/runs?outcome=lost", nil).why(422, WhyMalformed)
	s.ask("GET", "/runs?from=2026-09-15", nil).is(200, &list)
	if len(list.Runs) != 0 {
		t.Errorf("runs of a later day %+v", list)
	}
	s.ask("GET", "/runs?before=x", nil).why(422, WhyMalformed)
	s.ask("GET", "/runs?before=9999999999999999999", nil).is(200, nil)
	var run struct {
		Run  *struct{ Hash, Name string }
		View struct{ Wearer string }
	}
	s.ask("GET", "/runs/r000300", nil).is(200, &run)
	if run.Run != nil || run.View.Wearer != "Tomasz Zieliński" {
		t.Errorf("open run %+v", run)
	}
	s.ask("GET", "/runs/r000100", nil).is(200, &run)
	s.ask("GET", "/runs/r000999", nil).why(404, WhyNotKnown)
	s.ask("GET", "/runs/programme", nil).why(422, WhyMalformed)
	strokes := base64.StdEncoding.EncodeToString([]byte("[[[0.1,0.2],[0.3,0.4]]]"))
	s.ask("POST", "/runs/r000100/sign", who(object{"who": "wearer", "strokes": strokes, "record": run.Run.Hash})).is(200, nil)
	s.ask("POST", "/runs/r000100/sign", who(object{"who": "wearer", "strokes": strokes, "record": strings.Repeat("0", 64)})).why(409, "changed")
	s.ask("POST", "/runs/r000100/sign", who(object{"who": "wearer", "strokes": "????", "record": run.Run.Hash})).why(422, WhyMalformed)
	for _, drawn := range []string{"[]", "{}", "[[[2,0]]]", "[[[0,0]]]x", "[[[0,0]]] [[[0,0]]]", "[[]]"} {
		s.ask("POST", "/runs/r000100/sign", who(object{"who": "wearer", "strokes": base64.StdEncoding.EncodeToString([]byte(drawn)), "record": run.Run.Hash})).why(422, WhyMalformed)
	}
	s.ask("POST", "/runs/r000100/sign", who(object{"who": "dog", "strokes": strokes, "record": run.Run.Hash})).why(422, WhyMalformed)
	s.ask("POST", "/runs/r000100/amend", who(object{"field": "tester", "to": "Bram Okafor", "reason": "wrong name picked"})).is(200, nil)
	s.ask("POST", "/runs/r000100/amend", who(object{"field": "outcome", "to": "pass", "reason": "nicer"})).why(409, "field")
	s.ask("POST", "/runs/r000999/amend", who(object{"field": "tester", "to": "Bram Okafor", "reason": "x"})).why(404, WhyNotKnown)

	// The day, the figures, the house
	var day programme.Day
	s.ask("GET", "/day?on=2026-09-14", nil).is(200, &day)
	s.ask("GET", "/day", nil).is(200, &day)
	s.ask("GET", "/day?on=monday", nil).why(422, WhyMalformed)
	s.ask("GET", "/plan?people=12&hoods=2", nil).is(200, nil)
	s.ask("GET", "/plan?hoods=99", nil).why(422, WhyMalformed)
	var figures Insight
	s.ask("GET", "/insight?from=2026-01-01&to=2026-12-31", nil).is(200, &figures)
	if figures.Counts.Tests != 2 || figures.Counts.Pass != 1 || figures.Counts.Fail != 1 || figures.LeftOut != 0 || len(figures.Charts) != 12 || !strings.HasPrefix(figures.Charts[0].SVG, "<svg") {
		t.Errorf("figures %+v", figures.Counts)
	}
	s.ask("GET", "/insight?from=2027-01-01", nil).is(200, &figures)
	if figures.Counts.Tests != 0 || figures.Counts.Passing.Known {
		t.Errorf("figures of nothing %+v", figures.Counts)
	}
	s.ask("GET", "/insight?from=x", nil).why(422, WhyMalformed)
	var letters Lettered
	s.ask("GET", "/insight/testers", nil).is(200, &letters)
	// One of the records was corrected to another tester.
	if len(letters.Testers) != 2 || letters.Testers[0] != (LetteredTester{"A", agnes}) && letters.Testers[0] != (LetteredTester{"A", "Bram Okafor"}) {
		t.Errorf("letters %+v", letters)
	}
	s.ask("GET", "/insight/testers?to=x", nil).why(422, WhyMalformed)
	s.ask("PUT", "/policy", who(object{"policy": examplePolicy()})).is(200, nil)
	loose := examplePolicy()
	loose.Rules, loose.RetestMonths = "us-osha", 60
	s.ask("PUT", "/policy", who(object{"policy": loose})).why(409, "looser")
	var policy programme.Policy
	s.ask("GET", "/policy", nil).is(200, &policy)
	if policy != examplePolicy() {
		t.Errorf("policy %+v", policy)
	}
	s.ask("GET", "/policy?x=1", nil).why(422, WhyMalformed)
	s.ask("GET", "/retention", nil).is(200, nil)
	s.ask("GET", "/retention?x=1", nil).why(422, WhyMalformed)
	s.ask("POST", "/retention", who(object{"shown": []string{person}})).why(409, "changed")
	s.ask("POST", "/retention", who(object{"shown": []string{}})).why(422, WhyMalformed)

	// Files
	for _, f := range []struct{ path, kind, name, asked string }{
		{"/people.csv", typeCSV, "people.csv", "people.csv"}, {"/people.xlsx", typeXLSX, "people.xlsx", "people.xlsx"},
		{"/due.ics?by=2026-12-31", typeICS, "due.ics", "By:2026-12-31"}, {"/runs.csv", typeCSV, "runs.csv", "runs.csv"}, {"/runs.xlsx", typeXLSX, "runs.xlsx", "runs.xlsx"},
		{"/runs/r000100/record.pdf", typePDF, "r000100 record.pdf", "Run:r000100"}, {"/runs/r000100/card.pdf", typePDF, "r000100 card.pdf", "card.pdf"},
		{"/runs/r000100/card.png", typePNG, "r000100 card.png", "card.png"}, {"/runs/r000100/record.json", typeJSON, "r000100 record.json", "record.json"},
		{"/recipes/bitter/strong/sheet.pdf?ml=100", typePDF, "recipe bitter strong.pdf", "ML:100"}, {"/solutions/bitter-old/label.pdf", typePDF, "label bitter-old.pdf", "Solution:bitter-old"},
		{"/day/reminders.pdf", typePDF, "reminders.pdf", "reminders.pdf"}, {"/day/summary.pdf", typePDF, "summary.pdf", "summary.pdf"},
	} {
		p.fail = nil
		g := s.file(f.path)
		if g.header.Get("Content-Type") != f.kind || g.header.Get("Content-Disposition") != `attachment; filename="`+f.name+`"` || g.header.Get("Content-Length") == "" {
			t.Errorf("%s: %v", f.path, g.header)
		}
		if last := p.asked[len(p.asked)-1]; !strings.Contains(last, f.asked) {
			t.Errorf("%s: asked for %s", f.path, last)
		}
		p.fail = store.ErrNotFound
		s.ask("GET", f.path, nil).why(404, WhyNotKnown)
		p.fail = programme.Refused{Why: "practice", Text: "practice has no card"}
		if s.operation("GET", f.path) == "cardPNG" {
			s.ask("GET", f.path, nil).why(409, "practice")
		}
		p.fail = nil
		join := "?"
		if strings.Contains(f.path, "?") {
			join = "&"
		}
		s.ask("GET", f.path+join+"x=1", nil).why(422, WhyMalformed)
	}

	s.reviewed()

	// Import
	table := "Number;Name\nHS-033;Despina Λάμπρου\n;\nHS-021;Tomasz Zieliński\n"
	octets := func(r *http.Request) { r.Header.Set("Content-Type", typeBytes) }
	var preview Preview
	s.ask("POST", "/people/import/preview?name=people.csv", table, octets).is(200, &preview)
	if preview.Guess["number"] != 0 || preview.Guess["name"] != 1 || preview.Count != 3 || len(preview.Rows) != 3 {
		t.Errorf("preview %+v", preview)
	}
	s.ask("POST", "/people/import/preview", table, octets).why(422, WhyMalformed)
	bring := func(dry bool, more object) object {
		b := object{"token": preview.Token, "encoding": "", "delimiter": "", "sheet": "", "mapping": preview.Guess, "dry_run": dry}
		for k, v := range more {
			b[k] = v
		}
		return who(b)
	}
	var imported programme.Imported
	last, _ := s.store.Last()
	s.ask("POST", "/people/import", bring(true, nil)).is(200, &imported)
	if now, _ := s.store.Last(); now != last || imported.New != 1 || imported.Same != 1 {
		t.Errorf("dry run %+v, journal %d to %d", imported, last, now)
	}
	s.ask("POST", "/people/import", bring(true, object{"mapping": object{"shoe": 1}})).why(422, WhyMalformed)
	s.ask("POST", "/people/import", bring(false, nil)).is(200, &imported)
	if imported.New != 1 {
		t.Errorf("import %+v", imported)
	}
	s.ask("POST", "/people/import", bring(false, nil)).why(404, WhyNotKnown) // the file is gone

	// Retention: somebody who left long ago may be erased.
	house := examplePolicy()
	house.Rules, house.RetestMonths, house.KeepMonths = "us-osha", 12, 12
	s.ask("PUT", "/policy", who(object{"policy": house})).is(200, nil)
	gone := exampleForm()
	gone.Name, gone.Number, gone.Rules = "Rhodri Vance", "HS-040", "us-osha"
	var left Entered
	s.ask("POST", "/people", who(object{"form": gone})).is(200, &left)
	s.ask("POST", "/people/"+left.ID+"/left", who(object{"on": "2020-03-31"})).is(200, nil)
	var keep programme.Retention
	s.ask("GET", "/retention", nil).is(200, &keep)
	if len(keep.People) != 1 || keep.People[0].Person != left.ID {
		t.Errorf("retention %+v", keep)
	}
	s.ask("POST", "/retention", who(object{"shown": []string{left.ID}})).is(200, nil)
	s.ask("GET", "/people/"+left.ID, nil).why(404, WhyNotKnown)

	// Evidence
	s.ask("GET", "/evidence/head", nil).is(200, nil)
	s.ask("GET", "/evidence/r000100", nil).is(200, nil)
	s.ask("GET", "/evidence/heads", nil).why(422, WhyMalformed)
	s.ask("POST", "/evidence/check", object{"claim": "TH1"}).is(200, nil)
	s.ask("POST", "/evidence/check", object{"claim": ""}).why(422, WhyMalformed)
	p.fail = store.ErrNotFound
	s.ask("GET", "/evidence/head", nil).why(404, WhyNotKnown)
	p.fail = nil

	s.coded(p)

	// Backup
	var backups Backups
	s.ask("GET", "/backup", nil).is(200, &backups)
	if len(backups.Generations) != 1 || backups.Generations[0] != exampleBackups().Generations[0] {
		t.Errorf("backups %+v", backups)
	}
	if backups.Restores == nil || len(backups.Restores) > 0 {
		t.Errorf("nothing was ever restored here: %+v", backups.Restores)
	}
	for _, b := range exampleBackups().Restores {
		must(t, s.desk.Do(t.Context(), programme.Restored{At: "2025-01-07T08:00:00Z", Quality: "unset", Box: "box-old", Made: "2025-01-06T16:00:00Z", Entries: 40, Head: b.Head}, programme.Restored{At: b.At, Quality: b.Quality, Box: b.Box, Made: b.Made, Entries: b.Entries, Head: b.Head, By: b.By}))
		s.ask("GET", "/backup", nil).is(200, &backups)
		if len(backups.Restores) != 2 || backups.Restores[0] != b || backups.Restores[1].By != "" {
			t.Errorf("restores %+v, want %+v first", backups.Restores, b)
		}
	}
	s.ask("GET", "/backup?x=1", nil).why(422, WhyMalformed)
	pass := "six plain words of your own"
	if g := s.ask("POST", "/backup", object{"passphrase": pass}).is(200, nil); string(g.body) != "age" || g.header.Get("Content-Disposition") != `attachment; filename="tallyhood 2026-09-14.backup"` {
		t.Errorf("backup %s %v", g.body, g.header)
	}
	s.ask("POST", "/backup", object{"passphrase": "short"}).why(422, WhyMalformed)
	s.ask("POST", "/backup/folder", object{"folder": "/media/stick", "passphrase": pass}).is(200, nil)
	s.ask("POST", "/backup/folder", object{"folder": "", "passphrase": pass}).why(422, WhyMalformed)
	body, kind := restoreBody(t, "passphrase", pass, "file", "age")
	s.ask("POST", "/restore", body, kind).is(200, nil)
	if string(p.restored) != "age" || p.asked[len(p.asked)-1] != "restore "+pass {
		t.Errorf("restored %q, asked %v", p.restored, p.asked)
	}
	body, kind = restoreBody(t, "passphrase", pass, "by", "Agnes Thorley", "file", "age")
	s.ask("POST", "/restore", body, kind).is(200, nil)
	if string(p.restored) != "age" || p.asked[len(p.asked)-1] != "restore "+pass+"Agnes Thorley" {
		t.Errorf("restored %q, asked %v", p.restored, p.asked)
	}
	body, kind = restoreBody(t, "passphrase", pass, "by", strings.Repeat("x", 401), "file", "age")
	s.ask("POST", "/restore", body, kind).why(422, WhyMalformed)
	body, kind = restoreBody(t, "file", "age", "passphrase", pass)
	s.ask("POST", "/restore", body, kind).why(422, WhyMalformed)
	s.ask("POST", "/restore", body[:20], kind).why(422, WhyMalformed)
	p.notFirst = true
	s.ask("POST", "/restore", body, kind).why(409, WhyNotFirst)
	p.notFirst = false

	// What writes the file anew waits for the end of a run.
	s.runOpen = true
	s.ask("POST", "/restore", body, kind).why(409, WhyRunOpen)
	// A backup waits too: a commit of the run might wait for it.
	s.ask("POST", "/backup", object{"passphrase": pass}).why(409, WhyRunOpen)
	s.ask("POST", "/backup/folder", object{"folder": "/media/stick", "passphrase": pass}).why(409, WhyRunOpen)
	s.ask("POST", "/people/"+person+"/erase", who(object{"reason": "asked for"})).why(409, WhyRunOpen)
	s.ask("POST", "/retention", who(object{"shown": []string{person}})).why(409, WhyRunOpen)
	s.runOpen = false
	s.ask("POST", "/people/"+missing+"/erase", who(object{"reason": "asked for"})).why(404, WhyNotKnown)

	// A bad mist check takes the runs with it, and erasure the name.
	s.ask("POST", "/nebulisers/bitter-strong-1/mist", who(object{"good": true, "shown": nil})).is(200, nil)
	s.ask("POST", "/people/"+person+"/left", who(object{"on": "2026-09-14"})).is(200, nil)
	s.ask("POST", "/people/"+person+"/left", who(object{"on": "x"})).why(422, WhyMalformed)
	s.ask("POST", "/people/"+person+"/erase", who(object{"reason": "asked for"})).is(200, nil)
	s.ask("GET", "/people/"+person, nil).why(404, WhyNotKnown)
	s.ask("GET", "/runs/r000100", nil).is(200, &run)
	if run.Run.Name != "" || run.View.Wearer != "(erased)" {
		t.Errorf("after erasure %+v", run)
	}

	s.ask("GET", "/openapi.json", nil).is(200, nil)
	s.ask("GET", "/asyncapi.json", nil).is(200, nil)
	s.ask("GET", "/openapi.json?x=1", nil).why(422, WhyMalformed)
	s.ask("GET", "/asyncapi.json?x=1", nil).why(422, WhyMalformed)
	s.ask("GET", "/jobs/j-0000000000000000", nil).why(404, WhyNotKnown)
	s.drilled()

	for _, item := range s.handler.(*api).huma.OpenAPI().Paths {
		for _, op := range operations(item) {
			if op == nil {
				continue
			}
			works, fails := false, false
			for status := range s.seen[op.OperationID] {
				works, fails = works || status < 300, fails || status >= 400
			}
			if op.OperationID == "getJob" {
				works = true // see TestJob
			}
			if !works || !fails {
				t.Errorf("%s: seen to work %v, seen to fail %v", op.OperationID, works, fails)
			}
		}
	}
	if strings.Contains(s.log.String(), "Zieli") || strings.Contains(s.log.String(), "ZIELI") || strings.Contains(s.log.String(), pass) || strings.Contains(s.log.String(), "Agnes") {
		t.Errorf("the log holds what requests held:\n%s", s.log)
	}
}

// file asks for a file; what it holds is the printer's, so only its head is
// held against the document.
func (s *site) file(path string) *got {
	s.t.Helper()
	return s.ask("GET", path, nil).is(200, nil)
}

func restoreBody(t *testing.T, parts ...string) ([]byte, func(*http.Request)) {
	t.Helper()
	var b bytes.Buffer
	w := multipart.NewWriter(&b)
	for i := 0; i < len(parts); i += 2 {
		must(t, w.WriteField(parts[i], parts[i+1]))
	}
	must(t, w.Close())
	return b.Bytes(), func(r *http.Request) { r.Header.Set("Content-Type", w.FormDataContentType()) }
}

// A bad mist check that was confirmed makes the runs not valid.
func TestRecall(t *testing.T) {
	s := newSite(t, nil)
	person := s.enter()
	s.play("r000100", person, procedure.Pass)
	var sweep programme.Sweep
	s.ask("GET", "/nebulisers/bitter-strong-1/sweep", nil).is(200, &sweep)
	var shown []string
	for _, r := range sweep.Runs {
		shown = append(shown, r.Run)
	}
	last, _ := s.store.Last()
	s.ask("POST", "/nebulisers/bitter-strong-1/mist", object{"good": false, "shown": shown, "by": agnes}).is(200, nil)
	if now, _ := s.store.Last(); now != last+2 {
		t.Errorf("journal from %d to %d, want a check and a recall", last, now)
	}
	var run RunPage
	s.ask("GET", "/runs/r000100", nil).is(200, &run)
	if run.Run.Outcome != procedure.NotValid || run.Run.First != procedure.Pass {
		t.Errorf("run %+v", run.Run)
	}
}

// A batch that turns out to be another one recalls what was done with it, once
// that was shown.
func TestRecallOfABatch(t *testing.T) {
	s := newSite(t, nil)
	person := s.enter()
	s.play("r000100", person, procedure.Pass)
	form := exampleSolution().SolutionForm
	last, _ := s.store.Last()
	put := func(change func(*programme.SolutionForm), shown ...string) *got {
		f := form
		change(&f)
		body := object{"form": f, "by": agnes}
		if shown != nil {
			body["shown"] = shown
		}
		return s.ask("PUT", "/solutions/bitter-strong-260901", body)
	}
	weak := func(f *programme.SolutionForm) { f.Strength = procedure.Weak }
	var sweep programme.Sweep
	s.ask("GET", "/solutions/bitter-strong-260901/sweep?agent=bitter&strength=weak&expires="+form.Expires, nil).is(200, &sweep)
	if len(sweep.Runs) != 1 || sweep.Runs[0].Run != "r000100" || len(sweep.People) != 1 || sweep.People[0] != person || sweep.Solution == "" {
		t.Errorf("sweep %+v", sweep)
	}
	s.ask("GET", "/solutions/bitter-strong-260901/sweep?agent=bitter&strength=strong&expires="+form.Expires, nil).is(200, &sweep)
	if len(sweep.Runs) != 0 {
		t.Errorf("nothing would be changed, and yet %+v", sweep.Runs)
	}
	s.ask("GET", "/solutions/bitter-strong-260901/sweep?agent=bitter", nil).why(422, WhyMalformed)
	put(weak).why(409, "not_shown")
	put(weak, "r000999").why(409, "changed")
	if now, _ := s.store.Last(); now != last {
		t.Errorf("%d entries were written", now-last)
	}
	put(weak, "r000100").is(200, nil)
	if now, _ := s.store.Last(); now != last+2 {
		t.Errorf("journal from %d to %d, want the batch and a recall", last, now)
	}
	var run RunPage
	s.ask("GET", "/runs/r000100", nil).is(200, &run)
	if run.Run.Outcome != procedure.NotValid || run.Run.First != procedure.Pass || run.Run.Recalled != programme.BatchChanged {
		t.Errorf("run %+v", run.Run)
	}
	put(func(*programme.SolutionForm) {}).is(200, nil) // put right again: nothing comes back
	s.ask("GET", "/runs/r000100", nil).is(200, &run)
	if run.Run.Outcome != procedure.NotValid {
		t.Errorf("run %+v", run.Run)
	}
}

// Parts that are not there say so, and the rest works without them.
func TestWithoutParts(t *testing.T) {
	s := newSite(t, nil)
	form, kind := restoreBody(t, "passphrase", "x", "file", "y")
	s.ask("POST", "/backup", object{"passphrase": "six plain words"}).why(501, WhyNotThere)
	s.ask("POST", "/backup/folder", object{"folder": "x", "passphrase": "six plain words"}).why(501, WhyNotThere)
	s.ask("POST", "/restore", form, kind).why(501, WhyNotThere)
	s.ask("POST", "/evidence/check", object{"claim": "x"}).why(501, WhyNotThere)
	s.ask("GET", "/evidence/head", nil).why(501, WhyNotThere)
	s.ask("GET", "/evidence/r000100", nil).why(501, WhyNotThere)
	s.ask("GET", "/evidence/r000100/code.svg", nil).why(501, WhyNotThere)
	s.ask("GET", "/backup", nil).why(501, WhyNotThere)
}

// Work that takes longer than a second is asked for by its id, and holds up
// nobody else.
func TestJob(t *testing.T) {
	p := &parts{wait: make(chan struct{})}
	s := newSite(t, func(c *Config) {
		p.all(c)
		c.Patience = 50 * time.Millisecond
	})
	s.enter()
	token, err := s.handler.(*api).uploads.keep(bytes.NewReader(make([]byte, 16)), "people.csv", []byte("Name\nIlse Brandvold\n"))
	must(t, err)
	body := object{"token": token, "encoding": "", "delimiter": "", "sheet": "", "mapping": object{"name": 0}, "dry_run": false, "by": agnes}
	var job Job
	s.ask("POST", "/people/import", body).is(202, &job)
	if job.State != "running" || job.Kind != "import" {
		t.Errorf("job %+v", job)
	}
	s.ask("GET", "/jobs/"+job.Job, nil).is(200, &job)
	s.ask("POST", "/people/import", body).why(409, WhyBusy)
	s.ask("GET", "/people", nil).is(200, nil)
	s.ask("POST", "/people", object{"form": exampleForm(), "by": agnes}).why(409, "number_taken")
	close(p.wait)
	for range 6000 {
		if s.ask("GET", "/jobs/"+job.Job, nil).is(200, &job); job.State != "running" {
			break
		}
		time.Sleep(10 * time.Millisecond)
	}
	if result, ok := job.Result.(map[string]any); job.State != "done" || !ok || result["new"] != 1.0 {
		t.Errorf("job %+v", job)
	}

	// One that fails says why; one that panics does not take the box with it.
	a := s.handler.(*api)
	a.cfg.Patience = time.Minute
	_, err = a.start(context.Background(), "x", func(context.Context, Progress) (any, error) { return nil, sealing.ErrErased })
	if p := problemOf(err); p.Status != 404 || p.Why != WhyErased {
		t.Errorf("failed job: %+v", p)
	}
	_, err = a.start(context.Background(), "x", func(context.Context, Progress) (any, error) { panic("Tomasz") })
	if p := problemOf(err); p.Status != 500 || strings.Contains(s.log.String(), "Tomasz") {
		t.Errorf("panicked job: %+v, log %s", p, s.log)
	}
	for range 2 * keptJobs {
		_, err = a.start(context.Background(), "x", func(context.Context, Progress) (any, error) { return nil, nil })
		must(t, err)
	}
	if len(a.jobs.all) != keptJobs {
		t.Errorf("%d jobs are kept", len(a.jobs.all))
	}
}

// A file that fails before its first bytes are out is a problem; one that fails
// after them is broken off.
func TestFileThatBreaks(t *testing.T) {
	p := &parts{breaks: true}
	s := newSite(t, p.all)
	s.ask("GET", "/people.csv", nil).why(500, WhyFailed)
	p.long = true
	defer func() {
		if v := recover(); v != any(http.ErrAbortHandler) {
			t.Errorf("recovered %v", v)
		}
	}()
	s.ask("GET", "/people.csv", nil)
	t.Error("half a file passed for a whole one")
}

// What goes wrong inside is told without its words.
func TestProblemsTellNoSecrets(t *testing.T) {
	p := &parts{fail: errors.New("row of Tomasz Zieliński")}
	s := newSite(t, p.all)
	if g := s.ask("GET", "/evidence/head", nil).is(500, nil); strings.Contains(string(g.body), "Tomasz") {
		t.Errorf("answer %s", g.body)
	}
	for err, status := range map[error]int{
		store.ErrFailed: 503, store.ErrReadOnly: 503, store.ErrInvalid: 422, fmt.Errorf("%w: %w", programme.ErrSaved, store.ErrInvalid): 500, context.DeadlineExceeded: 503, ErrNotThere: 501,
	} {
		p.fail = err
		s.ask("GET", "/evidence/head", nil)
		if got := problemOf(err); got.Status != status {
			t.Errorf("%v: %+v, want %d", err, got, status)
		}
	}
}
