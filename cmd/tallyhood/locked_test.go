// SPDX-License-Identifier: Apache-2.0

package main

import (
	"bytes"
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"tallyhood/console/evidence"
	"tallyhood/console/procedure"
	"tallyhood/store"
	"tallyhood/store/bolt"
)

// A box whose store is spoilt stays up, under the eyes of the service manager,
// and says so on every page, whatever spoilt it. It leaves the file as it is.
func TestSpoiltStoreIsToldOnThePages(t *testing.T) {
	sound := filepath.Join(t.TempDir(), "store")
	j, err := bolt.Open(sound, bolt.Options{})
	if err != nil {
		t.Fatal(err)
	}
	const runs, spoilt = 300, 150
	drafts := make([]store.Draft, 0, runs)
	for n := range runs {
		o := procedure.RunOpened{Run: fmt.Sprintf("r%06d", n+1), Wall: "2026-09-14T09:00:00Z", WallQuality: "restored", Version: strings.Repeat("v", 900)}
		if n == spoilt {
			o.Tester = "Agnes Thorley"
		}
		body, err := procedure.Encode(procedure.Dated{Fact: o})
		if err != nil {
			t.Fatal(err)
		}
		drafts = append(drafts, store.Draft{Stream: o.Run, Kind: o.Kind(), Version: procedure.FactVersion, Body: body})
	}
	if _, err := j.Append(t.Context(), drafts...); err != nil {
		t.Fatal(err)
	}
	if err := j.Close(); err != nil {
		t.Fatal(err)
	}
	whole, err := os.ReadFile(sound)
	if err != nil || !bytes.Contains(whole, []byte("Agnes Thorley")) {
		t.Fatalf("no entry in the file: %v", err)
	}
	for name, c := range map[string]struct {
		file []byte
		says string
	}{
		"no store at all": {[]byte(strings.Repeat("spoilt", 9000)), "file with the records is damaged"},
		"an empty file":   {nil, "file with the records is damaged"},
		"cut short":       {whole[:len(whole)/2], "file with the records is damaged"},
		"one entry of many, found when it is read": {bytes.Replace(whole, []byte("Agnes Thorley"), []byte("Agnes Thornby"), 1), "file with the records is damaged"},
	} {
		t.Run(name, func(t *testing.T) {
			path := filepath.Join(t.TempDir(), "store")
			if err := os.WriteFile(path, c.file, 0o600); err != nil {
				t.Fatal(err)
			}
			system := manager(t)
			t.Setenv("WATCHDOG_USEC", "60000")
			ctx, cancel := context.WithCancel(t.Context())
			defer cancel()
			base, code := serveLocked(ctx, t, path, "records")
			answer, err := http.Get(base)
			if err != nil {
				t.Fatal(err)
			}
			page, err := io.ReadAll(answer.Body)
			answer.Body.Close()
			if err != nil || answer.StatusCode != http.StatusServiceUnavailable || !strings.Contains(string(page), c.says) || !strings.Contains(string(page), path) {
				t.Errorf("%d, %v:\n%s", answer.StatusCode, err, page)
			}
			said := ""
			for !strings.Contains(said, "READY=1") || strings.Count(said, "WATCHDOG=1") < 3 {
				got := hear(t, system, time.Minute)
				if got == "" {
					t.Fatalf("the service manager heard %q alone", said)
				}
				said += got + "\n"
			}
			if !strings.Contains(said, "STATUS=records locked") {
				t.Errorf("the service manager heard %q", said)
			}
			cancel()
			if got := <-code; got != 0 {
				t.Errorf("exit code %d", got)
			}
			if after, err := os.ReadFile(path); err != nil || !bytes.Equal(after, c.file) {
				t.Errorf("the spoilt file was changed, %v", err)
			}
		})
	}
}

// A box whose signing key is spoilt, as by a power cut of an old version or a hand,
// does not end at each start either: it says what to do, and leaves both files as
// they are.
func TestSpoiltKeyIsToldOnThePages(t *testing.T) {
	signer, err := evidence.NewSigner(rand.Reader, "harrowgate-1")
	if err != nil {
		t.Fatal(err)
	}
	whole := signer.Secret()
	for name, spoilt := range map[string][]byte{"cut short": whole[:len(whole)/2], "empty": {}, "something else": []byte("spoilt\n")} {
		t.Run(name, func(t *testing.T) {
			path := filepath.Join(t.TempDir(), "store")
			key := keyBeside(path)
			if err := os.WriteFile(key, spoilt, 0o600); err != nil {
				t.Fatal(err)
			}
			ctx, cancel := context.WithCancel(t.Context())
			defer cancel()
			base, code := serveLocked(ctx, t, path, "key")
			answer, err := http.Get(base)
			if err != nil {
				t.Fatal(err)
			}
			page, err := io.ReadAll(answer.Body)
			answer.Body.Close()
			if err != nil || answer.StatusCode != http.StatusServiceUnavailable || !strings.Contains(string(page), "signing key is damaged") || !strings.Contains(string(page), "mv "+key+" "+key+".damaged") {
				t.Errorf("%d, %v:\n%s", answer.StatusCode, err, page)
			}
			cancel()
			if got := <-code; got != 0 {
				t.Errorf("exit code %d", got)
			}
			if after, err := os.ReadFile(key); err != nil || !bytes.Equal(after, spoilt) {
				t.Errorf("the key's file was changed, %v", err)
			}
		})
	}
	// What is no file yet, and cannot be made, is for who started the daemon.
	if err := errors.New("no room"); lockedByKey(filepath.Join(t.TempDir(), "store"), err) != err {
		t.Error("a key that was never there is told as a spoilt one")
	}
}

// What only who started the daemon can see to ends it.
func TestStoreOfAnotherProcessOrPlaceEndsTheDaemon(t *testing.T) {
	busy := filepath.Join(t.TempDir(), "store")
	j, err := bolt.Open(busy, bolt.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer j.Close()
	for name, path := range map[string]string{"in use": busy, "no such folder": filepath.Join(t.TempDir(), "none", "store")} {
		ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
		var out, errOut strings.Builder
		code := run(ctx, []string{"serve", "--store", path, "--addr", "127.0.0.1:0", "--sound", "off"}, &out, &errOut)
		cancel()
		if code == 0 || ctx.Err() == context.DeadlineExceeded || out.String() != "" || !strings.HasPrefix(lastLine(errOut.String()), "tallyhood: ") {
			t.Errorf("%s: code %d, %q, %q", name, code, out.String(), errOut.String())
		}
	}
}

// serveLocked starts the daemon on a store of which it cannot open something, and
// gives the address that it says, and what it ends with.
func serveLocked(ctx context.Context, t *testing.T, path, what string) (base string, code chan int) {
	t.Helper()
	r, w := io.Pipe()
	code = make(chan int, 1)
	go func() {
		code <- run(ctx, []string{"serve", "--store", path, "--addr", "127.0.0.1:0", "--sound", "off"}, w, io.Discard)
		w.Close()
	}()
	line := make([]byte, 1024)
	n, _ := r.Read(line)
	go func() { _, _ = io.Copy(io.Discard, r) }()
	at := regexp.MustCompile(`cannot open its ` + what + `; (http://[^ ]+/) says`).FindSubmatch(line[:n])
	if at == nil {
		t.Fatalf("it says %q", line[:n])
	}
	return string(at[1]), code
}
