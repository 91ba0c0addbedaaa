// SPDX-License-Identifier: Apache-2.0

package main

import (
	"bytes"
	"crypto/rand"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"tallyhood/console/evidence"
	"tallyhood/console/procedure"
	"tallyhood/store"
	"tallyhood/store/bolt"
)

// On a copy, which the key does not travel with, verify says in a line of its own
// and by its exit status what it could not check, and takes the public half.
func TestVerifyOfACopy(t *testing.T) {
	box, away := t.TempDir(), t.TempDir()
	at := filepath.Join(box, "store")
	signer, err := boxKey(at)
	if err != nil {
		t.Fatal(err)
	}
	j, err := bolt.Open(at, bolt.Options{})
	if err != nil {
		t.Fatal(err)
	}
	rules, err := procedure.Rules()
	if err != nil {
		t.Fatal(err)
	}
	opened := procedure.RunOpened{Run: "r000001", Rules: rules["us-osha"], Agent: "bitter", Practice: "test"}
	for i, f := range []procedure.Fact{opened, procedure.Ended{Outcome: procedure.NotValid, Reason: procedure.Interrupted}} {
		b, err := procedure.Encode(procedure.Dated{At: time.Duration(i), Fact: f})
		if err != nil {
			t.Fatal(err)
		}
		if _, err := j.Append(t.Context(), store.Draft{Stream: "r000001", Kind: f.Kind(), Version: 1, Body: b}); err != nil {
			t.Fatal(err)
		}
		if _, err := evidence.New(j, signer).Sign(t.Context(), time.Unix(1_800_000_000, 0), "confirmed"); err != nil {
			t.Fatal(err)
		}
	}
	if err := j.Close(); err != nil {
		t.Fatal(err)
	}
	b, err := os.ReadFile(at)
	if err != nil {
		t.Fatal(err)
	}
	copied := filepath.Join(away, "copy")
	if err := os.WriteFile(copied, b, 0o600); err != nil {
		t.Fatal(err)
	}
	ask := func(args ...string) (int, string, string) {
		var out, errOut bytes.Buffer
		code := command(t, &out, &errOut, append([]string{"records"}, args...)...)
		return code, out.String(), errOut.String()
	}
	code, key, _ := ask("key", "--store", at)
	if code != 0 || strings.Contains(key, "PRIVATE") {
		t.Fatalf("records key: %d %q", code, key)
	}
	public := filepath.Join(away, "box.pub")
	if err := os.WriteFile(public, []byte(key), 0o600); err != nil {
		t.Fatal(err)
	}
	other, err := evidence.NewSigner(rand.Reader, "box-other")
	if err != nil {
		t.Fatal(err)
	}
	const notChecked, hold = "\nNOT CHECKED, for want of a key: the signatures of 2 of 2 heads\n", "\ntheir signatures hold\n"
	for name, c := range map[string]struct {
		args      []string
		code      int
		out, said string // to be in what it prints, and in its error
	}{
		"the box itself":     {[]string{"--store", at}, 0, hold, ""},
		"a copy":             {[]string{"--store", copied}, 3, notChecked, "2 signed heads were not checked"},
		"without heads":      {[]string{"--store", copied, "--no-heads"}, 0, notChecked, ""},
		"with the key":       {[]string{"--store", copied, "--key", strings.TrimSpace(key)}, 0, hold, ""},
		"with its file":      {[]string{"--store", copied, "--key", public}, 0, hold, ""},
		"another's key":      {[]string{"--store", copied, "--key", other.Verifier().String()}, 1, "", "head of"},
		"a private key":      {[]string{"--store", at, "--key", filepath.Join(box, keyFile)}, 2, "", "records key printed"},
		"no key in the file": {[]string{"--store", at, "--key", os.DevNull}, 2, "", "no key in it"},
	} {
		code, out, said := ask(append([]string{"verify"}, c.args...)...)
		if code != c.code || !strings.Contains(out, c.out) || !strings.Contains(said, c.said) || (c.said == "") != (said == "") {
			t.Errorf("%s: %d\n%s%s", name, code, out, said)
		}
		if n := strings.Count(out, "whole and chained"); code != 2 && n != 1 {
			t.Errorf("%s says %d times that the chain is whole:\n%s", name, n, out)
		}
		if strings.Contains(said, "PRIVATE") {
			t.Errorf("%s shows the private key: %s", name, said)
		}
	}
	if code, _, said := ask("key", "--store", copied); code != 2 || !strings.Contains(said, "run this there") || strings.Contains(said, "no such file") {
		t.Errorf("records key on a copy: %d %s", code, said)
	}
}

// A store in a folder that is not there is told with what to do.
func TestServeInAMissingFolder(t *testing.T) {
	var out, errOut bytes.Buffer
	at := filepath.Join(t.TempDir(), "not", "there", "store")
	if code := command(t, &out, &errOut, "serve", "--board", "sim", "--sound", "off", "--addr", "127.0.0.1:0", "--store", at); code != 2 || !strings.Contains(errOut.String(), "mkdir") || !strings.Contains(errOut.String(), filepath.Dir(at)) {
		t.Errorf("%d: %s", code, errOut.String())
	}
	if _, err := os.Stat(filepath.Dir(at)); err == nil {
		t.Error("the folder was made")
	}
}
