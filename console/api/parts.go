// SPDX-License-Identifier: Apache-2.0

package api

import (
	"context"
	"io"
)

// The parts behind the routes that are no part of the desk. A part may be nil:
// its routes are described all the same and answer that this box does not do
// that. Any method may return ErrNotThere to the same end.

// A TableReader reads the rows of a CSV or of a sheet of a workbook. What is
// wrong with a file is a *Problem or a programme.Refused, in words.
type TableReader interface {
	Read(ctx context.Context, name string, file []byte, how Reading) (Table, error)
}

// A Reading says how a file is to be read; what is empty is found out.
type Reading struct {
	Encoding  string `json:"encoding" doc:"Empty: as the preview found." maxLength:"40"`
	Delimiter string `json:"delimiter" maxLength:"4"`
	Sheet     string `json:"sheet" maxLength:"100"`
}

// A Table is what a file holds.
type Table struct {
	Rows      [][]string // all of them, titles first
	Encoding  string
	Delimiter string   // empty for a workbook
	Sheets    []string // of a workbook
}

// A Printer writes files: what is printed, and tables.
type Printer interface {
	Print(ctx context.Context, w io.Writer, p Paper) error
}

// A Paper is a file that is asked for.
type Paper struct {
	Kind     PaperKind
	Run      string // for records and cards
	Solution string // for a label
	Agent    string // for a recipe sheet
	Strength string
	Recipe   string // of a recipe sheet, its id; empty: the first
	ML       int    // of a recipe sheet, how much is made; 0: as the recipe says
	By       string // for due.ics, the last day; empty: all
	Lang     string // of a card and of reminders; own: the person's; empty: English
}

// A PaperKind is a kind of file.
type PaperKind string

// The kinds.
const (
	RecordPDF    PaperKind = "record.pdf"
	RecordJSON   PaperKind = "record.json"
	CardPDF      PaperKind = "card.pdf"
	CardPNG      PaperKind = "card.png"
	LabelPDF     PaperKind = "label.pdf"
	SheetPDF     PaperKind = "sheet.pdf"
	RemindersPDF PaperKind = "reminders.pdf"
	SummaryPDF   PaperKind = "summary.pdf"
	PeopleCSV    PaperKind = "people.csv"
	PeopleXLSX   PaperKind = "people.xlsx"
	RunsCSV      PaperKind = "runs.csv"
	RunsXLSX     PaperKind = "runs.xlsx"
	DueICS       PaperKind = "due.ics"
)

// Evidence proves records.
type Evidence interface {
	Head(ctx context.Context) (SignedHead, error)
	Claim(ctx context.Context, run string) (Claim, error)
	Check(ctx context.Context, claim string) (Checked, error)
}

// Backup writes and reads encrypted copies of the store.
type Backup interface {
	// Write writes a backup; it has been proven when Write returns.
	Write(ctx context.Context, w io.Writer, passphrase string) error
	Folder(ctx context.Context, folder, passphrase string, progress Progress) (BackedUp, error)
	// First says whether this box has no records yet, so that it may be restored.
	First(ctx context.Context) (bool, error)
	// Restore puts a backup in the store's place; by is who does it, as typed, and
	// may be empty.
	Restore(ctx context.Context, r io.Reader, passphrase, by string) (Restored, error)
	// Made lists the backups that are known, newest first.
	Made(ctx context.Context) ([]Generation, error)
}

type (
	// A SignedHead says what the journal held at a moment, under the box's key.
	SignedHead struct {
		Size    uint64 `json:"size"`
		Root    string `json:"root" doc:"Of the Merkle tree, base64."`
		Wall    string `json:"wall" doc:"RFC 3339"`
		Quality string `json:"quality"`
		Note    string `json:"note" doc:"The head as it was signed."`
		Key     string `json:"key" doc:"The box's public key."`
	}
	// A Claim is what a card's code says, with the proof.
	Claim struct {
		Run   string   `json:"run"`
		Text  string   `json:"text" doc:"For the QR code."`
		Head  string   `json:"head" doc:"Of the journal, as text."`
		Proof []string `json:"proof" doc:"Hashes from the entry to the head, base64."`
	}
	// Checked is what was found of a claim.
	Checked struct {
		Holds   bool     `json:"holds"`
		Why     string   `json:"why" doc:"Empty when it holds."`
		Found   []string `json:"found" doc:"What was found in order, in sentences."`
		Run     string   `json:"run"`
		Outcome string   `json:"outcome"`
		Make    string   `json:"make"`
		Model   string   `json:"model"`
		Size    string   `json:"size"`
		On      string   `json:"on" doc:"Day of the test."`
		Due     string   `json:"due" doc:"Day; empty: none."`
		Here    bool     `json:"here" doc:"The entry stands in this box's journal."`
	}
	// BackedUp is a backup in a folder.
	BackedUp struct {
		File   string `json:"file"`
		Bytes  int64  `json:"bytes"`
		Proven bool   `json:"proven" doc:"It was restored and compared."`
	}
	// A Generation is a backup that was proven.
	Generation struct {
		Where   string `json:"where" doc:"Folder on the box; empty: it was downloaded."`
		File    string `json:"file"`
		Bytes   int64  `json:"bytes"`
		Made    string `json:"made" doc:"RFC 3339"`
		Quality string `json:"quality" doc:"How far the clock could be trusted then."`
		Proven  string `json:"proven" doc:"When it was last restored and compared, RFC 3339."`
		Entries uint64 `json:"entries" doc:"Of the journal; the number of its last one."`
		Hash    string `json:"hash" doc:"Of the last entry, hexadecimal."`
		Here    bool   `json:"here" doc:"The file lies in its folder now, of that size."`
	}
	// BroughtIn is a restore as it stands in the journal.
	BroughtIn struct {
		At      string `json:"at" doc:"RFC 3339"`
		Quality string `json:"quality" doc:"How far the clock could be trusted then."`
		Box     string `json:"box" doc:"That made the backup."`
		Made    string `json:"made" doc:"When it was made, as the backup says."`
		Entries uint64 `json:"entries" doc:"Of the journal in it; what was recorded after that is not here."`
		Head    string `json:"head" doc:"Hash of the last of them, hexadecimal."`
		By      string `json:"by" doc:"Who restored, as typed; empty: nobody said."`
		Later   string `json:"later" enum:",taken_over,unknown" doc:"What was recorded after the backup: recalls and what else undid passes were taken over from the store that was replaced, or nobody knows them: then a pass in the backup may be one that does not count any more. Empty: nobody noted it."`
	}
	// Restored is what a restore brought back.
	Restored struct {
		Entries  uint64 `json:"entries"`
		Runs     int    `json:"runs"`
		Erased   int    `json:"erased" doc:"People who had been erased after the backup and are erased again."`
		Recalled int    `json:"recalled" doc:"Runs that did not count any more when the restore was made and are not valid again."`
		Later    string `json:"later" enum:"taken_over,unknown" doc:"Whether what undid passes after the backup is known, as in the list of restores."`
		Restart  bool   `json:"restart" doc:"The daemon has to be started again."`
	}
)
