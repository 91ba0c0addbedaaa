// SPDX-License-Identifier: Apache-2.0

package report

import (
	"bytes"
	"os/exec"
	"strings"
	"testing"

	"tallyhood/console/procedure"
)

// The PDFs of every outcome, on both papers, are sound for qpdf.
func TestPDFsAreSound(t *testing.T) {
	qpdf := tool(t, "qpdf", "qpdf")
	for name, c := range courses {
		for paper, p := range map[string]Paper{"a4": A4, "letter": Letter} {
			raw := recordPDF(t, sheetOf(t, c), p)
			if out, err := exec.Command(qpdf, "--check", keep(t, name+"-"+paper+".pdf", raw)).CombinedOutput(); err != nil || strings.Contains(string(out), "WARNING") {
				t.Errorf("%s on %s: %v\n%s", name, paper, err, out)
			}
			var again bytes.Buffer
			if err := RecordPDF(&again, sheetOf(t, c), p); err != nil || !bytes.Equal(raw, again.Bytes()) {
				t.Errorf("%s on %s: the same record gave other bytes (%v)", name, paper, err)
			}
		}
	}
}

// The hood stands on the sheet with its size; one larger than the published hood
// (29 CFR 1910.134 App. A: about 12 by 14 inches) is said to be so, and none that
// nobody named is made up.
func TestHoodOnTheSheet(t *testing.T) {
	for want, h := range map[string]*procedure.Hood{
		"Hood not named in this run":                        nil,
		"Hood H1: 305 mm across, 356 mm tall":               {ID: "h-1", Mark: "H1", AcrossMM: 305, TallMM: 356},
		"Hood H1: 305 mm across, height not measured":       {ID: "h-1", Mark: "H1", AcrossMM: 305},
		"Hood H1: width not measured, 356 mm tall":          {ID: "h-1", Mark: "H1", TallMM: 356},
		"Hood H3: not measured":                             {ID: "h-3", Mark: "H3"},
		"Hood H2: 400 mm across, 450 mm tall. Larger than ": {ID: "h-2", Mark: "H2", AcrossMM: 400, TallMM: 450, Oversized: true},
	} {
		s := sheetOf(t, courses["pass"])
		s.Hood = h
		text := flat(textOf(t, recordPDF(t, s, A4)))
		if !strings.Contains(text, want) {
			t.Errorf("%+v: the sheet does not say %q: %s", h, want, text)
		}
		if large := strings.Contains(text, "thinner mist"); large != (h != nil && h.Oversized) {
			t.Errorf("%+v: said to thin the mist: %t", h, large)
		}
		if !strings.Contains(text, "PASS") && !strings.Contains(text, "Pass") {
			t.Errorf("%+v: the hood has unmade the pass", h)
		}
	}
}
