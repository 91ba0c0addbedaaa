// SPDX-License-Identifier: Apache-2.0

package web

import (
	"encoding/json"
	"net/http/httptest"
	"testing"
	"time"

	"tallyhood/console/archive"
	"tallyhood/console/procedure"
	"tallyhood/store"
	"tallyhood/store/memory"
)

// The plain list and record of a box without its office do not show a recalled
// run as a pass, also when the recall came after the first look.
func TestARecalledRunIsNoPassInThePlainRecords(t *testing.T) {
	rules, err := procedure.Rules()
	if err != nil {
		t.Fatal(err)
	}
	j := memory.New()
	for i, f := range []procedure.Fact{
		procedure.RunOpened{Run: "r000001", Rules: rules["us-osha"], Agent: "bitter", Wall: "2026-09-14T09:00:00Z"}, procedure.Ended{Outcome: procedure.Pass, At: time.Minute},
	} {
		b, err := procedure.Encode(procedure.Dated{At: time.Duration(i) * time.Minute, Fact: f})
		if err != nil {
			t.Fatal(err)
		}
		if _, err := j.Append(t.Context(), store.Draft{Stream: "r000001", Kind: f.Kind(), Version: 1, Body: b}); err != nil {
			t.Fatal(err)
		}
	}
	s, err := New(Config{Journal: j})
	if err != nil {
		t.Fatal(err)
	}
	look := func(want procedure.Outcome) {
		t.Helper()
		get := func(path string, into any) {
			w := httptest.NewRecorder()
			r := httptest.NewRequestWithContext(t.Context(), "GET", path, nil)
			r.Host = "localhost"
			s.Handler().ServeHTTP(w, r)
			if err := json.Unmarshal(w.Body.Bytes(), into); err != nil {
				t.Fatalf("%s: %v in %s", path, err, w.Body)
			}
		}
		var lines []archive.Line
		var v archive.View
		get("/api/records", &lines)
		get("/api/records/r000001", &v)
		if len(lines) != 1 || lines[0].Outcome != want || v.Outcome != want || v.Record.Outcome != want {
			t.Errorf("list %+v, record %s; want %s", lines, v.Record.Outcome, want)
		}
	}
	look(procedure.Pass)
	body := []byte(`{"nebuliser":"n-1","runs":["r000001"],"reason":"nebuliser found clogged","at":"2026-09-14T16:00:00Z","quality":"confirmed","by":"Agnes Thorley"}`)
	if _, err := j.Append(t.Context(), store.Draft{Stream: "programme", Kind: "runs_recalled", Version: 2, Body: body}); err != nil {
		t.Fatal(err)
	}
	look(procedure.NotValid)
}
