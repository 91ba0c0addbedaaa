// SPDX-License-Identifier: Apache-2.0

package bounce

import (
	"fmt"
	"io"
	"time"
)

// Seed is the seed of the published table.
const Seed = 20240229

// Table prints the figures of methods over n presses of every scenario.
func Table(w io.Writer, methods []Method, n int, seed int64) error {
	fmt.Fprintf(w, "%d presses a scenario, seed %d; counts per 100,000 presses\n", n, seed)
	fmt.Fprintf(w, "%-8s %-24s %10s %10s %10s %10s %8s %8s %8s %8s\n",
		"scenario", "method", "silent", "too many", "too few", "doubtful", "p50 ms", "p99 ms", "early", "late")
	for i, sc := range Scenarios {
		for j, s := range Run(sc, methods, n, seed+int64(i)) {
			if _, err := fmt.Fprintf(w, "%-8s %-24s %10.1f %10.1f %10.1f %10.1f %8.2f %8.2f %8.1f %8.1f\n", sc.Name, methods[j].Name,
				s.Per100k(s.Silent()), s.Per100k(s.Over), s.Per100k(s.Missed), s.Per100k(s.Doubtful),
				inMS(s.Wait(.5)), inMS(s.Wait(.99)), inMS(s.Early), inMS(s.Late)); err != nil {
				return err
			}
		}
	}
	return nil
}

func inMS(d time.Duration) float64 { return float64(d) / float64(ms) }
