// SPDX-License-Identifier: Apache-2.0

package api

import (
	"context"
	"io"
	"net/http"

	"tallyhood/console/report"
)

// CheckBody holds a claim to check.
type CheckBody struct {
	Claim string `json:"claim" minLength:"1" maxLength:"4000" doc:"What the code on a card says."`
}

func (a *api) evidence() {
	const tag = "Evidence"
	need := func() error { return part(a.cfg.Evidence != nil) }
	add(a, route{method: http.MethodGet, path: "/evidence/head", id: "getHead", tag: tag, summary: "The newest signed head of the journal", part: true, out: exampleHead()},
		func(ctx context.Context, _ *struct{}) (*reply[SignedHead], error) {
			if err := need(); err != nil {
				return nil, err
			}
			return answered(a.cfg.Evidence.Head(ctx))
		})
	add(a, route{method: http.MethodGet, path: "/evidence/{run}", id: "getClaim", tag: tag, summary: "What a run's card claims, with the proof", part: true},
		func(ctx context.Context, in *RunPath) (*reply[Claim], error) {
			if err := need(); err != nil {
				return nil, err
			}
			return answered(a.cfg.Evidence.Claim(ctx, in.Run))
		})
	for _, f := range []struct {
		kind, id, summary, media string
		write                    func(io.Writer, string) error
	}{
		{"code.png", "codePNG", "The code of a run's claim as a picture", typePNG, report.CodePNG},
		{"code.svg", "codeSVG", "The code of a run's claim as a drawing", typeSVG, report.CodeSVG},
	} {
		add(a, route{method: http.MethodGet, path: "/evidence/{run}/" + f.kind, id: f.id, tag: tag, summary: f.summary, gives: f.media, part: true},
			func(_ context.Context, in *RunPath) (*file, error) {
				if err := need(); err != nil {
					return nil, err
				}
				return a.file(in.Run+" "+f.kind, f.media, func(ctx context.Context, w io.Writer) error {
					c, err := a.cfg.Evidence.Claim(ctx, in.Run)
					if err != nil {
						return err
					}
					return f.write(w, c.Text)
				}), nil
			})
	}
	add(a, route{method: http.MethodPost, path: "/evidence/check", id: "checkClaim", tag: tag, summary: "Check what a card claims", part: true,
		about: "A claim that does not hold is an answer, not an error.", in: CheckBody{"TH1:6BFOXN*TS0BI"}, out: exampleChecked()},
		func(ctx context.Context, in *struct{ Body CheckBody }) (*reply[Checked], error) {
			if err := need(); err != nil {
				return nil, err
			}
			return answered(a.cfg.Evidence.Check(ctx, in.Body.Claim))
		})
}
