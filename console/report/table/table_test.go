// SPDX-License-Identifier: Apache-2.0

package table

import (
	"bytes"
	"errors"
	"reflect"
	"strings"
	"testing"

	"golang.org/x/text/encoding/charmap"
)

func encode(t *testing.T, name, text string) []byte {
	t.Helper()
	e, err := decoder(name)
	if err != nil {
		t.Fatal(err)
	}
	out, err := e.NewEncoder().Bytes([]byte(text))
	if err != nil {
		t.Fatal(err)
	}
	return out
}

const polish = "Nazwisko;Numer;Stanowisko\r\nZażółć Gęślą;17;kamieniarz\r\nŁukasz Wąż;18;młynarz, \"ślusarz\"\r\nJaśmina Żółw;19;źródła\r\n"
const french = "Nom;Numéro;Poste\r\nZoë Lefèvre;17;maçon\r\nGaëlle Forêt;18;contremaître\r\nHélène Çiçek;19;peintre\r\n"

func cells(t Table) [][]string {
	var out [][]string
	for _, r := range t.Rows {
		out = append(out, r.Cells)
	}
	return out
}

// Lists as spreadsheets write them come back right, without a word from anyone.
func TestGuesses(t *testing.T) {
	want := [][]string{{"Nazwisko", "Numer", "Stanowisko"}, {"Zażółć Gęślą", "17", "kamieniarz"}, {"Łukasz Wąż", "18", `młynarz, "ślusarz"`}, {"Jaśmina Żółw", "19", "źródła"}}
	fr := [][]string{{"Nom", "Numéro", "Poste"}, {"Zoë Lefèvre", "17", "maçon"}, {"Gaëlle Forêt", "18", "contremaître"}, {"Hélène Çiçek", "19", "peintre"}}
	pl := strings.ReplaceAll(polish, `młynarz, "ślusarz"`, `"młynarz, ""ślusarz"""`)
	tabs := strings.ReplaceAll(pl, ";", "\t")
	for _, c := range []struct {
		what string
		raw  []byte
		enc  string
		com  rune
		want [][]string
	}{
		{"UTF-8 with mark", append([]byte("\xEF\xBB\xBF"), pl...), UTF8, ';', want},
		{"UTF-8", []byte(pl), UTF8, ';', want},
		{"UTF-16 little with mark, tabs", append([]byte("\xFF\xFE"), encode(t, UTF16LE, tabs)...), UTF16LE, '\t', want},
		{"UTF-16 big with mark", append([]byte("\xFE\xFF"), encode(t, UTF16BE, pl)...), UTF16BE, ';', want},
		{"UTF-16 little, no mark", encode(t, UTF16LE, pl), UTF16LE, ';', want},
		{"UTF-16 big, no mark", encode(t, UTF16BE, pl), UTF16BE, ';', want},
		{"windows-1250", encode(t, "windows-1250", pl), "windows-1250", ';', want},
		{"iso-8859-2", encode(t, "iso-8859-2", pl), "iso-8859-2", ';', want},
		{"windows-1252", encode(t, "windows-1252", french), "windows-1252", ';', fr},
		{"line feeds", []byte(strings.ReplaceAll(pl, "\r\n", "\n")), UTF8, ';', want},
		{"carriage returns", []byte(strings.ReplaceAll(pl, "\r\n", "\r")), UTF8, ';', want},
		{"sep line", []byte("sep=;\r\n" + pl), UTF8, ';', want},
		{"bars", []byte(strings.ReplaceAll(pl, ";", "|")), UTF8, '|', want},
	} {
		got, err := Read(c.raw, Options{})
		if err != nil {
			t.Errorf("%s: %v", c.what, err)
			continue
		}
		if got.Encoding != c.enc || got.Comma != c.com || !reflect.DeepEqual(cells(got), c.want) {
			t.Errorf("%s: read as %s with %q (sure %.2f): %q", c.what, got.Encoding, got.Comma, got.Sure, cells(got))
		}
	}
	greek, err := Read(encode(t, "windows-1253", "Όνομα;Αριθμός\nΜαρία Παπαδοπούλου;4\nΓιώργος Οικονόμου;5\n"), Options{})
	if err != nil || greek.Encoding != "windows-1253" || greek.Rows[1].Cells[0] != "Μαρία Παπαδοπούλου" {
		t.Errorf("greek: %+v (%v)", greek, err)
	}
	russian, err := Read(encode(t, "windows-1251", "Имя;Номер\nМария Иванова;4\nПётр Щукин;5\n"), Options{})
	if err != nil || russian.Encoding != "windows-1251" || russian.Rows[2].Cells[0] != "Пётр Щукин" {
		t.Errorf("russian: %+v (%v)", russian, err)
	}
}

// A guess that could be otherwise says so, and a person's word goes before it.
func TestDoubtIsSaid(t *testing.T) {
	raw := encode(t, "windows-1250", "name,n\nčč,1\n")
	got, err := Read(raw, Options{})
	if err != nil {
		t.Fatal(err)
	}
	if got.Sure > 0.8 || len(got.Others) == 0 {
		t.Errorf("two letters that are as good in another code page: sure %.2f, others %v", got.Sure, got.Others)
	}
	said, err := Read(raw, Options{Encoding: "windows-1250"})
	if err != nil || said.Rows[1].Cells[0] != "čč" || said.Sure != 1 {
		t.Errorf("a person said windows-1250: %+v (%v)", said, err)
	}
	semicolon, err := Read([]byte("a;b,c\nd;e,f\n"), Options{Comma: ','})
	if err != nil || semicolon.Rows[0].Cells[0] != "a;b" {
		t.Errorf("a person said comma: %+v (%v)", semicolon, err)
	}
	if _, err := Read(raw, Options{Encoding: "ebcdic"}); err == nil || !strings.Contains(err.Error(), "windows-1250") {
		t.Errorf("an unknown encoding: %v, want the list of the known ones", err)
	}
	if _, err := Read(raw, Options{Encoding: UTF8}); err == nil {
		t.Error("bytes that are no UTF-8 were read as such")
	}
	// The same letters in every code page leave no doubt.
	same, err := Read(encode(t, "windows-1252", "name,n\nMüller Jäger,1\n"), Options{})
	if err != nil || same.Rows[1].Cells[0] != "Müller Jäger" {
		t.Errorf("umlauts: %+v (%v)", same, err)
	}
}

// Quotes, decimal commas and ragged lines.
func TestShapes(t *testing.T) {
	got, err := Read([]byte("name;weight\n\"Lee; Ann\";70,5\n\"two\nlines\";71,25\n\nshort\nwide;1;2\n;;\n"), Options{})
	if err != nil {
		t.Fatal(err)
	}
	want := []Row{{1, []string{"name", "weight"}}, {2, []string{"Lee; Ann", "70,5"}}, {3, []string{"two\nlines", "71,25"}}, {6, []string{"short"}}, {7, []string{"wide", "1", "2"}}}
	if !reflect.DeepEqual(got.Rows, want) || got.Width != 3 || !reflect.DeepEqual(got.Wider, []int{7}) {
		t.Errorf("read %+v", got)
	}
	if p := got.Preview(2); len(p) != 2 || got.Preview(99)[4].Line != 7 {
		t.Errorf("preview %+v", p)
	}
}

// What is no list, or too large, is refused in words and quickly.
func TestBounds(t *testing.T) {
	for _, c := range []struct {
		what  string
		raw   []byte
		large bool
	}{
		{"nothing", nil, false},
		{"blank", []byte(" \n\n"), false},
		{"a file too large", bytes.Repeat([]byte("a"), MaxBytes+1), true},
		{"too many rows", bytes.Repeat([]byte("a,b\n"), MaxRows+1), true},
		{"too many columns", []byte(strings.Repeat("a,", MaxColumns) + "b\n"), true},
		{"a quote never closed", []byte("a,b\n\"" + strings.Repeat("x,y\n", MaxCell)), true},
		{"zero bytes", []byte("a,b\nc\x00d,e\n"), false},
		{"an old workbook", []byte("\xD0\xCF\x11\xE0\xA1\xB1\x1A\xE1 and so on"), false},
		{"a PDF", []byte("%PDF-1.7\n"), false},
		{"an archive cut off", []byte("PK\x03\x04 and nothing"), false},
	} {
		got, err := Read(c.raw, Options{})
		if err == nil || errors.Is(err, ErrTooLarge) != c.large {
			t.Errorf("%s: %v with %d rows", c.what, err, len(got.Rows))
		}
	}
}

// Whatever the bytes, reading ends, and what it gives is within the bounds.
func FuzzRead(f *testing.F) {
	f.Add([]byte(polish))
	f.Add([]byte("sep=\t\r\na\tb"))
	if raw, err := charmap.Windows1250.NewEncoder().Bytes([]byte(polish)); err == nil {
		f.Add(raw)
	}
	f.Add([]byte("\xFF\xFEa\x00,\x00b\x00"))
	f.Fuzz(func(t *testing.T, raw []byte) {
		got, err := Read(raw, Options{})
		if err == nil && (len(got.Rows) == 0 || got.Width == 0 || got.Sure < 0 || got.Sure > 1) {
			t.Errorf("read %+v", got)
		}
	})
}
