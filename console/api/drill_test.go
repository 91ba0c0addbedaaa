// SPDX-License-Identifier: Apache-2.0

package api

import (
	"time"

	"tallyhood/console/drill"
	"tallyhood/console/procedure"
	"tallyhood/store"
)

// playDrill writes a drill into the journal in which the facepiece was touched
// and the tester passed over it; without an end it stays open.
func (s *site) playDrill(run, trainee string, ended bool) {
	s.t.Helper()
	at := func(n float64) time.Duration { return time.Duration(n * float64(time.Second)) }
	facts := []procedure.Dated{
		{At: 0, Fact: procedure.RunOpened{
			Run: run, Rules: s.rules["us-osha"], Agent: "bitter", Wearer: procedure.Wearer{ID: "drill", Name: drill.Name("k3f9")}, Tester: trainee, Wall: today.Format(time.RFC3339),
			WallQuality: "confirmed", Practice: procedure.PracticeDrill, Drill: &procedure.Drill{Seed: "k3f9", Level: "easy", Troubles: []string{"touches_facepiece"}},
		}},
		{At: at(1), Fact: procedure.Entered{Stage: procedure.Screening}}, {At: at(2), Fact: procedure.Squeezed{Part: procedure.PartScreening}},
		{At: at(3), Fact: procedure.BinSet{Squeezes: 1, Bin: 10}}, {At: at(203), Fact: procedure.Entered{Stage: procedure.Donning}}, {At: at(504), Fact: procedure.Entered{Stage: procedure.Dosing}},
	}
	for i := range 10 {
		facts = append(facts, procedure.Dated{At: at(505 + float64(i)), Fact: procedure.Squeezed{Part: procedure.PartInitial}})
	}
	facts = append(facts, procedure.Dated{At: at(514), Fact: procedure.ClockStarted{}}, procedure.Dated{At: at(520), Fact: procedure.WearerDid{What: "touches_facepiece"}})
	if ended {
		facts = append(facts, procedure.Dated{At: at(569), Fact: procedure.Ended{Outcome: procedure.NotValid, Reason: procedure.TopUpShort, At: at(569)}})
	}
	var drafts []store.Draft
	for _, f := range facts {
		body, err := procedure.Encode(f)
		must(s.t, err)
		drafts = append(drafts, store.Draft{Stream: run, Kind: f.Fact.Kind(), Version: procedure.FactVersion, Body: body})
	}
	_, err := s.store.Append(s.t.Context(), drafts...)
	must(s.t, err)
}

// drilled asks for everything about drills.
func (s *site) drilled() {
	s.t.Helper()
	var list DrillList
	s.ask("GET", "/drills", nil).is(200, &list)
	if len(list.Drills) != 0 {
		s.t.Errorf("drills before any: %+v", list)
	}
	s.playDrill("r009001", "Bram Okafor", true)
	s.playDrill("r009002", "Iris Vane", false)
	s.ask("GET", "/drills", nil).is(200, &list)
	if len(list.Drills) != 2 || list.Drills[0].Run != "r009002" || list.Drills[0].Unscored != "open" || list.Drills[1].Points != 45 || !list.Drills[1].Scored || len(list.Trainees) != 2 || list.More {
		s.t.Errorf("drills %+v", list)
	}
	s.ask("GET", "/drills?trainee=Bram%20Okafor&limit=1", nil).is(200, &list)
	if len(list.Drills) != 1 || list.Drills[0].Trainee != "Bram Okafor" {
		s.t.Errorf("one trainee's %+v", list)
	}
	s.ask("GET", "/drills?limit=0", nil).why(422, WhyMalformed)

	var offer DrillOffer
	s.ask("GET", "/drills/offer", nil).is(200, &offer)
	if len(offer.Levels) < 3 || len(offer.Troubles) < 9 || len(offer.Assumptions) < 5 || len(offer.Weights) < 10 {
		s.t.Errorf("offer %+v", offer)
	}
	s.ask("GET", "/drills/offer?x=1", nil).why(422, WhyMalformed)

	var page DrillPage
	s.ask("GET", "/drills/r009001", nil).is(200, &page)
	if page.Sheet.Points != 45 || len(page.Sheet.Items) != 2 || page.Sheet.Truth == nil || len(page.Sheet.SqueezesS) != 10 {
		s.t.Errorf("sheet %+v", page.Sheet)
	}
	s.ask("GET", "/drills/r009002", nil).is(200, &page)
	if page.Sheet.Truth != nil || page.Sheet.Unscored != "open" {
		s.t.Errorf("an open drill tells %+v", page.Sheet.Truth)
	}
	s.ask("GET", "/drills/r000100", nil).why(404, WhyNotKnown) // a test is no drill
	s.ask("GET", "/drills/r009999", nil).why(404, WhyNotKnown)

	word := object{"outcome": "not_valid", "acts": []object{{"n": 1, "acts": true}}, "note": "", "by": agnes}
	s.ask("POST", "/drills/r009001/judge", word).is(200, nil)
	s.ask("POST", "/drills/r009002/judge", word).why(409, "refused")
	s.ask("POST", "/drills/r000100/judge", word).why(404, WhyNotKnown)
	word["by"] = "Bram Okafor"
	s.ask("POST", "/drills/r009001/judge", word).why(409, "refused")
	s.ask("GET", "/drills/r009001", nil).is(200, &page)
	if len(page.Judged) != 1 || page.Judged[0].Trainer != agnes || len(page.Judged[0].Acts) != 1 || !page.Judged[0].Acts[0].Acts {
		s.t.Errorf("judged %+v", page.Judged)
	}
	var agreed DrillAgreements
	s.ask("GET", "/drills/agreement", nil).is(200, &agreed)
	if len(agreed.Agreements) != 1 || agreed.Agreements[0].Drills != 1 || agreed.Agreements[0].Verdicts.Neither != 1 || agreed.Agreements[0].Reactions.Trainer != 1 {
		s.t.Errorf("agreement %+v", agreed)
	}
	s.ask("GET", "/drills/agreement?x=1", nil).why(422, WhyMalformed)
}
