// SPDX-License-Identifier: Apache-2.0

package programme

import (
	"context"
	"encoding/json"
	"errors"
	"strings"
	"time"
	"unicode"

	"golang.org/x/text/unicode/norm"

	"tallyhood/console/procedure"
	"tallyhood/store"
)

// Fold brings text into the form in which it is searched: small letters without
// marks above or below them, so that zielinski finds Zieliński.
func Fold(s string) string {
	var b strings.Builder
	for _, r := range norm.NFD.String(strings.TrimSpace(s)) {
		switch {
		case unicode.Is(unicode.Mn, r):
		case r == 'ł' || r == 'Ł': // the marks that Unicode does not take apart
			b.WriteRune('l')
		case r == 'ø' || r == 'Ø':
			b.WriteRune('o')
		case r == 'đ' || r == 'Đ':
			b.WriteRune('d')
		case r == 'ß':
			b.WriteString("ss")
		case r == 'ς':
			b.WriteRune('σ')
		default:
			b.WriteRune(unicode.ToLower(r))
		}
	}
	return b.String()
}

// list reads rows of a table as views, at most limit of them.
func list[V any](ctx context.Context, d *Desk, table, prefix, after string, limit int) ([]V, error) {
	out := []V{}
	err := d.cfg.Store.Table(table).Range(ctx, prefix, after, limit, func(_ string, value []byte) error {
		var v V
		if err := json.Unmarshal(value, &v); err != nil {
			return err
		}
		out = append(out, v)
		return nil
	})
	return out, err
}

func one[V any](ctx context.Context, d *Desk, table, key string) (V, error) {
	var v V
	b, err := d.cfg.Store.Table(table).Get(ctx, key)
	if err == nil {
		err = json.Unmarshal(b, &v)
	}
	return v, err
}

// some reads the rows of keys, in the order of the keys; one that is not there is
// left out.
func some[V any](ctx context.Context, d *Desk, table string, keys []string) ([]V, error) {
	at := make(map[string]int, len(keys))
	for i, k := range keys {
		at[k] = i
	}
	found, there := make([]V, len(keys)), make([]bool, len(keys))
	err := d.cfg.Store.Table(table).Some(ctx, keys, func(k string, value []byte) error {
		there[at[k]] = true
		return json.Unmarshal(value, &found[at[k]])
	})
	if err != nil {
		return nil, err
	}
	out := make([]V, 0, len(keys))
	for i, v := range found {
		if there[i] {
			out = append(out, v)
		}
	}
	return out, nil
}

// Person gives one person; store.ErrNotFound when there is none.
func (d *Desk) Person(ctx context.Context, id string) (Person, error) {
	return one[Person](ctx, d, tablePeople, id)
}

// findStep is how many keys are looked at at a time.
const findStep = 200

// Those gives the people of some ids, without those who are not there.
func (d *Desk) Those(ctx context.Context, ids []string) (map[string]Person, error) {
	all, err := some[Person](ctx, d, tablePeople, ids)
	out := make(map[string]Person, len(all))
	for _, p := range all {
		out[p.ID] = p
	}
	return out, err
}

// People lists people in the order of their ids, after one of them.
func (d *Desk) People(ctx context.Context, after string, limit int) ([]Person, error) {
	return list[Person](ctx, d, tablePeople, "", after, limit)
}

// Run gives one run that has ended.
func (d *Desk) Run(ctx context.Context, run string) (Run, error) {
	return one[Run](ctx, d, tableRuns, run)
}

// Runs gives the runs of some ids that have ended.
func (d *Desk) Runs(ctx context.Context, ids []string) (map[string]Run, error) {
	all, err := some[Run](ctx, d, tableRuns, ids)
	out := make(map[string]Run, len(all))
	for _, r := range all {
		out[r.Run] = r
	}
	return out, err
}

// RunsOf lists a person's runs, oldest first.
func (d *Desk) RunsOf(ctx context.Context, person string) ([]Run, error) {
	return d.change(ctx).runsOf(person)
}

// FailsInSitting is how often a person failed with a facepiece, or with one of
// the same make, model, style and size, in runs that ended no longer ago than a
// sitting lasts; practice counts among practice alone. A run in whose day the
// clock was ahead of now by no more than that counts too: the clock was put back.
func (d *Desk) FailsInSitting(ctx context.Context, person string, f procedure.Facepiece, sitting time.Duration, practice bool) (int, error) {
	runs, err := d.RunsOf(ctx, person)
	if err != nil {
		return 0, err
	}
	now, _ := d.cfg.Now()
	n := 0
	for _, r := range runs {
		same := r.Facepiece == f.ID || r.Make != "" && r.Make == f.Make && r.Model == f.Model && r.Style == f.Style && r.Size == f.Size
		at, err := time.Parse(time.RFC3339, r.At)
		if err != nil || !same || r.First != procedure.Fail || r.Practice != practice {
			continue
		}
		for _, s := range r.StagesS {
			at = at.Add(time.Duration(s) * time.Second)
		}
		if ago := now.Sub(at); ago <= sitting && ago >= -sitting {
			n++
		}
	}
	return n, nil
}

// RunsFrom calls f with the runs from an instant on (RFC 3339 in UTC, or the
// beginning of one; empty: all), oldest first, until f returns an error.
func (d *Desk) RunsFrom(ctx context.Context, from string, f func(Run) error) error {
	return d.runsUntil(ctx, from, "", f)
}

// RunsBetween is RunsFrom with those that can be of a month (2006-01) in any time
// zone; with another word all.
func (d *Desk) RunsBetween(ctx context.Context, month string, f func(Run) error) error {
	first, err := time.Parse("2006-01", month)
	if err != nil {
		return d.RunsFrom(ctx, "", f)
	}
	return d.runsUntil(ctx, first.AddDate(0, 0, -1).Format(time.DateOnly), first.AddDate(0, 1, 1).Format(time.DateOnly), f)
}

// InOrder is the order of RunsFrom, for sorting.
func InOrder(a, b Run) int {
	return strings.Compare(key(utc(a.At), a.Run), key(utc(b.At), b.Run))
}

// beforeAll sorts before all keys that begin with a word, and after what comes
// before them.
func beforeAll(word string) string {
	return word[:len(word)-1] + string(rune(word[len(word)-1]-1)) + "\xff"
}

// runsUntil calls f with the runs from an instant to another one, which is not
// in it; empty: no bound.
func (d *Desk) runsUntil(ctx context.Context, from, until string, f func(Run) error) error {
	after := ""
	if from != "" {
		after = beforeAll(from)
	}
	for {
		var names []string
		over := false
		err := d.cfg.Store.Table(tableRunsAt).Range(ctx, "", after, findStep, func(key string, _ []byte) error {
			if until != "" && key >= until {
				over = true
			}
			if !over {
				after = key
				names = append(names, key[strings.LastIndex(key, between)+1:])
			}
			return nil
		})
		if err != nil {
			return err
		}
		runs, err := some[Run](ctx, d, tableRuns, names)
		if err != nil {
			return err
		}
		for _, r := range runs {
			if err := f(r); err != nil {
				return err
			}
		}
		if over || len(names) < findStep {
			return nil
		}
	}
}

// Facepieces lists the models, those that are gone included.
func (d *Desk) Facepieces(ctx context.Context) ([]Facepiece, error) {
	return list[Facepiece](ctx, d, tableFacepieces, "", "", mostKit)
}

// Hoods lists the hoods.
func (d *Desk) Hoods(ctx context.Context) ([]Hood, error) {
	return list[Hood](ctx, d, tableHoods, "", "", mostKit)
}

// Nebulisers lists the nebulisers.
func (d *Desk) Nebulisers(ctx context.Context) ([]Nebuliser, error) {
	return list[Nebuliser](ctx, d, tableNebulisers, "", "", mostKit)
}

// Solutions lists the batches.
func (d *Desk) Solutions(ctx context.Context) ([]Solution, error) {
	return list[Solution](ctx, d, tableSolutions, "", "", mostKit)
}

// Policy gives the rules of the house.
func (d *Desk) Policy(ctx context.Context) (Policy, error) {
	p, err := one[Policy](ctx, d, tablePolicy, "policy")
	if errors.Is(err, store.ErrNotFound) {
		err = nil
	}
	return p, err
}

// mostKit bounds the lists of kit.
const mostKit = 10_000
