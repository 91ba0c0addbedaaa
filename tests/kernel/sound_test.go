// SPDX-License-Identifier: Apache-2.0

package kernel_test

import (
	"errors"
	"slices"
	"testing"
	"time"

	"tallyhood/tests/kernel/rpc"
	"tallyhood/tests/kernel/vm"
)

// quantile of values that are sorted.
func quantile(d []time.Duration, q float64) time.Duration {
	return d[min(int(q*float64(len(d))), len(d)-1)]
}

// cueErrors plays cues in the guest and gives by how much each was off, sorted
// by size.
func cueErrors(t *testing.T, m *vm.Machine, count int, lead time.Duration) []time.Duration {
	t.Helper()
	c, err := m.Call("cues", map[string]any{"count": count, "lead": lead, "apart": 300 * time.Millisecond})
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	var off []time.Duration
	for {
		var o struct{ Asked, Heard time.Duration }
		if err := c.Next(&o); errors.Is(err, rpc.ErrEnd) {
			break
		} else if err != nil {
			t.Fatal(err)
		}
		off = append(off, o.Heard-o.Asked)
	}
	if len(off) < count/2 { // the stream runs dry whenever the machine stands still
		t.Errorf("of %d cues %d were heard", count, len(off))
	}
	return off
}

// cueOnsets: cues that a run knows ahead begin on their sample; those for at once follow
// as soon as the sound card's buffer lets them.
func cueOnsets(t *testing.T, m *vm.Machine) {
	off := cueErrors(t, m, 100, 300*time.Millisecond)
	mid := slices.Clone(off)
	slices.Sort(mid)
	for i := range off {
		off[i] = off[i].Abs()
	}
	slices.Sort(off)
	t.Logf("%d cues 300 ms ahead: heard %+.2f ms from their instant (median; from %+.2f to %+.2f); error without its sign: median %.2f ms, 90 %% within %.2f, worst %.2f",
		len(off), inMS(quantile(mid, .5)), inMS(mid[0]), inMS(mid[len(mid)-1]), inMS(quantile(off, .5)), inMS(quantile(off, .9)), inMS(off[len(off)-1]))
	// What the player takes for what lies between it and the loudspeaker may
	// be off by less than all of that, 90 ms.
	if mid := quantile(off, .5); mid > 90*time.Millisecond {
		t.Errorf("half of the cues are off by more than %v", mid)
	}
	now := cueErrors(t, m, 20, 0)
	slices.Sort(now)
	t.Logf("%d cues for at once: heard %.1f ms after (median), %.1f ms at worst", len(now), inMS(quantile(now, .5)), inMS(now[len(now)-1]))
	if mid := quantile(now, .5); mid > 200*time.Millisecond {
		t.Errorf("a cue for at once is heard after %v", mid)
	}
}
