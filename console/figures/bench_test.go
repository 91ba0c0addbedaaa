// SPDX-License-Identifier: Apache-2.0

package figures_test

import (
	"context"
	"crypto/rand"
	"flag"
	"log/slog"
	"runtime"
	"syscall"
	"testing"
	"time"

	"tallyhood/console/figures"
	"tallyhood/console/insight"
	"tallyhood/console/procedure"
	"tallyhood/console/programme"
	"tallyhood/console/sealing"
	"tallyhood/store/bolt"
)

var benchStore = flag.String("store", "", "file of a store, such as the benchmark of package programme leaves")

func heap() float64 {
	var m runtime.MemStats
	runtime.GC()
	runtime.ReadMemStats(&m)
	return float64(m.HeapAlloc) / (1 << 20)
}

// spent is the time that the process has kept processors busy: on a machine that
// others use it says more than the clock does.
func spent() time.Duration {
	var u syscall.Rusage
	if syscall.Getrusage(syscall.RUSAGE_SELF, &u) != nil {
		return 0
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}

// BenchmarkFigures measures what the page of figures waits for.
func BenchmarkFigures(b *testing.B) {
	if *benchStore == "" {
		b.Skip("only when asked: -store FILE, a store with many runs")
	}
	ctx := context.Background()
	store, err := bolt.Open(*benchStore, bolt.Options{})
	must(b, err)
	defer store.Close()
	rules, err := procedure.Rules()
	must(b, err)
	d, err := programme.New(ctx, programme.Config{
		Store: store, Ring: sealing.NewRing(store.Table(sealing.Table), rand.Reader), Rules: rules, Random: rand.Reader,
		Now: func() (time.Time, bool) { return time.Date(2026, 9, 14, 9, 0, 0, 0, time.UTC), true }, Log: slog.New(slog.DiscardHandler),
	})
	must(b, err)
	before := heap()
	began := time.Now()
	g := figures.New(d)
	must(b, g.Ready(ctx))
	b.Logf("counted once: %v, heap %.1f MB more", time.Since(began).Round(time.Millisecond), heap()-before)
	page := func(b *testing.B, from, to string) {
		must(b, g.Read(ctx, from, to, func(s *insight.Set, _ int, _ map[insight.ID]string, _ int) {
			s.Groups(insight.ByModelSize)
			s.Advise(insight.ByModelSize, nil)
			s.FacepieceFunnel(insight.ByModelSize)
			s.TesterWeeks()
			s.Agents()
			s.Stages()
			s.Months()
			s.Repeats()
			s.Agreement()
			s.Reasons()
		}))
	}
	began = time.Now()
	page(b, "", "")
	b.Logf("months put together: %v", time.Since(began).Round(time.Microsecond))
	for _, p := range []struct{ name, from, to string }{
		{"all", "", ""}, {"a year", "2024-01-01", "2024-12-31"}, {"from the middle of a month", "2024-01-15", ""}, {"all but some days", "2017-01-04", ""},
		{"days of two months", "2024-01-04", "2024-02-27"}, {"a day", "2024-01-15", "2024-01-15"},
	} {
		b.Run(p.name, func(b *testing.B) {
			busy := spent()
			for b.Loop() {
				page(b, p.from, p.to)
			}
			b.ReportMetric(float64((spent()-busy).Microseconds())/1000/float64(b.N), "cpu-ms/op")
		})
	}
}
