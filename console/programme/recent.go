// SPDX-License-Identifier: Apache-2.0

package programme

import (
	"cmp"
	"context"
	"slices"
	"strings"
	"sync"
	"time"

	"tallyhood/console/procedure"
)

// Bounds of what a plan rests on.
const recentDays = 90

var recentRuns = 1000

// recent holds what plans want to know of the newest runs, some 500 bytes for
// each. It is read once and then follows the runs, so that the page of a day
// does not read a thousand runs each time.
type recent struct {
	mu   sync.Mutex
	runs []recentRun // oldest first
	from string      // the instant from which on they are here
	read bool
}

type recentRun struct {
	key    string // as in the table of instants
	run    string
	at     string
	person string
	first  procedure.Outcome
	stages map[string]int
}

func recentOf(r Run) recentRun {
	return recentRun{key(utc(r.At), r.Run), r.Run, r.At, r.Person, r.First, r.StagesS}
}

func byKey(r recentRun, k string) int { return strings.Compare(r.key, k) }

// follow takes in runs that are new or not as they were.
func (o *recent) follow(runs []RunChange) {
	o.mu.Lock()
	defer o.mu.Unlock()
	for _, x := range runs {
		if !o.read {
			return
		}
		now := recentOf(x.Is)
		if x.Is.Practice || now.key < o.from {
			continue
		}
		at, found := slices.BinarySearchFunc(o.runs, now.key, byKey)
		if found {
			o.runs[at] = now
			continue
		}
		o.runs = slices.Insert(o.runs, at, now)
		o.runs = slices.Delete(o.runs, 0, max(0, len(o.runs)-recentRuns))
	}
}

// Recent gives the newest runs of the last months, oldest first, for plans: of
// each its id, its instant, its person, what its own facts came to, and its
// times.
func (d *Desk) Recent(ctx context.Context, now time.Time) ([]Run, error) {
	from := now.AddDate(0, 0, -recentDays).UTC().Format(time.DateOnly)
	o := &d.recent
	for {
		o.mu.Lock()
		if o.read && o.from <= from {
			break
		}
		o.mu.Unlock()
		if err := d.readRecent(ctx, from); err != nil {
			return nil, err
		}
	}
	defer o.mu.Unlock()
	n, _ := slices.BinarySearchFunc(o.runs, from, byKey)
	o.runs, o.from = slices.Delete(o.runs, 0, n), from
	out := make([]Run, 0, len(o.runs))
	for _, r := range o.runs {
		out = append(out, Run{Run: r.run, At: r.at, Person: r.person, First: r.first, StagesS: r.stages})
	}
	return out, nil
}

// readRecent reads the newest runs since an instant.
func (d *Desk) readRecent(ctx context.Context, from string) error {
	d.mu.Lock() // so that nothing changes meanwhile
	defer d.mu.Unlock()
	var ids []string
	err := d.cfg.Store.Table(tableRunsAt).Range(ctx, "", beforeAll(from), 1<<30, func(k string, _ []byte) error {
		ids = append(ids, k[strings.LastIndex(k, between)+1:])
		return nil
	})
	if err != nil {
		return err
	}
	var runs []recentRun
	for len(ids) > 0 && len(runs) < recentRuns {
		step := ids[max(0, len(ids)-findStep):]
		ids = ids[:len(ids)-len(step)]
		some, err := some[Run](ctx, d, tableRuns, step)
		if err != nil {
			return err
		}
		for _, r := range some {
			if !r.Practice {
				runs = append(runs, recentOf(r))
			}
		}
	}
	slices.SortFunc(runs, func(a, b recentRun) int { return cmp.Compare(a.key, b.key) })
	runs = slices.Clone(runs[max(0, len(runs)-recentRuns):])
	d.recent.mu.Lock()
	defer d.recent.mu.Unlock()
	d.recent.runs, d.recent.from, d.recent.read = runs, from, true
	return nil
}
