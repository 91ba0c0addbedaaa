// SPDX-License-Identifier: Apache-2.0

package report

import (
	"bytes"
	"os/exec"
	"strings"
	"testing"
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
