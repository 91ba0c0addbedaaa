// SPDX-License-Identifier: Apache-2.0

package api

import "testing"

func TestPeopleWithoutAFacepiece(t *testing.T) {
	s := newSite(t, nil)
	s.enter() // somebody who has one
	var want []string
	for _, number := range []string{"N-1", "N-2", "N-3"} {
		form := exampleForm()
		form.Number, form.Facepieces = number, []string{}
		var known struct{ ID string }
		s.ask("POST", "/people", object{"form": form, "by": agnes}).is(200, &known)
		want = append(want, known.ID)
	}
	s.ask("POST", "/people/"+want[2]+"/left", object{"on": "2026-09-01", "by": agnes}).is(200, nil)
	found := map[string]bool{}
	for next, parts := "", 0; parts == 0 || next != ""; parts++ {
		if parts > 3 {
			t.Fatal("the list does not end")
		}
		var list People
		s.ask("GET", "/people?without=facepiece&limit=1&after="+next, nil).is(200, &list)
		for _, p := range list.People {
			found[p.ID] = true
		}
		next = list.Next
	}
	if len(found) != 2 || !found[want[0]] || !found[want[1]] {
		t.Errorf("found %v, want %v", found, want[:2])
	}
	s.ask("GET", "/people?without=hood", nil).why(422, WhyMalformed)
}
