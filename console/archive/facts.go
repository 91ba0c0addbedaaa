// SPDX-License-Identifier: Apache-2.0

package archive

import (
	"context"
	"errors"
	"fmt"

	"tallyhood/console/procedure"
	"tallyhood/store"
)

// Facts gives the facts of one run in order, with its last entry. The wearer's
// name is put into the first fact where names can open it; with nil names it
// stays sealed. store.ErrNotFound when there is no run of that name.
func Facts(ctx context.Context, j store.Journal, names Names, run string) ([]procedure.Dated, store.Entry, error) {
	var facts []procedure.Dated
	var last store.Entry
	if !IsRun(run) {
		return nil, last, fmt.Errorf("run %s: %w", run, store.ErrNotFound)
	}
	err := j.ReadStream(ctx, run, func(e store.Entry) error {
		d, err := procedure.Decode(e.Kind, e.Version, e.Body)
		if err != nil {
			return err
		}
		facts, last = append(facts, d), e
		return nil
	})
	if err == nil && len(facts) == 0 {
		err = store.ErrNotFound
	}
	if err != nil {
		return nil, last, fmt.Errorf("run %s: %w", run, err)
	}
	o, opened := facts[0].Fact.(procedure.RunOpened)
	if !opened {
		return nil, last, fmt.Errorf("run %s: %w", run, errors.New("it does not begin with run_opened"))
	}
	o.Wearer.Name = nameOf(ctx, o.Wearer, names)
	facts[0].Fact = o
	return facts, last, nil
}
