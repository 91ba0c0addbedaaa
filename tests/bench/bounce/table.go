// SPDX-License-Identifier: Apache-2.0

package bounce

import (
	"fmt"
	"io"
	"time"
)

// Seed is the seed of the published tables.
const Seed = 20240229

// Table prints the figures of methods over n presses of every scenario.
func Table(w io.Writer, methods []Method, n int, seed int64) error {
	_, err := fmt.Fprintf(w, "%d presses a scenario, seed %d; counts per 100,000 presses\n\n"+
		"| scenario | method | silent errors | too many | too few | doubtful | ms to know, p50 | p99 | dated early by, worst ms |\n"+
		"|---|---|---|---|---|---|---|---|---|\n", n, seed)
	for i, sc := range Scenarios {
		for j, s := range Run(sc, methods, n, seed+int64(i)) {
			early := "no date"
			if methods[j].Dated {
				early = fmt.Sprintf("%.1f", inMS(s.Early))
			}
			if err == nil {
				_, err = fmt.Fprintf(w, "| %s | %s | %.1f | %.1f | %.1f | %.1f | %.2f | %.2f | %s |\n", sc.Name, methods[j].Name,
					s.Per100k(s.Silent()), s.Per100k(s.Over), s.Per100k(s.Missed), s.Per100k(s.Doubtful),
					inMS(s.Wait(.5)), inMS(s.Wait(.99)), early)
			}
		}
	}
	return err
}

// ButtonTable prints the figures of the wearer's button.
func ButtonTable(w io.Writer, n int, seed int64) error {
	_, err := fmt.Fprintf(w, "%d presses of the changeover button a scenario, seed %d; counts of presses\n\n"+
		"| scenario | missed | false | doubtful only | more than once | cable faults | ms to know, worst |\n"+
		"|---|---|---|---|---|---|---|\n", n, seed)
	for i, sc := range Scenarios {
		if sc.Fast { // a button is pressed at one pace
			continue
		}
		s := Buttons(sc, n, seed+int64(i))
		if err == nil {
			_, err = fmt.Fprintf(w, "| %s | %d | %d | %d | %d | %d | %.1f |\n",
				sc.Name, s.Missed, s.False, s.Doubtful, s.Repeated, s.Faults, inMS(s.Wait))
		}
	}
	return err
}

func inMS(d time.Duration) float64 { return float64(d) / float64(ms) }
