// SPDX-License-Identifier: Apache-2.0

package report

import (
	"bytes"
	"encoding/json"
	"os/exec"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
	"time"

	"github.com/pdfcpu/pdfcpu/pkg/api"
	"github.com/pdfcpu/pdfcpu/pkg/pdfcpu/model"
	"github.com/santhosh-tekuri/jsonschema/v6"

	"tallyhood/console/procedure"
	"tallyhood/console/record"
)

// Each item that a record must hold, and where it stands in the PDF.
func TestFieldsOfTheRules(t *testing.T) {
	s := sheetOf(t, courses["pass"])
	text := flat(textOf(t, recordPDF(t, s, A4)))
	for _, c := range []struct{ source, item, want string }{
		// The record of a qualitative fit test.
		{"29 CFR 1910.134(m)(2)(i)(A)", "name or identification of the employee tested", "Name Ilse Brandvold"},
		{"29 CFR 1910.134(m)(2)(i)(A)", "name or identification of the employee tested", "Company number HS-0417"},
		{"29 CFR 1910.134(m)(2)(i)(B)", "type of fit test performed", "Type of test qualitative, by taste: bitter"},
		{"29 CFR 1910.134(m)(2)(i)(C)", "specific make", "Make Corrie"},
		{"29 CFR 1910.134(m)(2)(i)(C)", "model", "Model Half Mask C2"},
		{"29 CFR 1910.134(m)(2)(i)(C)", "style", "Style and material half mask, silicone, two P3 filters"},
		{"29 CFR 1910.134(m)(2)(i)(C)", "size", "Size medium"},
		{"29 CFR 1910.134(m)(2)(i)(D)", "date of test", "Date of test 2026-11-23 09:30"},
		{"29 CFR 1910.134(m)(2)(i)(E)", "pass/fail result", "PASS Nothing was tasted"},
		// The report that the guidance asks for.
		{"HSE INDG479", "name of the person tested", "Ilse Brandvold"},
		{"HSE INDG479", "make, model, material and size", "Style and material"},
		{"HSE INDG479", "whose piece and its condition", "own piece, clean, no damage"},
		{"HSE INDG479", "exercises performed", "Normal breathing again 6:00 - 7:00 done"},
		{"HSE INDG479", "exercises performed", "Bending over 5:00 - 6:00 done"},
		{"HSE INDG479", "method", "qualitative, by taste"},
		{"HSE INDG479", "result", "PASS"},
		{"HSE INDG479", "date", "2026-11-23"},
		{"HSE INDG479", "who tested", "Tester Agnes Thorley"},
		{"HSE INDG479", "for whom", "Harrowgate Stoneworks, North"},
		// What this project adds to both.
		{"ours", "rules", "US rule: 29 CFR 1910.134, Appendix A"},
		{"ours", "source of a figure", "Appendix A, Part I.A.14"},
		{"ours", "due day", "Next test due 2027-11-23"},
		{"ours", "remark", "late"}, {"ours", "extra squeezes", "2 extra"},
		{"ours", "bin", "taste reported after 7 squeezes: bin 10"},
		{"ours", "modelled level", "modelled, never evidence. Assumption: each squeeze adds one and everything halves in 30 s"},
		{"ours", "law prevails", "Local law and a licensed or competent person always prevail"},
		{"ours", "hash", s.View.Hash}, {"ours", "signed head", "9NQ2mT0b7Xl3l8vMkq2cF0mZQk8xHq4f1rJ3oWv5yXo="},
		{"ours", "inclusion proof", "3Hn0b1V9u4sPq1zQm6cWk8xJ7yRt5oLfEdGaHbTnYvU="},
		{"ours", "lot", "B-2611-07"}, {"ours", "nebuliser", "S2 fit test (strong)"}, {"ours", "time of edges", "Time of edges kernel time"},
		{"ours", "sound", "231 ms"}, {"ours", "parts of the box", "USB pedal: absent"}, {"ours", "clock", "confirmed by a person"},
		{"ours", "signature", "signed on the screen under this record"}, {"ours", "pages", "1 of 2"}, {"ours", "pages", "2 of 2"},
	} {
		if !strings.Contains(text, c.want) && !strings.Contains(strings.ReplaceAll(text, " ", ""), strings.ReplaceAll(c.want, " ", "")) {
			t.Errorf("%s, %s: %q is not in the PDF's text", c.source, c.item, c.want)
		}
	}
	if t.Failed() {
		t.Log(text)
	}
	if strings.Contains(strings.ToLower(text), "certif") {
		t.Error("the sheet speaks of a certificate")
	}
}

// Every outcome says its word, and no other one.
func TestOutcomeWords(t *testing.T) {
	no := "not_tasted"
	for name, c := range map[string]struct {
		course string
		change func(*Sheet)
		want   []string
		never  string
	}{
		"pass": {"pass-uk", nil, []string{"PASS", "one squeeze added in top-up 4", "the pedal slipped", "corrected: 1 added"}, "FAIL"},
		"fail": {"fail", nil, []string{"FAIL", "tasted the mist during the exercises", "Tasted at 214.0 s, Head up and down"}, "PASS"},
		"dose": {"fail-dose", nil, []string{"FAIL", "during the initial dose", "The run clock was not started"}, "PASS"},
		"nv":   {"not-valid", nil, []string{"NOT VALID", "A top-up was not given in full"}, "PASS"},
		"ct":   {"cannot-taste", nil, []string{"CANNOT TASTE", "The fit test was not begun"}, "PASS"},
		"nd":   {"no-dose", nil, []string{"NOT VALID", "ended before it was complete"}, "PASS"},
		"recalled": {"pass", func(s *Sheet) {
			s.Recalled = &Recall{Reason: "nebuliser S2 found clogged", By: "Bram Okafor", At: "2026-11-23T16:00:00Z", Quality: "restored"}
		}, []string{"NOT VALID", "Recalled: nebuliser S2 found clogged. The first outcome was PASS; it does not stand.", "Recalled by Bram Okafor on 2026-11-23 16:00 +00:00 (clock: restored, not confirmed).", "no day: this run is no pass that stands"}, "2027-11-23"},
		"said by": {"pass", func(s *Sheet) {
			not, at := record.ProofNotAnswered, record.Seconds(31*time.Second)
			r := s.View.Record
			r.Proof, r.ProofLeft = &not, &record.ProofLeft{Why: procedure.LeftForWelfare, By: "wearer"}
			r.Names = []record.NameAnswer{{By: "wearer"}, {Yes: true, By: "Bram Okafor", AtS: &at}, {Yes: true}}
			r.Remarks, r.Try = []string{record.RemarkTry, record.RemarkNoKit, record.RemarkNameless}, 3
			r.Corrections = []record.Correction{{Part: procedure.PartTopUp, TopUp: 4, Delta: 1, Reason: "by hand", By: "Bram Okafor", AtS: &at}}
		}, []string{
			"not made: stopped for the person's well-being before anybody said what was tasted (the wearer's own page)",
			"Asked by name: NO, that is not me, said by the wearer's own page. Before the run clock.", "Asked by name: yes, that is me, said by Bram Okafor. At 31.0 s.", "said by somebody not noted",
			"Try 3 with this facepiece in this sitting, after a fail.", "No nebuliser was named: which one was strong was not asked.", "The name was not confirmed.",
			"one squeeze added in top-up 4. Reason: by hand (Bram Okafor)",
		}, "IN DOUBT"},
		"doubt":     {"pass", func(s *Sheet) { s.View.Record.Proof = &no }, []string{"PASS IN DOUBT", "does not stand", "no day:"}, "2027-11-23"},
		"untrusted": {"pass", func(s *Sheet) { s.View.WallQuality = "restored" }, []string{"the box's clock could not be trusted", "no day"}, "2027-11-23"},
		"practice":  {"pass", func(s *Sheet) { s.View.Practice = "simulated" }, []string{"PRACTICE: PASS", "no day: PRACTICE", "Practice, not a test record (simulated board)"}, "sign here"},
		"erased":    {"pass", func(s *Sheet) { s.Person = Person{Name: "Ilse Brandvold", Erased: true} }, []string{"erased"}, "Ilse"},
		"amended": {"pass", func(s *Sheet) {
			s.Amendments = []Amendment{{Field: "tester", From: "Agnes Thorley", To: "Bram Okafor", Reason: "signed in as the other", By: "Agnes Thorley", At: "2026-11-24T08:00:00+01:00", Quality: "network"}}
		}, []string{"Bram Okafor (corrected; first: Agnes Thorley)", `Tester: first "Agnes Thorley", now "Bram Okafor". Reason: signed in as the other. Corrected by Agnes Thorley on 2026-11-24 08:00 +01:00 (clock: set from the network).`}, "FAIL"},
		"amended before": {"pass", func(s *Sheet) {
			s.Amendments = []Amendment{{Field: "tester", From: "Agnes Thorley", To: "Bram Okafor", Reason: "signed in as the other", By: "Agnes Thorley"}}
		}, []string{`Reason: signed in as the other. Corrected by Agnes Thorley.`}, "clock: )"},
		"drawn": {"pass", func(s *Sheet) {
			for i := range s.Signatures {
				s.Signatures[i].How, s.Signatures[i].Quality = "drawn", "confirmed"
			}
		}, []string{"drawn on the screen under this record", "2026-11-23 09:47 +00:00 (clock: confirmed by a person)"}, "typed"},
		"typed": {"pass", func(s *Sheet) {
			s.Signatures = s.Signatures[:1]
			s.Signatures[0].How = "typed"
		}, []string{"name typed on the screen under this record, not drawn by hand"}, "drawn on the screen"},
		"typed before": {"pass", func(s *Sheet) {
			for i := range s.Signatures {
				s.Signatures[i].How, s.Signatures[i].Holds = "typed", false
			}
		}, []string{"name typed under an earlier state of this record: does not hold any more"}, "drawn"},
		"signed somehow": {"pass", nil, []string{"signed on the screen under this record"}, "drawn"},
	} {
		s := sheetOf(t, courses[c.course])
		if c.change != nil {
			c.change(&s)
		}
		raw := recordPDF(t, s, A4)
		keep(t, "outcome-"+name+".pdf", raw)
		text := strings.ReplaceAll(flat(textOf(t, raw)), " ", "")
		for _, w := range c.want {
			if !strings.Contains(text, strings.ReplaceAll(w, " ", "")) {
				t.Errorf("%s: %q is missing in %s", name, w, text)
			}
		}
		if strings.Contains(text, strings.ReplaceAll(c.never, " ", "")) {
			t.Errorf("%s: %q stands in it", name, c.never)
		}
		if name == "practice" && strings.Count(text, "PRACTICE") < 6 {
			t.Errorf("practice: the word stands %d times", strings.Count(text, "PRACTICE"))
		}
	}
}

// Names in other letters come back from the PDF as they were given.
func TestNames(t *testing.T) {
	for _, name := range []string{"Zażółć Gęślą-Jaźń", "Γιώργος Παπαδόπουλος", "Щукин Пётр Ильич", "محمد الأمين", "سلام بن لاحق", "יעל כהן", "Đặng Thị Hằng", "Ærøskøbing Ðórunn", "O’Brien µ μ"} {
		s := sheetOf(t, courses["pass"])
		s.Person.Name = name
		raw := recordPDF(t, s, A4)
		keep(t, "name.pdf", raw)
		// Readers add marks of direction, which are no part of the name.
		text := flat(strings.Map(func(r rune) rune {
			if r >= 0x200E && r <= 0x200F || r >= 0x202A && r <= 0x202E || r >= 0x2066 && r <= 0x2069 {
				return -1
			}
			return r
		}, textBy(t, "-layout", raw)))
		if !strings.Contains(text, name) {
			t.Errorf("%q did not come back: %.400s", name, text)
		}
	}
}

// The PDFs hold for a second reader, and the record's JSON is in them.
func TestPDFsForAnotherReader(t *testing.T) {
	conf := model.NewDefaultConfiguration()
	// Strict validation refuses the key that PDF/A-3 (ISO 19005-3, 6.8) asks
	// for beside an attachment, since PDF 1.7 did not know it yet.
	conf.ValidationMode = model.ValidationRelaxed
	for name, c := range courses {
		s := sheetOf(t, c)
		raw := recordPDF(t, s, A4)
		if err := api.Validate(bytes.NewReader(raw), conf); err != nil {
			t.Errorf("%s: %v", name, err)
		}
		files, err := api.Attachments(bytes.NewReader(raw), conf)
		if err != nil || len(files) != 1 || files[0].FileName != "record.json" {
			t.Errorf("%s: attached %+v (%v)", name, files, err)
		}
		if !bytes.Contains(raw, []byte("pdfaid:part>3<")) {
			t.Errorf("%s: does not say that it is PDF/A-3", name)
		}
	}
	conf.ValidationMode = model.ValidationStrict
	for name, write := range map[string]func(*bytes.Buffer) error{
		"card":  func(b *bytes.Buffer) error { return CardPDF(b, sheetOf(t, courses["pass"])) },
		"batch": func(b *bytes.Buffer) error { return BatchPDF(b, batch(), A4) }, "label": func(b *bytes.Buffer) error { return LabelPDF(b, batch()) },
	} {
		var b bytes.Buffer
		if err := write(&b); err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		if err := api.Validate(bytes.NewReader(b.Bytes()), conf); err != nil {
			t.Errorf("%s: %v", name, err)
		}
	}
}

func TestRecordAttached(t *testing.T) {
	detach := tool(t, "pdfdetach", "poppler-utils")
	s := sheetOf(t, courses["fail"])
	file := keep(t, "attached.pdf", recordPDF(t, s, A4))
	to := filepath.Join(t.TempDir(), "record.json")
	if out, err := exec.Command(detach, "-save", "1", "-o", to, file).CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	var got record.Record
	if err := json.Unmarshal(read(t, to), &got); err != nil {
		t.Fatal(err)
	}
	want, err := s.View.Record.JSON()
	if err != nil {
		t.Fatal(err)
	}
	if again, err := got.JSON(); err != nil || !bytes.Equal(again, want) {
		t.Errorf("the attached record is %s (%v), want %s", again, err, want)
	}
}

// The schema takes every record that the procedure makes and no broken one,
// and names each field of it.
func TestSchema(t *testing.T) {
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
	check := func(raw []byte) error {
		v, err := jsonschema.UnmarshalJSON(bytes.NewReader(raw))
		if err != nil {
			return err
		}
		return schema.Validate(v)
	}
	for name, co := range courses {
		s := sheetOf(t, co)
		raw, err := s.View.Record.JSON()
		if err != nil {
			t.Fatal(err)
		}
		if err := check(raw); err != nil {
			t.Errorf("%s: %v", name, err)
		}
	}
	s := sheetOf(t, courses["pass"])
	raw, err := s.View.Record.JSON()
	if err != nil {
		t.Fatal(err)
	}
	for _, broken := range [][2]string{
		{`"outcome":"pass"`, `"outcome":"passed"`}, {`"outcome":"pass"`, `"outcome":"fail"`}, {`"reason":""`, `"reason":"tasted"`}, {`"bin":10`, `"bin":0`}, {`"bin":10`, `"bin":12`},
		{`"supervised":true`, `"supervised":1`}, {`"schema":"tallyhood.record/1"`, `"schema":"tallyhood.record/2"`}, {`"taste_s":null`, `"taste":null`}, {`"given":5`, `"given":-5`}, {`"late"`, `"early"`},
	} {
		text := strings.Replace(string(raw), broken[0], broken[1], 1)
		if text == string(raw) {
			t.Errorf("%s is not in the record", broken[0])
		}
		if check([]byte(text)) == nil {
			t.Errorf("%s for %s was taken", broken[1], broken[0])
		}
	}
	// What was added later is taken too, and not in any other form.
	added := *s.View.Record
	not := record.ProofNotAnswered
	added.Proof, added.ProofLeft = &not, &record.ProofLeft{Why: procedure.LeftUndone, By: "Agnes Thorley"}
	added.Names = []record.NameAnswer{{By: "wearer"}}
	if raw, err = added.JSON(); err != nil {
		t.Fatal(err)
	}
	if err := check(raw); err != nil {
		t.Error(err)
	}
	for _, broken := range [][2]string{
		{`"why":"left"`, `"why":"lunch"`}, {`"yes":false`, `"yes":"no"`}, {`"proof":"not_answered",`, ``},
	} {
		if text := strings.Replace(string(raw), broken[0], broken[1], 1); text == string(raw) || check([]byte(text)) == nil {
			t.Errorf("%s for %s was taken", broken[1], broken[0])
		}
	}
	text := string(RecordSchema())
	var walk func(reflect.Type)
	walk = func(ty reflect.Type) {
		for ty.Kind() == reflect.Pointer || ty.Kind() == reflect.Slice {
			ty = ty.Elem()
		}
		if ty.Kind() != reflect.Struct {
			return
		}
		for i := range ty.NumField() {
			name, _, _ := strings.Cut(ty.Field(i).Tag.Get("json"), ",")
			if name == "-" {
				continue
			}
			if !strings.Contains(text, `"`+name+`": {`) {
				t.Errorf("the schema has no %s of %s", name, ty)
			}
			walk(ty.Field(i).Type)
		}
	}
	walk(reflect.TypeFor[record.Record]())
	for _, r := range []procedure.Reason{procedure.Tasted, procedure.Stalled, procedure.InputGap, procedure.ButtonUnproven} {
		if !has("reason."+string(r)) || !strings.Contains(text, `"`+string(r)+`"`) {
			t.Errorf("reason %s has no words or is not in the schema", r)
		}
	}
}
