// SPDX-License-Identifier: Apache-2.0

package programme

import (
	"errors"
	"slices"
	"strings"
	"time"
	"unicode/utf8"

	"tallyhood/console/procedure"
	"tallyhood/console/sealing"
)

// Bounds of what people enter, in characters.
const (
	mostName = 120
	mostText = 400
	mostLong = 4000 // a recipe
)

// Bounds of what one record takes: all of it lies in the row of its run.
const (
	mostAmended = 50
	mostSigned  = 50
)

// check refuses a fact that should not be written. It never looks at facts that
// are written already.
func (c *change) check(f Fact) error {
	switch f := f.(type) {
	case PersonEntered:
		return c.checkPerson(f)
	case PersonCleared:
		return firstOf(c.known(f.Person), c.past("the day of the clearance", f.On), text("who cleared", f.Who, mostName, true), by(f.By))
	case Triggered:
		if !slices.Contains(Triggers(), f.Trigger) {
			return refuse("unknown", "there is no trigger %q", f.Trigger)
		}
		return firstOf(c.known(f.Person), c.past("the day", f.On), by(f.By))
	case PersonLeft:
		if f.On == "" { // is back
			return firstOf(c.known(f.Person), by(f.By))
		}
		return firstOf(c.known(f.Person), c.past("the day of leaving", f.On), by(f.By))
	case DayListed:
		if f.Place < 0 || f.Place > 1000 {
			return refuse("place", "a place on the list is from 1 to 1000")
		}
		return firstOf(c.known(f.Person), day("the day", f.Day), by(f.By))
	case PersonErased:
		return firstOf(c.known(f.Person), text("the reason", f.Reason, mostText, true), by(f.By))
	case FacepieceEntered:
		return c.checkFacepiece(f)
	case PieceCleaned:
		return c.checkCleaned(f)
	case HoodEntered:
		if f.Form.AcrossMM < 0 || f.Form.TallMM < 0 || f.Form.AcrossMM > 2000 || f.Form.TallMM > 2000 {
			return refuse("size", "a hood measures up to 2000 mm")
		}
		return firstOf(id(f.ID), text("the mark", f.Form.Mark, mostName, true), by(f.By))
	case NebuliserEntered:
		return c.checkNebuliser(f)
	case NebuliserFilled:
		return c.checkFilling(f)
	case MistChecked:
		return firstOf(exists[Nebuliser](c, tableNebulisers, f.ID), instant(f.At), by(f.By))
	case SolutionEntered:
		return checkSolution(f)
	case RunsRecalled:
		if len(f.Runs) == 0 {
			return refuse("no_runs", "there is no run to recall")
		}
		for _, run := range f.Runs {
			if err := exists[Run](c, tableRuns, run); err != nil {
				return err
			}
		}
		return firstOf(text("the reason", f.Reason, mostText, true), by(f.By), instant(f.At))
	case RunAmended:
		return c.checkAmended(f)
	case RunSigned:
		return c.checkSignature(f)
	case Restored:
		if f.Later != "" && f.Later != LaterTaken && f.Later != LaterUnknown {
			return refuse("unknown", "what was recorded after the backup was taken over, or is not known")
		}
		return firstOf(instant(f.At), text("who restores", f.By, mostName, false))
	case ErasuresKnown:
		if len(f.People) == 0 {
			return refuse("nobody", "there is nobody to note as erased")
		}
		for _, id := range f.People {
			if err := sealing.CheckPerson(id); err != nil {
				return refuse("not_known", "%q is no person's id", id)
			}
		}
		return by(f.By)
	case PolicySet:
		return c.checkPolicy(f)
	}
	return refuse("unknown", "fact %T is not known", f)
}

func firstOf(errs ...error) error {
	for _, err := range errs {
		if err != nil {
			return err
		}
	}
	return nil
}

func text(what, s string, most int, needed bool) error {
	switch {
	case needed && strings.TrimSpace(s) == "":
		return refuse("missing", "%s is missing", what)
	case utf8.RuneCountInString(s) > most:
		return refuse("too_long", "%s is longer than %d characters", what, most)
	case !utf8.ValidString(s) || strings.ContainsFunc(s, func(r rune) bool { return r < ' ' && r != '\n' && r != '\t' || r == 0x7f }):
		return refuse("characters", "%s holds characters that cannot be printed", what)
	}
	return nil
}

func by(s string) error { return text("who does this", s, mostName, true) }

func id(s string) error {
	if s == "" || len(s) > 60 || strings.ContainsFunc(s, func(r rune) bool {
		return !(r >= 'a' && r <= 'z' || r >= '0' && r <= '9' || r == '-')
	}) {
		return refuse("id", "an id is of small letters, digits and hyphens, up to 60")
	}
	return nil
}

func day(what, s string) error {
	if _, err := time.Parse(time.DateOnly, s); err != nil {
		return refuse("day", "%s is no day such as 2026-09-14", what)
	}
	return nil
}

// past refuses a day that is still to come: a slip of the pen in the year would
// hold for ever. The clock may be a day off by its zone, and says nothing when
// it cannot be trusted.
func (c *change) past(what, s string) error {
	if err := day(what, s); err != nil {
		return err
	}
	if now, trusted := c.d.cfg.Now(); trusted && s > now.AddDate(0, 0, 1).Format(time.DateOnly) {
		return refuse("future", "%s is still to come", what)
	}
	return nil
}

func instant(s string) error {
	if _, err := time.Parse(time.RFC3339, s); err != nil {
		return refuse("instant", "the time is no instant such as 2026-09-14T09:00:00Z")
	}
	return nil
}

// exists refuses an id that a view does not have.
func exists[V any](c *change, table, id string) error {
	var v V
	found, err := c.get(table, id, &v)
	if err == nil && !found {
		err = refuse("not_known", "there is no %q", id)
	}
	return err
}

func (c *change) known(person string) error {
	var p Person
	found, err := c.get(tablePeople, person, &p)
	if err == nil && !found {
		err = refuse("not_known", "there is no such person")
	}
	return err
}

func (c *change) checkPerson(f PersonEntered) error {
	p := f.Form
	if _, err := c.keyOf(f.Person); errors.Is(err, sealing.ErrErased) || errors.Is(err, sealing.ErrInvalid) {
		return refuse("not_known", "there is no such person")
	}
	if strings.TrimSpace(p.Name) == "" && strings.TrimSpace(p.Number) == "" {
		return refuse("missing", "a person needs a name or a company number")
	}
	if p.Rules != "" {
		if _, ok := c.d.cfg.Rules[p.Rules]; !ok {
			return refuse("not_known", "there is no rule set %q", p.Rules)
		}
	}
	if p.Agent != "" {
		if err := agent(p.Agent); err != nil {
			return err
		}
	}
	for i, id := range p.Facepieces {
		_, found, err := c.facepiece(id)
		switch {
		case err != nil:
			return err
		case !found:
			return refuse("not_known", "there is no facepiece %q", id)
		case slices.Contains(p.Facepieces[:i], id):
			return refuse("twice", "the facepiece %q stands twice", id)
		}
	}
	if number := Fold(p.Number); number != "" {
		taken, err := c.hasNumber(number, f.Person)
		if err != nil {
			return err
		}
		if taken || c.taken[number] {
			return refuse("number_taken", "somebody else has the number %s", p.Number)
		}
		c.taken[number] = true
	}
	return firstOf(formTexts(p), by(f.By))
}

// formTexts refuses what of a person's form is no short printable text.
func formTexts(p PersonForm) error {
	if len(p.Facepieces) > 20 || len(p.Languages) > 8 {
		return refuse("too_long", "a person has at most 20 facepieces and 8 languages")
	}
	for _, l := range p.Languages {
		if err := text("a language", l, 35, true); err != nil {
			return err
		}
	}
	return firstOf(text("the name", p.Name, mostName, false), text("the number", p.Number, mostName, false), text("the job", p.Job, mostName, false),
		text("the note", p.Note, mostText, false))
}

func (c *change) checkFacepiece(f FacepieceEntered) error {
	p := f.Form
	if !slices.Contains([]procedure.FacepieceKind{procedure.Disposable, procedure.HalfMask, procedure.FullFace}, p.Type) {
		return refuse("type", "the kind of facepiece %q is not known", p.Type)
	}
	if p.FitFactor < 0 || p.FitFactor > 100_000 || p.Stock < 0 || p.Stock > 100_000 || len(p.Pieces) > 500 {
		return refuse("number", "a number is out of bounds")
	}
	return firstOf(id(f.ID), text("the make", p.Make, mostName, true), text("the model", p.Model, mostName, true), text("the size", p.Size, mostName, true),
		text("the style", p.Style, mostText, true), marks(p.Pieces), by(f.By))
}

func marks(pieces []string) error {
	for _, p := range pieces {
		if err := text("the mark of a piece", p, mostName, true); err != nil {
			return err
		}
	}
	return nil
}

func (c *change) checkNebuliser(f NebuliserEntered) error {
	if f.Form.Role != procedure.Weak && f.Form.Role != procedure.Strong {
		return refuse("role", "a nebuliser is for the weak or for the strong solution")
	}
	if err := firstOf(id(f.ID), text("the mark", f.Form.Mark, mostName, true), agent(f.Form.Agent), by(f.By)); err != nil {
		return err
	}
	// A mark is read out before each part, so it is one nebuliser's.
	return c.d.cfg.Store.Table(tableNebulisers).Range(c.ctx, "", "", 10_000, func(key string, _ []byte) error {
		var n Nebuliser
		if found, err := c.get(tableNebulisers, key, &n); err != nil || !found {
			return err
		}
		if n.ID != f.ID && !n.Gone && Fold(n.Mark) == Fold(f.Form.Mark) {
			return refuse("mark_taken", "another nebuliser has the mark %s", n.Mark)
		}
		if n.ID == f.ID && n.Filled != "" && (n.Role != f.Form.Role || n.Agent != f.Form.Agent) {
			return refuse("role_fixed", "a nebuliser that was filled once keeps its role and agent; enter another one")
		}
		return nil
	})
}

func agent(a string) error {
	if a != "sweet" && a != "bitter" {
		return refuse("agent", "the agent is sweet or bitter")
	}
	return nil
}

func (c *change) checkFilling(f NebuliserFilled) error {
	var n Nebuliser
	var s Solution
	found, err := c.get(tableNebulisers, f.ID, &n)
	if err != nil {
		return err
	}
	batch, err := c.get(tableSolutions, f.Solution, &s)
	switch {
	case err != nil:
		return err
	case !found || n.Gone:
		return refuse("not_known", "there is no nebuliser %q", f.ID)
	case !batch || s.Gone:
		return refuse("not_known", "there is no batch %q", f.Solution)
	case s.Strength != n.Role:
		return refuse("nebuliser_of_other_role", "%s is for the %s solution, the batch is the %s one", n.Mark, n.Role, s.Strength)
	case s.Agent != n.Agent:
		return refuse("nebuliser_of_other_agent", "%s is for the %s agent, the batch is %s", n.Mark, n.Agent, s.Agent)
	case expired(s, f.At):
		return refuse("solution_expired", "the batch %s is past its date %s", s.Lot, s.Expires)
	}
	return firstOf(instant(f.At), by(f.By))
}

// expired: the day of expiry is the last good one.
func expired(s Solution, at string) bool {
	return s.Expires != "" && len(at) >= len(time.DateOnly) && at[:len(time.DateOnly)] > s.Expires
}

func checkSolution(f SolutionEntered) error {
	s := f.Form
	if s.Strength != procedure.Weak && s.Strength != procedure.Strong {
		return refuse("strength", "a batch is weak or strong")
	}
	if err := firstOf(id(f.ID), agent(s.Agent), text("the lot", s.Lot, mostName, true), day("the day it was made or opened", s.Made), day("the day of expiry", s.Expires),
		text("the recipe", s.Recipe, mostLong, true), text("the source of the recipe", s.Source, mostText, true), text("who made or opened it", s.Who, mostName, true), by(f.By)); err != nil {
		return err
	}
	if s.Expires < s.Made {
		return refuse("day", "it expires before it was made")
	}
	return nil
}

func (c *change) checkCleaned(f PieceCleaned) error {
	var v Facepiece
	found, err := c.get(tableFacepieces, f.Facepiece, &v)
	switch {
	case err != nil:
		return err
	case !found:
		return refuse("not_known", "there is no %q", f.Facepiece)
	case !slices.Contains(v.Pieces, f.Piece):
		return refuse("not_known", "the facepiece has no test piece of this mark; enter the mark with the facepiece first")
	}
	return firstOf(instant(f.At), by(f.By))
}

func (c *change) checkAmended(f RunAmended) error {
	if !slices.Contains([]string{"tester", "whose"}, f.Field) {
		return refuse("field", "%s cannot be corrected: the facts of a run stand", f.Field)
	}
	var r Run
	found, err := c.get(tableRuns, f.Run, &r)
	switch {
	case err != nil:
		return err
	case !found:
		return refuse("not_known", "there is no %q", f.Run)
	case len(r.Amended) >= mostAmended:
		return refuse("corrected_often", "this record was corrected %d times, and takes no more; the last correction stands", len(r.Amended))
	}
	return firstOf(text("the new value", f.To, mostName, true), text("the reason", f.Reason, mostText, true), by(f.By), instant(f.At))
}

func (c *change) checkSignature(f RunSigned) error {
	var r Run
	found, err := c.get(tableRuns, f.Run, &r)
	if err != nil {
		return err
	}
	gone, err := c.erased(r.Person)
	switch {
	case err != nil:
		return err
	case !found:
		return refuse("not_known", "there is no run %q that has ended", f.Run)
	case gone && f.Who == wearer:
		return refuse("erased", "the wearer was erased, and nothing more is kept of the person; the tester may sign")
	case r.Practice:
		return refuse("practice", "practice is not signed")
	case len(r.Signed) >= mostSigned:
		return refuse("signed_often", "this record was signed %d times, and takes no more; the last signatures stand", len(r.Signed))
	case f.Who != "tester" && f.Who != wearer:
		return refuse("unknown", "tester and wearer sign")
	case f.Record != r.Hash:
		return refuse("changed", "the record has changed since it was shown; look at it again")
	case f.How != "" && f.How != Drawn && f.How != Typed:
		return refuse("how", "a signature is drawn or typed")
	case len(f.Strokes) != 64:
		return refuse("strokes", "there is no drawing")
	}
	return firstOf(by(f.By), instant(f.At))
}

func (c *change) checkPolicy(f PolicySet) error {
	p := f.Policy
	r, ok := c.d.cfg.Rules[p.Rules]
	switch {
	case !ok:
		return refuse("not_known", "there is no rule set %q", p.Rules)
	case p.RetestMonths < 0 || p.RetestMonths > 120 || p.KeepMonths < 0 || p.KeepMonths > 1200:
		return refuse("months", "months are out of bounds")
	case r.Retest != nil && p.RetestMonths > int(r.Retest.Value):
		return refuse("looser", "%s asks for a test every %.0f months at the latest", r.Short, r.Retest.Value)
	case r.Keep != nil && p.KeepMonths != 0 && p.KeepMonths < int(r.Keep.Value):
		return refuse("looser", "%s asks for records to be kept %.0f months at least", r.Short, r.Keep.Value)
	case p.Hoods < 0 || p.Hoods > 10:
		return refuse("hoods", "a site uses up to 10 hoods at once")
	}
	return firstOf(text("the site", p.Site, mostText, false), by(f.By))
}
