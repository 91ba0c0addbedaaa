// SPDX-License-Identifier: Apache-2.0

package programme

import (
	"context"
	"encoding/json"
	"errors"
	"slices"
	"strings"
	"unicode"

	"golang.org/x/text/unicode/norm"

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

// Person gives one person; store.ErrNotFound when there is none.
func (d *Desk) Person(ctx context.Context, id string) (Person, error) {
	return one[Person](ctx, d, tablePeople, id)
}

// Find gives the people whose name or number has words that begin with those of
// a query, in any order, at most limit of them; an empty query gives nobody.
func (d *Desk) Find(ctx context.Context, query string, limit int) ([]Person, error) {
	words := strings.Fields(Fold(query))
	out := []Person{}
	if len(words) == 0 || limit <= 0 {
		return out, nil
	}
	// The longest word leaves the fewest.
	slices.SortFunc(words, func(a, b string) int { return len(b) - len(a) })
	if len(words) == 1 {
		return d.findOne(ctx, words, limit)
	}
	ids, _, err := d.withWord(ctx, words[0], mostFound)
	if err != nil {
		return nil, err
	}
	for _, w := range words[1:] {
		// Keys are read many at a time, people one by one: it is worth to read
		// some keys for each person who need not be read.
		others, whole, err := d.withWord(ctx, w, keysForOne*len(ids))
		if err != nil {
			return nil, err
		}
		if whole {
			set := map[string]bool{}
			for _, id := range others {
				set[id] = true
			}
			ids = slices.DeleteFunc(ids, func(id string) bool { return !set[id] })
		}
	}
	return d.those(ctx, out, ids, words, limit)
}

const (
	mostFound  = 200_000 // people with one word
	keysForOne = 20
)

// findOne is Find for one word, which need not be looked for to the end.
func (d *Desk) findOne(ctx context.Context, words []string, limit int) ([]Person, error) {
	out := []Person{}
	seen := map[string]bool{}
	after := ""
	for {
		var ids []string
		n := 0
		err := d.cfg.Store.Table(tableFind).Range(ctx, words[0], after, max(20, min(limit, findStep)), func(key string, _ []byte) error {
			after = key
			n++
			if id := key[strings.LastIndex(key, between)+1:]; !seen[id] {
				seen[id] = true
				ids = append(ids, id)
			}
			return nil
		})
		if err != nil || n == 0 {
			return out, err
		}
		if out, err = d.those(ctx, out, ids, words, limit); err != nil || len(out) == limit {
			return out, err
		}
	}
}

// withWord gives who has a word with a beginning, each once, in the order of the
// words; whole is false when there are more keys than most.
func (d *Desk) withWord(ctx context.Context, word string, most int) (ids []string, whole bool, err error) {
	seen := map[string]bool{}
	n := 0
	err = d.cfg.Store.Table(tableFind).Range(ctx, word, "", most+1, func(key string, _ []byte) error {
		n++
		if id := key[strings.LastIndex(key, between)+1:]; !seen[id] {
			seen[id] = true
			ids = append(ids, id)
		}
		return nil
	})
	return ids, n <= most, err
}

// those adds the people who have all words, until there are so many.
func (d *Desk) those(ctx context.Context, out []Person, ids, words []string, limit int) ([]Person, error) {
	for _, id := range ids {
		if len(out) == limit {
			break
		}
		p, err := d.Person(ctx, id)
		if errors.Is(err, store.ErrNotFound) {
			continue // erased meanwhile
		}
		if err != nil {
			return nil, err
		}
		if p.has(words) {
			out = append(out, p)
		}
	}
	return out, nil
}

// findStep is how many keys are looked at at a time.
const findStep = 200

// has says whether each word begins a word of the person.
func (p Person) has(words []string) bool {
	mine := p.words()
	for _, w := range words {
		if !slices.ContainsFunc(mine, func(m string) bool { return strings.HasPrefix(m, w) }) {
			return false
		}
	}
	return true
}

// People lists people in the order of their ids, after one of them.
func (d *Desk) People(ctx context.Context, after string, limit int) ([]Person, error) {
	return list[Person](ctx, d, tablePeople, "", after, limit)
}

// Run gives one run that has ended.
func (d *Desk) Run(ctx context.Context, run string) (Run, error) {
	return one[Run](ctx, d, tableRuns, run)
}

// RunsOf lists a person's runs, oldest first.
func (d *Desk) RunsOf(ctx context.Context, person string) ([]Run, error) {
	return d.change(ctx).runsOf(person)
}

// RunsFrom calls f with the runs from an instant on (RFC 3339 in UTC, or the
// beginning of one; empty: all), oldest first, until f returns an error.
func (d *Desk) RunsFrom(ctx context.Context, from string, f func(Run) error) error {
	after := ""
	if from != "" {
		after = from[:len(from)-1] + string(rune(from[len(from)-1]-1)) + "\xff"
	}
	for {
		n := 0
		err := d.cfg.Store.Table(tableRunsAt).Range(ctx, "", after, findStep, func(key string, _ []byte) error {
			after = key
			n++
			r, err := d.Run(ctx, key[strings.LastIndex(key, between)+1:])
			if err != nil {
				return err
			}
			return f(r)
		})
		if err != nil || n < findStep {
			return err
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
