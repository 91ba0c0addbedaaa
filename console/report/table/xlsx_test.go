// SPDX-License-Identifier: Apache-2.0

//go:build !noxlsx

package table

import (
	"archive/zip"
	"bytes"
	"errors"
	"reflect"
	"strings"
	"testing"

	"github.com/xuri/excelize/v2"
)

func workbook(t *testing.T, sheets map[string][][]any) []byte {
	t.Helper()
	f := excelize.NewFile()
	for name, rows := range sheets {
		if _, err := f.NewSheet(name); err != nil {
			t.Fatal(err)
		}
		for i, r := range rows {
			at, err := excelize.CoordinatesToCellName(1, i+1)
			if err != nil {
				t.Fatal(err)
			}
			if err := f.SetSheetRow(name, at, &r); err != nil {
				t.Fatal(err)
			}
		}
	}
	if err := f.DeleteSheet("Sheet1"); err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	if err := errors.Join(f.Write(&b), f.Close()); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func TestWorkbook(t *testing.T) {
	raw := workbook(t, map[string][][]any{"Ludzie": {{"Nazwisko", "Numer"}, {"Łukasz Wąż", 18}, {}, {"محمد", 7.5}}})
	got, err := Read(raw, Options{})
	if err != nil {
		t.Fatal(err)
	}
	want := []Row{{1, []string{"Nazwisko", "Numer"}}, {2, []string{"Łukasz Wąż", "18"}}, {4, []string{"محمد", "7.5"}}}
	if got.Format != "xlsx" || got.Sheet != "Ludzie" || !reflect.DeepEqual(got.Rows, want) {
		t.Errorf("read %+v", got)
	}
	if _, err := Read(raw, Options{Sheet: "none"}); err == nil || !strings.Contains(err.Error(), "Ludzie") {
		t.Errorf("a sheet that is not there: %v", err)
	}
	if _, err := Read(raw[:len(raw)/2], Options{}); err == nil {
		t.Error("half a workbook was read")
	}
}

// A small file that unpacks to a large one is refused, even when the archive
// states a small size.
func TestBomb(t *testing.T) {
	var b bytes.Buffer
	z := zip.NewWriter(&b)
	w, err := z.Create("xl/worksheets/sheet1.xml")
	if err != nil {
		t.Fatal(err)
	}
	zeros := make([]byte, 1<<20)
	for range MaxOpened>>20 + 2 {
		if _, err := w.Write(zeros); err != nil {
			t.Fatal(err)
		}
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	if _, err := Read(b.Bytes(), Options{}); !errors.Is(err, ErrTooLarge) {
		t.Errorf("a workbook of %d bytes that unpacks to more than %d: %v", b.Len(), MaxOpened, err)
	}
	b.Reset()
	z = zip.NewWriter(&b)
	for i := range MaxParts + 1 {
		if _, err := z.Create(strings.Repeat("p", i%50+1) + strings.Repeat("q", i/50)); err != nil {
			t.Fatal(err)
		}
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	if _, err := Read(b.Bytes(), Options{}); !errors.Is(err, ErrTooLarge) {
		t.Errorf("a workbook of %d parts: %v", MaxParts+1, err)
	}
}
