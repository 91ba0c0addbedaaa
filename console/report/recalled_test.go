// SPDX-License-Identifier: Apache-2.0

package report

import (
	"bytes"
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"

	"tallyhood/console/procedure"
	"tallyhood/console/record"
)

// The data attached to a recalled record say what its sheet says, and hold to
// the schema, which takes no recalled pass.
func TestTheAttachedRecordOfARecalledRun(t *testing.T) {
	s := sheetOf(t, courses["pass"])
	s.Recalled = &Recall{Reason: "nebuliser S2 found clogged", By: "Bram Okafor", At: "2026-11-23T16:00:00Z", Quality: "confirmed"}
	var b bytes.Buffer
	if err := RecordPDF(&b, s, A4); err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	pdf, to := filepath.Join(dir, "r.pdf"), filepath.Join(dir, "record.json")
	if err := os.WriteFile(pdf, b.Bytes(), 0o600); err != nil {
		t.Fatal(err)
	}
	if out, err := exec.Command(tool(t, "pdfdetach", "poppler-utils"), "-save", "1", "-o", to, pdf).CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	raw := read(t, to)
	var got record.Record
	if err := json.Unmarshal(raw, &got); err != nil {
		t.Fatal(err)
	}
	if c := got.Recalled; got.Outcome != procedure.NotValid || got.Reason != procedure.MistCheckFailed || c == nil || c.Outcome != procedure.Pass || c.Why != s.Recalled.Reason {
		t.Errorf("attached: %s", raw)
	}
	if s.View.Record.Outcome != procedure.Pass {
		t.Error("printing changed the record that it was given")
	}

	var doc any
	if err := json.Unmarshal(RecordSchema(), &doc); err != nil {
		t.Fatal(err)
	}
	c := jsonschema.NewCompiler()
	if err := c.AddResource("urn:tallyhood:record:1", doc); err != nil {
		t.Fatal(err)
	}
	schema, err := c.Compile("urn:tallyhood:record:1")
	if err != nil {
		t.Fatal(err)
	}
	for want, text := range map[bool][]byte{true: raw, false: bytes.Replace(raw, []byte(`"outcome":"not_valid","reason":"mist_check_failed"`), []byte(`"outcome":"pass","reason":""`), 1)} {
		v, err := jsonschema.UnmarshalJSON(bytes.NewReader(text))
		if err != nil {
			t.Fatal(err)
		}
		if err := schema.Validate(v); (err == nil) != want {
			t.Errorf("the schema takes it: %v, want %v: %s", err, want, text)
		}
	}
}

// A proof that was begun and not answered is printed; the pass stands.
func TestAProofNotAnsweredIsPrinted(t *testing.T) {
	s := sheetOf(t, courses["pass"])
	p := record.ProofNotAnswered
	s.View.Record.Proof = &p
	if s.inDoubt() || mayHaveCard(s) != nil {
		t.Errorf("in doubt %v, card %v", s.inDoubt(), mayHaveCard(s))
	}
	say, err := wordsOf("")
	if err != nil {
		t.Fatal(err)
	}
	if text := say.say("proof." + p); text != "begun, not answered: nobody said what was tasted" {
		t.Errorf("it is printed as %q", text)
	}
	raw, err := s.View.Record.JSON()
	if err != nil || !bytes.Contains(raw, []byte(`"proof":"not_answered"`)) {
		t.Errorf("%s, %v", raw, err)
	}
}
