// SPDX-License-Identifier: Apache-2.0

package capture

import (
	"io"
	"runtime"
	"strconv"
	"strings"
	"testing"
	"time"
)

const generatedHeader = `$timescale 1 ns $end
$var wire 1 ! squeeze $end
$var wire 1 " step $end
$var wire 1 # taste_no $end
$var wire 1 $ taste_nc $end
$var wire 8 % bus $end
$var wire 1 &' clock $end
$enddefinitions $end
`

// A generator is a capture of at least size bytes that exists only while it is
// read. A hundred microseconds of it hold a clock, a bus and, now and then, a
// squeeze.
type generator struct {
	size  int
	made  int
	ticks uint64
	rest  []byte
	buf   []byte
}

func (g *generator) Read(p []byte) (int, error) {
	if len(g.rest) == 0 {
		if g.made >= g.size {
			return 0, io.EOF
		}
		g.buf = g.buf[:0]
		if g.made == 0 {
			g.buf = append(g.buf, generatedHeader...)
		}
		for range 100 {
			g.ticks += 50_000
			g.buf = strconv.AppendUint(append(g.buf, '#'), g.ticks, 10)
			g.buf = append(g.buf, " 1&'\nb10011010 %\n"...)
			g.ticks += 50_000
			g.buf = strconv.AppendUint(append(g.buf, '#'), g.ticks, 10)
			g.buf = append(g.buf, " 0&'\n0\"\n"...)
		}
		g.buf = append(g.buf, "1!\n0!\n"...)
		g.made += len(g.buf)
		g.rest = g.buf
	}
	n := copy(p, g.rest)
	g.rest = g.rest[n:]
	return n, nil
}

// drain reads a capture to its end.
func drain(tb testing.TB, src io.Reader) (edges int, end time.Duration) {
	tb.Helper()
	r, err := Open(src, Options{})
	if err != nil {
		tb.Fatal(err)
	}
	for {
		_, err := r.Next()
		if err == io.EOF {
			return edges, r.End()
		}
		if err != nil {
			tb.Fatal(err)
		}
		edges++
	}
}

func TestLongCaptureNeedsLittleMemory(t *testing.T) {
	size := 256 << 20
	if raceDetector || testing.Short() {
		size = 16 << 20
	}
	var before, after runtime.MemStats
	runtime.GC()
	runtime.ReadMemStats(&before)
	g := &generator{size: size}
	edges, end := drain(t, g)
	runtime.ReadMemStats(&after)
	if want := time.Duration(g.ticks); end != want {
		t.Errorf("the capture ends at %v, want %v", end, want)
	}
	if want := int(g.ticks / 100_000 / 100 * 2); edges != want {
		t.Errorf("%d edges, want %d", edges, want)
	}
	if grown := int64(after.Sys) - int64(before.Sys); grown > 8<<20 {
		t.Errorf("reading %d MiB made the program grow by %d bytes", g.made>>20, grown)
	}
	if made := after.TotalAlloc - before.TotalAlloc; made > 2<<20 {
		t.Errorf("reading %d MiB allocated %d bytes", g.made>>20, made)
	}
	t.Logf("%d MiB, %d edges, %d bytes allocated", g.made>>20, edges, after.TotalAlloc-before.TotalAlloc)
}

func BenchmarkReader(b *testing.B) {
	all, err := io.ReadAll(&generator{size: 32 << 20})
	if err != nil {
		b.Fatal(err)
	}
	mixed := string(all)
	var dense strings.Builder // one line for each tick, as some analysers write
	dense.WriteString(generatedHeader)
	for i := 1; dense.Len() < 32<<20; i++ {
		dense.WriteString("#" + strconv.Itoa(i) + " 1! 0\" 1# 0$\n#" + strconv.Itoa(i) + " 0! 1\" 0# 1$\n")
	}
	for name, text := range map[string]string{"mixed": mixed, "allEdges": dense.String()} {
		b.Run(name, func(b *testing.B) {
			b.SetBytes(int64(len(text)))
			b.ReportAllocs()
			for b.Loop() {
				drain(b, strings.NewReader(text))
			}
		})
	}
}
