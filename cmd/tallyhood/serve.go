// SPDX-License-Identifier: Apache-2.0

package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"log/slog"
	"maps"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"time"

	"github.com/spf13/cobra"

	"tallyhood/audio"
	"tallyhood/audio/file"
	"tallyhood/audio/silent"
	"tallyhood/audio/speaker"
	"tallyhood/console/demo"
	"tallyhood/console/procedure"
	"tallyhood/console/session"
	"tallyhood/console/web"
	"tallyhood/console/wire"
	"tallyhood/device/clock"
	"tallyhood/device/sim"
	"tallyhood/store"
	"tallyhood/store/bolt"
)

// options are the flags of serve.
type options struct {
	board, simSocket, addr, storePath, capture, sound, rulesFile, pages string
	speed                                                               float64
	single, demo                                                        bool
}

func serveCommand() *cobra.Command {
	var o options
	c := &cobra.Command{
		Use:   "serve",
		Short: "run the console",
		Args:  cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			return serve(c.Context(), o, c.OutOrStdout(), c.ErrOrStderr())
		},
	}
	f := c.Flags()
	f.StringVar(&o.board, "board", "sim", "the board: sim (simulated; more kinds come with the hardware)")
	f.StringVar(&o.simSocket, "sim-socket", "", "Unix socket on which the simulated board takes lines NAME 0|1")
	f.StringVar(&o.addr, "addr", "127.0.0.1:8080", "address of the pages; loopback only for now")
	f.StringVar(&o.storePath, "store", "", "the store's file; without it a temporary one is used and lost")
	f.StringVar(&o.capture, "record-capture", "", "write what the board sees in each run to this capture file")
	f.StringVar(&o.sound, "sound", "auto", "sound: auto, off, or a file ending in .wav")
	f.StringVar(&o.rulesFile, "rules-dir", "", "folder with further rule sets, one JSON file each")
	f.StringVar(&o.pages, "pages", "", "folder with the pages instead of the built-in ones, while developing")
	f.Float64Var(&o.speed, "speed", 1, "run the clock so many times faster; practice only")
	f.BoolVar(&o.single, "single-contact", false, "the simulated button is one contact, unsupervised")
	f.BoolVar(&o.demo, "demo", false, "play one scripted run of the demo people")
	return c
}

// serve starts everything, says where, and stops in order when ctx ends.
func serve(ctx context.Context, o options, out, errOut io.Writer) (err error) {
	log := slog.New(slog.NewTextHandler(errOut, nil))
	if o.board != "sim" {
		return fmt.Errorf("board %q is not known; there is sim", o.board)
	}
	if !(o.speed > 0 && o.speed <= 1000) {
		return fmt.Errorf("--speed %v: from above 0 to 1000", o.speed)
	}
	if host, _, err := net.SplitHostPort(o.addr); err != nil || !loopback(host) {
		return fmt.Errorf("--addr %s: only a loopback address for now, until people can sign in", o.addr)
	}
	rules, err := ruleSets(o.rulesFile)
	if err != nil {
		return err
	}
	clk := clock.New(o.speed)

	path, remove, err := storeFile(o.storePath)
	if err != nil {
		return err
	}
	defer remove()
	journal, err := bolt.Open(path, bolt.Options{})
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, journal.Close()) }()

	board := sim.New(clk, !o.single)
	defer board.Close()
	if o.simSocket != "" {
		if err := board.Listen(o.simSocket, log); err != nil {
			return err
		}
	}
	player, soundPart, err := playerFor(o, clk, log)
	if err != nil {
		return err
	}
	defer player.Close()

	return console(ctx, o, parts{rules: rules, clk: clk, journal: journal, path: path, board: board, player: player, soundPart: soundPart, log: log, out: out})
}

// parts are what the console is wired from.
type parts struct {
	rules     map[string]procedure.RuleSet
	clk       *clock.Clock
	journal   store.Store
	path      string
	board     *sim.Board
	player    audio.Player
	soundPart string
	log       *slog.Logger
	out       io.Writer
}

// The grace of the simulated board: a script dates its edges before it can
// hand them over, a person's press arrives as it is made.
const (
	simGrace    = 2 * time.Millisecond
	scriptGrace = 30 * time.Millisecond
)

func console(ctx context.Context, o options, p parts) error {
	practice := "simulated board"
	if o.speed != 1 {
		practice = fmt.Sprintf("simulated board, clock %g times as fast", o.speed)
	}
	grace := simGrace
	if o.demo {
		grace = scriptGrace
	}
	var server *web.Server
	ses, err := session.New(ctx, session.Config{
		Clock: p.clk, Wall: func() (string, string) {
			t, q := p.clk.Wall()
			return t.Format(time.RFC3339), string(q)
		},
		Board: p.board, BoardName: "simulated board", Sim: p.board, Journal: p.journal, Player: p.player,
		Rules: p.rules, People: demo.People(), Facepieces: demo.Facepieces(), Practice: practice, Strict: true,
		TimeSource: "arrival time", Capture: o.capture, Grace: grace, Version: version, Log: p.log,
		Publish: func(s wire.Snapshot) { server.Publish(s) },
	})
	if err != nil {
		return err
	}
	var folder fs.FS
	if o.pages != "" {
		folder = os.DirFS(o.pages)
	}
	server, err = web.New(web.Config{
		Session: ses, Journal: p.journal, Choices: choices(p.rules), Sim: true, Version: version, Folder: folder, Log: p.log,
		Tick: func(d time.Duration) (<-chan struct{}, func()) {
			return p.clk.Wake(p.clk.Now() + time.Duration(float64(d)*p.clk.Speed()))
		},
		Wall: func() time.Time { t, _ := p.clk.Wall(); return t },
	})
	if err != nil {
		return err
	}
	listener, err := net.Listen("tcp", o.addr)
	if err != nil {
		return fmt.Errorf("pages: %w", err)
	}
	for _, part := range p.board.Report() {
		p.log.Info("part", "name", part.Name, "state", part.State, "reason", part.Reason)
	}
	p.log.Info("part", "name", "sound", "state", p.soundPart)
	p.log.Info("part", "name", "store", "state", "loaded", "file", p.path)

	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	ended := make(chan error, 1)
	go func() { ended <- ses.Run(ctx) }()
	web := &http.Server{Handler: server.Handler(), ReadHeaderTimeout: 5 * time.Second, IdleTimeout: time.Minute, MaxHeaderBytes: 16 << 10}
	served := make(chan error, 1)
	go func() { served <- web.Serve(listener) }()

	fmt.Fprintf(p.out, "tallyhood is ready on http://%s/\n", listener.Addr())
	fmt.Fprintf(p.out, "  practice: %s; no record made here is a test record\n", practice)
	fmt.Fprintln(p.out, "  this box answers on its own loopback address alone; people cannot sign in yet")
	if o.demo {
		go playDemo(ctx, ses, p)
	}

	select {
	case err = <-served:
		err = fmt.Errorf("pages: %w", err)
	case err = <-ended:
		ended <- err
		if errors.Is(err, context.Canceled) {
			err = nil
		}
	}
	cancel()
	<-ended
	server.Close()
	stop, done := context.WithTimeout(context.WithoutCancel(ctx), 3*time.Second)
	defer done()
	return errors.Join(err, web.Shutdown(stop))
}

func loopback(host string) bool {
	ip := net.ParseIP(host)
	return host == "localhost" || ip != nil && ip.IsLoopback()
}

func ruleSets(dir string) (map[string]procedure.RuleSet, error) {
	rules, err := procedure.Rules()
	if err != nil || dir == "" {
		return rules, err
	}
	if _, err := os.ReadDir(dir); err != nil {
		return nil, fmt.Errorf("--rules-dir: %w", err)
	}
	more, err := procedure.LoadRules(os.DirFS(dir), rules)
	if err != nil {
		return nil, err
	}
	for id, r := range more {
		if _, taken := rules[id]; taken {
			return nil, fmt.Errorf("rule set %s is built in and cannot be replaced", id)
		}
		rules[id] = r
	}
	return rules, nil
}

// storeFile is where the store is, and what to do with it at the end.
func storeFile(path string) (string, func(), error) {
	if path != "" {
		return path, func() {}, nil
	}
	dir, err := os.MkdirTemp("", "tallyhood-")
	if err != nil {
		return "", nil, fmt.Errorf("temporary store: %w", err)
	}
	return filepath.Join(dir, "store"), func() { _ = os.RemoveAll(dir) }, nil
}

func playerFor(o options, clk *clock.Clock, log *slog.Logger) (audio.Player, string, error) {
	switch {
	case filepath.Ext(o.sound) == ".wav":
		p, err := file.Create(o.sound, clk.Now)
		return p, "loaded: into a file", err
	case o.sound == "off":
		return silent.Player{}, "absent: switched off", nil
	case o.sound != "auto":
		return nil, "", fmt.Errorf("--sound %s: auto, off or a file ending in .wav", o.sound)
	case o.speed != 1:
		return silent.Player{}, "absent: the clock does not run at the speed of sound cards", nil
	}
	if _, err := exec.LookPath("aplay"); err != nil {
		return silent.Player{}, "absent: no aplay", nil
	}
	if cards, err := os.ReadDir("/proc/asound"); err != nil || len(cards) == 0 {
		return silent.Player{}, "absent: no sound card", nil
	}
	return speaker.New(speaker.Options{Clock: clk, Log: log}), "loaded", nil
}

func choices(rules map[string]procedure.RuleSet) wire.Choices {
	c := wire.Choices{Agents: []string{"sweet", "bitter"}, Testers: demo.Testers()}
	for _, p := range demo.People() {
		c.People = append(c.People, wire.Choice{ID: p.ID, Label: p.Name})
	}
	for _, id := range slices.Sorted(maps.Keys(rules)) {
		c.Rules = append(c.Rules, wire.Choice{ID: id, Label: rules[id].Name})
	}
	for _, f := range demo.Facepieces() {
		line := wire.Choice{ID: f.ID, Label: f.Make + " " + f.Model + ", " + f.Size + " (" + f.Style + ")", Refused: map[string]string{}}
		for id, r := range rules {
			if ok, why := r.MayTest(f.Type, f.FitFactor); !ok {
				line.Refused[id] = why
			}
		}
		c.Facepieces = append(c.Facepieces, line)
	}
	return c
}
