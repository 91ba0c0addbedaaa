// SPDX-License-Identifier: Apache-2.0

package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"tallyhood/console/archive"
	"tallyhood/console/backup"
	"tallyhood/console/evidence"
	"tallyhood/console/procedure"
	"tallyhood/device/clock"
	"tallyhood/store"
)

// checkCommand proves what the code on a card says, with nothing but the box's
// public key.
func checkCommand(storePath *string) *cobra.Command {
	var key string
	var asJSON bool
	c := &cobra.Command{
		Use:   "check CLAIM",
		Short: "prove what the code on a card says, with nothing but the box's public key",
		Long: `check proves a claim, the text of the code on a wallet card, against the public
key of the box that made it (records key, or the box's Settings page). It needs
no store and no network. A claim of - is read from standard input. With --store
it also looks whether the entry stands in that journal. Its exit code is 1 when
the claim does not hold.`,
		Args: cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			text := args[0]
			if text == "-" {
				b, err := io.ReadAll(io.LimitReader(c.InOrStdin(), 1<<16))
				if err != nil {
					return err
				}
				text = string(b)
			}
			return checkCard(c.Context(), text, key, *storePath, asJSON, c.OutOrStdout())
		},
	}
	c.Flags().StringVar(&key, "key", "", "the box's public key, or a file that holds it (needed)")
	c.Flags().BoolVar(&asJSON, "json", false, "as JSON")
	return c
}

var errClaim = errors.New("records check: the claim does not hold; see above")

func checkCard(ctx context.Context, text, key, storePath string, asJSON bool, out io.Writer) error {
	if key == "" {
		return badInput{errors.New("records check: --key is needed: the public key of the box that made the card")}
	}
	if b, err := os.ReadFile(key); err == nil {
		key = string(b)
	}
	v, err := evidence.ParseVerifier(strings.TrimSpace(key))
	if err != nil {
		return badInput{fmt.Errorf("records check: --key: %w", err)}
	}
	c, words, err := checkClaim(text, v)
	found := claimed(c, words, err)
	if err == nil && storePath != "" {
		err = withStore(storePath, func(j store.Store) error {
			if here := c.InJournal(ctx, j); here != nil {
				found.Holds, found.Why = false, here.Error()
				return nil
			}
			found.Here = true
			v, err := archive.Run(ctx, j, nil, c.Run)
			if err == nil && v.Outcome != procedure.Pass {
				found.Holds, found.Why = false, "the run is not valid any more"
				if v.Recalled != nil {
					found.Why += ": " + v.Recalled.Why
				}
			}
			return err
		})
		if err != nil {
			return badInput{err}
		}
	}
	if asJSON {
		e := json.NewEncoder(out)
		e.SetIndent("", "  ")
		if err := e.Encode(found); err != nil {
			return err
		}
	} else {
		for _, w := range found.Found {
			fmt.Fprintln(out, w)
		}
		if found.Holds {
			fmt.Fprintf(out, "It holds: %s, %s %s, size %s, on %s%s. Run %s.\nThe name on the card is not in the code; only a fingerprint of it is.\nIt speaks of %s alone. A later fail, change or recall is not in it: ask the box whether the pass still counts.\n",
				found.Outcome, found.Make, found.Model, found.Size, found.On, due(found.Due), found.Run, found.On)
		} else {
			fmt.Fprintf(out, "It does not hold: %s\n", found.Why)
		}
	}
	if !found.Holds {
		return errClaim
	}
	return nil
}

func due(day string) string {
	if day == "" {
		return ""
	}
	return ", next due " + day
}

// keyCommand prints the public half of a box's key.
func keyCommand(storePath *string) *cobra.Command {
	return &cobra.Command{
		Use: "key", Short: "print the public key of the box that has this store", Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			if *storePath == "" {
				return badInput{errors.New("records key: --store FILE is needed: the key lies beside it on the box")}
			}
			b, err := os.ReadFile(filepath.Join(filepath.Dir(*storePath), keyFile))
			if errors.Is(err, fs.ErrNotExist) {
				return badInput{fmt.Errorf("records key: there is no %s beside %s. The key stays on the box, in no copy and no backup: run this there on its own store, and take along what it prints", keyFile, *storePath)}
			}
			if err != nil {
				return badInput{fmt.Errorf("records key: %w", err)}
			}
			s, err := evidence.ParseSigner(b)
			if err != nil {
				return badInput{fmt.Errorf("records key: %w", err)}
			}
			_, err = fmt.Fprintln(c.OutOrStdout(), s.Verifier())
			return err
		},
	}
}

// restoreCommand puts a backup in the place of a store.
func restoreCommand() *cobra.Command {
	var path, passphrase, by string
	var over bool
	c := &cobra.Command{
		Use:   "restore BACKUP",
		Short: "put an encrypted backup in the place of a store",
		Long: `restore opens a backup, proves all of it, and puts it in the place of the store.
Stop the console first. A store that has records is replaced only with --over;
it then stays beside the new one until you delete it, with the ending .replaced,
or .replaced-2 and so on where an earlier one lies: none is ever written over.
That a backup was restored stands in the journal from then on. People who were
erased after the backup are erased again, as far as the store that is replaced
and the list beside it (ending .erased) know of them: keep that list with the
store. Where neither is left, on a new box for instance, only a newer backup can
tell. Tests that were recalled after the backup, or whose pass was undone, are
not valid again, as far as the store that is replaced knows of them; where it
does not, restore says what is to be gone through by hand.
The passphrase is read from a file, so that it stands in no list of processes.`,
		Args: cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			if path == "" || passphrase == "" {
				return badInput{errors.New("restore: --store and --passphrase-file are needed")}
			}
			text, err := os.ReadFile(passphrase)
			if err != nil {
				return badInput{fmt.Errorf("restore: %w", err)}
			}
			key, err := backup.Passphrase(strings.TrimSpace(string(text)))
			if err != nil {
				return badInput{fmt.Errorf("restore: %w", err)}
			}
			f, err := os.Open(args[0])
			if err != nil {
				return badInput{fmt.Errorf("restore: %w", err)}
			}
			defer f.Close()
			h, b, err := restore(c.Context(), path, f, key, over, by, slog.New(slog.NewTextHandler(c.ErrOrStderr(), nil)))
			if err != nil {
				return badInput{err}
			}
			if _, err := fmt.Fprintf(c.OutOrStdout(), "restored: %s\n", h); err != nil {
				return err
			}
			words := laterWords(b.later, b.recalled, h.Wall)
			if again := againWords(b.again); again != "" {
				words = again + "\n" + words
			}
			if b.kept != "" {
				words = "The store that was replaced is now " + b.kept + ".\n" + words
			}
			_, err = fmt.Fprintln(c.OutOrStdout(), words)
			return err
		},
	}
	c.Flags().StringVar(&path, "store", "", "the store's file (needed)")
	c.Flags().StringVar(&passphrase, "passphrase-file", "", "file that holds the passphrase (needed)")
	c.Flags().StringVar(&by, "by", "", "name of who restores, for the journal")
	c.Flags().BoolVar(&over, "over", false, "replace a store that has records; it stays beside, with the ending .replaced")
	return c
}

// restore is what restoreCommand does; it gives the backup's header and what was
// made again.
func restore(ctx context.Context, path string, r io.Reader, key backup.Key, over bool, by string, log *slog.Logger) (backup.Header, comeback, error) {
	rules, err := procedure.Rules()
	if err != nil {
		return backup.Header{}, comeback{}, err
	}
	b := comeback{rules: rules, list: backup.ErasedBeside(path), by: by, log: log, now: func(floor time.Time) (time.Time, clock.Quality) {
		return clock.NewWall(floor).Now()
	}}
	h, err := b.at(path).Restore(ctx, r, key, over)
	if b.old != nil {
		_ = b.old.Close() // it was only read
	}
	return h, b, err
}

// at is the place of a restore by this command. The store that is replaced is
// opened in time and stays open until the caller closes it, so that no console
// can begin to write into it before the new one is in its place.
func (b *comeback) at(path string) backup.Place {
	return backup.Place{
		Path: path, Check: checkStore, Kept: func(kept string) { b.kept = kept },
		Prepare: func(ctx context.Context, unpacked string, h backup.Header) error {
			old, err := replaced(path, b.log)
			if err != nil {
				return err
			}
			if old != nil {
				b.old = old
			}
			return b.prepare(ctx, unpacked, h)
		},
	}
}
