// SPDX-License-Identifier: Apache-2.0

package api

import (
	"context"
	"errors"
	"io"
	"mime"
	"mime/multipart"
	"net/http"
	"slices"
	"strings"
	"time"
	"unicode/utf8"

	"github.com/danielgtaylor/huma/v2"
)

// Passphrase encrypts a backup. It is kept nowhere.
type Passphrase struct {
	Passphrase string `json:"passphrase" minLength:"12" maxLength:"200"`
}

// FolderBody names where a backup goes.
type FolderBody struct {
	Folder string `json:"folder" minLength:"1" maxLength:"400" doc:"On the box, such as a USB stick's."`
	Passphrase
}

// RestoreBody is a backup to restore, in parts and this order; by may be left out.
type RestoreBody struct {
	Passphrase string `json:"passphrase"`
	By         string `json:"by,omitempty" maxLength:"120" doc:"Name of who restores."`
	File       string `json:"file" format:"binary"`
}

// Backups are the backups that were made.
type Backups struct {
	Generations []Generation `json:"generations" doc:"Newest first."`
	Restores    []BroughtIn  `json:"restores" doc:"Restores that this box's journal comes from, newest first."`
}

type backupPart struct {
	name string
	io.Reader
}

// restoring reads the two parts of the body one after the other, so that a
// backup never lies in memory whole.
type restoring struct {
	parts *multipart.Reader
}

// Resolve implements huma.Resolver.
func (r *restoring) Resolve(ctx huma.Context) []error {
	_, params, err := mime.ParseMediaType(ctx.Header("Content-Type"))
	if err != nil || params["boundary"] == "" {
		return []error{errors.New("the body has no boundary")}
	}
	r.parts = multipart.NewReader(ctx.BodyReader(), params["boundary"])
	return nil
}

// next is the next part, which has to have one of the names.
func (r *restoring) next(names ...string) (backupPart, error) {
	p, err := r.parts.NextPart()
	if err != nil {
		return backupPart{}, tooLargeOr(err)
	}
	if !slices.Contains(names, p.FormName()) {
		return backupPart{}, problem(http.StatusUnprocessableEntity, WhyMalformed, "The parts are passphrase, by (which may be left out) and file, in this order.")
	}
	return backupPart{p.FormName(), p}, nil
}

// short reads a part that is a short text.
func (p backupPart) short(what string, least, most int) (string, error) {
	b, err := io.ReadAll(io.LimitReader(p, int64(most)+1))
	if err != nil {
		return "", tooLargeOr(err)
	}
	if len(b) < least || len(b) > most || !utf8.Valid(b) {
		return "", problem(http.StatusUnprocessableEntity, WhyMalformed, "That is no "+what+".")
	}
	return string(b), nil
}

func tooLargeOr(err error) error {
	var large *http.MaxBytesError
	if errors.As(err, &large) {
		return tooLarge()
	}
	return problem(http.StatusUnprocessableEntity, WhyMalformed, "The body is broken off or is no form of two parts.")
}

func (a *api) backups() {
	const tag = "Backup"
	need := func() error { return part(a.cfg.Backup != nil) }
	add(a, route{method: http.MethodGet, path: "/backup", id: "listBackups", tag: tag, summary: "The backups that were made, and the restores", part: true,
		about: "Each backup was proven. Of a folder the two that are kept are told; of those that were downloaded, the last three.", out: exampleBackups()},
		func(ctx context.Context, _ *struct{}) (*reply[Backups], error) {
			if err := need(); err != nil {
				return nil, err
			}
			all, err := a.cfg.Backup.Made(ctx)
			if err != nil {
				return nil, err
			}
			out := Backups{Generations: all, Restores: []BroughtIn{}}
			if out.Generations == nil {
				out.Generations = []Generation{}
			}
			restores, err := a.cfg.Desk.Restores(ctx)
			for _, r := range slices.Backward(restores) {
				out.Restores = append(out.Restores, BroughtIn{At: r.At, Quality: r.Quality, Box: r.Box, Made: r.Made, Entries: r.Entries, Head: r.Head, By: r.By})
			}
			return answered(out, err)
		})
	add(a, route{method: http.MethodPost, path: "/backup", id: "downloadBackup", tag: tag, summary: "Download an encrypted backup", gives: typeBytes, time: longest, part: true,
		about: "It is proven while it is written; a download that breaks off is no backup. It waits for the end of an open run.", in: Passphrase{"six plain words of your own"}},
		func(_ context.Context, in *struct{ Body Passphrase }) (*file, error) {
			if err := need(); err != nil {
				return nil, err
			}
			if err := a.still(); err != nil {
				return nil, err
			}
			now, _ := a.cfg.Now()
			return a.file("tallyhood "+now.Format(time.DateOnly)+".backup", typeBytes, func(ctx context.Context, w io.Writer) error {
				done, err := a.heavy(ctx)
				if err != nil {
					return err
				}
				defer done()
				return a.cfg.Backup.Write(ctx, w, in.Body.Passphrase)
			}), nil
		})
	add(a, route{method: http.MethodPost, path: "/backup/folder", id: "backupToFolder", tag: tag, summary: "Write an encrypted backup to a folder of the box", part: true, time: slow,
		about: "It is restored and compared before it counts. Two generations are kept. It waits for the end of an open run.", result: BackedUp{},
		in: FolderBody{"/media/stick", Passphrase{"six plain words of your own"}}, out: BackedUp{"/media/stick/tallyhood 2026-09-14.backup", 48_211_968, true}},
		func(ctx context.Context, in *struct{ Body FolderBody }) (*outcome, error) {
			if err := need(); err != nil {
				return nil, err
			}
			if strings.ContainsRune(in.Body.Folder, 0) {
				return nil, problem(http.StatusUnprocessableEntity, WhyMalformed, "That is no folder.")
			}
			if err := a.still(); err != nil {
				return nil, err
			}
			return a.start(ctx, "backup", func(ctx context.Context, progress Progress) (any, error) {
				return a.cfg.Backup.Folder(ctx, in.Body.Folder, in.Body.Passphrase.Passphrase, progress)
			})
		})
	add(a, route{method: http.MethodPost, path: "/restore", id: "restoreBackup", tag: tag, summary: "Restore a backup on a box without records", part: true, time: longest,
		about: "The body has the parts passphrase, by and file in this order; by may be left out. The restore stands in the journal as a fact, and who was erased after the backup is erased again, as far as this box knows. Which tests were recalled after the backup a box without records cannot know: later says so. A box with records is not restored, and none while a run is open; nor is one on which something was recorded while the backup was on its way: that would be lost.",
		takes: "multipart/form-data", body: mostBackup, out: Restored{Entries: 51_204, Runs: 812, Erased: 1, Later: "unknown", Restart: true}},
		func(ctx context.Context, in *restoring) (*reply[Restored], error) {
			if err := need(); err != nil {
				return nil, err
			}
			if err := a.still(); err != nil {
				return nil, err
			}
			first, err := a.cfg.Backup.First(ctx)
			if err != nil {
				return nil, err
			}
			if !first {
				return nil, problem(http.StatusConflict, WhyNotFirst, "This box has records. Only one without any is restored.")
			}
			p, err := in.next("passphrase")
			if err != nil {
				return nil, err
			}
			passphrase, err := p.short("passphrase", 1, 1000)
			if err != nil {
				return nil, err
			}
			p, err = in.next("by", "file")
			by := ""
			if err == nil && p.name == "by" {
				if by, err = p.short("name", 0, 400); err == nil {
					p, err = in.next("file")
				}
			}
			if err != nil {
				return nil, err
			}
			return answered(a.cfg.Backup.Restore(ctx, p, passphrase, by))
		})
}
