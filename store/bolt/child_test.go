// SPDX-License-Identifier: Apache-2.0

package bolt_test

import (
	"bufio"
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"runtime"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"
	"unsafe"

	"golang.org/x/sys/unix"

	"tallyhood/store"
	"tallyhood/store/bolt"
	"tallyhood/store/storetest"
)

// The test binary runs itself as a child when these are set.
const (
	childPath = "TALLYHOOD_TEST_CHILD_STORE" // the store to write
	childHurt = "TALLYHOOD_TEST_CHILD_HURT"  // how writing fails; empty: the child writes until it is killed
)

func TestMain(m *testing.M) {
	if path := os.Getenv(childPath); path != "" {
		if err := child(path, os.Getenv(childHurt)); err != nil {
			fmt.Println("error", err)
			os.Exit(1)
		}
		os.Exit(0)
	}
	os.Exit(m.Run())
}

func startChild(t *testing.T, path, hurt string) (*exec.Cmd, io.Reader) {
	t.Helper()
	c := exec.Command(os.Args[0])
	c.Env = append(os.Environ(), childPath+"="+path, childHurt+"="+hurt)
	c.Stderr = os.Stderr
	out, err := c.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := c.Start(); err != nil {
		t.Fatal(err)
	}
	return c, out
}

func child(path, hurt string) error {
	s, err := bolt.Open(path, bolt.Options{})
	if err != nil {
		return err
	}
	if hurt == "" {
		return appendForEver(s)
	}
	return appendHurt(s, hurt)
}

// appendForEver appends from several goroutines and prints each entry when it
// is acknowledged.
func appendForEver(s *bolt.Store) error {
	var wg sync.WaitGroup
	errs := make([]error, 3)
	for i := range errs {
		wg.Go(func() {
			for n := 0; errs[i] == nil; n++ {
				drafts := make([]store.Draft, 1+n%3)
				for j := range drafts {
					drafts[j] = store.Draft{Stream: fmt.Sprint("run-", (i+n/10)%9), Kind: "k", Version: 1, Body: bytes.Repeat([]byte{byte(n)}, n*137%900)}
				}
				if n%50 == 49 {
					drafts[0].Body = make([]byte, 20_000)
				}
				var entries []store.Entry
				entries, errs[i] = s.Append(context.Background(), drafts...)
				for _, e := range entries {
					fmt.Printf("ack %d %x\n", e.Number, e.Hash) // one write call: whole lines
				}
				if errs[i] == nil && n%7 == 0 {
					if errs[i] = s.Table("t").Put(context.Background(), fmt.Sprint("k-", i), fmt.Append(nil, n)); errs[i] == nil {
						fmt.Printf("put k-%d %d\n", i, n)
					}
				}
			}
		})
	}
	wg.Wait()
	return errors.Join(errs...)
}

// Killed at any moment, the store keeps what it acknowledged.
func TestKill(t *testing.T) {
	const rounds = 50
	r := rand.New(rand.NewPCG(5, 6))
	folder := t.TempDir()
	acked := map[uint64]string{} // of the present file
	puts := map[string]int{}
	var path string
	total := 0
	for round := range rounds {
		if round%10 == 0 { // a new file: the first rounds of each are killed while it is created
			path = filepath.Join(folder, fmt.Sprint("killed-", round, ".db"))
			clear(acked)
			clear(puts)
		}
		c, out := startChild(t, path, "")
		killed := make(chan struct{})
		wait := time.Duration(r.IntN(200)) * time.Millisecond
		if round%10 < 3 {
			wait = time.Duration(r.IntN(20_000)) * time.Microsecond
		}
		// Later rounds are killed at their work, however slow the machine is to
		// start a child.
		begun := make(chan struct{})
		begin := sync.OnceFunc(func() { close(begun) })
		if round%10 < 3 {
			begin()
		}
		go func() {
			<-begun
			time.Sleep(wait)
			c.Process.Kill()
			close(killed)
		}()
		lines := bufio.NewScanner(out)
		for said := 1; lines.Scan(); said++ {
			if said == 2 {
				begin()
			}
			f := strings.Fields(lines.Text())
			if len(f) != 3 {
				break // the kill came while the line was written
			}
			n, err := strconv.ParseUint(f[1], 10, 64)
			switch {
			case f[0] == "ack" && err == nil && len(f[2]) == 64:
				acked[n] = f[2]
				total++
			case f[0] == "put":
				v, err := strconv.Atoi(f[2])
				if err != nil {
					t.Fatalf("the child printed %q", lines.Text())
				}
				puts[f[1]] = v
			case f[0] == "error":
				t.Fatalf("the child failed: %s", lines.Text())
			}
		}
		begin() // should it have ended by itself
		<-killed
		c.Wait() // its error is the kill
		if _, err := os.Stat(path); errors.Is(err, os.ErrNotExist) {
			if len(acked) > 0 {
				t.Fatalf("round %d: the file is gone", round)
			}
			continue
		}
		s := mustOpen(t, path, bolt.Options{})
		found := map[uint64]string{}
		for _, e := range storetest.All(t, s) {
			found[e.Number] = fmt.Sprintf("%x", e.Hash)
		}
		for n, h := range acked {
			if found[n] != h {
				t.Errorf("round %d: entry %d was acknowledged as %s, now it is %q", round, n, h, found[n])
			}
		}
		for key, value := range puts {
			got, err := s.Table("t").Get(t.Context(), key)
			n, _ := strconv.Atoi(string(got))
			if err != nil || n != value && n != value+7 { // the next put may have been durable before it was told
				t.Errorf("round %d: %s was put as %d, now it is %q, %v", round, key, value, got, err)
			}
		}
		clear(puts) // the next child counts from 0 again
		s.Close()
		if err := bolt.Check(t.Context(), path); err != nil {
			t.Fatalf("round %d: %v", round, err)
		}
	}
	t.Logf("%d kills, %d entries acknowledged", rounds, total)
	if total < rounds {
		t.Errorf("only %d entries in %d rounds: the children were killed before they wrote", total, rounds)
	}
}

// appendHurt appends 40 entries, makes writing fail, and tells what then
// happens, as lines.
func appendHurt(s *bolt.Store, hurt string) error {
	ctx := context.Background()
	draft := store.Draft{Stream: "run-1", Kind: "k", Version: 1, Body: bytes.Repeat([]byte("b"), 300)}
	for range 40 {
		if _, err := s.Append(ctx, draft); err != nil {
			return err
		}
	}
	if err := hurtWriting(hurt); err != nil {
		return fmt.Errorf("hurt: %w", err)
	}
	// Until the failing write is met: a limit may lie a few pages further on.
	var err error
	good := 40
	for ; err == nil && good < 2000; good++ {
		_, err = s.Append(ctx, draft, draft)
		good++
	}
	fmt.Println("appended", good-2, errors.Is(err, store.ErrFailed), err)
	_, err = s.Append(ctx, draft)
	fmt.Println("again", 0, errors.Is(err, store.ErrFailed), err)
	err = s.Table("t").Put(ctx, "k", nil)
	fmt.Println("put", 0, errors.Is(err, store.ErrFailed), err)
	n := 0
	err = s.Read(ctx, 1, func(store.Entry) error { n++; return nil })
	last, _ := s.Last()
	fmt.Println("read", n, err == nil && last == uint64(n), err)
	err = s.Close()
	fmt.Println("close", 0, err == nil, err)
	return nil
}

// hurtWriting makes this process's writes fail from now on.
func hurtWriting(how string) error {
	if size, ok := strings.CutPrefix(how, "file size "); ok {
		limit, err := strconv.ParseUint(size, 10, 64)
		if err != nil {
			return err
		}
		signal.Ignore(syscall.SIGXFSZ) // the write then fails with EFBIG
		return syscall.Setrlimit(syscall.RLIMIT_FSIZE, &syscall.Rlimit{Cur: limit, Max: limit})
	}
	const (
		load  = unix.BPF_LD | unix.BPF_W | unix.BPF_ABS
		equal = unix.BPF_JMP | unix.BPF_JEQ | unix.BPF_K
		least = unix.BPF_JMP | unix.BPF_JGE | unix.BPF_K
		give  = unix.BPF_RET | unix.BPF_K
		// Places in struct seccomp_data, seccomp(2).
		number, offset = 0, 16 + 3*8
	)
	refuse := func(e syscall.Errno) unix.SockFilter {
		return unix.SockFilter{Code: give, K: unix.SECCOMP_RET_ERRNO | uint32(e)}
	}
	allow := unix.SockFilter{Code: give, K: unix.SECCOMP_RET_ALLOW}
	nr := unix.SockFilter{Code: load, K: number}
	var filter []unix.SockFilter
	switch how {
	case "sync":
		filter = []unix.SockFilter{nr, {Code: equal, K: unix.SYS_FDATASYNC, Jf: 1}, refuse(syscall.EIO), allow}
	case "write":
		filter = []unix.SockFilter{nr, {Code: equal, K: unix.SYS_PWRITE64, Jf: 1}, refuse(syscall.ENOSPC), allow}
	case "head": // only the first two pages, which bbolt writes last
		filter = []unix.SockFilter{nr, {Code: equal, K: unix.SYS_PWRITE64, Jf: 3},
			{Code: load, K: offset}, {Code: least, K: 2 * 4096, Jt: 1}, refuse(syscall.EIO), allow}
	case "read-only file system":
		filter = []unix.SockFilter{nr, {Code: equal, K: unix.SYS_PWRITE64, Jf: 1}, refuse(syscall.EROFS), allow}
	case "growing":
		filter = []unix.SockFilter{nr, {Code: equal, K: unix.SYS_FTRUNCATE, Jf: 1}, refuse(syscall.ENOSPC), allow}
	default:
		return fmt.Errorf("unknown hurt %q", how)
	}
	program := unix.SockFprog{Len: uint16(len(filter)), Filter: &filter[0]}
	if err := unix.Prctl(unix.PR_SET_NO_NEW_PRIVS, 1, 0, 0, 0); err != nil {
		return err
	}
	// For all threads: the writer may be on any.
	_, _, errno := syscall.Syscall(unix.SYS_SECCOMP, unix.SECCOMP_SET_MODE_FILTER, unix.SECCOMP_FILTER_FLAG_TSYNC, uintptr(unsafe.Pointer(&program)))
	runtime.KeepAlive(filter)
	if errno != 0 {
		return errno
	}
	return nil
}

// When the kernel refuses a write or a sync, the store stops, shows what was
// durable, and is whole when it is opened again.
func TestFailingWrites(t *testing.T) {
	hurts := []string{"sync", "write", "head", "read-only file system", "growing"}
	for pages := 1; pages <= 34; pages += 3 {
		hurts = append(hurts, fmt.Sprint("file size ", pages*4096))
	}
	for _, hurt := range hurts {
		t.Run(hurt, func(t *testing.T) {
			if !strings.HasPrefix(hurt, "file size") && runtime.GOARCH != "amd64" && runtime.GOARCH != "arm64" {
				t.Skip("not on this machine: the filter of system calls is written for 64-bit ones")
			}
			path := filepath.Join(t.TempDir(), "store.db")
			c, out := startChild(t, path, hurt)
			watch := time.AfterFunc(time.Minute, func() { c.Process.Kill() })
			defer watch.Stop()
			text, err := io.ReadAll(out)
			if err := errors.Join(err, c.Wait()); err != nil {
				if strings.Contains(string(text), "error hurt:") {
					t.Skipf("not on this machine: system calls that can be filtered: %s", text)
				}
				t.Fatalf("the child: %v\n%s", err, text)
			}
			acked := -1
			lines := strings.Split(strings.TrimSpace(string(text)), "\n")
			for _, line := range lines {
				f := strings.Fields(line)
				if f[2] != "true" {
					t.Errorf("the child: %s", line)
				}
				if f[0] == "appended" {
					acked, _ = strconv.Atoi(f[1])
				}
				if n, _ := strconv.Atoi(f[1]); f[0] == "read" && n != acked {
					t.Errorf("%d entries were acknowledged, %d are read", acked, n)
				}
			}
			if len(lines) != 5 || acked < 40 {
				t.Fatalf("the child said\n%s", text)
			}
			if err := bolt.Check(t.Context(), path); err != nil {
				t.Fatal(err)
			}
			s := mustOpen(t, path, bolt.Options{})
			if n := len(storetest.All(t, s)); n != acked && n != acked+2 {
				t.Errorf("%d entries, want the %d acknowledged ones, or two more", n, acked)
			}
			if _, err := s.Append(t.Context(), store.Draft{Stream: "run-1", Kind: "k", Version: 1}); err != nil {
				t.Errorf("append after opening again: %v", err)
			}
		})
	}
}
