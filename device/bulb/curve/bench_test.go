// SPDX-License-Identifier: Apache-2.0

package curve

import "testing"

// BenchmarkAdd is the cost of a sample, of which there are 200 a second.
func BenchmarkAdd(b *testing.B) {
	rig := newBench(1)
	p, err := rig.calibrate()
	if err != nil {
		b.Fatal(err)
	}
	d := NewDetector(p)
	n := len(rig.all)
	for i := 0; b.Loop(); i++ {
		s := rig.all[i%n]
		if i%n == 0 {
			d = NewDetector(p)
		}
		d.Add(s)
		if i%100 == 0 {
			d.Take()
		}
	}
}
