// SPDX-License-Identifier: Apache-2.0

package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"slices"
	"strings"
	"text/tabwriter"
	"time"

	"github.com/spf13/cobra"

	"tallyhood/audio/speaker"
	"tallyhood/console/session"
	"tallyhood/console/wiring"
	"tallyhood/device"
	"tallyhood/device/bulb"
	"tallyhood/device/bulb/curve"
	"tallyhood/device/clock"
	"tallyhood/device/contact"
	"tallyhood/device/gpio"
)

// errNotSound is the answer of a check that found something wrong.
var errNotSound = errors.New("check-board: something is wrong with this box; see above")

func checkBoardCommand() *cobra.Command {
	var o options
	var watch time.Duration
	var guide, asJSON, calibrate, sounds bool
	c := &cobra.Command{
		Use:   "check-board",
		Short: "show what the box has, what its contacts do, and whether a wire is crossed",
		Long: `check-board opens the contacts of the configuration file by itself, so stop the
console first (its Inputs page shows the same while it runs). It prints what was
loaded, is absent or failed, the GPIO chips and their lines, the sound cards, the
clock, the storage and what each contact did. Its exit code is 1 when something
that is configured does not work.`,
		Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			conf, err := readConfig(o.config)
			if err != nil {
				return err
			}
			o.over(&conf, c.Flags().Changed)
			if calibrate {
				return calibrateBulb(c.Context(), o, conf, c.OutOrStdout())
			}
			if sounds {
				return testSounds(c.Context(), o.sound, conf, c.OutOrStdout())
			}
			if guide && asJSON {
				return badInput{errors.New("check-board: --guide asks a person, so it has no --json")}
			}
			return checkBoard(c.Context(), o, conf, checkOptions{watch, guide, asJSON}, c.OutOrStdout(), c.ErrOrStderr())
		},
	}
	f := c.Flags()
	f.StringVar(&o.config, "config", "", "configuration file")
	f.StringVar(&o.board, "board", "sim", "the board: sim or wired")
	f.StringVar(&o.simSocket, "sim-socket", "", "Unix socket on which the simulated board takes lines NAME 0|1")
	f.StringVar(&o.storePath, "store", "", "the store's file, for its room and speed")
	f.DurationVar(&watch, "watch", 2*time.Second, "how long to watch the contacts")
	f.BoolVar(&guide, "guide", false, "ask for each contact in turn and find out whether a wire is crossed")
	f.BoolVar(&asJSON, "json", false, "as JSON")
	f.BoolVar(&calibrate, "calibrate-bulb", false, "learn the bulb from ten flat squeezes, and keep it beside the store")
	f.BoolVar(&sounds, "sounds", false, "play every tone, and phrases in every language, and say what each is")
	f.StringVar(&o.sound, "sound", "auto", "where --sounds plays: auto, or a file ending in .wav")
	o.speed = 1
	return c
}

type checkOptions struct {
	watch         time.Duration
	guide, asJSON bool
}

// calibrateBulb learns the bulb's parameters from ten flat squeezes.
func calibrateBulb(ctx context.Context, o options, conf config, out io.Writer) (err error) {
	p := parts{clk: clock.New(1), log: slog.New(slog.DiscardHandler), out: out, conf: conf}
	if conf.Store.File == "" {
		return badInput{errors.New("check-board: --store is needed, or store.file: what is learned is kept beside it")}
	}
	p.path = conf.Store.File
	if err := p.openBoard(o); err != nil {
		return err
	}
	defer func() { err = errors.Join(err, p.board.Close()) }()
	if p.gauge == nil {
		return badInput{errors.New("check-board: no contact is configured to come from a bulb sensor")}
	}
	fmt.Fprintln(out, "Leave the bulb alone for some seconds. Then squeeze it flat and let it fill fully, ten times, at the pace of a test.\nSomebody has to watch that each squeeze is flat: ten equally shallow ones cannot be told from flat ones.")
	ctx, cancel := context.WithTimeout(ctx, session.CalibrateFor)
	defer cancel()
	when := ""
	if wall, quality := clock.NewWall(time.Time{}).Now(); quality != clock.Unset {
		when = wall.Format(time.RFC3339)
	}
	told := func(p bulb.Progress) {
		if p.Stage == curve.Squeezing {
			fmt.Fprintf(out, "%d of %d\n", p.Done, curve.Squeezes)
		}
	}
	if _, err := p.gauge.Calibrate(ctx, when, told); err != nil {
		return fmt.Errorf("check-board: %w", err)
	}
	_, err = fmt.Fprintln(out, "The bulb is learned. Check it by eye: five flat squeezes count five, five half ones count none.")
	return err
}

// A boardReport is what check-board found.
type boardReport struct {
	Parts      []device.Part   `json:"parts"`
	Chips      []gpio.Chip     `json:"chips"`
	Cards      []speaker.Card  `json:"cards"`
	TimeSource string          `json:"time_source"`
	Wall       string          `json:"wall"`
	Quality    clock.Quality   `json:"quality"`
	WriteMS    float64         `json:"write_ms"`
	Contacts   []contactReport `json:"contacts"`
	Lost       []string        `json:"lost"`
	Sound      bool            `json:"sound"` // nothing that is configured has failed
}

// A contactReport is what one contact did while it was watched.
type contactReport struct {
	Line     device.Line `json:"line"`
	Closed   bool        `json:"closed"`
	Known    bool        `json:"known"` // its level could be read
	Edges    int         `json:"edges"`
	Rejected int         `json:"rejected"`
	Presses  int         `json:"presses"`
	Doubtful int         `json:"doubtful"`
}

func checkBoard(ctx context.Context, o options, conf config, c checkOptions, out, errOut io.Writer) (err error) {
	// The report says what is wrong; the log would only say it twice.
	p := parts{clk: clock.New(1), log: slog.New(slog.DiscardHandler), out: out, conf: conf}
	path, remove, err := storeFile(conf.Store.File)
	if err != nil {
		return err
	}
	defer remove()
	p.path = path
	if err := p.openBoard(o); err != nil {
		return err
	}
	defer func() { err = errors.Join(err, p.board.Close()) }()

	w := newWatch(p.board, p.clk)
	if c.guide {
		fmt.Fprintln(out, "Keep your hands off pedal and button, then do what is asked. Interrupt to give up.")
		w.guide(ctx, out)
	} else {
		w.run(ctx, p.clk.Now()+c.watch, nil)
	}
	p.health = newHealth(path, p.clk)
	took, writeErr := p.health.box.WriteTime(p.clk.Now)
	health := p.health.look()
	r := boardReport{
		Parts: append(p.board.Report(), health...), TimeSource: p.source(), Contacts: w.report(), Lost: w.lost,
		WriteMS: float64(took.Microseconds()) / 1000,
	}
	if writeErr != nil {
		r.Parts = append(r.Parts, device.Part{Name: "writing", State: device.Failed, Reason: writeErr.Error()})
	}
	wall, quality := clock.NewWall(time.Time{}).Now()
	r.Wall, r.Quality = wall.Format(time.RFC3339), quality
	var chipErr, cardErr error
	r.Chips, chipErr = gpio.Probe()
	r.Cards, cardErr = speaker.Cards()
	for what, e := range map[string]error{"GPIO chips": chipErr, "sound cards": cardErr} {
		if e != nil {
			r.Parts = append(r.Parts, device.Part{Name: what, State: device.Failed, Reason: e.Error()})
		}
	}
	r.Sound = !slices.ContainsFunc(r.Parts, func(p device.Part) bool { return p.State == device.Failed })
	if c.guide && !w.check.Passed() {
		r.Sound = false
	}
	if c.asJSON {
		e := json.NewEncoder(out)
		e.SetIndent("", "  ")
		err = e.Encode(r)
	} else {
		err = r.print(out, w)
	}
	if err == nil && !r.Sound {
		err = errNotSound
	}
	return err
}

// A watched board counts what its contacts do.
type watched struct {
	board    device.Board
	clk      *clock.Clock
	panel    *contact.Panel
	at       time.Duration
	contacts map[device.Line]*contactReport
	lost     []string
	check    *wiring.Check
}

func newWatch(b device.Board, clk *clock.Clock) *watched {
	w := &watched{board: b, clk: clk, at: clk.Now(), contacts: map[device.Line]*contactReport{}, lost: []string{}}
	for _, l := range b.Lines() {
		w.contacts[l] = &contactReport{Line: l}
	}
	w.panel = contact.NewPanel(w.contacts[device.TasteNC] != nil, w.at)
	return w
}

// lateBy is how far behind the clock the contacts are judged.
const lateBy = 10 * time.Millisecond

// run watches until an instant, the end of ctx, or until done says so.
func (w *watched) run(ctx context.Context, until time.Duration, done func() bool) {
	for w.clk.Now() < until && (done == nil || !done()) {
		wake, stop := w.clk.Wake(min(until, w.clk.Now()+50*time.Millisecond))
		select {
		case e, ok := <-w.board.Edges():
			if !ok {
				stop()
				return
			}
			w.edge(e)
		case l, ok := <-w.board.Lost():
			if ok {
				w.lost = append(w.lost, l.Reason)
			}
		case <-wake:
		case <-ctx.Done():
			stop()
			return
		}
		stop()
		w.to(w.clk.Now() - lateBy)
	}
}

func (w *watched) edge(e device.Edge) {
	w.at = max(w.at, e.At)
	c := w.contacts[e.Line]
	if c == nil {
		return // such as device.Push, which is no contact
	}
	found := !c.Known // the first is the level that it was found with
	c.Closed, c.Known = e.Closed, true
	if found && !e.Closed {
		return // as the panel takes it already
	}
	if !found {
		c.Edges++
	}
	switch e.Line {
	case device.Squeeze:
		w.panel.SqueezeEdge(w.at, e.Closed)
	case device.Step:
		w.panel.StepEdge(w.at, e.Closed)
	case device.Taste, device.TasteNO:
		w.panel.ReportEdge(w.at, e.Closed)
	case device.TasteNC:
		w.panel.RestEdge(w.at, e.Closed)
	}
	if w.check != nil {
		w.check.Edge(w.at, string(e.Line), e.Closed)
	}
}

func (w *watched) to(at time.Duration) {
	w.at = max(w.at, at)
	w.panel.Advance(w.at)
	for _, s := range w.panel.Take() {
		c := w.contacts[w.of(s.Source)]
		switch s.Kind {
		case contact.Pressed:
			c.Presses++
		case contact.Doubtful:
			c.Doubtful++
		}
	}
	if w.check != nil {
		w.check.Advance(w.at)
	}
}

func (w *watched) of(s contact.Source) device.Line {
	switch {
	case s == contact.Squeeze:
		return device.Squeeze
	case s == contact.Step:
		return device.Step
	case w.panel.Supervised():
		return device.TasteNO
	}
	return device.Taste
}

func (w *watched) report() []contactReport {
	out := []contactReport{}
	for _, l := range w.board.Lines() {
		c := *w.contacts[l]
		for _, s := range []contact.Source{contact.Squeeze, contact.Step, contact.Report} {
			if w.of(s) == l {
				c.Rejected = w.panel.NoiseOf(s)
			}
		}
		out = append(out, c)
	}
	return out
}

// asks are the requests of the guided check in words.
var asks = map[string]string{
	wiring.AskRest: "Hands off: pedal, step key and button at rest.", wiring.PressBulb: "Press the pedal (or squeeze the bulb) and hold it.",
	wiring.LetBulb: "Let go of it.", wiring.PressStep: "Press the step key and hold it.", wiring.LetStep: "Let go of it.",
	wiring.PressButton: "Press the wearer's button and hold it.", wiring.LetButton: "Let go of it.",
}

// findings of the guided check in words; %s are the contacts, those that were
// asked for first.
var findings = map[string]string{
	wiring.MovedInstead: "another contact moved than the one that was asked for: %s", wiring.MovedToo: "more than one contact moved: %s",
	wiring.DidNotMove: "nothing moved: %s", wiring.PairHalf: "only one contact of the button's pair moved: %s",
	wiring.Swapped: "the two contacts of the button are swapped: %s", wiring.Stuck: "closed at rest: %s", wiring.NotLetGo: "did not come back: %s",
	wiring.CableOpen: "both contacts of the button are open: cable out or broken: %s", wiring.CableShort: "both contacts of the button are closed: short: %s",
	wiring.Noisy: "does not come to rest: %s",
}

// guide asks a person for one contact after another.
func (w *watched) guide(ctx context.Context, out io.Writer) {
	w.run(ctx, w.clk.Now()+200*time.Millisecond, nil) // the levels that they have
	var lines []string
	levels := map[string]bool{}
	for _, l := range w.board.Lines() {
		lines = append(lines, string(l))
		levels[string(l)] = w.contacts[l].Closed
	}
	w.check = wiring.New(lines, levels, w.at)
	said, found := "", 0
	w.run(ctx, 1<<62, func() bool {
		for _, f := range w.check.Found()[found:] {
			fmt.Fprintln(out, "  wrong: "+finding(f))
			found++
		}
		if ask := w.check.Ask(); ask != said {
			said = ask
			if text := asks[ask]; text != "" {
				fmt.Fprintln(out, text)
			}
		}
		return w.check.Ask() == wiring.Ended
	})
	w.check.Stop()
	if w.check.Passed() {
		fmt.Fprintln(out, "No wire is crossed.")
	} else {
		fmt.Fprintln(out, "The wires did not pass.")
	}
}

func finding(f wiring.Finding) string {
	text, ok := findings[f.Key]
	if !ok {
		text = f.Key + ": %s"
	}
	return fmt.Sprintf(text, strings.Join(f.Lines, ", "))
}

func (r boardReport) print(out io.Writer, w *watched) error {
	t := tabwriter.NewWriter(out, 0, 0, 2, ' ', 0)
	say := func(format string, args ...any) { fmt.Fprintf(t, format+"\n", args...) }
	say("\nParts")
	for _, p := range r.Parts {
		say("  %s\t%s\t%s", p.State, p.Name, p.Reason)
	}
	say("\nContacts\tlevel\tedges\trejected\tpresses\tdoubtful")
	for _, c := range r.Contacts {
		level := "open"
		switch {
		case !c.Known:
			level = "unknown"
		case c.Closed:
			level = "closed"
		}
		say("  %s\t%s\t%d\t%d\t%d\t%d", c.Line, level, c.Edges, c.Rejected, c.Presses, c.Doubtful)
	}
	if no, nc := w.contacts[device.TasteNO], w.contacts[device.TasteNC]; nc != nil && no.Known && nc.Known && !w.panel.Sound() {
		say("  the wearer's button: its pair is neither pressed nor released: cable or wiring")
	}
	for _, l := range r.Lost {
		say("  edges may be missing: %s", l)
	}
	say("\nGPIO chips")
	for _, c := range r.Chips {
		say("  %s\t%s\t%d lines", c.Name, c.Label, len(c.Lines))
		for _, l := range c.Lines {
			if l.Name != "" || l.Used {
				used := "free"
				if l.Used {
					used = "used by " + l.Consumer
				}
				say("    %d\t%s\t%s", l.Offset, l.Name, used)
			}
		}
	}
	if len(r.Chips) == 0 {
		say("  none")
	}
	say("\nSound cards")
	for _, c := range r.Cards {
		say("  %s", c)
	}
	if len(r.Cards) == 0 {
		say("  none")
	}
	say("\nTime\t%s\t%s; edges by %s", r.Wall, r.Quality, r.TimeSource)
	say("Storage\t%.1f ms\tfor a small durable write", r.WriteMS)
	return t.Flush()
}
