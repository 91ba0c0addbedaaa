// SPDX-License-Identifier: Apache-2.0

package programme

import (
	"context"
	"time"
)

// The published hood (29 CFR 1910.134 App. A) is about 305 mm across and 356 mm
// tall. One larger than that by more than a tenth either way [H] thins the mist.
const (
	hoodAcrossMM = 305
	hoodTallMM   = 356
)

// Oversized says that a hood is larger than the published one, so that the same
// squeezes give less mist.
func (h HoodForm) Oversized() bool {
	return h.AcrossMM*10 > hoodAcrossMM*11 || h.TallMM*10 > hoodTallMM*11
}

// WarnBefore is how long before a filling is stale people are warned.
const WarnBefore = 15 * time.Minute

// expiresSoon is how many days before its last day a batch is warned of [H].
const expiresSoon = 3

// A Warning is something about the kit that will be refused, or soon.
type Warning struct {
	What string `json:"what"` // one of the words below
	ID   string `json:"id"`
	Name string `json:"name"` // mark or lot
	InS  int    `json:"in_s"` // seconds until it is refused; 0: it is already, or never is
}

// The warnings. All but the first two and the last are refused when a run asks
// for the nebuliser.
const (
	WarnOversized   = "hood_oversized"
	WarnStaleSoon   = "filling_stale_soon"
	WarnStale       = "filling_stale"
	WarnNoClock     = "filling_age_unknown"
	WarnNotChecked  = "mist_not_checked"
	WarnMistFailed  = "mist_check_failed"
	WarnExpired     = "solution_expired"
	WarnExpiresSoon = "solution_expires_soon"
)

// Warnings lists what is wrong with the kit, or soon will be. Empty nebulisers
// and batches that are gone are passed over.
func (d *Desk) Warnings(ctx context.Context) ([]Warning, error) {
	out := []Warning{}
	now, sure := d.cfg.Now()
	hoods, err := d.Hoods(ctx)
	if err != nil {
		return nil, err
	}
	for _, h := range hoods {
		if !h.Gone && h.Oversized() {
			out = append(out, Warning{What: WarnOversized, ID: h.ID, Name: h.Mark})
		}
	}
	policy, err := d.Policy(ctx)
	if err != nil {
		return nil, err
	}
	refill := d.rulesOf("", policy).Refill()
	nebulisers, err := d.Nebulisers(ctx)
	if err != nil {
		return nil, err
	}
	for _, n := range nebulisers {
		if n.Gone || n.Solution == "" {
			continue
		}
		in, filled := n.StaleIn(now, refill)
		switch {
		case !sure || !filled || in > refill:
			out = append(out, Warning{WarnNoClock, n.ID, n.Mark, 0})
		case in <= 0:
			out = append(out, Warning{WarnStale, n.ID, n.Mark, 0})
		case in <= WarnBefore:
			out = append(out, Warning{WarnStaleSoon, n.ID, n.Mark, int(in.Seconds())})
		}
		if !n.Fresh {
			what := WarnNotChecked
			if n.Checked != "" && !n.Good {
				what = WarnMistFailed
			}
			out = append(out, Warning{what, n.ID, n.Mark, 0})
		}
	}
	solutions, err := d.Solutions(ctx)
	if err != nil {
		return nil, err
	}
	today := now.Format(time.DateOnly)
	for _, s := range solutions {
		switch {
		case s.Gone:
		case s.Expires < today:
			out = append(out, Warning{WarnExpired, s.ID, s.Lot, 0})
		case s.Expires <= now.AddDate(0, 0, expiresSoon).Format(time.DateOnly):
			out = append(out, Warning{What: WarnExpiresSoon, ID: s.ID, Name: s.Lot})
		}
	}
	return out, nil
}

// RefusedBy says in words which rule sets do not allow the taste test for a
// facepiece, by their ids.
func (d *Desk) RefusedBy(f FacepieceForm) map[string]string {
	out := map[string]string{}
	for id, r := range d.cfg.Rules {
		if may, why := r.MayTest(f.Type, f.FitFactor); !may {
			out[id] = why
		}
	}
	return out
}
