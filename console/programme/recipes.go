// SPDX-License-Identifier: Apache-2.0

package programme

import (
	_ "embed"
	"encoding/json"
	"fmt"
	"strconv"
	"strings"
)

//go:embed recipes.json
var recipesJSON []byte

// A Recipe is a published recipe of a solution: text and figures with where they
// stand, and the mark of how they were come by (as a rule set's figures). None
// is ever computed from another.
type Recipe struct {
	ID       string       `json:"id"`
	Agent    string       `json:"agent"`
	Strength string       `json:"strength"`
	Name     string       `json:"name"`
	Parts    []RecipePart `json:"parts"`
	VolumeML float64      `json:"volume_ml"` // of liquid, as published
	Text     string       `json:"text"`
	Source   string       `json:"source"`
	Mark     string       `json:"mark"`
	Cautions []string     `json:"cautions"`
}

// A RecipePart is one thing that goes in.
type RecipePart struct {
	What   string  `json:"what"`
	Amount float64 `json:"amount"`
	Unit   string  `json:"unit"` // g, mg or ml
	Powder bool    `json:"powder"`
}

var cautions = []string{
	"Weigh powders with gloves and eye protection, and follow the safety data sheet.",
	"Label the bottle at once: agent, weak or strong, lot, day made, last day, who made it.",
	"Weak solution in the fit test thins the mist to a fraction: bottles and nebulisers of weak and strong must never be mixed up.",
	"Ask for known reactions to the agent; who has one gets the other agent or a quantitative test.",
	"Local law and a licensed or competent person always prevail over this tool.",
}

// Recipes gives the published recipes.
func Recipes() ([]Recipe, error) {
	var out []Recipe
	if err := json.Unmarshal(recipesJSON, &out); err != nil {
		return nil, fmt.Errorf("built-in recipes: %w", err)
	}
	for i := range out {
		out[i].Cautions = append([]string{}, cautions...)
		if strings.Contains(out[i].Mark, "M") {
			out[i].Cautions = append(out[i].Cautions, "These figures are from memory: check them against the official text before you use them.")
		}
	}
	return out, nil
}

// Bounds of a batch, in ml [H].
const (
	leastBatch = 10
	mostBatch  = 5000
)

// leastWeighed is the least that a good kitchen or letter balance can weigh, in
// mg [H]; below it a caution stands.
const leastWeighed = 10

// Scaled is the recipe for another volume of liquid: every part by the same
// factor.
func (r Recipe) Scaled(ml float64) (Recipe, error) {
	if !(ml >= leastBatch && ml <= mostBatch) {
		return Recipe{}, refuse("volume", "a batch has from %d to %d ml", leastBatch, mostBatch)
	}
	out := r
	out.Parts = append([]RecipePart{}, r.Parts...)
	out.Cautions = append([]string{}, r.Cautions...)
	out.VolumeML = ml
	for i := range out.Parts {
		p := &out.Parts[i]
		p.Amount = r.Parts[i].Amount * ml / r.VolumeML
		mg := p.Amount
		if p.Unit == "g" {
			mg *= 1000
		}
		if p.Powder && mg < leastWeighed {
			out.Cautions = append(out.Cautions, fmt.Sprintf("%s of %s is too little for most balances: make a larger batch.", p.text(), p.What))
		}
	}
	if ml != r.VolumeML {
		out.Cautions = append(out.Cautions, fmt.Sprintf("Scaled from the published %s ml by a factor of %s.", number(r.VolumeML), number(ml/r.VolumeML)))
	}
	return out, nil
}

// String is the recipe as one text, for the entry of a batch.
func (r Recipe) String() string {
	var parts []string
	for _, p := range r.Parts {
		parts = append(parts, p.text()+" "+p.What)
	}
	return strings.Join(parts, ", ") + ". " + r.Text
}

func (p RecipePart) text() string { return number(p.Amount) + " " + p.Unit }

// number writes a figure with as many digits as can be weighed: four that count.
func number(f float64) string {
	g, err := strconv.ParseFloat(strconv.FormatFloat(f, 'g', 4, 64), 64)
	if err != nil {
		g = f
	}
	return strconv.FormatFloat(g, 'f', -1, 64)
}
