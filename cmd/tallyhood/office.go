// SPDX-License-Identifier: Apache-2.0

package main

import (
	"cmp"
	"context"
	"crypto/rand"
	"errors"
	"log/slog"
	"maps"
	"net/http"
	"slices"
	"strings"
	"time"

	"tallyhood/console/api"
	"tallyhood/console/archive"
	"tallyhood/console/backup"
	"tallyhood/console/demo"
	"tallyhood/console/procedure"
	"tallyhood/console/programme"
	"tallyhood/console/sealing"
	"tallyhood/console/session"
	"tallyhood/console/web"
	"tallyhood/console/wire"
	"tallyhood/device/clock"
	"tallyhood/store"
)

// An office is the job around the runs as the daemon wires it: the desk, and
// what a run asks of it.
type office struct {
	desk  *programme.Desk
	ring  *sealing.Ring
	rules map[string]procedure.RuleSet
	demo  session.Fixed
	sim   bool
	// invented: whoever is not on the list may be one of the demo's. Only a demo, a
	// store that is lost and a script of the simulated board ask for that: else the
	// pages would disagree on whom the box knows.
	invented bool
	log      *slog.Logger
	after    func(context.Context) error // what follows a verdict beside the views; may be nil
	owed     bool                        // erasures are missing in the list beside the store; clean's once it runs
	// spoiled tells open runs of nebulisers and batches; nil while there is no session.
	spoiled func(session.Spoilt)
}

func newOffice(ctx context.Context, p *parts) (*office, error) {
	o := &office{
		ring: sealing.NewRing(p.journal.Table(sealing.Table), rand.Reader), rules: p.rules, sim: p.sim != nil, log: p.log,
		demo: session.Fixed{People: demo.People(), Facepieces: demo.Facepieces(), Rules: p.rules, Languages: demo.Languages()},
	}
	var err error
	o.desk, err = programme.New(ctx, programme.Config{
		Store: p.journal, Ring: o.ring, Rules: p.rules, Random: rand.Reader, Log: p.log,
		Now: func() (time.Time, bool) {
			t, q := p.wall.Now()
			return t, q.Trusted()
		},
		Quality: func() string {
			_, q := p.wall.Now()
			return string(q)
		},
		Erased: func(people []string) error { return p.erased.Add(people...) },
		OnSpoiled: func(x programme.Spoilt) {
			if o.spoiled != nil {
				o.spoiled(session.Spoilt{Nebuliser: x.Nebuliser, Batch: x.Batch, Worthless: x.Why == programme.Clogged || x.Why == programme.BatchChanged, Seen: x.Seen})
			}
		},
	})
	if err == nil {
		_, err = erasedAgain(ctx, o.desk, p.erased, p.log)
	}
	if errors.Is(err, programme.ErrUncleaned) { // no reason to make no tests
		p.log.Error("somebody was erased who may still be in the store's file, or not in the list beside it; it is tried again", "err", err)
		o.owed, err = true, nil
	}
	return o, err
}

// cleanEvery is how long an erasure that found no room waits for the next attempt.
// Each writes the whole file once more, as far as there is room.
const cleanEvery = 10 * time.Minute

// clean ends what erasures have left to do, while no run is open, until ctx ends. The
// start has tried it just before.
func (o *office) clean(ctx context.Context, clk session.Clock, list *backup.Erased, hold func(context.Context, ...string) (func(), string)) {
	for {
		next, stop := clk.Wake(clk.Now() + cleanEvery)
		select {
		case <-next:
		case <-ctx.Done():
			stop()
			return
		}
		if err := o.cleanOnce(ctx, list, hold); err != nil && ctx.Err() == nil {
			o.log.Error("somebody was erased who may still be in the store's file, or not in the list beside it; it is tried again", "err", err)
		}
	}
}

// cleanOnce is one attempt; where a run is open it waits for the next.
func (o *office) cleanOnce(ctx context.Context, list *backup.Erased, hold func(context.Context, ...string) (func(), string)) error {
	owed, err := o.desk.Unclean(ctx)
	if err != nil || !owed && !o.owed {
		return err
	}
	if owed {
		release, why := hold(ctx)
		if why != "" {
			return nil // a run or a backup goes before
		}
		defer release()
		if err := o.desk.Clean(ctx); err != nil {
			return err
		}
	}
	if o.owed {
		all, err := o.desk.Erased(ctx)
		if err == nil {
			err = list.Add(all...)
		}
		if err != nil {
			return err
		}
		o.owed = false
	}
	o.log.Info("what was left of people who were erased is cleaned")
	return nil
}

// May implements session.Register: a person of the desk, with the name sealed
// for the journal, or on a simulated board one of the demo's.
func (o *office) May(ctx context.Context, person, facepiece, rules string) (session.Bound, error) {
	w, f, err := o.desk.May(ctx, person, facepiece, rules)
	var no programme.Refused
	switch {
	case err == nil:
	case errors.As(err, &no):
		if o.invented && no.Why == "not_known" {
			b, err := o.demo.May(ctx, person, facepiece, rules)
			b.Uncleared = true // nothing is on record of who is invented
			if err == nil {
				b.Fails, err = o.desk.FailsInSitting(ctx, b.Wearer.ID, b.Facepiece, o.rules[rules].Sitting(), true)
			}
			return b, err
		}
		return session.Bound{}, session.Refusal{Why: no.Why}
	default:
		return session.Bound{}, err
	}
	sealed, err := o.desk.SealWearer(ctx, w.ID, w.Name)
	if err != nil {
		return session.Bound{}, err
	}
	w.Sealed = sealed.Sealed
	b := session.Bound{Wearer: w, Facepiece: f}
	if p, err := o.desk.Person(ctx, w.ID); err == nil {
		b.Language, b.Uncleared = spokenIn(p.Languages), p.Cleared == nil
	}
	b.Fails, err = o.desk.FailsInSitting(ctx, w.ID, f, o.rules[rules].Sitting(), o.sim)
	return b, err
}

// spokenIn is the first of a person's languages that the pages have words in;
// empty when there is none. A list may name a language or give its code.
func spokenIn(languages []string) string {
	for _, l := range languages {
		if code := programme.LanguageOf(l); code != "" {
			return code
		}
	}
	return ""
}

// Facepiece implements session.Register.
func (o *office) Facepiece(ctx context.Context, facepiece, rules string) (procedure.Facepiece, error) {
	r, known := o.rules[rules]
	all, err := o.desk.Facepieces(ctx)
	if err != nil {
		return procedure.Facepiece{}, err
	}
	for _, f := range all {
		if f.ID != facepiece || f.Gone || !known {
			continue
		}
		if may, _ := r.MayTest(f.Type, f.FitFactor); !may {
			return procedure.Facepiece{}, session.Refusal{Why: "facepiece_not_allowed"}
		}
		return f.ForRun(), nil
	}
	if o.invented {
		return o.demo.Facepiece(ctx, facepiece, rules)
	}
	return procedure.Facepiece{}, session.Refusal{Why: "not_known"}
}

// Nebuliser implements session.Register.
func (o *office) Nebuliser(mark string) *procedure.Kit { return o.desk.Nebuliser(mark) }

// Kept implements session.Register.
func (o *office) Kept() bool { return o.desk.Kept() }

// Hood implements session.Register.
func (o *office) Hood(id string) *procedure.Hood { return o.desk.Hood(id) }

// ended takes in a run that has ended.
func (o *office) ended(run string) {
	ctx, cancel := context.WithTimeout(context.Background(), time.Minute)
	defer cancel()
	err := o.desk.Ended(ctx, run)
	if err == nil && o.after != nil {
		err = o.after(ctx)
	}
	if err != nil && !errors.Is(err, store.ErrClosed) {
		o.log.Error("take in a run", "run", run, "err", err)
	}
}

// books is the HTTP interface of the job around the runs.
func (p *parts) books(ctx context.Context, ses *session.Session) (http.Handler, error) {
	pages, err := web.Pages()
	if err != nil {
		return nil, err
	}
	return api.New(api.Config{
		Pages: pages,
		Desk:  p.office.desk, Journal: p.journal, Ring: p.office.ring, Rules: p.rules, Names: p.office.names, Log: p.log, Version: version,
		Now: func() (time.Time, bool) {
			t, q := p.wall.Now()
			return t, q.Trusted()
		},
		RunOpen: func() bool { return len(ses.Open()) > 0 },
		OpenRuns: func() (all []programme.OpenRun) {
			for _, u := range ses.Open() {
				all = append(all, programme.OpenRun{Run: u.Run, Person: u.Person, Stage: u.Stage, Since: u.Since, Parked: u.Parked})
			}
			return all
		},
		Hold:     p.safe.quiet,
		Evidence: p.notary, Backup: p.safe, LastBackup: p.safe.lastBackup, Moment: clock.Moment, Life: ctx,
	})
}

// names opens the names of wearers.
func (o *office) names(ctx context.Context, w procedure.Wearer) string {
	return openName(ctx, o.ring, w)
}

func openName(ctx context.Context, ring *sealing.Ring, w procedure.Wearer) string {
	w, err := programme.OpenWearer(ctx, ring, w)
	switch {
	case errors.Is(err, sealing.ErrErased):
		return "(erased)"
	case err != nil:
		return "(cannot be read)"
	}
	return w.Name
}

// namesOf opens names for a command that reads a store.
func namesOf(j store.Journal) archive.Names {
	s, ok := j.(store.Store)
	if !ok {
		return nil
	}
	ring := sealing.NewRing(s.Table(sealing.Table), rand.Reader)
	return func(ctx context.Context, w procedure.Wearer) string { return openName(ctx, ring, w) }
}

// mostOffered is how many people the page that opens a run lists: those who are
// due longest.
const mostOffered = 200

// choices are what a run can be opened with now.
func (o *office) choices(ctx context.Context) wire.Choices {
	c := wire.Choices{Agents: []string{"sweet", "bitter"}, Testers: []string{}, People: []wire.Choice{}, Facepieces: []wire.Choice{}, Hoods: []wire.Hood{}}
	for _, id := range slices.Sorted(maps.Keys(o.rules)) {
		c.Rules = append(c.Rules, wire.Choice{ID: id, Label: o.rules[id].Name})
	}
	people, err := o.desk.Offered(ctx, mostOffered)
	if err != nil {
		o.log.Error("people to choose from", "err", err)
	}
	for _, p := range people {
		c.People = append(c.People, wire.Choice{ID: p.ID, Label: label(p), Facepieces: p.Facepieces, Uncleared: p.Cleared == nil})
	}
	facepieces, err := o.desk.Facepieces(ctx)
	if err != nil {
		o.log.Error("facepieces to choose from", "err", err)
	}
	for _, f := range facepieces {
		if !f.Gone {
			c.Facepieces = append(c.Facepieces, o.facepiece(f.ForRun()))
		}
	}
	hoods, err := o.desk.Hoods(ctx)
	if err != nil {
		o.log.Error("hoods to choose from", "err", err)
	}
	for _, h := range hoods {
		if !h.Gone {
			c.Hoods = append(c.Hoods, wire.Hood(h.ForRun()))
		}
	}
	if o.invented {
		c.Testers = demo.Testers()
		if len(c.People) == 0 {
			for _, p := range o.demo.People {
				c.People = append(c.People, wire.Choice{ID: p.ID, Label: p.Name, Uncleared: true})
			}
		}
		if len(c.Facepieces) == 0 {
			for _, f := range o.demo.Facepieces {
				c.Facepieces = append(c.Facepieces, o.facepiece(f))
			}
		}
	}
	return c
}

func label(p programme.Person) string {
	return strings.TrimSpace(p.Name + " " + p.Number)
}

func (o *office) facepiece(f procedure.Facepiece) wire.Choice {
	line := wire.Choice{ID: f.ID, Label: f.Make + " " + f.Model + ", " + f.Size + " (" + f.Style + ")", Refused: map[string]string{}}
	for id, r := range o.rules {
		if ok, why := r.MayTest(f.Type, f.FitFactor); !ok {
			line.Refused[id] = why
		}
	}
	return line
}

// furnish enters the demo people and facepieces into an empty store.
func (o *office) furnish(ctx context.Context) error {
	const by = "demo"
	if there, err := o.desk.People(ctx, "", 1); err != nil || len(there) > 0 {
		return err
	}
	var facts []programme.Fact
	for _, f := range demo.Facepieces() {
		facts = append(facts, programme.FacepieceEntered{ID: f.ID, By: by, Form: programme.FacepieceForm{
			Make: f.Make, Model: f.Model, Style: f.Style, Size: f.Size, Type: f.Type, FitFactor: f.FitFactor, Stock: 3,
		}})
	}
	facts = append(facts, programme.PolicySet{Policy: programme.Policy{Rules: "us-osha", Site: "Harrowgate Stoneworks", Hoods: 1}, By: by})
	if err := o.desk.Do(ctx, facts...); err != nil {
		return err
	}
	var forms []programme.PersonForm
	for _, p := range demo.People() {
		forms = append(forms, programme.PersonForm{Name: p.Name, Job: "stonemason", Languages: []string{cmp.Or(demo.Languages()[p.ID], "en")}, Facepieces: []string{demo.Facepieces()[0].ID}})
	}
	_, err := o.desk.EnterAll(ctx, forms, by)
	return err
}

var _ session.Register = (*office)(nil)
