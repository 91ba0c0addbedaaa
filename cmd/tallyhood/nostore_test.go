// SPDX-License-Identifier: Apache-2.0

package main

import (
	"context"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// A wired board makes real records. Without a file for them they would be in a
// temporary folder that goes at the end: it is refused, and says what to write.
func TestWiredBoardNeedsAStore(t *testing.T) {
	const contacts = "[contact.squeeze]\nline = \"GPIO1\"\n[contact.step]\nline = \"GPIO2\"\n[contact.taste]\nline = \"GPIO3\"\n"
	for name, args := range map[string][]string{
		"no store in the file":   {"--config", confFile(t, "[board]\nkind = \"wired\"\n"+contacts)},
		"an empty one":           {"--config", confFile(t, "[board]\nkind = \"wired\"\n[store]\nfile = \"\"\n"+contacts)},
		"wired by the flag":      {"--config", confFile(t, contacts), "--board", "wired"},
		"taken away by the flag": {"--config", confFile(t, wiredFile), "--store", ""},
	} {
		t.Run(name, func(t *testing.T) {
			tmp := t.TempDir()
			t.Setenv("TMPDIR", tmp)
			ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
			defer cancel()
			var out, errOut strings.Builder
			code := run(ctx, append([]string{"serve", "--addr", "127.0.0.1:0", "--sound", "off"}, args...), &out, &errOut)
			said := errOut.String()
			if code != 2 || strings.Count(said, "\n") != 1 || !strings.HasPrefix(said, "tallyhood: ") || !strings.Contains(said, `[store]`) || !strings.Contains(said, "--store") || out.String() != "" {
				t.Errorf("code %d, %q, %q", code, out.String(), said)
			}
			if made, err := filepath.Glob(filepath.Join(tmp, "*")); err != nil || len(made) > 0 {
				t.Errorf("it made %v, %v", made, err)
			}
		})
	}
}
