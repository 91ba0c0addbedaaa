// SPDX-License-Identifier: Apache-2.0

// Package onefile writes the review of a run as one HTML file that needs nothing
// else: it opens from a disk, plays, and asks nobody for anything. It must not
// write what WithoutNames leaves out.
package onefile

import (
	"bytes"
	"crypto/sha256"
	"encoding/base64"
	"encoding/json"
	"errors"
	"fmt"
	"html"
	"io"
	"io/fs"
	"strings"

	"tallyhood/console/procedure"
	"tallyhood/console/review"
)

// What the file is made of, beside the run.
const (
	entry = "review-file.js"
	place = "lang/"
)

var (
	styles = []string{"style.css", "review.css"}
	areas  = []string{"run", "review"}
)

// A Maker makes the files. Pages holds the modules, styles and words of the
// pages. Sound gives a tone as a WAV file, nil when there is none; without it
// the file is silent. Version is that of tallyhood.
type Maker struct {
	Pages   fs.FS
	Sound   func(procedure.Cue) []byte
	Version string
}

// A load is the data in the file.
type load struct {
	Lang    string                       `json:"lang"`
	Words   map[string][]json.RawMessage `json:"words"`
	Version string                       `json:"version"`
	Review  folded                       `json:"review"`
	Sounds  map[procedure.Cue][]byte     `json:"sounds"` // base64
}

// folded is a sequence whose frames after the first hold only what changed.
type folded struct {
	review.Sequence
	Frames []frame `json:"frames"`
}

type frame struct {
	AtMS  int64                      `json:"at_ms"`
	Facts []string                   `json:"facts"`
	Run   map[string]json.RawMessage `json:"run"`
}

// Write writes the file of a run in a language of the pages; names and free text
// are left out whatever the sequence holds.
func (m Maker) Write(w io.Writer, s review.Sequence, lang string) error {
	s = s.WithoutNames()
	if len(s.Frames) == 0 {
		return errors.New("the run has nothing to show; it can be shared when it has ended")
	}
	data := load{Lang: lang, Words: map[string][]json.RawMessage{}, Version: m.Version, Sounds: map[procedure.Cue][]byte{}}
	var err error
	if data.Review, err = fold(s); err != nil {
		return err
	}
	for _, l := range []string{lang, "en"} {
		if data.Words[l] != nil {
			continue
		}
		data.Words[l] = []json.RawMessage{}
		for _, a := range areas {
			book, err := fs.ReadFile(m.Pages, place+l+"/"+a+".json")
			switch {
			case err == nil:
				data.Words[l] = append(data.Words[l], book)
			case l == "en" || !errors.Is(err, fs.ErrNotExist): // English stands in for what a language lacks
				return fmt.Errorf("words %s/%s cannot be read; the program was built without them: %w", l, a, err)
			}
		}
	}
	if m.Sound != nil {
		for _, c := range s.Cues {
			if data.Sounds[c.Cue] == nil {
				if wav := m.Sound(c.Cue); wav != nil {
					data.Sounds[c.Cue] = wav
				}
			}
		}
	}
	var style strings.Builder
	for _, f := range styles {
		css, err := fs.ReadFile(m.Pages, f)
		if err != nil {
			return fmt.Errorf("style %s cannot be read; the program was built without it: %w", f, err)
		}
		style.Write(css)
	}
	script, err := link(m.Pages, entry)
	if err != nil {
		return err
	}
	text, err := json.Marshal(data) // writes <, > and & as escapes, so that it cannot end its element
	if err != nil {
		return fmt.Errorf("write the run: %w", err)
	}
	script, css := "\n"+script, "\n"+style.String()
	if low := strings.ToLower(script); strings.Contains(low, "</script") || strings.Contains(low, "<!--") && strings.Contains(low, "<script") {
		return errors.New("a page module holds what would end the script; write that text in two parts")
	}
	if strings.Contains(strings.ToLower(css), "</style") {
		return errors.New("a style holds what would end it; write that text in two parts")
	}
	var out bytes.Buffer
	title := "Fit test " + s.Run + ", " + s.Opened
	plain := "Outcome: " + strings.ReplaceAll(string(s.Outcome), "_", " ") + ". Hash of the record: " + s.Hash + "."
	if s.Practice != "" {
		title = "PRACTICE: " + title
		plain = "PRACTICE, " + s.Practice + ": not a test record. " + plain
	}
	fmt.Fprintf(&out, `<!doctype html>
<html lang=%q>
<head>
<meta charset="utf-8">
<meta http-equiv="Content-Security-Policy" content="default-src 'none'; script-src 'sha256-%s'; style-src 'sha256-%s'; base-uri 'none'; form-action 'none'">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta name="color-scheme" content="light dark">
<meta name="referrer" content="no-referrer">
<title>%s · tallyhood</title>
<style>%s</style>
</head>
<body><div id="page"></div>
<noscript><p>%s</p><p>%s</p></noscript>
<script type="application/json" id="run">%s</script>
<script type="module">%s</script>
</body>
</html>
`, lang, hash(script), hash(css), html.EscapeString(title), css, html.EscapeString(title), html.EscapeString(plain), text, script)
	_, err = out.WriteTo(w)
	return err
}

// hash is the source expression of an inline element (CSP level 2).
func hash(text string) string {
	sum := sha256.Sum256([]byte(text))
	return base64.StdEncoding.EncodeToString(sum[:])
}

func fold(s review.Sequence) (folded, error) {
	out := folded{Sequence: s, Frames: []frame{}}
	before := map[string]json.RawMessage{}
	for _, f := range s.Frames {
		text, err := json.Marshal(f.Run)
		if err != nil {
			return out, fmt.Errorf("write the run: %w", err)
		}
		var whole map[string]json.RawMessage
		if err := json.Unmarshal(text, &whole); err != nil {
			return out, fmt.Errorf("write the run: %w", err)
		}
		changed := map[string]json.RawMessage{}
		for k, v := range whole {
			if !bytes.Equal(before[k], v) {
				changed[k] = v
			}
		}
		before = whole
		out.Frames = append(out.Frames, frame{f.AtMS, f.Facts, changed})
	}
	return out, nil
}
