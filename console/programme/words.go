// SPDX-License-Identifier: Apache-2.0

package programme

import (
	"context"
	"slices"
	"strings"
	"sync"
)

// words holds the keys of the table that people are found by, in their order,
// some 60 bytes for each word of a name or number: in memory two words are held
// against each other in milliseconds, whatever number of people has either.
type words struct {
	mu   sync.RWMutex
	keys []string // folded word, 0, person
	read bool     // they are those of the table; until then they are not followed
}

// ReadWords reads the words ahead of the first search.
func (d *Desk) ReadWords(ctx context.Context) error {
	d.words.mu.RLock()
	read := d.words.read
	d.words.mu.RUnlock()
	if read {
		return nil
	}
	d.mu.Lock() // so that nothing changes meanwhile
	defer d.mu.Unlock()
	keys, err := d.cfg.Store.Table(tableFind).Keys(ctx, "")
	if err != nil {
		return err
	}
	d.words.mu.Lock()
	defer d.words.mu.Unlock()
	d.words.keys, d.words.read = keys, true
	return nil
}

// forget makes the next search read the words again.
func (w *words) forget() {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.keys, w.read = nil, false
}

// fewWords is how many words are put in their places one by one.
const fewWords = 64

// follow takes in what a change has written.
func (w *words) follow(c *change) {
	var in, out []string
	for _, at := range c.order {
		if r := c.rows[at]; at[0] == tableFind && r.dirty {
			if r.value != nil {
				in = append(in, at[1])
			} else {
				out = append(out, at[1])
			}
		}
	}
	if len(in)+len(out) == 0 {
		return
	}
	w.mu.Lock()
	defer w.mu.Unlock()
	if !w.read {
		return
	}
	if len(in)+len(out) > fewWords {
		slices.Sort(out)
		w.keys = slices.DeleteFunc(w.keys, func(k string) bool { _, gone := slices.BinarySearch(out, k); return gone })
		w.keys = append(w.keys, in...)
		slices.Sort(w.keys)
		w.keys = slices.Compact(w.keys)
		return
	}
	for _, k := range out {
		if at, found := slices.BinarySearch(w.keys, k); found {
			w.keys = slices.Delete(w.keys, at, at+1)
		}
	}
	for _, k := range in {
		if at, found := slices.BinarySearch(w.keys, k); !found {
			w.keys = slices.Insert(w.keys, at, k)
		}
	}
}

// with are the keys whose words begin so.
func (w *words) with(beginning string) []string {
	from, _ := slices.BinarySearch(w.keys, beginning)
	rest := w.keys[from:]
	n, _ := slices.BinarySearchFunc(rest, beginning, func(k, b string) int {
		if strings.HasPrefix(k, b) {
			return -1
		}
		return 1
	})
	return rest[:n]
}

func personOf(key string) string { return key[strings.LastIndex(key, between)+1:] }

// find gives who has words with all these beginnings, at most limit of them
// after a key, and the key of the last one.
func (w *words) find(beginnings []string, after string, limit int) (ids []string, last string) {
	w.mu.RLock()
	defer w.mu.RUnlock()
	var having [][]string
	for _, b := range beginnings {
		having = append(having, w.with(b))
	}
	// The fewest come first: they are gone through, the others only asked.
	slices.SortStableFunc(having, func(a, b []string) int { return len(a) - len(b) })
	var others []map[string]bool
	for _, keys := range having[1:] {
		set := make(map[string]bool, len(keys))
		for _, k := range keys {
			set[personOf(k)] = true
		}
		others = append(others, set)
	}
	seen := map[string]bool{}
	for _, k := range having[0] {
		id := personOf(k)
		if seen[id] || slices.ContainsFunc(others, func(set map[string]bool) bool { return !set[id] }) {
			continue
		}
		seen[id] = true // whoever has two such words comes once, at the first
		if k <= after {
			continue
		}
		ids, last = append(ids, id), k
		if len(ids) == limit {
			break
		}
	}
	return ids, last
}

// Find gives the people whose name or number has words that begin with those of
// a query, in any order, at most limit of them; an empty query gives nobody.
func (d *Desk) Find(ctx context.Context, query string, limit int) ([]Person, error) {
	out, _, err := d.FindPage(ctx, query, "", limit)
	return out, err
}

// FindPage is Find a page at a time: next is where the next page begins, empty
// after the last one. People come in the order of the word by which they are
// found: of several words, the one that the fewest have.
func (d *Desk) FindPage(ctx context.Context, query, after string, limit int) (out []Person, next string, err error) {
	beginnings := strings.Fields(Fold(query))
	for i, word := range beginnings {
		beginnings[i] = findable(word)
	}
	out = []Person{}
	if len(beginnings) == 0 || limit <= 0 {
		return out, "", nil
	}
	if err := d.ReadWords(ctx); err != nil {
		return nil, "", err
	}
	ids, last := d.words.find(beginnings, after, limit)
	if len(ids) == limit {
		next = last
	}
	out, err = some[Person](ctx, d, tablePeople, ids) // without who was erased meanwhile
	return out, next, err
}
