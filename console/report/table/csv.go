// SPDX-License-Identifier: Apache-2.0

package table

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"strings"
)

// commas in the order in which a tie is broken.
var commas = []rune{';', ',', '\t', '|'}

// looked is how many records a delimiter is judged by.
const looked = 60

func readCSV(raw []byte, o Options) (Table, error) {
	t := Table{Format: "csv"}
	text, err := decode(raw, o.Encoding, &t)
	if err != nil {
		return Table{}, err
	}
	skipped := 0
	if comma, rest, ok := announced(text); ok {
		text, skipped = rest, 1
		t.Comma, t.CommaSure = comma, 1
	}
	switch {
	case o.Comma != 0:
		t.Comma, t.CommaSure = o.Comma, 1
	case t.Comma == 0:
		t.Comma, t.CommaSure = delimiter(text)
	}
	r := reader(text, t.Comma)
	gather := rows{t: &t}
	for {
		cells, err := r.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return Table{}, fmt.Errorf("read the list: %w", err)
		}
		line, _ := r.FieldPos(0)
		if err := gather.add(line+skipped, cells); err != nil {
			return Table{}, err
		}
	}
	return t, gather.done()
}

func reader(text string, comma rune) *csv.Reader {
	// A line may end as on any system, the oldest among them.
	if !strings.Contains(text, "\n") {
		text = strings.ReplaceAll(text, "\r", "\n")
	}
	r := csv.NewReader(strings.NewReader(text))
	r.Comma = comma
	r.LazyQuotes = true
	r.FieldsPerRecord = -1
	return r
}

// announced reads the line "sep=;" with which some programs begin.
func announced(text string) (rune, string, bool) {
	line, rest, _ := strings.Cut(text, "\n")
	line = strings.Trim(strings.TrimSpace(line), `"`)
	if v, ok := strings.CutPrefix(strings.ToLower(line), "sep="); ok && len([]rune(v)) <= 1 {
		if v == "" {
			v = "\t" // trimmed away above
		}
		for _, c := range commas {
			if v == string(c) {
				return c, rest, true
			}
		}
	}
	return 0, text, false
}

// delimiter finds the character that cuts the first records into the same
// number of fields, more than one.
func delimiter(text string) (rune, float64) {
	best, sure, width := ',', 1.0, 1
	for _, c := range commas {
		counts := map[int]int{}
		n := 0
		for r := reader(text, c); n < looked; {
			cells, err := r.Read()
			if err != nil {
				break
			}
			counts[len(cells)]++
			n++
		}
		mode := 0
		for w := range counts {
			if counts[w] > counts[mode] || counts[w] == counts[mode] && w > mode {
				mode = w
			}
		}
		if mode < 2 {
			continue
		}
		share := float64(counts[mode]) / float64(n)
		if width == 1 || share > sure || share == sure && mode > width {
			best, sure, width = c, share, mode
		}
	}
	return best, sure
}
