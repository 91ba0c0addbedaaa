// SPDX-License-Identifier: Apache-2.0

package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"log/slog"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"time"

	"github.com/spf13/cobra"

	"tallyhood/audio"
	"tallyhood/console/archive"
	"tallyhood/console/backup"
	"tallyhood/console/procedure"
	"tallyhood/console/session"
	"tallyhood/console/web"
	"tallyhood/console/wire"
	"tallyhood/device"
	"tallyhood/device/bulb"
	"tallyhood/device/clock"
	"tallyhood/device/sim"
	"tallyhood/store"
	"tallyhood/store/bolt"
)

// options are the flags of serve.
type options struct {
	config, board, simSocket, addr, storePath, capture, sound, rulesFile, pages string
	speed                                                                       float64
	single, demo                                                                bool
}

// over puts the flags that were given over the configuration file.
func (o options) over(c *config, given func(string) bool) {
	for flag, to := range map[string]struct{ from, to *string }{
		"board": {&o.board, &c.Board.Kind}, "addr": {&o.addr, &c.Pages.Address}, "store": {&o.storePath, &c.Store.File},
		"rules-dir": {&o.rulesFile, &c.Rules.Folder},
	} {
		if given(flag) {
			*to.to = *to.from
		}
	}
}

func serveCommand() *cobra.Command {
	var o options
	c := &cobra.Command{
		Use:   "serve",
		Short: "run the console",
		Args:  cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			conf, err := readConfig(o.config)
			if err != nil {
				return err
			}
			o.over(&conf, c.Flags().Changed)
			return serve(c.Context(), o, conf, c.OutOrStdout(), c.ErrOrStderr())
		},
	}
	f := c.Flags()
	f.StringVar(&o.config, "config", "", "configuration file; flags go before what it says")
	f.StringVar(&o.board, "board", "sim", "the board: sim (simulated) or wired (the contacts of the configuration file)")
	f.StringVar(&o.simSocket, "sim-socket", "", "Unix socket on which the simulated board takes lines NAME 0|1; with it the people of the demo may be tested")
	f.StringVar(&o.addr, "addr", "127.0.0.1:8080", "address of the pages; loopback only for now")
	f.StringVar(&o.storePath, "store", "", "the store's file; a wired board needs it, without it the simulated one uses a temporary one, which is lost")
	f.StringVar(&o.capture, "record-capture", "", "write what the board sees in each run to this capture file; later runs get the next free number, none is written over")
	f.StringVar(&o.sound, "sound", "auto", "sound: auto, off, or a file ending in .wav")
	f.StringVar(&o.rulesFile, "rules-dir", "", "folder with further rule sets, one JSON file each")
	f.StringVar(&o.pages, "pages", "", "folder with the pages instead of the built-in ones, while developing")
	f.Float64Var(&o.speed, "speed", 1, "run the clock so many times faster; practice only")
	f.BoolVar(&o.single, "single-contact", false, "the simulated button is one contact, unsupervised")
	f.BoolVar(&o.demo, "demo", false, "play one scripted run of the demo people")
	return c
}

// serve starts everything, says where, and stops in order when ctx ends.
func serve(ctx context.Context, o options, conf config, out, errOut io.Writer) (err error) {
	log := slog.New(slog.NewTextHandler(errOut, &slog.HandlerOptions{Level: conf.Logging.Level}))
	if !(o.speed > 0 && o.speed <= 1000) {
		return fmt.Errorf("--speed %v: from above 0 to 1000", o.speed)
	}
	if host, _, err := net.SplitHostPort(conf.Pages.Address); err != nil || !loopback(host) {
		return fmt.Errorf("address %s: only a loopback address for now, until people can sign in", conf.Pages.Address)
	}
	if conf.Board.Kind == "wired" && conf.Store.File == "" {
		return badInput{errors.New(`a wired board makes real records and needs a store that stays: write file = "/var/lib/tallyhood/store" under [store] in the configuration, or give --store FILE`)}
	}
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	p := parts{clk: clock.New(o.speed), log: log, out: out, conf: conf, stop: stop}
	path, remove, err := storeFile(conf.Store.File)
	if err != nil {
		return err
	}
	defer remove()
	p.path, p.erased = path, backup.ErasedBeside(path)
	err = p.work(ctx, o)
	var l locked
	if errors.As(err, &l) && ctx.Err() == nil {
		return p.tellLocked(ctx, l, err)
	}
	return err
}

// work opens what the console stands on and runs it until ctx ends. Its error is
// a locked where the records cannot be opened.
func (p *parts) work(ctx context.Context, o options) (err error) {
	// The board comes before any file is open: what finds its chips wants to
	// be alone with them.
	if err := p.openBoard(o); err != nil {
		return err
	}
	defer func() { err = errors.Join(err, p.board.Close()) }()
	if p.rules, err = ruleSets(p.conf.Rules.Folder); err != nil {
		return err
	}
	if p.journal, err = bolt.Open(p.path, bolt.Options{}); err != nil {
		return lockedByFile(p.path, err)
	}
	defer func() { err = errors.Join(err, p.journal.Close()) }()
	if err := p.openRecords(ctx); err != nil {
		return lockedByContent(err)
	}
	if p.notary, err = newNotary(p, p.office); err != nil {
		return lockedByKey(p.path, err)
	}
	if p.safe, err = newSafe(p, p.notary.signer.Verifier().Box()); err != nil {
		return err
	}
	p.office.after = p.notary.verdict
	p.office.invented = p.sim != nil && (o.demo || o.simSocket != "" || p.conf.Store.File == "")
	if p.sim != nil && (o.demo || p.conf.Store.File == "") {
		if err := p.office.furnish(ctx); err != nil {
			return err
		}
	}
	if err := p.openSound(o); err != nil {
		return err
	}
	defer func() { err = errors.Join(err, p.sound.close()) }()
	return console(ctx, o, p)
}

// openRecords reads what the store holds, as far as the console stands on it.
func (p *parts) openRecords(ctx context.Context) error {
	floor, err := newest(ctx, p.journal)
	if err != nil {
		return err
	}
	p.wall = clock.NewWall(floor)
	p.health = newHealth(p.path, p.clk)
	// What a power cut left open is closed first, so that the views have it.
	if err := session.CloseOpenRuns(ctx, p.journal); err != nil {
		return err
	}
	p.unsaved = unsavedBeside(p.path)
	if err := p.unsaved.void(ctx, p.journal); err != nil {
		return err
	}
	if err := p.unsaved.reserve(); err != nil {
		p.log.Warn("no room is kept for a note of runs that cannot be saved", "err", err)
	}
	p.office, err = newOffice(ctx, p)
	return err
}

// newest is the wall time of the newest run whose clock could be trusted; zero
// when there is none. However many came after it under a clock that could not,
// it is the floor of the box's clock. Only the first entry of each run is read.
func newest(ctx context.Context, j store.Journal) (time.Time, error) {
	const step = 64
	before, infos := uint64(0), []store.StreamInfo(nil)
	for {
		var err error
		if infos, err = j.Streams(ctx, before, step); err != nil {
			return time.Time{}, fmt.Errorf("time of the newest record: %w", err)
		}
		for _, info := range infos {
			before = info.First
			if !archive.IsRun(info.Stream) {
				continue
			}
			if t, err := trusted(ctx, j, info.Stream); err != nil || !t.IsZero() {
				return t, err
			}
		}
		if len(infos) < step {
			return time.Time{}, nil
		}
	}
}

// trusted is when a run was opened, zero where its clock could not be trusted.
func trusted(ctx context.Context, j store.Journal, run string) (at time.Time, err error) {
	first := errors.New("one is enough")
	err = j.ReadStream(ctx, run, func(e store.Entry) error {
		d, err := procedure.Decode(e.Kind, e.Version, e.Body)
		if err != nil {
			return err
		}
		o, ok := d.Fact.(procedure.RunOpened)
		if t, err := time.Parse(time.RFC3339, o.Wall); ok && err == nil && clock.Quality(o.WallQuality).Trusted() {
			at = t
		}
		return first
	})
	if err != nil && !errors.Is(err, first) {
		return time.Time{}, fmt.Errorf("time of the newest record: run %s: %w", run, err)
	}
	return at, nil
}

// parts are what the console is wired from.
type parts struct {
	conf    config
	rules   map[string]procedure.RuleSet
	clk     *clock.Clock
	wall    *clock.Wall
	journal store.Store
	path    string
	erased  *backup.Erased // the list beside the store
	unsaved *unsaved       // beside the store too
	board   device.Board
	sim     *sim.Board      // nil for a wired board
	gauge   *bulb.Source    // nil without a bulb sensor
	learner session.Learner // nil where no pedal can be learned
	grace   time.Duration   // by which edges may arrive late
	source  func() string   // of the instants of edges
	player  audio.Player
	sound   *sound
	health  *boxHealth
	office  *office
	notary  *notary
	safe    *safe
	stop    context.CancelFunc // ends the daemon in order
	log     *slog.Logger
	out     io.Writer

	practised string // why records are practice; empty for real ones
}

// The grace of a board. A script dates its edges before it can hand them over,
// a person's press at a simulated board arrives as it is made. The kernel dates
// an edge in its interrupt and queues it right after; what is queued is read
// before the loop goes on, so that only the time between the two is to cover.
const (
	simGrace    = 2 * time.Millisecond
	scriptGrace = 30 * time.Millisecond
	wiredGrace  = 5 * time.Millisecond
)

func (p *parts) openBoard(o options) error {
	if p.conf.Board.Kind == "wired" {
		if o.speed != 1 || o.demo || o.simSocket != "" {
			return errors.New("--speed, --demo and --sim-socket are for the simulated board")
		}
		return p.openWired()
	}
	if err := oneOf("--board", p.conf.Board.Kind, "sim", "wired"); err != nil {
		return err
	}
	p.sim = sim.New(p.clk, !o.single)
	p.board, p.grace, p.source = p.sim, simGrace, func() string { return device.ArrivalTime }
	if o.demo {
		p.grace = scriptGrace
	}
	if o.simSocket != "" {
		if err := p.sim.Listen(o.simSocket, p.log); err != nil {
			return errors.Join(err, p.sim.Close())
		}
	}
	return nil
}

// practice says why records of this daemon are practice.
func (p *parts) practice(o options) string {
	switch {
	case p.sim == nil:
		return ""
	case o.speed != 1:
		return fmt.Sprintf("simulated board, clock %g times as fast", o.speed)
	}
	return "simulated board"
}

func (p *parts) boardName() string {
	if p.sim != nil {
		return "simulated board"
	}
	return "wired board"
}

// notSaved notes runs for the next start.
func (p *parts) notSaved(runs []string) error {
	err := p.unsaved.add(runs)
	if err != nil {
		p.log.Error("runs that are not saved whole could not be noted; do not take a pass of them for one", "runs", runs, "err", err)
	}
	return err
}

func console(ctx context.Context, o options, p *parts) error {
	practice := p.practice(o)
	p.practised = practice
	var server *web.Server
	watchdog := newWatchdog(p.log)
	conf := session.Config{
		Clock: p.clk, Wall: p.wall, Board: p.board, BoardName: p.boardName(), Learner: p.learner, Bulb: p.calibrator(), Journal: p.journal, Player: p.player, Phrase: p.sound.phrase, Dial: p.sound.turned(),
		Speak: func(wearer string) { p.sound.speak(p.conf.Sound.Languages, wearer) },
		Rules: p.rules, Register: p.office, Ended: p.office.ended, Unsaved: p.notSaved, Practice: practice, Strict: true, Drill: newDrill,
		TimeSource: p.source(), Capture: o.capture, Grace: p.grace, Version: version, Log: p.log,
		Publish: func(s wire.Snapshot) { server.Publish(s) }, Beat: watchdog.beat, Parts: func() []device.Part { return append(p.sound.parts(), p.health.parts()...) },
	}
	if p.sim != nil {
		conf.Sim = p.sim
	}
	ses, err := session.New(ctx, conf)
	if err != nil {
		return err
	}
	p.office.spoiled = ses.Spoiled
	p.safe.hold = ses.Hold
	var folder fs.FS
	if o.pages != "" {
		folder = os.DirFS(o.pages)
	}
	real := clock.New(1) // of the network, whatever the speed of the box's clock
	books, err := p.books(ctx, ses)
	if err != nil {
		return err
	}
	server, err = web.New(web.Config{
		API:     books,
		Session: ses, Journal: p.journal, Choices: p.office.choices, Names: p.office.names, Sim: p.sim != nil, Version: version, Folder: folder, Log: p.log, Box: p.box,
		Tick: func(d time.Duration) (<-chan struct{}, func()) {
			return p.clk.Wake(p.clk.Now() + time.Duration(float64(d)*p.clk.Speed()))
		},
		Wall: clock.Moment, Now: real.Now, Boards: p.boards(),
	})
	if err != nil {
		return err
	}
	listener, err := net.Listen("tcp", p.conf.Pages.Address)
	if err != nil {
		return fmt.Errorf("pages: %w", err)
	}
	for _, part := range p.report() {
		p.log.Info("part", "name", part.Name, "state", part.State, "reason", part.Reason)
	}

	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	ended := make(chan error, 1)
	go func() { ended <- ses.Run(ctx) }()
	web := &http.Server{Handler: server.Handler(), ReadHeaderTimeout: 5 * time.Second, IdleTimeout: time.Minute, MaxHeaderBytes: 16 << 10}
	served := make(chan error, 1)
	go func() { served <- web.Serve(listener) }()
	go p.health.watch(ctx, p.log)
	go p.office.clean(ctx, real, p.erased, p.safe.quiet)
	go watchdog.run(ctx, p.clk)
	go p.relay(real, server.Board).Run(ctx)

	fmt.Fprintf(p.out, "tallyhood is ready on http://%s/\n", listener.Addr())
	if practice != "" {
		fmt.Fprintf(p.out, "  practice: %s; no record made here is a test record\n", practice)
	}
	fmt.Fprintln(p.out, "  this box answers on its own loopback address alone; people cannot sign in yet")
	watchdog.ready(listener.Addr().String())
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
	watchdog.stopping()
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

// isFolder says whether a path is that of a folder, as far as it may be looked at:
// what may not be is left to whoever opens it.
func isFolder(path string) bool {
	info, err := os.Stat(path)
	return err == nil && info.IsDir() || err != nil && !errors.Is(err, os.ErrNotExist)
}

// storeFile is where the store is, and what to do with it at the end. One in a
// temporary folder is for the simulated board alone, whose records are practice.
func storeFile(path string) (string, func(), error) {
	if path != "" {
		if dir := filepath.Dir(path); !isFolder(dir) {
			return "", nil, badInput{fmt.Errorf("the store %s cannot be kept: there is no folder %s. Make it first (mkdir -p), with the rights for whoever runs the console, or name another file with --store or under [store] in the configuration", path, dir)}
		}
		return path, func() {}, nil
	}
	dir, err := os.MkdirTemp("", "tallyhood-")
	if err != nil {
		return "", nil, fmt.Errorf("temporary store: %w", err)
	}
	return filepath.Join(dir, "store"), func() { _ = os.RemoveAll(dir) }, nil
}
