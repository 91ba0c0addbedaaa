// SPDX-License-Identifier: Apache-2.0

package main

import (
	"cmp"
	"context"
	"crypto/rand"
	"encoding/base64"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"time"

	"tallyhood/console/api"
	"tallyhood/console/archive"
	"tallyhood/console/evidence"
	"tallyhood/console/procedure"
	"tallyhood/console/programme"
	"tallyhood/console/report"
	"tallyhood/device/clock"
	"tallyhood/store"
)

// keyFile, beside the store, is the box's signing key; in no backup.
const keyFile = "box.key"

func keyBeside(store string) string { return filepath.Join(filepath.Dir(store), keyFile) }

// boxKey reads the box's key or makes one, so that a power cut leaves none or a
// whole one.
func boxKey(store string) (*evidence.Signer, error) {
	path := keyBeside(store)
	text, err := os.ReadFile(path)
	switch {
	case err == nil:
		s, err := evidence.ParseSigner(text)
		if err != nil {
			return nil, fmt.Errorf("the box's key %s: %w", path, err)
		}
		return s, nil
	case !errors.Is(err, fs.ErrNotExist):
		return nil, fmt.Errorf("the box's key: %w", err)
	}
	var id [3]byte
	if _, err := rand.Read(id[:]); err != nil {
		return nil, fmt.Errorf("the box's id: %w", err)
	}
	s, err := evidence.NewSigner(rand.Reader, "box-"+hex.EncodeToString(id[:]))
	if err != nil {
		return nil, err
	}
	return s, writeWhole(path, s.Secret())
}

// writeWhole writes a file of our own so that there is no half of it.
func writeWhole(path string, b []byte) error {
	f, err := os.OpenFile(path+".new", os.O_CREATE|os.O_WRONLY|os.O_TRUNC, 0o600)
	if err != nil {
		return err
	}
	_, err = f.Write(b)
	if err = errors.Join(err, f.Sync(), f.Close()); err != nil {
		return err
	}
	if err := os.Rename(path+".new", path); err != nil {
		return err
	}
	dir, err := os.Open(filepath.Dir(path))
	if err != nil {
		return err
	}
	return errors.Join(dir.Sync(), dir.Close())
}

// A notary signs heads of the journal and proves what stands under them. It
// works in the background; nothing in a run waits for it.
type notary struct {
	log     *evidence.Log
	signer  *evidence.Signer
	journal store.Store
	desk    *programme.Desk
	names   archive.Names
	wall    *clock.Wall
	mu      sync.Mutex // one signing at a time
}

func newNotary(p *parts, o *office) (*notary, error) {
	s, err := boxKey(p.path)
	if err != nil {
		return nil, err
	}
	return &notary{log: evidence.New(p.journal, s), signer: s, journal: p.journal, desk: o.desk, names: o.names, wall: p.wall}, nil
}

func (n *notary) sign(ctx context.Context) (evidence.SignedHead, error) {
	n.mu.Lock()
	defer n.mu.Unlock()
	wall, quality := n.wall.Now()
	return n.log.Sign(ctx, wall, string(quality))
}

// verdict signs a head after a verdict.
func (n *notary) verdict(ctx context.Context) error {
	_, err := n.sign(ctx)
	return err
}

// Head implements api.Evidence: the last head, signed when the journal has grown.
func (n *notary) Head(ctx context.Context) (api.SignedHead, error) {
	h, err := n.sign(ctx)
	if errors.Is(err, evidence.ErrEmpty) {
		return api.SignedHead{}, programme.Refused{Why: "empty", Text: "the journal is empty: there is nothing to sign yet"}
	}
	if err != nil {
		return api.SignedHead{}, err
	}
	return api.SignedHead{
		Size: uint64(h.Size), Root: base64.StdEncoding.EncodeToString(h.Root[:]), Wall: h.Wall.Format(time.RFC3339), Quality: h.Quality,
		Note: string(h.Note), Key: n.signer.Verifier().String(),
	}, nil
}

// Claim implements api.Evidence. Only a pass that counts has a claim.
func (n *notary) Claim(ctx context.Context, run string) (api.Claim, error) {
	c, err := n.claim(ctx, run)
	if err != nil {
		return api.Claim{}, err
	}
	out := api.Claim{Run: run, Text: c.Text(), Head: c.Head.Text(), Proof: []string{}}
	for _, h := range c.Proof {
		out.Proof = append(out.Proof, base64.StdEncoding.EncodeToString(h[:]))
	}
	return out, nil
}

func (n *notary) claim(ctx context.Context, run string) (evidence.Claim, error) {
	var none evidence.Claim
	// Whatever stands in the journal counts, taken in or not.
	due, err := n.desk.Stands(ctx, run)
	if err != nil {
		return none, err
	}
	r, err := n.desk.Run(ctx, run)
	if err != nil {
		return none, err
	}
	switch {
	case r.Practice:
		return none, noClaim(report.ErrCardPractice)
	case r.Recalled != "":
		return none, noClaim(report.ErrCardRecalled)
	case r.Outcome != procedure.Pass:
		return none, noClaim(report.ErrCardOutcome)
	case !clock.Quality(r.Quality).Trusted():
		return none, noClaim(report.ErrCardDate)
	}
	person, err := n.desk.Person(ctx, r.Person)
	if errors.Is(err, store.ErrNotFound) {
		return none, noClaim(report.ErrCardErased)
	}
	if err != nil {
		return none, err
	}
	day := r.At
	if len(day) > len(time.DateOnly) {
		day = day[:len(time.DateOnly)] // as the box's clock had it
	}
	at, err := time.Parse(time.DateOnly, day)
	if err != nil {
		return none, noClaim(report.ErrCardDate)
	}
	c := evidence.Claim{Run: run, Outcome: string(r.Outcome), Make: r.Make, Model: r.Model, Size: r.Size, Date: at}
	if err := api.NoCard(due); err != nil {
		return none, noClaim(err)
	}
	c.Due, _ = time.Parse(time.DateOnly, due.On) // the zero time is no due day
	if c.Person, err = evidence.NewPerson(rand.Reader, person.Name, person.Number); err != nil {
		return none, err
	}
	if c.Number, err = verdictOf(ctx, n.journal, run); err != nil {
		return none, err
	}
	signed, err := n.log.Claim(ctx, c, bearsPass)
	if errors.Is(err, store.ErrNotFound) || errors.Is(err, evidence.ErrOtherKey) {
		// No head of this box's key is over the entry yet.
		if _, err := n.sign(ctx); err != nil {
			return none, err
		}
		signed, err = n.log.Claim(ctx, c, bearsPass)
	}
	return signed, err
}

// verdictOf finds the entry that the claim of a run stands on, its verdict. It
// refuses a run that comes to no pass with all that stands in the journal of it,
// such as a proof after the pass in which nothing was tasted.
func verdictOf(ctx context.Context, j store.Journal, run string) (number uint64, err error) {
	var st procedure.State
	err = j.ReadStream(ctx, run, func(e store.Entry) error {
		d, err := procedure.Decode(e.Kind, e.Version, e.Body)
		if err != nil {
			return err
		}
		st = procedure.Fold(st, d)
		if e.Kind == (procedure.Ended{}).Kind() {
			number = e.Number
		}
		return nil
	})
	if err == nil && (st.Opened == nil || st.Opened.Practice != "" || st.Verdict == nil || st.Verdict.Outcome != procedure.Pass) {
		err = noClaim(report.ErrCardOutcome)
	}
	return number, err
}

// bearsPass refuses an entry that is no pass.
func bearsPass(e store.Entry) error {
	d, err := procedure.Decode(e.Kind, e.Version, e.Body)
	if err != nil {
		return err
	}
	if v, ok := d.Fact.(procedure.Ended); !ok || v.Outcome != procedure.Pass {
		return report.ErrCardOutcome
	}
	return nil
}

// noClaim says in words why a record has none.
func noClaim(err error) error { return programme.Refused{Why: "no_card", Text: err.Error()} }

// Check implements api.Evidence.
func (n *notary) Check(ctx context.Context, text string) (api.Checked, error) {
	c, words, err := checkClaim(text, n.signer.Verifier())
	out := claimed(c, words, err)
	if err == nil {
		if here := c.InJournal(ctx, n.journal); here != nil {
			out.Holds, out.Why = false, here.Error()
		} else {
			out.Here = true
			out.Holds, out.Why = n.counts(ctx, c)
		}
	}
	return out, nil
}

// counts says whether a pass that is claimed still counts, and else why not.
func (n *notary) counts(ctx context.Context, c evidence.Claim) (bool, string) {
	due, err := n.desk.Stands(ctx, c.Run)
	if err != nil {
		return false, "whether the pass still counts cannot be told: " + err.Error()
	}
	r, err := n.desk.Run(ctx, c.Run)
	switch {
	case err != nil:
		return false, "whether the pass still counts cannot be told: " + err.Error()
	case r.Outcome != procedure.Pass:
		return false, "the run is not valid any more: " + cmp.Or(r.Recalled, string(r.Reason))
	}
	if err := api.NoCard(due); err != nil {
		return false, "the pass does not count any more: " + strings.TrimPrefix(err.Error(), "no card: ")
	}
	return true, ""
}

func claimed(c evidence.Claim, words []string, err error) api.Checked {
	out := api.Checked{
		Holds: err == nil, Found: words, Run: c.Run, Outcome: c.Outcome, Make: c.Make, Model: c.Model, Size: c.Size,
	}
	if out.Found == nil {
		out.Found = []string{}
	}
	if err != nil {
		out.Why = err.Error()
	}
	if !c.Date.IsZero() {
		out.On = c.Date.Format(time.DateOnly)
	}
	if !c.Due.IsZero() {
		out.Due = c.Due.Format(time.DateOnly)
	}
	return out
}

func checkClaim(text string, v *evidence.Verifier) (evidence.Claim, []string, error) {
	c, err := evidence.ParseClaim(strings.TrimSpace(text))
	if err != nil {
		return c, nil, err
	}
	words, err := c.Verify(v)
	return c, words, err
}
