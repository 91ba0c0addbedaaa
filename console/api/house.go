// SPDX-License-Identifier: Apache-2.0

package api

import (
	"context"
	"net/http"

	"tallyhood/console/programme"
)

// PolicyBody sets the rules of the house.
type PolicyBody struct {
	Policy programme.Policy `json:"policy"`
	Who
}

// RetentionBody throws away what the preview showed.
type RetentionBody struct {
	Shown []string `json:"shown" minItems:"1" maxItems:"500" nullable:"false" doc:"Ids of the people whom the preview showed; when one may not be erased any more nothing is done."`
	Who
}

func (a *api) house() {
	const tag = "House"
	add(a, route{method: http.MethodGet, path: "/policy", id: "getPolicy", tag: tag, summary: "The rules of the house", out: examplePolicy()},
		func(ctx context.Context, _ *struct{}) (*reply[programme.Policy], error) {
			return answered(a.cfg.Desk.Policy(ctx))
		})
	add(a, route{method: http.MethodPut, path: "/policy", id: "setPolicy", tag: tag, summary: "Set the rules of the house",
		about:  "They may be stricter than the rule set, never looser. Every due day is reckoned anew, which with many people answers with a job.",
		result: Nothing{}, time: slow, in: PolicyBody{examplePolicy(), Who{"Agnes Thorley"}}, out: Nothing{true}},
		func(ctx context.Context, in *struct{ Body PolicyBody }) (*outcome, error) {
			return a.start(ctx, "policy", func(ctx context.Context, _ Progress) (any, error) {
				if err := a.cfg.Desk.Do(ctx, programme.PolicySet{Policy: in.Body.Policy, By: in.Body.By}); err != nil {
					return nil, err
				}
				return Nothing{true}, nil
			})
		})
	add(a, route{method: http.MethodGet, path: "/retention", id: "getRetention", tag: tag, summary: "What is past the time for which it has to be kept", heavy: true, time: slow, conflict: true,
		about: "Runs stay in the chain for ever; what goes is the name of somebody who left. A box without a trusted clock refuses.", out: exampleRetention()},
		func(ctx context.Context, _ *struct{}) (*reply[programme.Retention], error) {
			return answered(a.cfg.Desk.Retention(ctx))
		})
	add(a, route{method: http.MethodPost, path: "/retention", id: "runRetention", tag: tag, summary: "Erase the people whom the preview showed",
		about:  "The file is written anew, so it waits for the end of an open run. It cannot be undone. Where there is no room for the new file the answer is 409, uncleaned, as for one person.",
		result: Nothing{}, time: slow, in: RetentionBody{[]string{"p-7kq2m9xd"}, Who{"Agnes Thorley"}}, out: Nothing{true}},
		func(ctx context.Context, in *struct{ Body RetentionBody }) (*outcome, error) {
			return a.start(ctx, "retention", func(ctx context.Context, _ Progress) (any, error) {
				done, err := a.alone(ctx, in.Body.Shown...)
				if err != nil {
					return nil, err
				}
				defer done()
				return Nothing{true}, a.cfg.Desk.Retain(ctx, in.Body.Shown, in.Body.By)
			})
		})
}
