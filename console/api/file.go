// SPDX-License-Identifier: Apache-2.0

package api

import (
	"bytes"
	"context"
	"io"
	"net/http"
	"net/url"
	"strconv"
	"strings"

	"github.com/danielgtaylor/huma/v2"
	"github.com/danielgtaylor/huma/v2/adapters/humago"
)

// Content types of files.
const (
	typePDF   = "application/pdf"
	typePNG   = "image/png"
	typeSVG   = "image/svg+xml"
	typeCSV   = "text/csv; charset=utf-8"
	typeXLSX  = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
	typeICS   = "text/calendar; charset=utf-8"
	typeBytes = "application/octet-stream"
	typeJSON  = "application/json"
)

// A file is an answer that is not JSON of ours.
type file struct{ Body func(huma.Context) }

// heldBack is how much of a file is kept until it begins: a file that fails
// before is answered with a problem, and a small one with its length.
const heldBack = 256 << 10

// file answers with what write writes. A file that fails on the way is broken
// off, so that half of it is not taken for the whole.
func (a *api) file(name, kind string, write func(ctx context.Context, w io.Writer) error) *file {
	return &file{func(hc huma.Context) {
		_, w := humago.Unwrap(hc)
		out := &held{w: w, begin: func(length int) {
			w.Header().Set("Content-Type", kind)
			w.Header().Set("Content-Disposition", disposition(name))
			if length >= 0 {
				w.Header().Set("Content-Length", strconv.Itoa(length))
			}
			w.WriteHeader(http.StatusOK)
		}}
		err := write(hc.Context(), out)
		switch {
		case err == nil:
			err = out.end()
			if err == nil {
				return
			}
			panic(http.ErrAbortHandler) // who asked is gone
		case !out.begun:
			writeProblem(w, a.told(hc.Operation().OperationID, err))
		default:
			a.told(hc.Operation().OperationID, err)
			panic(http.ErrAbortHandler)
		}
	}}
}

type held struct {
	w     http.ResponseWriter
	begin func(length int)
	kept  bytes.Buffer
	begun bool
}

func (h *held) Write(b []byte) (int, error) {
	if !h.begun && h.kept.Len()+len(b) <= heldBack {
		return h.kept.Write(b)
	}
	if !h.begun {
		h.begun = true
		h.begin(-1)
		if _, err := h.w.Write(h.kept.Bytes()); err != nil {
			return 0, err
		}
		h.kept = bytes.Buffer{}
	}
	return h.w.Write(b)
}

func (h *held) end() error {
	if h.begun {
		return nil
	}
	h.begun = true
	h.begin(h.kept.Len())
	_, err := h.w.Write(h.kept.Bytes())
	return err
}

// disposition names a file twice: in ASCII for who knows no more, and as it is
// (RFC 6266, RFC 8187).
func disposition(name string) string {
	clean := strings.Map(func(r rune) rune {
		if r < ' ' || r == 0x7f || strings.ContainsRune(`/\:*?"<>|`, r) || r == 0xfffd {
			return '-'
		}
		return r
	}, strings.ToValidUTF8(name, "-"))
	clean = strings.TrimLeft(strings.TrimSpace(clean), ".")
	if clean == "" {
		clean = "file"
	}
	ascii := strings.Map(func(r rune) rune {
		if r > '~' {
			return '_'
		}
		return r
	}, clean)
	ascii = strings.ReplaceAll(ascii, "%", "_") // some decode it
	out := `attachment; filename="` + ascii + `"`
	if ascii != clean {
		out += "; filename*=UTF-8''" + strings.ReplaceAll(url.QueryEscape(clean), "+", "%20")
	}
	return out
}

// told turns an error into a problem, and logs what is the box's own fault.
func (a *api) told(what string, err error) *Problem {
	p := problemOf(err)
	if p.Status == http.StatusInternalServerError || p.Why == WhyNotSaved {
		a.cfg.Log.Error("api", "operation", what, "err", err)
	}
	return p
}
