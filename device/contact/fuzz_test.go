// SPDX-License-Identifier: Apache-2.0

package contact

import (
	"slices"
	"testing"
	"time"
)

// fromBytes reads two bytes as one edge: line, whether the level is repeated,
// and a pause of up to 32 ms in steps of 31.25 us or, rarely, of up to 4 s.
func fromBytes(data []byte) (tr trace) {
	at := time.Duration(0)
	level := map[line]bool{}
	for ; len(data) >= 2; data = data[2:] {
		pause := time.Duration(data[1])<<2 | time.Duration(data[0]>>6)
		if data[0]>>3&7 == 7 {
			at += pause * 4 * ms
		} else {
			at += pause * ms / 32
		}
		l := line(data[0] & 3)
		level[l] = level[l] != (data[0]&4 == 0)
		tr = append(tr, move{at, l, level[l]})
	}
	return tr
}

// Whatever the edges, a panel keeps its order, waits for nothing for long,
// holds little back and says the same at every pace.
func FuzzPanel(f *testing.F) {
	f.Add(true, []byte{3, 0, 58, 75, 0, 10, 1, 200, 2, 180, 0, 255, 3, 40, 2, 40})
	f.Add(false, []byte{0, 0, 0, 10, 0, 200, 0, 255, 56, 255, 4, 3, 0, 80, 2, 80, 2, 160})
	for _, n := range []int{40, 200} {
		data := make([]byte, 2*n)
		for i := range data {
			data[i] = byte(i * i * 37 >> 2)
		}
		f.Add(n == 40, data)
	}
	f.Fuzz(func(t *testing.T, supervised bool, data []byte) {
		tr := fromBytes(data[:min(len(data), 2000)])
		first := play(tr, supervised, paces[0], t.Fatalf)
		for _, pc := range paces[2:] {
			if got := play(tr, supervised, pc, t.Fatalf); !slices.Equal(got, first) {
				t.Fatalf("%s: %v\n%s: %v", paces[0].name, first, pc.name, got)
			}
		}
	})
}
