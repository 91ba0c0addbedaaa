// SPDX-License-Identifier: Apache-2.0

package api

import (
	"context"
	"encoding/hex"
	"errors"
	"io"
	"net/http"
	"slices"
	"strings"

	"tallyhood/audio"
	"tallyhood/audio/tone"
	"tallyhood/audio/wav"
	"tallyhood/console/archive"
	"tallyhood/console/procedure"
	"tallyhood/console/review"
	"tallyhood/console/review/onefile"
	"tallyhood/store"
)

// Content types of a review's files.
const (
	typeHTML = "text/html; charset=utf-8"
	typeWAV  = "audio/wav"
)

// A CuePath names the file of a tone.
type CuePath struct {
	Cue string `path:"cue" pattern:"^[a-z0-9_]{1,40}\\.wav$" doc:"Name of the tone, and .wav." example:"top_up_due.wav"`
}

func (a *api) reviews() {
	const tag = "Records"
	add(a, route{method: http.MethodGet, path: "/runs/{run}/review", id: "reviewRun", tag: tag, summary: "A run as the pages showed it, instant by instant", conflict: true, heavy: true, time: slow,
		about: "Without names and free text unless they are asked for. A run that was recalled has it in recalled, with the first outcome, and as its last moment. Refused while the run is open.", out: exampleReview()},
		func(ctx context.Context, in *struct {
			RunPath
			Names bool `query:"names" doc:"With the names of wearer and tester, and with free text."`
		}) (*reply[review.Sequence], error) {
			s, err := a.review(ctx, in.Run, in.Names)
			return answered(s, err)
		})
	add(a, route{method: http.MethodGet, path: "/runs/{run}/review.html", id: "shareReview", tag: tag, summary: "The review as one file that needs nothing else, without names", gives: typeHTML, part: true, time: slow},
		func(_ context.Context, in *struct {
			RunPath
			Lang string `query:"lang" pattern:"^[a-z]{2}$" default:"en" doc:"Language of the words; English stands in for what is not translated." example:"en"`
		}) (*file, error) {
			if err := part(a.cfg.Pages != nil); err != nil {
				return nil, err
			}
			return a.file("fit test "+in.Run+".html", typeHTML, func(ctx context.Context, w io.Writer) error {
				done, err := a.heavy(ctx)
				if err != nil {
					return err
				}
				defer done()
				s, err := a.review(ctx, in.Run, false)
				if err != nil {
					return err
				}
				m := onefile.Maker{Pages: a.cfg.Pages, Version: a.cfg.Version, Sound: func(c procedure.Cue) []byte {
					b, err := toneFile(audio.Cue(c))
					if err != nil {
						return nil
					}
					return b
				}}
				return m.Write(w, s, in.Lang)
			}), nil
		})
	add(a, route{method: http.MethodGet, path: "/cues/{cue}", id: "cueWAV", tag: "Box", summary: "A tone of the box as a WAV file", gives: typeWAV},
		func(_ context.Context, in *CuePath) (*file, error) {
			b, err := toneFile(audio.Cue(strings.TrimSuffix(in.Cue, ".wav")))
			if err != nil {
				return nil, err
			}
			return a.file(in.Cue, typeWAV, func(_ context.Context, w io.Writer) error {
				_, err := w.Write(b)
				return err
			}), nil
		})
}

// review makes the sequence of a run. Without names they are not even opened.
func (a *api) review(ctx context.Context, run string, named bool) (review.Sequence, error) {
	names := a.cfg.Names
	if !named {
		names = nil
	}
	facts, last, err := archive.Facts(ctx, a.cfg.Journal, names, run)
	if err != nil {
		return review.Sequence{}, err
	}
	recalled, err := archive.Recalled(ctx, a.cfg.Journal, run)
	if err != nil {
		return review.Sequence{}, err
	}
	s, err := review.OfNow(facts, hex.EncodeToString(last.Hash[:]), recalled)
	switch {
	case errors.Is(err, review.ErrOpen):
		return s, problem(http.StatusConflict, WhyRunOpen, "The run is open. It can be reviewed when it has ended.")
	case err != nil:
		return s, err
	case !named:
		s = s.WithoutNames()
	}
	return s, nil
}

// toneFile is a tone as a WAV file; store.ErrNotFound for a cue that is no tone.
func toneFile(c audio.Cue) ([]byte, error) {
	if !slices.Contains(audio.Cues(), c) {
		return nil, store.ErrNotFound
	}
	return wav.Bytes(tone.Of(c))
}
