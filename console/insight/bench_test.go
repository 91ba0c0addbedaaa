// SPDX-License-Identifier: Apache-2.0

package insight

import (
	"fmt"
	"runtime"
	"syscall"
	"testing"
	"time"
)

// cpu is the processor time of this process, the collector's too: on a busy
// machine it says more than the time on the wall.
func cpu(b *testing.B) time.Duration {
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		b.Fatal(err)
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}

// One pass over n tests; the heap that the set keeps is reported as kept-kB.
func BenchmarkPass(b *testing.B) {
	for _, n := range []int{10_000, 100_000, 1_000_000} {
		tests := site(n)
		b.Run(fmt.Sprint(n), func(b *testing.B) {
			b.ReportAllocs()
			var before, after runtime.MemStats
			runtime.GC()
			runtime.ReadMemStats(&before)
			var s *Set
			from := cpu(b)
			for b.Loop() {
				s = fed(b, tests)
			}
			b.StopTimer()
			used := cpu(b) - from
			runtime.GC()
			runtime.ReadMemStats(&after)
			b.ReportMetric((float64(after.HeapAlloc)-float64(before.HeapAlloc))/1024, "kept-kB")
			b.ReportMetric(float64(used.Nanoseconds())/float64(b.N)/float64(n), "cpu-ns/test")
			runtime.KeepAlive(s)
			runtime.KeepAlive(tests)
		})
	}
}

// page asks for everything that the page shows; the list of persons is for the
// administrator, who asks for it alone.
func page(s *Set) {
	s.Groups(ByModelSize)
	s.Advise(ByModelSize, nil)
	s.Testers()
	s.TesterWeeks()
	s.Months()
	s.Agents()
	s.Reasons()
	s.Stages()
	s.Repeats()
	s.Agreement()
	s.TesterFunnel()
	s.FacepieceFunnel(ByModel)
}

// All figures of the page from a set of n tests.
func BenchmarkPage(b *testing.B) {
	for _, n := range []int{10_000, 100_000, 1_000_000} {
		s := NewSet()
		harrowgate(1, n, func(t Test) {
			if err := s.Add(t); err != nil {
				b.Fatal(err)
			}
		})
		b.Run(fmt.Sprint(n), func(b *testing.B) {
			from := cpu(b)
			for b.Loop() {
				page(s)
			}
			b.ReportMetric(float64((cpu(b)-from).Microseconds())/float64(b.N)/1000, "cpu-ms/op")
		})
	}
}

// One more test and one taken back, in a set of 1,000,000.
func BenchmarkOneMore(b *testing.B) {
	s := NewSet()
	var last Test
	harrowgate(1, 1_000_000, func(t Test) {
		last = t
		if err := s.Add(t); err != nil {
			b.Fatal(err)
		}
	})
	b.ResetTimer()
	for b.Loop() {
		if err := s.Add(last); err != nil {
			b.Fatal(err)
		}
		if err := s.Remove(last); err != nil {
			b.Fatal(err)
		}
	}
}
