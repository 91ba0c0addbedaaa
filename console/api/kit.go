// SPDX-License-Identifier: Apache-2.0

package api

import (
	"context"
	"net/http"
	"time"

	"tallyhood/console/procedure"
	"tallyhood/console/programme"
)

// KitPath names a piece of kit or a facepiece.
type KitPath struct {
	ID string `path:"id" pattern:"^[a-z0-9-]{1,60}$" doc:"Id of small letters, digits and hyphens." example:"strong-b1"`
}

// FacepieceRow is a facepiece, with a sentence by rule set that does not allow
// it to be tested.
type FacepieceRow struct {
	programme.Facepiece
	Refused map[string]string `json:"refused" doc:"Why a rule set does not allow the test, by the rule set's id."`
}

// FacepieceList is all facepieces.
type FacepieceList struct {
	Facepieces []FacepieceRow `json:"facepieces"`
}

// The bodies about facepieces and kit. Each form is the whole piece as entered.
type (
	// FacepieceBody enters or changes a facepiece.
	FacepieceBody struct {
		Form programme.FacepieceForm `json:"form"`
		Who
	}
	// CleanedBody is a line of the cleaning log.
	CleanedBody struct {
		Piece string `json:"piece" minLength:"1" maxLength:"120" doc:"Mark of the test piece."`
		Who
	}
	// HoodBody enters or changes a hood.
	HoodBody struct {
		Form programme.HoodForm `json:"form"`
		Who
	}
	// NebuliserBody enters or changes a nebuliser.
	NebuliserBody struct {
		Form programme.NebuliserForm `json:"form"`
		Who
	}
	// SolutionBody enters or changes a batch of solution. A change that takes the
	// ground from under tests with the batch recalls them: shown are the runs of
	// the sweep as the person saw them.
	SolutionBody struct {
		Form  programme.SolutionForm `json:"form"`
		Shown []string               `json:"shown,omitempty" maxItems:"10000" doc:"Runs that the sweep showed; left out: none was."`
		Who
	}
	// FilledBody notes a filling.
	FilledBody struct {
		Solution string `json:"solution" pattern:"^[a-z0-9-]{1,60}$" doc:"Id of the batch."`
		Who
	}
	// MistBody is a mist check. One that found no mist recalls runs: shown are
	// the runs of the sweep as the person saw them.
	MistBody struct {
		Good  bool     `json:"good"`
		Shown []string `json:"shown" maxItems:"10000" doc:"Runs that the sweep showed; counts when good is false."`
		Who
	}
)

// Kit is the kit as it is now.
type Kit struct {
	Hoods      []HoodRow      `json:"hoods"`
	Nebulisers []NebuliserRow `json:"nebulisers"`
	Solutions  []SolutionRow  `json:"solutions"`
	Warnings   []WarningRow   `json:"warnings"`
}

// A HoodRow is a hood and whether it is larger than the published test's.
type HoodRow struct {
	programme.Hood
	Oversized bool `json:"oversized"`
}

// A NebuliserRow is a nebuliser and how long its filling lasts.
type NebuliserRow struct {
	programme.Nebuliser
	StaleInS *int64 `json:"stale_in_s" doc:"Seconds until it has to be filled anew, negative when it is past; null when it is not filled or the clock cannot be trusted."`
	Warn     string `json:"warn" doc:"The worst of its warnings, not_filled, or empty."`
}

// A SolutionRow is a batch.
type SolutionRow struct {
	programme.Solution
	Expired bool `json:"expired"`
}

// A WarningRow is something about the kit that is refused, or soon will be.
type WarningRow struct {
	programme.Warning
	Text string `json:"text" doc:"In words, for who reads it raw."`
}

func (a *api) facepieces() {
	const tag = "Facepieces"
	desk := a.cfg.Desk
	add(a, route{method: http.MethodGet, path: "/facepieces", id: "listFacepieces", tag: tag, summary: "List facepieces, with the rule sets that refuse them", out: exampleFacepieces()},
		func(ctx context.Context, _ *struct{}) (*reply[FacepieceList], error) {
			all, err := desk.Facepieces(ctx)
			out := FacepieceList{[]FacepieceRow{}}
			for _, f := range all {
				out.Facepieces = append(out.Facepieces, FacepieceRow{f, desk.RefusedBy(f.FacepieceForm)})
			}
			return answered(out, err)
		})
	add(a, route{method: http.MethodPut, path: "/facepieces/{id}", id: "putFacepiece", tag: tag, summary: "Enter or change a facepiece",
		in: FacepieceBody{exampleFacepieceForm(), Who{"Agnes Thorley"}}, out: Nothing{true}},
		func(ctx context.Context, in *struct {
			KitPath
			Body FacepieceBody
		}) (*reply[Nothing], error) {
			return did(desk.Do(ctx, programme.FacepieceEntered{ID: in.ID, Form: in.Body.Form, By: in.Body.By}))
		})
	add(a, route{method: http.MethodPost, path: "/facepieces/{id}/cleaned", id: "cleanPiece", tag: tag, summary: "Note that a test piece was cleaned",
		in: CleanedBody{"C-M-1", Who{"Bram Okafor"}}, out: Nothing{true}},
		func(ctx context.Context, in *struct {
			KitPath
			Body CleanedBody
		}) (*reply[Nothing], error) {
			now, _ := a.cfg.Now()
			return did(desk.Do(ctx, programme.PieceCleaned{Facepiece: in.ID, Piece: in.Body.Piece, At: instant(now), By: in.Body.By}))
		})
}

func (a *api) kit() {
	const tag = "Kit"
	desk := a.cfg.Desk
	add(a, route{method: http.MethodGet, path: "/kit", id: "getKit", tag: tag, summary: "Hoods, nebulisers and solutions as they are now", out: exampleKit()},
		func(ctx context.Context, _ *struct{}) (*reply[Kit], error) { return answered(a.kitNow(ctx)) })
	add(a, route{method: http.MethodPut, path: "/hoods/{id}", id: "putHood", tag: tag, summary: "Enter or change a hood",
		in: HoodBody{programme.HoodForm{Mark: "H1", AcrossMM: 305, TallMM: 356}, Who{"Agnes Thorley"}}, out: Nothing{true}},
		func(ctx context.Context, in *struct {
			KitPath
			Body HoodBody
		}) (*reply[Nothing], error) {
			return did(desk.Do(ctx, programme.HoodEntered{ID: in.ID, Form: in.Body.Form, By: in.Body.By}))
		})
	add(a, route{method: http.MethodPut, path: "/nebulisers/{id}", id: "putNebuliser", tag: tag, summary: "Enter or change a nebuliser",
		in: NebuliserBody{exampleNebuliser().NebuliserForm, Who{"Agnes Thorley"}}, out: Nothing{true}},
		func(ctx context.Context, in *struct {
			KitPath
			Body NebuliserBody
		}) (*reply[Nothing], error) {
			return did(desk.Do(ctx, programme.NebuliserEntered{ID: in.ID, Form: in.Body.Form, By: in.Body.By}))
		})
	add(a, route{method: http.MethodPut, path: "/solutions/{id}", id: "putSolution", tag: tag, summary: "Enter or change a batch of solution", time: slow,
		about: "Another strength or agent, or an earlier last day, recalls the tests that were done with the batch. Shown has to be what the sweep gives at this moment, in its order; otherwise nothing is done (not_shown, changed).",
		in:    SolutionBody{Form: exampleSolution().SolutionForm, Who: Who{"Bram Okafor"}}, out: Nothing{true}},
		func(ctx context.Context, in *struct {
			KitPath
			Body SolutionBody
		}) (*reply[Nothing], error) {
			return did(desk.EnterBatch(ctx, programme.SolutionEntered{ID: in.ID, Form: in.Body.Form, By: in.Body.By}, in.Body.Shown))
		})
	add(a, route{method: http.MethodGet, path: "/solutions/{id}/sweep", id: "sweepSolution", tag: tag, summary: "What a change of a batch would take with it", time: slow, heavy: true,
		about: "Every run with the batch that would not be valid any more, and who has to be called back. Nothing is changed.",
		out:   programme.Sweep{Solution: "bitter-strong-260901", Runs: []programme.Run{exampleRun()}, People: []string{"p-7kq2m9xd"}}},
		func(ctx context.Context, in *struct {
			KitPath
			Agent    string `query:"agent" required:"true" enum:"sweet,bitter" doc:"As it would be." example:"bitter"`
			Strength string `query:"strength" required:"true" enum:"weak,strong" doc:"As it would be." example:"weak"`
			Expires  string `query:"expires" required:"true" pattern:"^[0-9]{4}-[0-9]{2}-[0-9]{2}$" doc:"As it would be." example:"2026-09-15"`
		}) (*reply[programme.Sweep], error) {
			return answered(desk.SweepBatch(ctx, in.ID, programme.SolutionForm{Agent: in.Agent, Strength: in.Strength, Expires: in.Expires}))
		})
	add(a, route{method: http.MethodPost, path: "/nebulisers/{id}/filled", id: "fillNebuliser", tag: tag, summary: "Note that a nebuliser was rinsed and filled",
		about: "Refused while the clock cannot be trusted: nobody could tell later how old the filling is.",
		in:    FilledBody{"bitter-strong-260901", Who{"Bram Okafor"}}, out: Nothing{true}},
		func(ctx context.Context, in *struct {
			KitPath
			Body FilledBody
		}) (*reply[Nothing], error) {
			at, err := a.trusted()
			if err != nil {
				return nil, err
			}
			return did(desk.Do(ctx, programme.NebuliserFilled{ID: in.ID, Solution: in.Body.Solution, At: at, By: in.Body.By}))
		})
	add(a, route{method: http.MethodGet, path: "/nebulisers/{id}/sweep", id: "sweepNebuliser", tag: tag, summary: "What a bad mist check would take with it", time: slow, heavy: true,
		about: "Every run since the last good check that would not be valid any more, and who has to be called back. Nothing is changed.", out: exampleSweep()},
		func(ctx context.Context, in *KitPath) (*reply[programme.Sweep], error) {
			return answered(desk.Sweep(ctx, in.ID))
		})
	add(a, route{method: http.MethodPost, path: "/nebulisers/{id}/mist", id: "checkMist", tag: tag, summary: "Note a mist check; a bad one recalls runs", time: slow,
		about: "Shown has to be what the sweep gives at this moment, in its order; otherwise nothing is done (changed).",
		in:    MistBody{Good: true, Shown: []string{}, Who: Who{"Agnes Thorley"}}, out: Nothing{true}},
		func(ctx context.Context, in *struct {
			KitPath
			Body MistBody
		}) (*reply[Nothing], error) {
			at, err := a.trusted()
			if err != nil {
				return nil, err
			}
			check := programme.MistChecked{ID: in.ID, Good: in.Body.Good, At: at, By: in.Body.By}
			if in.Body.Good {
				return did(desk.Do(ctx, check))
			}
			return did(desk.Recall(ctx, check, in.Body.Shown))
		})
	add(a, route{method: http.MethodGet, path: "/recipes", id: "listRecipes", tag: tag, summary: "Published recipes for solutions, with source and mark", out: RecipeList{[]programme.Recipe{exampleRecipe()}}},
		func(context.Context, *struct{}) (*reply[RecipeList], error) {
			all, err := programme.Recipes()
			return answered(RecipeList{all}, err)
		})
	add(a, route{method: http.MethodGet, path: "/recipes/{agent}/{strength}/sheet.pdf", id: "recipeSheet", tag: tag, summary: "A recipe to work by", gives: typePDF, time: slow, part: true},
		func(_ context.Context, in *struct {
			Agent    string `path:"agent" enum:"sweet,bitter" example:"bitter"`
			Strength string `path:"strength" enum:"weak,strong" example:"strong"`
			Recipe   string `query:"recipe" pattern:"^[a-z0-9-]{0,60}$" doc:"Its id, where there are several; empty: the first." example:"sweet-weak-diluted"`
			ML       int    `query:"ml" minimum:"0" maximum:"5000" doc:"How much is made, in millilitres; 0: as the recipe says." example:"100"`
		}) (*file, error) {
			return a.paper("recipe "+in.Agent+" "+in.Strength+".pdf", typePDF, Paper{Kind: SheetPDF, Agent: in.Agent, Strength: in.Strength, Recipe: in.Recipe, ML: in.ML})
		})
	add(a, route{method: http.MethodGet, path: "/solutions/{id}/label.pdf", id: "solutionLabel", tag: tag, summary: "A label for a batch", gives: typePDF, time: slow, part: true},
		func(_ context.Context, in *KitPath) (*file, error) {
			return a.paper("label "+in.ID+".pdf", typePDF, Paper{Kind: LabelPDF, Solution: in.ID})
		})
}

// RecipeList is the published recipes.
type RecipeList struct {
	Recipes []programme.Recipe `json:"recipes"`
}

func instant(t time.Time) string { return t.Format(time.RFC3339) }

// trusted is now, for facts whose age counts.
func (a *api) trusted() (string, error) {
	now, trusted := a.cfg.Now()
	if !trusted {
		return "", problem(http.StatusConflict, WhyClockUnset, "The box's clock was not confirmed yet.")
	}
	return instant(now), nil
}

// refill is how long a filling lasts under the rules of the house.
func (a *api) refill(ctx context.Context) (time.Duration, error) {
	p, err := a.cfg.Desk.Policy(ctx)
	if err != nil {
		return 0, err
	}
	if r, ok := a.cfg.Rules[p.Rules]; ok {
		return r.Refill(), nil
	}
	return procedure.RuleSet{}.Refill(), nil
}

func (a *api) kitNow(ctx context.Context) (Kit, error) {
	out := Kit{Hoods: []HoodRow{}, Nebulisers: []NebuliserRow{}, Solutions: []SolutionRow{}, Warnings: []WarningRow{}}
	warnings, err := a.cfg.Desk.Warnings(ctx)
	if err != nil {
		return out, err
	}
	worst := map[string]string{}
	for _, w := range warnings {
		out.Warnings = append(out.Warnings, WarningRow{w, w.Name + " " + inWords[w.What]})
		if worst[w.ID] == "" {
			worst[w.ID] = w.What
		}
	}
	now, trusted := a.cfg.Now()
	refill, err := a.refill(ctx)
	if err != nil {
		return out, err
	}
	hoods, err := a.cfg.Desk.Hoods(ctx)
	if err != nil {
		return out, err
	}
	for _, h := range hoods {
		out.Hoods = append(out.Hoods, HoodRow{h, h.Oversized()})
	}
	solutions, err := a.cfg.Desk.Solutions(ctx)
	if err != nil {
		return out, err
	}
	for _, s := range solutions {
		out.Solutions = append(out.Solutions, SolutionRow{s, s.Expires != "" && now.Format(time.DateOnly) > s.Expires})
	}
	nebulisers, err := a.cfg.Desk.Nebulisers(ctx)
	for _, n := range nebulisers {
		row := NebuliserRow{Nebuliser: n, Warn: worst[n.ID]}
		if left, filled := n.StaleIn(now, refill); filled && trusted {
			s := int64(left / time.Second)
			row.StaleInS = &s
		}
		if n.Solution == "" {
			row.Warn = "not_filled"
		}
		out.Nebulisers = append(out.Nebulisers, row)
	}
	return out, err
}

// inWords are the warnings after the name of what they are about.
var inWords = map[string]string{
	programme.WarnOversized:   "is larger than the published hood: the mist is thinner in it.",
	programme.WarnStaleSoon:   "has to be filled anew within a quarter of an hour.",
	programme.WarnStale:       "has to be emptied, rinsed and filled anew.",
	programme.WarnNoClock:     "was filled at a time that nobody knows for sure.",
	programme.WarnNotChecked:  "had no mist check since it was filled.",
	programme.WarnMistFailed:  "gave no good mist at its last check.",
	programme.WarnExpired:     "is past its date.",
	programme.WarnExpiresSoon: "reaches its date within days.",
}
