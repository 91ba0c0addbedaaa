// SPDX-License-Identifier: Apache-2.0

package backup

import (
	"bytes"
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"

	"filippo.io/age"

	"tallyhood/store"
	"tallyhood/store/bolt"
)

const phrase = "seven dusty chisels under glass"

// chunk is how many bytes of a backup age proves at once.
const chunk = 64<<10 + 16

// filed is a store that is closed, as a source.
type filed struct {
	path   string
	number uint64
	hash   [32]byte
}

func (f filed) Snapshot(_ context.Context, w io.Writer, begin func(int64, uint64, [32]byte) error) error {
	file, err := os.Open(f.path)
	if err != nil {
		return err
	}
	defer file.Close()
	info, err := file.Stat()
	if err != nil {
		return err
	}
	if err := begin(info.Size(), f.number, f.hash); err != nil {
		return err
	}
	_, err = io.Copy(w, file)
	return err
}

// check is what the daemon gives: the store's own full check, and its last entry.
func check(ctx context.Context, path string) (uint64, [32]byte, error) {
	if err := bolt.Check(ctx, path); err != nil {
		return 0, [32]byte{}, err
	}
	s, err := bolt.Open(path, bolt.Options{ReadOnly: true})
	if err != nil {
		return 0, [32]byte{}, err
	}
	number, hash := s.Last()
	return number, hash, s.Close()
}

// stored makes a store of n entries, each with a body of 900 bytes.
func stored(t testing.TB, n int) filed {
	t.Helper()
	path := filepath.Join(t.TempDir(), "store")
	s, err := bolt.Open(path, bolt.Options{})
	if err != nil {
		t.Fatal(err)
	}
	var drafts []store.Draft
	for i := range n {
		drafts = append(drafts, store.Draft{Stream: fmt.Sprintf("r%06d", i/100+1), Kind: "squeezed", Version: 1, Body: bytes.Repeat([]byte{byte(i), byte(i >> 8)}, 450)})
	}
	if _, err := s.Append(context.Background(), drafts...); err != nil {
		t.Fatal(err)
	}
	number, hash := s.Last()
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	return filed{path, number, hash}
}

func what() Header {
	return Header{Box: "harrowgate-1", Program: "0.4.0", Wall: "2026-03-01T16:00:00Z", Quality: "confirmed"}
}

func byPhrase(t testing.TB) (Lock, Key) {
	t.Helper()
	l, err := WithPassphrase(phrase)
	if err != nil {
		t.Fatal(err)
	}
	k, err := Passphrase(phrase)
	if err != nil {
		t.Fatal(err)
	}
	return l, k
}

// byKey is a lock that opens quickly.
func byKey(t testing.TB) (Lock, Key) {
	t.Helper()
	i, err := age.GenerateX25519Identity()
	if err != nil {
		t.Fatal(err)
	}
	l, err := WithRecipients("# the office's key\n\n" + i.Recipient().String() + "\n")
	if err != nil {
		t.Fatal(err)
	}
	k, err := Identities(i.String())
	if err != nil {
		t.Fatal(err)
	}
	return l, k
}

func place(t testing.TB) Place {
	t.Helper()
	return Place{Path: filepath.Join(t.TempDir(), "store"), Check: check}
}

func write(t testing.TB, src Source, lock Lock) ([]byte, Made) {
	t.Helper()
	var b bytes.Buffer
	m, err := Write(context.Background(), &b, src, what(), lock)
	if err != nil {
		t.Fatal(err)
	}
	return b.Bytes(), m
}

// only asserts that a folder holds these files and no others.
func only(t testing.TB, dir string, want ...string) {
	t.Helper()
	entries, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, e := range entries {
		got = append(got, e.Name())
	}
	if strings.Join(got, " ") != strings.Join(want, " ") {
		t.Fatalf("the folder holds %q, not %q", got, want)
	}
}

func TestBackupComesBack(t *testing.T) {
	ctx := context.Background()
	src := stored(t, 300)
	original, err := os.ReadFile(src.path)
	if err != nil {
		t.Fatal(err)
	}
	for name, lock := range map[string]func(testing.TB) (Lock, Key){"passphrase": byPhrase, "recipient": byKey} {
		t.Run(name, func(t *testing.T) {
			l, k := lock(t)
			data, made := write(t, src, l)
			if bytes.Contains(data, []byte("squeezed")) || bytes.Contains(data, []byte("harrowgate")) {
				t.Error("the backup holds clear text")
			}
			p := place(t)
			for _, key := range []Key{k, made.Proof} {
				if h, err := p.Prove(ctx, bytes.NewReader(data), key); err != nil || h != made.Header {
					t.Fatalf("%v, %v", h, err)
				}
				only(t, filepath.Dir(p.Path))
			}
			h, err := p.Restore(ctx, bytes.NewReader(data), k, false)
			if err != nil {
				t.Fatal(err)
			}
			if h.Entries != 300 || h.Hash != fmt.Sprintf("%x", src.hash) || h.Size != int64(len(original)) || h.Box != "harrowgate-1" || h.Wall != what().Wall {
				t.Errorf("header %+v", h)
			}
			restored, err := os.ReadFile(p.Path)
			if err != nil || !bytes.Equal(restored, original) {
				t.Errorf("%d bytes came back of %d, %v", len(restored), len(original), err)
			}
			if info, err := os.Stat(p.Path); err != nil || info.Mode().Perm() != 0o600 {
				t.Errorf("mode %v, %v", info.Mode(), err)
			}
			only(t, filepath.Dir(p.Path), "store")
		})
	}
}

func TestLocksInPlainWords(t *testing.T) {
	ctx := context.Background()
	src := stored(t, 3)
	pl, _ := byPhrase(t)
	kl, kk := byKey(t)
	_, other := byKey(t)
	phrased, _ := write(t, src, pl)
	keyed, _ := write(t, src, kl)
	wrong, err := Passphrase("Seven dusty chisels under glass")
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		name string
		data []byte
		key  Key
		want error
		say  string
	}{
		{"wrong passphrase", phrased, wrong, ErrLocked, "capitals"},
		{"wrong key", keyed, other, ErrLocked, "another backup"},
		{"a key for a passphrase", phrased, kk, ErrOtherLock, "wants the passphrase"},
		{"a passphrase for a key", keyed, wrong, ErrOtherLock, "wants the key's file"},
		{"nothing", nil, kk, ErrNoBackup, "no backup"},
		{"a picture", []byte("\x89PNG\r\n\x1a\n and what follows it"), kk, ErrNoBackup, "no backup"},
		{"a store", bytes.Repeat([]byte{0}, 70000), kk, ErrNoBackup, "no backup"},
		{"a beginning", keyed[:9], kk, ErrDamaged, "cut short"},
		{"an endless head", append([]byte("age-encryption.org/v1\n-> X25519 "), bytes.Repeat([]byte("a"), 1<<20)...), kk, ErrDamaged, "spoilt"},
	} {
		p := place(t)
		_, err := p.Restore(ctx, bytes.NewReader(c.data), c.key, false)
		if !errors.Is(err, c.want) || !strings.Contains(err.Error(), c.say) {
			t.Errorf("%s: %v", c.name, err)
		}
		only(t, filepath.Dir(p.Path))
	}
	if _, err := WithPassphrase("   short one   "); !errors.Is(err, ErrWeak) {
		t.Errorf("a short passphrase: %v", err)
	}
	for _, bad := range []string{"", "# nothing\n", "age1abc", "ssh-ed25519 AAAA"} {
		if _, err := WithRecipients(bad); err == nil {
			t.Errorf("%q is a lock", bad)
		}
		if _, err := Identities(bad); err == nil || bad != "" && strings.Contains(err.Error(), bad) {
			t.Errorf("%q is a key, or is told on: %v", bad, err)
		}
	}
	if _, err := Write(ctx, io.Discard, src, what(), Lock{}); err == nil {
		t.Error("a backup without a lock")
	}
	h := what()
	h.SigningKey = "PRIVATE+KEY+x"
	for _, f := range []string{"%v", "%+v", "%#v"} {
		if s := fmt.Sprintf(f+f+f, pl, kk, h); strings.Contains(s, "chisels") || strings.Contains(s, "PRIVATE") {
			t.Errorf("%s shows a secret: %s", f, s)
		}
	}
	if _, err := Passphrase("  "); !errors.Is(err, ErrLocked) {
		t.Errorf("an empty passphrase: %v", err)
	}
}

// discard is where the file of a backup goes that ought not to open.
func discard(Header) (io.Writer, error) { return io.Discard, nil }

// Cut at every block of age's, one byte beside, and at every 307th byte. At the
// blocks it is restored to a file, elsewhere only read.
func TestCutAnywhere(t *testing.T) {
	l, k := byKey(t)
	data, _ := write(t, stored(t, 300), l)
	cuts := map[int]bool{len(data) - 1: true}
	body := bytes.Index(data, []byte("\n---")) // the blocks begin on the next line, after a nonce of 16 bytes
	body += bytes.IndexByte(data[body+1:], '\n') + 2 + 16
	for at := body; at < len(data); at += chunk {
		for d := -1; d <= 1; d++ {
			cuts[at+d] = true
		}
	}
	p := place(t)
	check := func(at int, err error) {
		if !errors.Is(err, ErrDamaged) && !(at == 0 && errors.Is(err, ErrNoBackup)) {
			t.Fatalf("cut at %d of %d: %v", at, len(data), err)
		}
	}
	for at := range cuts {
		_, err := p.Restore(context.Background(), bytes.NewReader(data[:at]), k, false)
		check(at, err)
	}
	for at := 0; at < len(data); at += 307 {
		_, err := Read(context.Background(), bytes.NewReader(data[:at]), k, 0, discard)
		check(at, err)
	}
	only(t, filepath.Dir(p.Path))
	if _, err := p.Restore(context.Background(), bytes.NewReader(append(data, 0)), k, false); !errors.Is(err, ErrDamaged) {
		t.Errorf("with a byte more: %v", err)
	}
	t.Logf("%d bytes, blocks from %d on", len(data), body)
}

// Every bit of the first 500 bytes, and one bit of every 61st byte of a small
// backup and of every 997th of one of several blocks.
func TestFlippedBits(t *testing.T) {
	l, k := byKey(t)
	for entries, step := range map[int]int{3: 61, 300: 997} {
		data, _ := write(t, stored(t, entries), l)
		try := func(at, bit int) {
			data[at] ^= 1 << bit
			defer func() { data[at] ^= 1 << bit }()
			_, err := Read(context.Background(), bytes.NewReader(data), k, 0, discard)
			named := false
			for _, kind := range []error{ErrDamaged, ErrNoBackup, ErrLocked, ErrOtherLock} {
				named = named || errors.Is(err, kind)
			}
			if !named {
				t.Fatalf("bit %d of byte %d flipped: %v", bit, at, err)
			}
		}
		for at := 0; at < 500 && step == 61; at++ {
			for bit := range 8 {
				try(at, bit)
			}
		}
		for at := 0; at < len(data); at += step {
			try(at, at%8)
		}
		if _, err := Read(context.Background(), bytes.NewReader(data), k, 0, discard); err != nil {
			t.Error(err)
		}
	}
}

// sealedUp encrypts a payload as it is.
func sealedUp(t testing.TB, i *age.X25519Identity, payload []byte) []byte {
	t.Helper()
	var b bytes.Buffer
	w, err := age.Encrypt(&b, i.Recipient())
	if err == nil {
		_, err = w.Write(payload)
	}
	if err == nil {
		err = w.Close()
	}
	if err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// summed adds the last line.
func summed(payload string) []byte {
	return fmt.Appendf(nil, "%ssha256 %x\n", payload, sha256.Sum256([]byte(payload)))
}

// Payloads that were never written here, though well encrypted.
func TestHostilePayloads(t *testing.T) {
	i, err := age.GenerateX25519Identity()
	if err != nil {
		t.Fatal(err)
	}
	k, err := Identities(i.String())
	if err != nil {
		t.Fatal(err)
	}
	src := stored(t, 3)
	file, err := os.ReadFile(src.path)
	if err != nil {
		t.Fatal(err)
	}
	head := func(size int64, entries int, hash string) string {
		return fmt.Sprintf(`{"box":"b","program":"","wall":"","quality":"","entries":%d,"hash":"%s","size":%d}`, entries, hash, size)
	}
	hash := fmt.Sprintf("%x", src.hash)
	good := "tallyhood.backup/1\n" + head(int64(len(file)), 3, hash) + "\n" + string(file)
	for _, c := range []struct {
		name    string
		payload []byte
		want    error
	}{
		{"good", summed(good), nil},
		{"nothing", nil, ErrDamaged},
		{"another thing", []byte("hello\nworld\n"), ErrNoBackup},
		{"version 0", summed(strings.Replace(good, "/1\n", "/0\n", 1)), ErrNoBackup},
		{"version 01", summed(strings.Replace(good, "/1\n", "/01\n", 1)), ErrNoBackup},
		{"version 2", summed(strings.Replace(good, "/1\n", "/2\n", 1)), ErrNewer},
		{"an unknown field", summed(strings.Replace(good, `{"box"`, `{"more":1,"box"`, 1)), ErrDamaged},
		{"no JSON", summed("tallyhood.backup/1\nhello\n"), ErrDamaged},
		{"two values", summed("tallyhood.backup/1\n" + head(int64(len(file)), 3, hash) + "{}\n" + string(file)), ErrDamaged},
		{"an endless line", bytes.Repeat([]byte("tallyhood.backup/"), 4096), ErrDamaged},
		{"an endless header", append([]byte("tallyhood.backup/1\n"), bytes.Repeat([]byte("{"), 1<<20)...), ErrDamaged},
		{"no size", summed("tallyhood.backup/1\n" + head(0, 3, hash) + "\n"), ErrDamaged},
		{"a size below nothing", summed("tallyhood.backup/1\n" + head(-1, 3, hash) + "\n"), ErrDamaged},
		{"more than is allowed", summed("tallyhood.backup/1\n" + head(1<<31, 3, hash) + "\n"), ErrTooLarge},
		{"less than announced", summed("tallyhood.backup/1\n" + head(int64(len(file))+4096, 3, hash) + "\n" + string(file)), ErrDamaged},
		{"more than announced", summed("tallyhood.backup/1\n" + head(int64(len(file))-4096, 3, hash) + "\n" + string(file)), ErrDamaged},
		{"another sum", append([]byte(good), "sha256 "+strings.Repeat("0", 64)+"\n"...), ErrDamaged},
		{"no sum", []byte(good), ErrDamaged},
		{"something after the sum", append(summed(good), 'x'), ErrDamaged},
		{"another number", summed(strings.Replace(good, `"entries":3`, `"entries":4`, 1)), ErrDiffers},
		{"another hash", summed(strings.Replace(good, hash, strings.Repeat("ab", 32), 1)), ErrDiffers},
		{"no hash", summed(strings.Replace(good, hash, "ab", 1)), ErrDamaged},
		{"no store", summed("tallyhood.backup/1\n" + head(70000, 3, hash) + "\n" + strings.Repeat("x", 70000)), store.ErrDamaged},
		{"a spoilt store", summed("tallyhood.backup/1\n" + head(int64(len(file)), 3, hash) + "\n" + strings.Replace(string(file), "squeezed", "squeezes", 1)), store.ErrDamaged},
	} {
		p := place(t)
		p.Limit = 1 << 30
		_, err := p.Restore(context.Background(), bytes.NewReader(sealedUp(t, i, c.payload)), k, false)
		if c.want == nil {
			if err != nil {
				t.Errorf("%s: %v", c.name, err)
			}
			continue
		}
		if !errors.Is(err, c.want) {
			t.Errorf("%s: %v", c.name, err)
		}
		only(t, filepath.Dir(p.Path))
	}
}

// A backup may not make the board work for minutes, or fill its memory, before
// the passphrase is known to be right.
func TestHostileWorkFactor(t *testing.T) {
	r, err := age.NewScryptRecipient(phrase)
	if err != nil {
		t.Fatal(err)
	}
	r.SetWorkFactor(2)
	var b bytes.Buffer
	w, err := age.Encrypt(&b, r)
	if err != nil {
		t.Fatal(err)
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	_, k := byPhrase(t)
	for _, n := range []string{"18", "22", "30", "99999999999999999999"} {
		first, rest, _ := strings.Cut(b.String(), "\n")
		line, rest, _ := strings.Cut(rest, "\n")
		line = strings.TrimSuffix(line, " 2") + " " + n
		_, err := Read(context.Background(), strings.NewReader(first+"\n"+line+"\n"+rest), k, 0, discard)
		if !errors.Is(err, ErrTooLarge) && !(len(n) > 2 && errors.Is(err, ErrDamaged)) {
			t.Errorf("work factor %s: %v", n, err)
		}
	}
}

// endless is a head of a backup that never ends: one empty stanza after another.
type endless struct{ n int }

func (e *endless) Read(p []byte) (int, error) {
	const start = "age-encryption.org/v1\n"
	stanza := "-> " + strings.Repeat("x", 300) + "\n\n"
	for i := range p {
		if at := e.n + i; at < len(start) {
			p[i] = start[at]
		} else {
			p[i] = stanza[(at-len(start))%len(stanza)]
		}
	}
	e.n += len(p)
	return len(p), nil
}

func TestEndlessHead(t *testing.T) {
	_, k := byKey(t)
	in := &endless{}
	if _, err := Read(context.Background(), in, k, 0, discard); !errors.Is(err, ErrDamaged) || in.n > maxOuter {
		t.Errorf("%d bytes were read, %v", in.n, err)
	}
}

// full is a medium with room for so many bytes.
type full struct {
	room int
	err  error
}

func (f *full) Write(p []byte) (int, error) {
	if len(p) > f.room {
		n := f.room
		f.room = 0
		return n, f.err
	}
	f.room -= len(p)
	return len(p), nil
}

// The medium is full, or breaks, at every place where something is written.
func TestFullMedium(t *testing.T) {
	l, k := byKey(t)
	src := stored(t, 300)
	data, _ := write(t, src, l)
	gone := errors.New("no space left")
	for room := 0; room < len(data); room += 1021 {
		if _, err := Write(context.Background(), &full{room, gone}, src, what(), l); !errors.Is(err, gone) {
			t.Fatalf("room for %d of %d bytes: %v", room, len(data), err)
		}
	}
	size := 0
	if _, err := Read(context.Background(), bytes.NewReader(data), k, 0, func(h Header) (io.Writer, error) {
		size = int(h.Size)
		return io.Discard, nil
	}); err != nil {
		t.Fatal(err)
	}
	for room := 0; room < size; room += 16 << 10 {
		if _, err := Read(context.Background(), bytes.NewReader(data), k, 0, func(Header) (io.Writer, error) { return &full{room, gone}, nil }); !errors.Is(err, gone) {
			t.Fatalf("restore with room for %d of %d bytes: %v", room, size, err)
		}
	}
	// The medium that is read breaks: its own error, not a spoilt backup.
	for at := 0; at < len(data); at += 4099 {
		r := io.MultiReader(bytes.NewReader(data[:at]), broken{gone})
		if _, err := place(t).Restore(context.Background(), r, k, false); !errors.Is(err, gone) {
			t.Fatalf("reading breaks at %d: %v", at, err)
		}
	}
}

type broken struct{ err error }

func (b broken) Read([]byte) (int, error) { return 0, b.err }

// sourceFunc is a source that misbehaves.
type sourceFunc func(w io.Writer, begin func(int64, uint64, [32]byte) error) error

func (f sourceFunc) Snapshot(_ context.Context, w io.Writer, begin func(int64, uint64, [32]byte) error) error {
	return f(w, begin)
}

func TestSourceThatFails(t *testing.T) {
	l, k := byKey(t)
	bad := errors.New("a page is spoilt")
	give := func(announced int64, n int, err error) sourceFunc {
		return func(w io.Writer, begin func(int64, uint64, [32]byte) error) error {
			if e := begin(announced, 1, [32]byte{}); e != nil {
				return e
			}
			if _, e := w.Write(make([]byte, n)); e != nil {
				return e
			}
			return err
		}
	}
	for name, src := range map[string]sourceFunc{
		"an error": give(10, 5, bad), "too little": give(10, 9, nil), "too much": give(10, 11, nil),
		"no beginning": func(io.Writer, func(int64, uint64, [32]byte) error) error { return nil },
	} {
		var b bytes.Buffer
		_, err := Write(context.Background(), &b, src, what(), l)
		if err == nil || name == "an error" && !errors.Is(err, bad) {
			t.Errorf("%s: %v", name, err)
		}
		// What was written by then does not pass for a backup.
		if _, err := Read(context.Background(), &b, k, 0, discard); err == nil {
			t.Errorf("%s: what was written restores", name)
		}
	}
	ended, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := Write(ended, io.Discard, stored(t, 3), what(), l); !errors.Is(err, context.Canceled) {
		t.Errorf("write with an ended context: %v", err)
	}
	data, _ := write(t, stored(t, 3), l)
	if _, err := Read(ended, bytes.NewReader(data), k, 0, nil); !errors.Is(err, context.Canceled) {
		t.Errorf("read with an ended context: %v", err)
	}
}

func TestRestoreRefusesToReplaceRecords(t *testing.T) {
	ctx := context.Background()
	l, k := byKey(t)
	src := stored(t, 300)
	data, _ := write(t, src, l)
	fill := func(t *testing.T, p Place, drafts ...store.Draft) *bolt.Store {
		s, err := bolt.Open(p.Path, bolt.Options{})
		if err == nil && len(drafts) > 0 {
			_, err = s.Append(ctx, drafts...)
		}
		if err != nil {
			t.Fatal(err)
		}
		return s
	}
	draft := store.Draft{Kind: "a", Version: 1}
	restored := func(t *testing.T, p Place) {
		t.Helper()
		if n, hash, err := check(ctx, p.Path); err != nil || n != 300 || hash != src.hash {
			t.Errorf("%d, %v", n, err)
		}
	}
	t.Run("an empty store", func(t *testing.T) {
		p := place(t)
		fill(t, p).Close()
		if _, err := p.Restore(ctx, bytes.NewReader(data), k, false); err != nil {
			t.Fatal(err)
		}
		restored(t, p)
	})
	t.Run("a store with records", func(t *testing.T) {
		p := place(t)
		fill(t, p, draft).Close()
		before, err := os.ReadFile(p.Path)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := p.Restore(ctx, bytes.NewReader(data), k, false); !errors.Is(err, ErrHasRecords) {
			t.Fatal(err)
		}
		// Told to, but with a backup that is spoilt: nothing changes.
		if _, err := p.Restore(ctx, bytes.NewReader(data[:len(data)-1]), k, true); !errors.Is(err, ErrDamaged) {
			t.Fatal(err)
		}
		if after, err := os.ReadFile(p.Path); err != nil || !bytes.Equal(after, before) {
			t.Fatalf("the store was touched, %v", err)
		}
		only(t, filepath.Dir(p.Path), "store")
		if _, err := p.Restore(ctx, bytes.NewReader(data), k, true); err != nil {
			t.Fatal(err)
		}
		restored(t, p)
		only(t, filepath.Dir(p.Path), "store", "store.replaced")
		if n, _, err := check(ctx, p.Path+replacedEnd); err != nil || n != 1 {
			t.Errorf("the replaced store: %d, %v", n, err)
		}
	})
	t.Run("a store in use", func(t *testing.T) {
		p := place(t)
		s := fill(t, p)
		if _, err := p.Restore(ctx, bytes.NewReader(data), k, false); !errors.Is(err, ErrHasRecords) || !errors.Is(err, store.ErrBusy) {
			t.Error(err)
		}
		if err := s.Close(); err != nil {
			t.Fatal(err)
		}
	})
	t.Run("a damaged store", func(t *testing.T) {
		p := place(t)
		if err := os.WriteFile(p.Path, []byte("not a store"), 0o600); err != nil {
			t.Fatal(err)
		}
		if _, err := p.Restore(ctx, bytes.NewReader(data), k, false); !errors.Is(err, ErrHasRecords) || !errors.Is(err, store.ErrDamaged) {
			t.Fatal(err)
		}
		if _, err := p.Restore(ctx, bytes.NewReader(data), k, true); err != nil {
			t.Fatal(err)
		}
		restored(t, p)
	})
	t.Run("no file", func(t *testing.T) {
		p := place(t)
		if err := os.Mkdir(p.Path, 0o700); err != nil {
			t.Fatal(err)
		}
		if _, err := p.Restore(ctx, bytes.NewReader(data), k, true); !errors.Is(err, ErrHasRecords) {
			t.Error(err)
		}
	})
	t.Run("left over", func(t *testing.T) {
		p := place(t)
		for _, end := range []string{restoringEnd, proofEnd, outgoingEnd} {
			if err := os.WriteFile(p.Path+end, []byte("clear"), 0o600); err != nil {
				t.Fatal(err)
			}
		}
		if err := p.Tidy(); err != nil {
			t.Fatal(err)
		}
		only(t, filepath.Dir(p.Path))
		if err := p.Tidy(); err != nil {
			t.Error(err)
		}
	})
}

func TestStreamIsProvenFirst(t *testing.T) {
	ctx := context.Background()
	l, k := byKey(t)
	p, src := place(t), stored(t, 300)
	var b bytes.Buffer
	var size int64
	var sum [32]byte
	h, err := p.Stream(ctx, &b, src, what(), l, func(n int64, s [32]byte) error {
		if b.Len() > 0 {
			t.Error("bytes went out before their number")
		}
		size, sum = n, s
		return nil
	})
	if err != nil || int64(b.Len()) != size || sha256.Sum256(b.Bytes()) != sum {
		t.Fatalf("%d bytes, announced %d, %v", b.Len(), size, err)
	}
	if got, err := p.Prove(ctx, &b, k); err != nil || got != h || h.Entries != 300 {
		t.Errorf("%v, %v", got, err)
	}
	wrong := src
	wrong.number++
	b.Reset()
	if _, err := p.Stream(ctx, &b, wrong, what(), l, nil); !errors.Is(err, ErrDiffers) || b.Len() > 0 {
		t.Errorf("%d bytes went out without a proof, %v", b.Len(), err)
	}
	gone := errors.New("the browser went away")
	if _, err := p.Stream(ctx, &full{1000, gone}, src, what(), l, nil); !errors.Is(err, gone) {
		t.Error(err)
	}
	if _, err := p.Stream(ctx, &b, src, what(), l, func(int64, [32]byte) error { return gone }); !errors.Is(err, gone) || b.Len() > 0 {
		t.Error(err)
	}
	only(t, filepath.Dir(p.Path))
}

// A stream of 64 MiB goes through in a few MiB of memory.
func TestMemoryIsBounded(t *testing.T) {
	l, k := byKey(t)
	const size = 64 << 20
	src := sourceFunc(func(w io.Writer, begin func(int64, uint64, [32]byte) error) error {
		if err := begin(size, 1, [32]byte{}); err != nil {
			return err
		}
		_, err := io.CopyN(w, zeros{}, size)
		return err
	})
	live := func() uint64 { // what is in use
		runtime.GC()
		var m runtime.MemStats
		runtime.ReadMemStats(&m)
		return m.HeapAlloc
	}
	before := live()
	r, w := io.Pipe()
	done := make(chan error, 1)
	go func() {
		_, err := Write(context.Background(), w, src, what(), l)
		w.CloseWithError(err)
		done <- err
	}()
	through, samples := 0, 0
	h, err := Read(context.Background(), r, k, 0, func(Header) (io.Writer, error) {
		return writerFunc(func(p []byte) {
			if through += len(p); through/(8<<20) > samples {
				samples++
				if used := int64(live()) - int64(before); used > 4<<20 {
					t.Errorf("%d bytes are in use after %d of %d", used, through, size)
				}
			}
		}), nil
	})
	if err != nil || h.Size != size || samples < 7 {
		t.Fatalf("%+v, %d samples, %v", h, samples, err)
	}
	if err := <-done; err != nil {
		t.Fatal(err)
	}
}

type writerFunc func([]byte)

func (f writerFunc) Write(p []byte) (int, error) {
	f(p)
	return len(p), nil
}

type zeros struct{}

func (zeros) Read(p []byte) (int, error) {
	clear(p)
	return len(p), nil
}

// A backup of each version that was ever written, kept for ever. Its store has
// three entries; the passphrase is the one of these tests.
func TestKeptBackups(t *testing.T) {
	files, err := fs.Glob(os.DirFS("testdata"), "backup-*.age")
	if err != nil || len(files) != version {
		t.Fatalf("%d kept backups for %d versions, %v", len(files), version, err)
	}
	_, k := byPhrase(t)
	for _, name := range files {
		data, err := os.ReadFile(filepath.Join("testdata", name))
		if err != nil {
			t.Fatal(err)
		}
		p := place(t)
		h, err := p.Restore(context.Background(), bytes.NewReader(data), k, false)
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		if h.Entries != 3 || h.Box != "harrowgate-1" || h.SigningKey != "" {
			t.Errorf("%s: %v", name, h)
		}
	}
	// The header's line of each version.
	lines, err := os.ReadFile(filepath.Join("testdata", "headers.txt"))
	if err != nil {
		t.Fatal(err)
	}
	n := 0
	for line := range strings.Lines(string(lines)) {
		h, err := parseHeader(line)
		if err != nil || h.Box != "harrowgate-1" || h.Entries != 3 || h.Size != 32768 {
			t.Errorf("%q: %v, %v", line, h, err)
		}
		n++
	}
	if n != version+1 { // one more with a signing key
		t.Errorf("%d headers are kept", n)
	}
}

func FuzzRead(f *testing.F) {
	l, k := byKey(f)
	data, _ := write(f, stored(f, 3), l)
	f.Add(data)
	f.Add(data[:200])
	f.Add([]byte("age-encryption.org/v1\n-> X25519 a\n"))
	f.Fuzz(func(t *testing.T, in []byte) {
		n := 0
		h, err := Read(context.Background(), bytes.NewReader(in), k, 1<<20, func(Header) (io.Writer, error) { n++; return io.Discard, nil })
		if err == nil && (n != 1 || !bytes.Equal(in, data)) {
			t.Fatalf("%v restores from what was never written", h)
		}
	})
}

// BenchmarkWrite is encryption alone, without a medium.
func BenchmarkWrite(b *testing.B) {
	l, _ := byKey(b)
	src := stored(b, 20_000)
	info, err := os.Stat(src.path)
	if err != nil {
		b.Fatal(err)
	}
	b.SetBytes(info.Size())
	for b.Loop() {
		if _, err := Write(context.Background(), io.Discard, src, what(), l); err != nil {
			b.Fatal(err)
		}
	}
}

// BenchmarkProve is a restore with the store's full check.
func BenchmarkProve(b *testing.B) {
	l, k := byKey(b)
	data, _ := write(b, stored(b, 20_000), l)
	p := place(b)
	b.SetBytes(int64(len(data)))
	for b.Loop() {
		if _, err := p.Prove(context.Background(), bytes.NewReader(data), k); err != nil {
			b.Fatal(err)
		}
	}
}

// BenchmarkPassphrase is how long one guess takes.
func BenchmarkPassphrase(b *testing.B) {
	l, k := byPhrase(b)
	data, _ := write(b, stored(b, 3), l)
	for b.Loop() {
		if _, err := Read(context.Background(), bytes.NewReader(data), k, 0, discard); err != nil {
			b.Fatal(err)
		}
	}
}
