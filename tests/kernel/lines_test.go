// SPDX-License-Identifier: Apache-2.0

package kernel_test

import (
	"errors"
	"slices"
	"strings"
	"testing"
	"time"

	"tallyhood/tests/kernel/rpc"
	"tallyhood/tests/kernel/vm"
)

// contract holds a reader of edges to the contract of all sources, on a real
// chip that the host's hand moves. A clause is left out only if it is named.
func contract(t *testing.T, m *vm.Machine, reader string, without ...string) {
	c, err := m.Call("contract", map[string]string{"edges": reader})
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	clauses := 0
	for {
		var v struct {
			Set *struct {
				Line int
				High bool
			}
			Clause          string
			Failed, Skipped bool
			Said            []string
			Took, Still     time.Duration
			Again           bool
		}
		if err := c.Next(&v); errors.Is(err, rpc.ErrEnd) {
			break
		} else if err != nil {
			t.Fatal(err)
		}
		if v.Set != nil {
			if err := m.Set(v.Set.Line, v.Set.High); err != nil {
				t.Fatal(err)
			}
			if err := c.Tell("done"); err != nil {
				t.Fatal(err)
			}
			continue
		}
		if v.Again {
			t.Logf("%s is tried again: the machine stood still for %.0f ms: %s", v.Clause, inMS(v.Still), strings.Join(v.Said, "\n"))
			continue
		}
		clauses++
		t.Run(v.Clause, func(t *testing.T) {
			said := strings.Join(v.Said, "\n")
			switch {
			case v.Failed:
				t.Error(said)
			case v.Skipped != slices.Contains(without, v.Clause):
				t.Errorf("skipped: %v: %s", v.Skipped, said)
			}
			t.Logf("took %.2f s", v.Took.Seconds())
		})
	}
	if clauses == 0 {
		t.Error("no clause was tried")
	}
}
