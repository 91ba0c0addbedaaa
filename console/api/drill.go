// SPDX-License-Identifier: Apache-2.0

package api

import (
	"bytes"
	"context"
	"errors"
	"net/http"
	"slices"
	"strings"
	"sync"
	"time"

	"tallyhood/console/archive"
	"tallyhood/console/drill"
	"tallyhood/console/procedure"
	"tallyhood/store"
)

// The answers about drills. A drill is practice and never a test.
type (
	// DrillOffer is what a drill can be asked for, and what it stands on.
	DrillOffer struct {
		Levels      []drill.Level      `json:"levels"`
		Troubles    []drill.Trouble    `json:"troubles" doc:"What can go wrong, in the order in which it comes."`
		Assumptions []drill.Assumption `json:"assumptions" doc:"What the simulated wearer stands on."`
		Weights     []drill.Weight     `json:"weights" doc:"What each mistake costs of 100 points."`
	}
	// DrillList is drills, newest first.
	DrillList struct {
		Drills   []drill.Short `json:"drills"`
		Trainees []string      `json:"trainees" doc:"Who held drills, by name."`
		More     bool          `json:"more" doc:"There are older ones."`
	}
	// DrillPage is a drill with its sheet and what trainers said.
	DrillPage struct {
		Sheet  drill.Sheet      `json:"sheet"`
		Judged []DrillJudgement `json:"judged" doc:"The latest word of each trainer."`
	}
	// DrillJudgement is what a trainer who watched would have given and done.
	DrillJudgement struct {
		Trainer string            `json:"trainer"`
		Outcome procedure.Outcome `json:"outcome"`
		Acts    []DrillAct        `json:"acts"`
		Note    string            `json:"note"`
		Wall    string            `json:"wall" doc:"RFC 3339"`
	}
	// DrillAct says of a trouble whether the trainer would have acted.
	DrillAct struct {
		N    int  `json:"n" minimum:"1" maximum:"1000" doc:"Number of the trouble on the sheet."`
		Acts bool `json:"acts" doc:"The trainer would have done something about it."`
	}
	// DrillAgreements is of trainees with trainers.
	DrillAgreements struct {
		Agreements []drill.Agreement `json:"agreements" doc:"Of each trainee of a judged drill, by name."`
	}
	// JudgeBody is a trainer's word.
	JudgeBody struct {
		Outcome procedure.Outcome `json:"outcome" enum:"pass,fail,not_valid,cannot_taste"`
		Acts    []DrillAct        `json:"acts" maxItems:"1000" nullable:"false"`
		Note    string            `json:"note" maxLength:"400"`
		Who
	}
)

// mostDrillStreams is how many of the newest streams are looked through for
// drills when the daemon has just been started; later only new ones are.
const mostDrillStreams = 20_000

// drills remembers which runs are drills, and the lines of those that have
// ended, which never change.
type drills struct {
	mu     sync.Mutex
	looked uint64   // first entry of the newest stream that was looked at
	runs   []string // newest first
	lines  map[string]drill.Short
}

func (a *api) drillRoutes() {
	const tag = "Drill"
	add(a, route{method: http.MethodGet, path: "/drills/offer", id: "drillOffer", tag: tag, summary: "What a drill can be asked for, and what it stands on",
		about: "All of it is data of this version.", out: DrillOffer{drill.Levels[:1], drill.Troubles[:1], drill.Assumptions()[:1], drill.Weights[:1]}},
		func(context.Context, *struct{}) (*reply[DrillOffer], error) {
			return answered(DrillOffer{drill.Levels, drill.Troubles, drill.Assumptions(), drill.Weights}, nil)
		})
	add(a, route{method: http.MethodGet, path: "/drills", id: "listDrills", tag: tag, summary: "List drills with their scores, newest first", time: slow, heavy: true,
		out: DrillList{[]drill.Short{exampleSheet().Short()}, []string{"Bram Okafor"}, false}},
		func(ctx context.Context, in *struct {
			Trainee string `query:"trainee" maxLength:"120" doc:"Only this one's; empty: all." example:"Bram Okafor"`
			Limit   int    `query:"limit" minimum:"1" maximum:"200" default:"50"`
		}) (*reply[DrillList], error) {
			return answered(a.listDrills(ctx, in.Trainee, in.Limit))
		})
	add(a, route{method: http.MethodGet, path: "/drills/agreement", id: "drillAgreement", tag: tag, summary: "How trainees agree with trainers who watched", time: slow, heavy: true,
		about: "Cohen's kappa over verdicts and over reactions, each with its 95 % interval.",
		out:   DrillAgreements{[]drill.Agreement{{Trainee: "Bram Okafor", Drills: 2, Verdicts: drill.Agreed{Both: 1, Neither: 1, Share: 1, Defined: true, Kappa: 1, Lo: 1, Hi: 1, Few: true}}}}},
		func(ctx context.Context, _ *struct{}) (*reply[DrillAgreements], error) {
			return answered(a.drillAgreements(ctx))
		})
	add(a, route{method: http.MethodGet, path: "/drills/{run}", id: "getDrill", tag: tag, summary: "Show the score sheet of a drill", out: DrillPage{exampleSheet(), []DrillJudgement{}}},
		func(ctx context.Context, in *RunPath) (*reply[DrillPage], error) {
			return answered(a.drillPage(ctx, in.Run))
		})
	add(a, route{method: http.MethodPost, path: "/drills/{run}/judge", id: "judgeDrill", tag: tag, summary: "Enter what a trainer who watched would have given",
		about: "By is the trainer. It is kept beside the drill and changes nothing of it; a later word of the same trainer counts instead.",
		in:    JudgeBody{procedure.NotValid, []DrillAct{{1, true}}, "saw it at once", Who{"Agnes Thorley"}}, out: Nothing{true}},
		func(ctx context.Context, in *struct {
			RunPath
			Body JudgeBody
		}) (*reply[Nothing], error) {
			return did(a.judge(ctx, in.Run, in.Body))
		})
}

// errEnough ends the reading of a stream early.
var errEnough = errors.New("enough was read")

// runFacts reads the facts of a run.
func (a *api) runFacts(ctx context.Context, run string) ([]procedure.Dated, error) {
	var out []procedure.Dated
	err := a.cfg.Journal.ReadStream(ctx, run, func(e store.Entry) error {
		f, err := procedure.Decode(e.Kind, e.Version, e.Body)
		out = append(out, f)
		return err
	})
	if err == nil && len(out) == 0 {
		err = store.ErrNotFound
	}
	return out, err
}

// sheet is a drill's; another run is not found.
func (a *api) sheet(ctx context.Context, run string) (drill.Sheet, error) {
	facts, err := a.runFacts(ctx, run)
	if err != nil {
		return drill.Sheet{}, err
	}
	s := drill.Score(facts)
	if s.Unscored == "no_drill" {
		return s, problem(http.StatusNotFound, WhyNotKnown, "That run is no drill. Choose one from the list of drills.")
	}
	return s, nil
}

func (a *api) drillPage(ctx context.Context, run string) (DrillPage, error) {
	s, err := a.sheet(ctx, run)
	if err != nil {
		return DrillPage{}, err
	}
	out := DrillPage{s, []DrillJudgement{}}
	all, err := a.judgements(ctx)
	for _, j := range all {
		if j.Run != run {
			continue
		}
		line := DrillJudgement{j.Trainer, j.Outcome, []DrillAct{}, j.Note, j.Wall}
		for n := range len(s.Reactions) {
			if acts, ok := j.Acts[n+1]; ok {
				line.Acts = append(line.Acts, DrillAct{n + 1, acts})
			}
		}
		out.Judged = slices.DeleteFunc(out.Judged, func(o DrillJudgement) bool { return o.Trainer == j.Trainer })
		out.Judged = append(out.Judged, line)
	}
	return out, err
}

// judgements are all that trainers said, oldest first.
func (a *api) judgements(ctx context.Context) ([]drill.Judged, error) {
	var out []drill.Judged
	err := a.cfg.Journal.ReadStream(ctx, drill.Stream, func(e store.Entry) error {
		j, err := drill.DecodeJudged(e.Kind, e.Version, e.Body)
		out = append(out, j)
		return err
	})
	return out, err
}

func (a *api) judge(ctx context.Context, run string, b JudgeBody) error {
	s, err := a.sheet(ctx, run)
	if err != nil {
		return err
	}
	j := drill.Judged{Run: run, Trainer: strings.TrimSpace(b.By), Outcome: b.Outcome, Acts: map[int]bool{}, Note: strings.TrimSpace(b.Note)}
	if now, trusted := a.cfg.Now(); trusted {
		j.Wall = now.Format(time.RFC3339)
	}
	for _, act := range b.Acts {
		j.Acts[act.N] = act.Acts
	}
	if err := j.Check(s); err != nil {
		return problem(http.StatusConflict, "refused", err.Error())
	}
	body, err := j.Encode()
	if err != nil {
		return err
	}
	_, err = a.cfg.Journal.Append(ctx, store.Draft{Stream: drill.Stream, Kind: drill.KindJudged, Version: drill.FactVersion, Body: body})
	return err
}

func (a *api) drillAgreements(ctx context.Context) (DrillAgreements, error) {
	out := DrillAgreements{[]drill.Agreement{}}
	all, err := a.judgements(ctx)
	if err != nil {
		return out, err
	}
	sheets := map[string]drill.Sheet{}
	var pairs []drill.Pair
	var trainees []string
	for _, j := range all {
		s, ok := sheets[j.Run]
		if !ok {
			if s, err = a.sheet(ctx, j.Run); err != nil {
				return out, err
			}
			sheets[j.Run] = s
			trainees = append(trainees, s.Trainee)
		}
		pairs = append(pairs, drill.Pair{Sheet: s, Judged: j})
	}
	slices.Sort(trainees)
	for _, t := range slices.Compact(trainees) {
		out.Agreements = append(out.Agreements, drill.Agree(t, pairs))
	}
	return out, nil
}

func (a *api) listDrills(ctx context.Context, trainee string, limit int) (DrillList, error) {
	d := &a.drills
	d.mu.Lock()
	defer d.mu.Unlock()
	out := DrillList{[]drill.Short{}, []string{}, false}
	if err := a.findDrills(ctx); err != nil {
		return out, err
	}
	for _, run := range d.runs {
		line, ended := d.lines[run]
		if !ended {
			facts, err := a.runFacts(ctx, run)
			if err != nil {
				return out, err
			}
			s := drill.Score(facts)
			if line = s.Short(); s.Unscored != "open" {
				d.lines[run] = line
			}
		}
		out.Trainees = append(out.Trainees, line.Trainee)
		switch {
		case trainee != "" && line.Trainee != trainee:
		case len(out.Drills) == limit:
			out.More = true
		default:
			out.Drills = append(out.Drills, line)
		}
	}
	slices.Sort(out.Trainees)
	out.Trainees = slices.Compact(out.Trainees)
	return out, nil
}

// findDrills looks through the streams that are new since it last did. Of a run
// it reads the first entry, and that only where its text has the word.
func (a *api) findDrills(ctx context.Context) error {
	d := &a.drills
	if d.lines == nil {
		d.lines = map[string]drill.Short{}
	}
	const part = 500
	var found []string
	newest, before := d.looked, uint64(0)
	for looked := 0; looked < mostDrillStreams; looked += part {
		infos, err := a.cfg.Journal.Streams(ctx, before, part)
		if err != nil {
			return err
		}
		for _, info := range infos {
			before, newest = info.First, max(newest, info.First)
			if info.First <= d.looked {
				infos = nil
				break
			}
			if !archive.IsRun(info.Stream) {
				continue
			}
			is := false
			err := a.cfg.Journal.ReadStream(ctx, info.Stream, func(e store.Entry) error {
				if bytes.Contains(e.Body, []byte(`"drill"`)) {
					f, err := procedure.Decode(e.Kind, e.Version, e.Body)
					if err != nil {
						return err
					}
					o, ok := f.Fact.(procedure.RunOpened)
					is = ok && o.Drill != nil
				}
				return errEnough
			})
			if err != nil && !errors.Is(err, errEnough) {
				return err
			}
			if is {
				found = append(found, info.Stream)
			}
		}
		if len(infos) < part {
			break
		}
	}
	d.runs, d.looked = append(found, d.runs...), newest
	return nil
}

// exampleSheet is of a drill that nobody held.
func exampleSheet() drill.Sheet {
	fit, tasted := 31.2, 0.44
	return drill.Sheet{
		Run: "r000412", Practice: drill.Practice, Trainee: "Bram Okafor", Opened: "2026-09-14T08:12:00+02:00", Ask: drill.Ask{Seed: "k3f9", Level: "easy", Troubles: []string{}},
		Rules: "US rule", Agent: "bitter", Facepiece: "Corrie M2", Scored: true, Points: 97,
		Items:   []drill.Item{{Key: "dose_late", Times: 1, Points: 3, Rule: "house limit: complete within 20 s after it is due"}},
		Outcome: procedure.Pass, Right: procedure.Pass, Against: "agrees", Reactions: []drill.Reaction{},
		Rhythm: drill.Rhythm{Required: 75, Given: 75, LateMidS: &fit, LateWorstS: &fit, CadenceS: &tasted, Hurried: &tasted}, Bin: 10, Threshold: 6.4,
		Curve: []drill.Point{}, LengthS: 420, Exercises: []string{"normal_breathing"}, Doses: []drill.Dose{}, SqueezesS: []float64{},
	}
}
