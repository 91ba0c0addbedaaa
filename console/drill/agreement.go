// SPDX-License-Identifier: Apache-2.0

package drill

import (
	"encoding/json"
	"fmt"
	"slices"
	"strings"

	"tallyhood/console/insight"
	"tallyhood/console/procedure"
)

// Stream is the stream of the journal that holds what trainers said of drills.
const Stream = "drills"

// FactVersion is the version of this package's facts.
const FactVersion = 1

// KindJudged is the word for Judged in journals.
const KindJudged = "drill_judged"

// Judged is what a trainer who watched a drill would have given and done.
type Judged struct {
	Run     string            `json:"run"`
	Trainer string            `json:"trainer"`
	Outcome procedure.Outcome `json:"outcome"`
	// Acts says for a trouble that came, by its number, whether the trainer
	// would have done something about it; one that is not named was not judged.
	Acts map[int]bool `json:"acts"`
	Note string       `json:"note,omitempty"`
	Wall string       `json:"wall,omitempty"` // RFC 3339
}

// Check says what is wrong with a judgement of a drill; nil when it can stand.
func (j Judged) Check(s Sheet) error {
	switch {
	case s.Unscored == "no_drill":
		return fmt.Errorf("run %s is no drill. Choose one from the list of drills", j.Run)
	case s.Unscored == "open":
		return fmt.Errorf("drill %s is still open. Judge it when it has ended", j.Run)
	case strings.TrimSpace(j.Trainer) == "":
		return fmt.Errorf("the trainer's name is missing. Write it under Done by")
	case strings.EqualFold(strings.TrimSpace(j.Trainer), strings.TrimSpace(s.Trainee)):
		return fmt.Errorf("%s held this drill. Somebody else has to judge it", s.Trainee)
	case !slices.Contains([]procedure.Outcome{procedure.Pass, procedure.Fail, procedure.NotValid, procedure.CannotTaste}, j.Outcome):
		return fmt.Errorf("%q is no outcome. Choose one of the four", j.Outcome)
	}
	for n := range j.Acts {
		if n < 1 || n > len(s.Reactions) {
			return fmt.Errorf("no trouble %d came in drill %s. Load the page again", n, j.Run)
		}
	}
	return nil
}

// Encode gives the body of a journal entry.
func (j Judged) Encode() ([]byte, error) { return json.Marshal(j) }

// DecodeJudged reads the body of a journal entry.
func DecodeJudged(kind string, version int, body []byte) (Judged, error) {
	var j Judged
	if kind != KindJudged || version != FactVersion {
		return j, fmt.Errorf("fact %s version %d is not known to this tallyhood", kind, version)
	}
	if err := json.Unmarshal(body, &j); err != nil {
		return j, fmt.Errorf("fact %s: %w", kind, err)
	}
	return j, nil
}

// Agreed is Cohen's kappa over pairs of yes and no, with its counts.
type Agreed struct {
	// Both, Trainee, Trainer and Neither count the pairs in which both said
	// yes, one alone, or neither.
	Both    int     `json:"both"`
	Trainee int     `json:"trainee"`
	Trainer int     `json:"trainer"`
	Neither int     `json:"neither"`
	Share   float64 `json:"share"` // of pairs that agree
	Defined bool    `json:"defined"`
	Kappa   float64 `json:"kappa"`
	Lo      float64 `json:"lo"` // 95 % interval
	Hi      float64 `json:"hi"`
	Few     bool    `json:"few"` // too few pairs to say
}

// An Agreement is of a trainee with trainers.
type Agreement struct {
	Trainee   string `json:"trainee"`
	Drills    int    `json:"drills"`    // judged
	Verdicts  Agreed `json:"verdicts"`  // yes: a pass
	Reactions Agreed `json:"reactions"` // yes: did something about it
}

// A Pair is a drill with a trainer's word on it.
type Pair struct {
	Sheet  Sheet
	Judged Judged
}

// Agree counts how a trainee agrees with trainers. A drill counts once for each trainer, with
// the trainer's latest word; one that is not scored counts all the same, since
// both saw it.
func Agree(trainee string, pairs []Pair) Agreement {
	out := Agreement{Trainee: trainee}
	latest := map[[2]string]Pair{}
	for _, p := range pairs {
		if p.Sheet.Trainee == trainee && p.Judged.Check(p.Sheet) == nil {
			latest[[2]string{p.Judged.Run, p.Judged.Trainer}] = p
		}
	}
	var verdicts, reactions insight.Table2
	for _, p := range latest {
		out.Drills++
		verdicts[no(p.Sheet.Outcome == procedure.Pass)][no(p.Judged.Outcome == procedure.Pass)]++
		for _, r := range p.Sheet.Reactions {
			if would, judged := p.Judged.Acts[r.N]; judged && r.Grade != "cut_off" {
				reactions[no(r.Acted())][no(would)]++
			}
		}
	}
	out.Verdicts, out.Reactions = agreed(verdicts), agreed(reactions)
	return out
}

func no(yes bool) int {
	if yes {
		return 0
	}
	return 1
}

func agreed(t insight.Table2) Agreed {
	k := t.Kappa()
	return Agreed{
		Both: t[0][0], Trainee: t[0][1], Trainer: t[1][0], Neither: t[1][1], Share: k.Observed.Share,
		Defined: k.Defined, Kappa: k.Kappa, Lo: k.Lo, Hi: k.Hi, Few: k.Few(),
	}
}
