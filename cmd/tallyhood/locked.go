// SPDX-License-Identifier: Apache-2.0

package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"net"
	"net/http"
	"os"
	"time"

	"tallyhood/console/web"
	"tallyhood/store"
)

// A locked is why the records cannot be opened. The daemon does not end over it:
// it would be started again and again, and whoever stands before the box would
// see a page that does not load.
type locked struct {
	error
	kind string // as package web has them
	file string // that it is about; empty: the store's
}

// Unwrap gives the reason itself.
func (l locked) Unwrap() error { return l.error }

// lockedByFile is for an error of opening a store. One that another process has
// open, and a place without a file, are for who started the daemon to see to.
func lockedByFile(path string, err error) error {
	if _, none := os.Lstat(path); none != nil || errors.Is(err, store.ErrBusy) {
		return err
	}
	err = lockedByContent(err)
	var l locked
	if errors.As(err, &l) {
		return l
	}
	return locked{error: err, kind: web.LockUnreadable}
}

// lockedByKey is for an error of reading the box's key. One that was never there
// is made, so its place can be to blame as well: that is for who started the daemon.
func lockedByKey(store string, err error) error {
	path := keyBeside(store)
	if _, none := os.Lstat(path); none != nil {
		return err
	}
	kind := web.LockKey
	if _, unread := os.ReadFile(path); unread != nil {
		kind = web.LockKeyUnreadable
	}
	return locked{err, kind, path}
}

// lockedByContent is for an error of reading an open store: damage is locked,
// everything else stays as it is.
func lockedByContent(err error) error {
	switch {
	case errors.Is(err, store.ErrDamaged):
		return locked{error: err, kind: web.LockDamaged}
	case errors.Is(err, store.ErrNewer):
		return locked{error: err, kind: web.LockNewer}
	}
	return err
}

// tellLocked serves pages that say what is wrong and what to do,
// until ctx ends. Nothing else is open: no board, no store. All is what ended the
// start, the reason in it.
func (p *parts) tellLocked(ctx context.Context, l locked, all error) error {
	what := "records"
	if l.file != "" {
		what = "key"
	}
	p.log.Error(what+" locked: no run can be opened; the pages say what to do", "err", all)
	handler, err := web.Locked(web.Lock{Kind: l.kind, Detail: l.Error(), File: cmp.Or(l.file, p.path)}, nil)
	if err != nil {
		return err
	}
	listener, err := net.Listen("tcp", p.conf.Pages.Address)
	if err != nil {
		return fmt.Errorf("pages: %w", err)
	}
	server := &http.Server{Handler: handler, ReadHeaderTimeout: 5 * time.Second, IdleTimeout: time.Minute, MaxHeaderBytes: 16 << 10}
	served := make(chan error, 1)
	go func() { served <- server.Serve(listener) }()
	watchdog := newWatchdog(p.log)
	feeding, cancel := context.WithCancel(ctx)
	defer cancel()
	go watchdog.still(feeding, p.clk)
	fmt.Fprintf(p.out, "tallyhood cannot open its "+what+"; http://%s/ says what to do\n", listener.Addr())
	watchdog.locked(listener.Addr().String())
	select {
	case err = <-served:
		err = fmt.Errorf("pages: %w", err)
	case <-ctx.Done():
	}
	watchdog.stopping()
	stop, done := context.WithTimeout(context.WithoutCancel(ctx), 3*time.Second)
	defer done()
	return errors.Join(err, server.Shutdown(stop))
}
