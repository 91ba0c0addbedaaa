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
	var asJSON bool
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
	sub("verify", "prove every entry's hash, its link to the one before, every signed head, and that each run can be read", cobra.NoArgs,
		func(ctx context.Context, j store.Journal, _ []string, out io.Writer) error {
			return verifyRecords(ctx, j, path, out)
		})
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

// verifyRecords proves the file and that all facts can be read and folded.
func verifyRecords(ctx context.Context, j store.Journal, path string, out io.Writer) error {
	if err := bolt.Check(ctx, path); err != nil {
		return err
	}
	keys := func(string) (*sealing.Key, error) { return nil, sealing.ErrErased }
	if s, ok := j.(store.Store); ok {
		ring := sealing.NewRing(s.Table(sealing.Table), rand.Reader)
		keys = func(person string) (*sealing.Key, error) { return ring.Key(ctx, person) }
	}
	entries, runs, open := 0, map[string]procedure.State{}, 0
	err := j.Read(ctx, 1, func(e store.Entry) error {
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
	var o evidence.Options
	if b, err := os.ReadFile(filepath.Join(filepath.Dir(path), keyFile)); err == nil {
		k, err := evidence.ParseSigner(b)
		if err != nil {
			return fmt.Errorf("the box's key: %w", err)
		}
		o.Keys = append(o.Keys, k.Verifier())
	}
	proven, err := evidence.VerifyJournal(ctx, s, o)
	if err != nil {
		return err
	}
	_, err = fmt.Fprintln(out, proven)
	return err
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
