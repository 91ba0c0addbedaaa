// SPDX-License-Identifier: Apache-2.0

package main

import (
	"context"
	"crypto/rand"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"tallyhood/console/archive"
	"tallyhood/console/evidence"
	"tallyhood/console/procedure"
	"tallyhood/console/programme"
	"tallyhood/console/record"
	"tallyhood/console/sealing"
	"tallyhood/store"
	"tallyhood/store/bolt"
)

func recordsCommand() *cobra.Command {
	var path string
	var asJSON, noHeads bool
	var keys []string
	c := &cobra.Command{
		Use:   "records",
		Short: "read the records of a stopped box's store, or of a copy",
		Long:  "records opens a store for reading only and never changes it. Stop the console first, or work on a copy.",
	}
	c.PersistentFlags().StringVar(&path, "store", "", "the store's file (needed by all but check)")
	sub := func(use, short string, args cobra.PositionalArgs, f func(ctx context.Context, j store.Journal, args []string, out io.Writer) error) *cobra.Command {
		s := &cobra.Command{Use: use, Short: short, Args: func(c *cobra.Command, a []string) error {
			if err := args(c, a); err != nil {
				return badInput{err}
			}
			return nil
		}, RunE: func(c *cobra.Command, a []string) error {
			if path == "" {
				return badInput{errors.New("records: --store FILE is needed")}
			}
			j, err := bolt.Open(path, bolt.Options{ReadOnly: true})
			if err != nil {
				return badInput{err}
			}
			return errors.Join(f(c.Context(), j, a, c.OutOrStdout()), j.Close())
		}}
		c.AddCommand(s)
		return s
	}
	list := sub("list", "list the runs, newest first", cobra.NoArgs, func(ctx context.Context, j store.Journal, _ []string, out io.Writer) error {
		return listRecords(ctx, j, asJSON, out)
	})
	list.Flags().BoolVar(&asJSON, "json", false, "as JSON")
	show := sub("show RUN", "print one record", cobra.ExactArgs(1), func(ctx context.Context, j store.Journal, args []string, out io.Writer) error {
		return showRecord(ctx, j, args[0], asJSON, out)
	})
	show.Flags().BoolVar(&asJSON, "json", false, "as JSON ("+record.Schema+")")
	c.AddCommand(checkCommand(&path), keyCommand(&path))
	verify := sub("verify", "prove every entry's hash, its link to the one before, every signed head, and that each run can be read", cobra.NoArgs,
		func(ctx context.Context, j store.Journal, _ []string, out io.Writer) error {
			return verifyRecords(ctx, j, path, keys, noHeads, out)
		})
	verify.Long = `verify proves every entry's hash, its link to the one before, the tree over them,
every signed head, and that each run can be read.

Signatures are checked with the box's key where it lies beside the store. On a
copy it does not: on the box, "tallyhood records key --store FILE > box.pub"
prints its public half, and --key box.pub takes it here.

Exit status: 0 all is right; 1 something is not, and is named; 2 bad input;
3 the chain and the tree are right, and some signed heads could not be checked
for want of a key (with --no-heads that is 0).`
	verify.Flags().StringArrayVar(&keys, "key", nil, "the box's public key, or a file with it: what records key prints; may be given more than once")
	verify.Flags().BoolVar(&noHeads, "no-heads", false, "exit status 0 also where signatures of heads were not checked")
	sub("export", "write every fact of every run as JSON lines", cobra.NoArgs, exportRecords)
	return c
}

func listRecords(ctx context.Context, j store.Journal, asJSON bool, out io.Writer) error {
	lines, err := archive.List(ctx, j, namesOf(j), 1_000_000)
	if err != nil {
		return err
	}
	if asJSON {
		return json.NewEncoder(out).Encode(lines)
	}
	w := tabwriter.NewWriter(out, 0, 8, 2, ' ', 0)
	fmt.Fprintln(w, "RUN\tOPENED\tWEARER\tFACEPIECE\tOUTCOME\tREASON\tPRACTICE")
	for _, l := range lines {
		outcome := string(l.Outcome)
		if outcome == "" {
			outcome = "open"
		}
		reason := string(l.Reason)
		if c := l.Recalled; c != nil {
			outcome, reason = "NOT VALID", fmt.Sprintf("%s, was %s: %s", c.When(), c.Outcome, c.Why)
		}
		fmt.Fprintf(w, "%s\t%s\t%s\t%s\t%s\t%s\t%s\n", l.Run, l.Opened, l.Wearer, l.Facepiece, outcome, reason, l.Practice)
	}
	return w.Flush()
}

func showRecord(ctx context.Context, j store.Journal, run string, asJSON bool, out io.Writer) error {
	v, err := archive.Run(ctx, j, namesOf(j), run)
	if errors.Is(err, store.ErrNotFound) {
		return badInput{err}
	}
	if err != nil {
		return err
	}
	if asJSON {
		enc := json.NewEncoder(out)
		enc.SetIndent("", "  ")
		return enc.Encode(v)
	}
	if v.Practice != "" {
		fmt.Fprintf(out, "PRACTICE (%s): this is no test record.\n\n", v.Practice)
	}
	fmt.Fprintf(out, "run                %s, opened %s (clock: %s)\nwearer             %s\nfacepiece          %s\n                   %s; %s\ntester             %s\nentry              %d, hash %s\n\n",
		v.Run, v.Opened, v.WallQuality, v.Wearer, v.Facepiece, v.Style, v.Whose, v.Tester, v.Number, v.Hash)
	st, err := archive.State(ctx, j, run)
	if err != nil {
		return err
	}
	if v.Record == nil {
		_, err := fmt.Fprintln(out, "The run is still open: it has no verdict.")
		return err
	}
	return v.Record.Text(out, st.Opened.Rules)
}

// unchecked is that all is right but what there was no key for.
type unchecked struct{ error }

// verifyKeys are the public keys that are given, each by itself or in a file, or
// else that of the box whose key lies beside the store.
func verifyKeys(path string, given []string) ([]*evidence.Verifier, error) {
	var out []*evidence.Verifier
	for _, k := range given {
		if b, err := os.ReadFile(k); err == nil {
			k = string(b)
		}
		for line := range strings.Lines(k) {
			if line = strings.TrimSpace(line); line == "" {
				continue
			}
			v, err := evidence.ParseVerifier(line)
			if err != nil {
				// Without what it says: it may be the box's own key, which nobody is to see.
				return nil, badInput{errors.New("records verify: --key: that is no box's public key. Give what records key printed on the box, or the file that it is in")}
			}
			out = append(out, v)
		}
	}
	if len(given) > 0 {
		if len(out) == 0 {
			return nil, badInput{errors.New("records verify: --key: there is no key in it. Give what records key printed on the box, or the file that it is in")}
		}
		return out, nil
	}
	b, err := os.ReadFile(filepath.Join(filepath.Dir(path), keyFile))
	if err != nil {
		return nil, nil // a copy: the key stays on the box
	}
	k, err := evidence.ParseSigner(b)
	if err != nil {
		return nil, fmt.Errorf("the box's key: %w", err)
	}
	return append(out, k.Verifier()), nil
}

// verifyRecords proves the file and that all facts can be read and folded.
func verifyRecords(ctx context.Context, j store.Journal, path string, given []string, noHeads bool, out io.Writer) error {
	var o evidence.Options
	var err error
	if o.Keys, err = verifyKeys(path, given); err != nil {
		return err
	}
	if err := bolt.Check(ctx, path); err != nil {
		return err
	}
	keys := func(string) (*sealing.Key, error) { return nil, sealing.ErrErased }
	if s, ok := j.(store.Store); ok {
		ring := sealing.NewRing(s.Table(sealing.Table), rand.Reader)
		keys = func(person string) (*sealing.Key, error) { return ring.Key(ctx, person) }
	}
	entries, runs, open := 0, map[string]procedure.State{}, 0
	err = j.Read(ctx, 1, func(e store.Entry) error {
		entries++
		if !archive.IsRun(e.Stream) {
			_, err := programme.Decode(e, keys)
			if errors.Is(err, sealing.ErrErased) {
				return nil // of a person who was erased
			}
			return err
		}
		d, err := procedure.Decode(e.Kind, e.Version, e.Body)
		if err != nil {
			return fmt.Errorf("entry %d: %w", e.Number, err)
		}
		runs[e.Stream] = procedure.Fold(runs[e.Stream], d)
		return nil
	})
	if err != nil {
		return err
	}
	for _, st := range runs {
		if st.Verdict == nil {
			open++
		}
	}
	n, hash := j.Last()
	if _, err := fmt.Fprintf(out, "%d entries of %d runs (%d open) are whole and chained; the last is %d, hash %s\n", entries, len(runs), open, n, hex.EncodeToString(hash[:])); err != nil {
		return err
	}
	s, ok := j.(store.Store)
	if !ok || n == 0 {
		return nil
	}
	proven, err := evidence.VerifyJournal(ctx, s, o)
	if err != nil {
		return err
	}
	if _, err = fmt.Fprintln(out, proven); err != nil || noHeads || proven.Unchecked() == 0 {
		return err
	}
	return unchecked{fmt.Errorf("%d signed heads were not checked for want of a key: give the box's public key with --key, which records key prints on the box; or --no-heads to go without", proven.Unchecked())}
}

// withStore opens a store for reading.
func withStore(path string, f func(store.Store) error) error {
	s, err := bolt.Open(path, bolt.Options{ReadOnly: true})
	if err != nil {
		return err
	}
	return errors.Join(f(s), s.Close())
}

// An exported line is one journal entry.
type exported struct {
	Number  uint64          `json:"number"`
	Run     string          `json:"run"`
	Kind    string          `json:"kind"`
	Version int             `json:"version"`
	Body    json.RawMessage `json:"body"`
	Prev    string          `json:"prev"`
	Hash    string          `json:"hash"`
}

func exportRecords(ctx context.Context, j store.Journal, _ []string, out io.Writer) error {
	enc := json.NewEncoder(out)
	return j.Read(ctx, 1, func(e store.Entry) error {
		return enc.Encode(exported{e.Number, e.Stream, e.Kind, e.Version, e.Body, hex.EncodeToString(e.Prev[:]), hex.EncodeToString(e.Hash[:])})
	})
}
