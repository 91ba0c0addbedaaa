// SPDX-License-Identifier: Apache-2.0

package api

import (
	"context"
	"net/http"
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
	add(a, route{method: http.MethodPost, path: "/evidence/check", id: "checkClaim", tag: tag, summary: "Check what a card claims", part: true,
		about: "A claim that does not hold is an answer, not an error.", in: CheckBody{"TH1:6BFOXN*TS0BI"}, out: exampleChecked()},
		func(ctx context.Context, in *struct{ Body CheckBody }) (*reply[Checked], error) {
			if err := need(); err != nil {
				return nil, err
			}
			return answered(a.cfg.Evidence.Check(ctx, in.Body.Claim))
		})
}
