// SPDX-License-Identifier: Apache-2.0

package main

import (
	"bytes"
	"context"
	"encoding/base64"
	"encoding/json"
	"io"
	"log/slog"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"tallyhood/audio/silent"
	"tallyhood/console/backup"
	"tallyhood/console/demo"
	"tallyhood/console/procedure"
	"tallyhood/console/programme"
	"tallyhood/console/wire"
	"tallyhood/device"
	"tallyhood/device/clock"
	"tallyhood/device/sim"
	"tallyhood/store/bolt"
)

// A realBox is the daemon as on a wired board, so that records are no practice,
// with contacts that a test moves and a clock that goes fast.
type realBox struct {
	t     *testing.T
	p     *parts
	board *sim.Board
	base  string
	end   func()
}

func newRealBox(t *testing.T, dir string, speed float64) *realBox {
	t.Helper()
	ctx, cancel := context.WithCancel(t.Context())
	p := &parts{clk: clock.New(speed), log: slog.New(slog.NewTextHandler(t.Output(), &slog.HandlerOptions{Level: slog.LevelWarn})), conf: standard(), path: filepath.Join(dir, "store"), stop: cancel}
	p.conf.Pages.Address = "127.0.0.1:0"
	must := func(err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
	}
	var err error
	p.rules, err = ruleSets("")
	must(err)
	p.journal, err = bolt.Open(p.path, bolt.Options{})
	must(err)
	p.wall = clock.NewWall(time.Time{})
	if err := p.wall.Confirm(time.Date(2026, 9, 14, 9, 0, 0, 0, time.UTC)); err != nil && err != clock.ErrServed {
		t.Fatal(err)
	}
	board := sim.New(p.clk, true)
	// A busy machine may be late to hand a scripted edge over.
	p.board, p.grace, p.source = board, 10*scriptGrace, func() string { return device.KernelTime }
	p.health = newHealth(p.path, p.clk)
	p.erased, p.unsaved = backup.ErasedBeside(p.path), unsavedBeside(p.path)
	p.office, err = newOffice(ctx, p)
	must(err)
	p.notary, err = newNotary(p, p.office)
	must(err)
	p.safe, err = newSafe(p, p.notary.signer.Verifier().Box())
	must(err)
	p.office.after = p.notary.verdict
	p.sound = &sound{part: device.Part{Name: "sound", State: device.Absent}, player: silent.Player{}}
	p.player = p.sound.player
	r, w := io.Pipe()
	p.out = w
	done := make(chan error, 1)
	go func() {
		done <- console(ctx, options{sound: "off", speed: 1}, p)
		w.Close()
	}()
	b := &realBox{t: t, p: p, board: board, base: strings.TrimSuffix(address(t, r), "/")}
	ended := false
	b.end = func() {
		if ended {
			return
		}
		ended = true
		cancel()
		if err := <-done; err != nil {
			t.Errorf("the daemon ended with %v", err)
		}
		board.Close()
		if err := p.journal.Close(); err != nil {
			t.Error(err)
		}
	}
	t.Cleanup(b.end)
	return b
}

// ask sends a request to the HTTP interface and gives the answer.
func (b *realBox) ask(method, path string, body any) (int, []byte) {
	b.t.Helper()
	var in io.Reader
	if body != nil {
		j, err := json.Marshal(body)
		if err != nil {
			b.t.Fatal(err)
		}
		in = bytes.NewReader(j)
	}
	r, err := http.NewRequestWithContext(b.t.Context(), method, b.base+"/api/v1/"+path, in)
	if err != nil {
		b.t.Fatal(err)
	}
	r.Header.Set("Origin", b.base)
	if body != nil {
		r.Header.Set("Content-Type", "application/json")
	}
	resp, err := http.DefaultClient.Do(r)
	if err != nil {
		b.t.Fatal(err)
	}
	defer resp.Body.Close()
	out, err := io.ReadAll(resp.Body)
	if err != nil {
		b.t.Fatal(err)
	}
	return resp.StatusCode, out
}

func (b *realBox) good(method, path string, body any) []byte {
	b.t.Helper()
	code, out := b.ask(method, path, body)
	if code/100 != 2 {
		b.t.Fatalf("%s %s: %d %s", method, path, code, out)
	}
	return out
}

// pass makes a whole run that ends in a pass, as a tester would, and gives its id.
func (b *realBox) pass(person string) string {
	b.t.Helper()
	p := openTablet(b.t, b.base+"/")
	p.must(wire.Command{Do: "take_lease"})
	p.until("the lease", func(s wire.Snapshot) bool { return s.Driver == p.me })
	p.fence = p.last.Fence
	rules := b.p.rules["us-osha"]
	// A machine that stood still for longer makes a run not valid.
	for last := 5; ; last-- {
		run := b.tested(p, person, rules, nil)
		v := p.last.Run.Verdict
		if v.Outcome != procedure.Pass && (v.Outcome != procedure.NotValid || last == 1) {
			b.t.Fatalf("the run ended as %+v, %v", v, p.last.Run.Faults)
		}
		p.must(wire.Command{Do: "close"})
		if v.Outcome == procedure.Pass {
			p.c.Close()
			return run
		}
		b.t.Logf("not valid, %s: once more", v.Reason)
		p.until("no run", func(s wire.Snapshot) bool { return s.Run == nil })
	}
}

// nebuliser enters one that is filled and gives mist, by its mark.
func (b *realBox) nebuliser(mark, role string) {
	b.t.Helper()
	const by = "Agnes Thorley"
	at, _ := b.p.wall.Now()
	stamp, id, batch := at.Format(time.RFC3339), "n-"+strings.ToLower(mark), "s-"+strings.ToLower(mark)
	for _, f := range []programme.Fact{
		programme.SolutionEntered{ID: batch, Form: programme.SolutionForm{Agent: "bitter", Strength: role, Lot: "L-" + mark, Made: at.Format(time.DateOnly), Expires: at.AddDate(0, 1, 0).Format(time.DateOnly), Recipe: "as published", Source: "the rule", Who: by}, By: by},
		programme.NebuliserEntered{ID: id, Form: programme.NebuliserForm{Mark: mark, Role: role, Agent: "bitter"}, By: by},
		programme.NebuliserFilled{ID: id, Solution: batch, At: stamp, By: by},
		programme.MistChecked{ID: id, Good: true, At: stamp, By: by},
	} {
		if err := b.p.office.desk.Do(b.t.Context(), f); err != nil {
			b.t.Fatal(err)
		}
	}
}

// tested makes a whole run, whatever it ends in, and gives its id. Meanwhile, if
// not nil, is done once the run clock goes.
func (b *realBox) tested(p *tablet, person string, rules procedure.RuleSet, meanwhile func()) string {
	b.t.Helper()
	p.must(wire.Command{Do: "open", Open: &wire.Open{Wearer: person, Facepiece: "corrie-m", Rules: "us-osha", Agent: "bitter", Tester: "Agnes Thorley"}})
	p.until("a run", func(s wire.Snapshot) bool { return s.Run != nil })
	run := p.last.Run.Run
	for _, q := range p.last.Run.Questions {
		p.must(wire.Command{Do: string(procedure.DoAnswer), Input: procedure.Input{Question: q.ID, Yes: true}})
	}
	p.must(wire.Command{Do: string(procedure.DoAbstained), Input: procedure.Input{For: time.Hour}})
	p.must(wire.Command{Do: string(procedure.DoTake), Input: procedure.Input{Mark: "W1"}})
	played := make(chan error, 1)
	go func() { played <- b.board.Play(b.t.Context(), b.p.clk.Now(), demo.Script(rules)) }()
	p.until("the bin", func(s wire.Snapshot) bool {
		return s.Run != nil && (s.Run.Verdict != nil || s.Run.Stage == procedure.Clearing || s.Run.Stage == procedure.Donning)
	})
	if p.last.Run.Verdict == nil {
		p.must(wire.Command{Do: string(procedure.DoTake), Input: procedure.Input{Mark: "S1"}})
	}
	if meanwhile != nil {
		p.until("the run clock", func(s wire.Snapshot) bool {
			return s.Run != nil && (s.Run.Verdict != nil || s.Run.Stage == procedure.Running)
		})
		meanwhile()
	}
	p.until("a verdict", func(s wire.Snapshot) bool { return s.Run != nil && s.Run.Verdict != nil })
	if err := <-played; err != nil {
		b.t.Fatal(err)
	}
	return run
}

// The whole way of one record on a real box: entered, tested, printed, signed,
// proven from its card with nothing but the public key, and recalled when the
// nebuliser turns out to be clogged.
func TestFromPersonToCard(t *testing.T) {
	if testing.Short() {
		t.Skip("only when asked: a whole run takes some seconds (not with -short)")
	}
	t.Parallel()
	zbar, err := exec.LookPath("zbarimg")
	if err != nil {
		t.Skip("missing part: zbarimg of zbar-tools, which reads the code on the card")
	}
	dir := t.TempDir()
	b := newRealBox(t, dir, 60)
	const by = "Agnes Thorley"
	b.good("PUT", "policy", map[string]any{"by": by, "policy": programme.Policy{Rules: "us-osha", Site: "Harrowgate Stoneworks", Hoods: 1}})
	b.good("PUT", "facepieces/corrie-m", map[string]any{"by": by, "form": programme.FacepieceForm{
		Make: "Fellside", Model: "Corrie", Style: "half mask, rubber", Size: "medium", Type: procedure.HalfMask, FitFactor: 10, Pieces: []string{},
	}})
	var made struct{ ID string }
	if err := json.Unmarshal(b.good("POST", "people", map[string]any{"by": by, "form": programme.PersonForm{
		Name: "Tomasz Zieliński", Number: "HS-021", Languages: []string{"pl"}, Facepieces: []string{"corrie-m"},
	}}), &made); err != nil {
		t.Fatal(err)
	}
	// Without nebulisers in the list nothing would ask which one is strong.
	bare := openTablet(t, b.base+"/")
	bare.must(wire.Command{Do: "take_lease"})
	bare.until("the lease", func(s wire.Snapshot) bool { return s.Driver == bare.me })
	bare.fence = bare.last.Fence
	if why := bare.ask(wire.Command{Do: "open", Open: &wire.Open{Wearer: made.ID, Facepiece: "corrie-m", Rules: "us-osha", Agent: "bitter", Tester: by}}); why != "no_nebuliser_entered" {
		t.Errorf("a real run without nebulisers: %q", why)
	}
	bare.must(wire.Command{Do: "drop_lease"})
	bare.c.Close()
	b.nebuliser("W1", procedure.Weak)
	b.nebuliser("S1", procedure.Strong)
	run := b.pass(made.ID)
	// The views follow the verdict in the background.
	var got struct{ Run programme.Run }
	for late, giveUp := clock.New(1), 2*time.Minute; ; {
		code, out := b.ask("GET", "runs/"+run, nil)
		if code == http.StatusOK && json.Unmarshal(out, &got) == nil && got.Run.Outcome == procedure.Pass {
			break
		}
		if late.Now() > giveUp {
			t.Fatalf("the run does not come into the views: %d %s", code, out)
		}
		_ = late.Sleep(t.Context(), late.Now()+50*time.Millisecond)
	}
	if got.Run.Practice || got.Run.Person != made.ID {
		t.Fatalf("run %+v", got.Run)
	}

	// The card, its code read by another program, and the proof offline.
	card := filepath.Join(dir, "card.png")
	if err := os.WriteFile(card, b.good("GET", "runs/"+run+"/card.png", nil), 0o600); err != nil {
		t.Fatal(err)
	}
	claim, err := exec.Command(zbar, "--quiet", "--raw", card).Output()
	if err != nil {
		t.Fatalf("the code on the card cannot be read: %v", err)
	}
	key := b.p.notary.signer.Verifier().String()
	var out, errOut strings.Builder
	if code := command(t, &out, &errOut, "records", "check", "--key", key, strings.TrimSpace(string(claim))); code != 0 || !strings.Contains(out.String(), "It holds: pass, Fellside Corrie, size medium") {
		t.Errorf("exit code %d\n%s%s", code, out.String(), errOut.String())
	}
	wrong := []byte(strings.TrimSpace(string(claim)))
	wrong[len(wrong)/2] ^= 1
	out.Reset()
	if code := command(t, &out, &errOut, "records", "check", "--key", key, string(wrong)); code == 0 {
		t.Errorf("a code with one sign changed holds:\n%s", out.String())
	}

	// A signature stands under the record, and the print says so.
	b.good("POST", "runs/"+run+"/sign", map[string]any{
		"who": "tester", "record": got.Run.Hash, "by": by, "strokes": base64.StdEncoding.EncodeToString([]byte(`[[[0.1,0.5],[0.4,0.2],[0.9,0.7]]]`)),
	})
	pdf := b.good("GET", "runs/"+run+"/record.pdf", nil)
	read := exec.Command("pdftotext", "-layout", "-", "-")
	read.Stdin = bytes.NewReader(pdf)
	text, err := read.Output()
	if err != nil {
		t.Skipf("missing part: pdftotext of poppler-utils, which reads the record back: %v", err)
	}
	for _, want := range []string{"Tomasz Zieliński", "HS-021", "Fellside", "Corrie", "medium", by, "PASS", "Harrowgate Stoneworks", got.Run.Hash[:16], "tallyhood.head/1"} {
		if !strings.Contains(string(text), want) {
			t.Errorf("the printed record does not hold %q:\n%s", want, text)
		}
	}
	if bytes.Contains(pdf, []byte("PRACTICE")) || strings.Contains(string(text), "PRACTICE") {
		t.Error("a real record is printed as practice")
	}

	// A recalled run has no card any more, and its old card is found out here.
	if err := b.p.office.desk.Do(t.Context(), programme.RunsRecalled{Runs: []string{run}, Reason: "nebuliser found clogged", By: by, At: "2026-09-14T10:00:00Z", Quality: "confirmed"}); err != nil {
		t.Fatal(err)
	}
	if code, answer := b.ask("GET", "runs/"+run+"/card.png", nil); code != http.StatusConflict {
		t.Errorf("a recalled run has a card: %d %s", code, answer)
	}
	checked := b.good("POST", "evidence/check", map[string]any{"claim": strings.TrimSpace(string(claim))})
	if !bytes.Contains(checked, []byte(`"holds":false`)) || !bytes.Contains(checked, []byte("not valid any more")) {
		t.Errorf("the box says of its own card: %s", checked)
	}

	// The stopped box: everything is whole, heads are signed, names are sealed.
	b.end()
	out.Reset()
	if code := command(t, &out, &errOut, "records", "verify", "--store", b.p.path); code != 0 {
		t.Errorf("verify: %d\n%s%s", code, out.String(), errOut.String())
	}
	t.Log(out.String())
	out.Reset()
	if code := command(t, &out, &errOut, "records", "list", "--store", b.p.path); code != 0 || !strings.Contains(out.String(), "Tomasz Zieliński") {
		t.Errorf("list: %d\n%s%s", code, out.String(), errOut.String())
	}
	out.Reset()
	if code := command(t, &out, &errOut, "records", "export", "--store", b.p.path); code != 0 || strings.Contains(out.String(), "Zieliński") {
		t.Errorf("the journal holds the name in clear, or cannot be read: %d", code)
	}
}

// What is entered about the kit reaches the run that has it at once.
func TestKitThatChangesReachesTheRun(t *testing.T) {
	t.Parallel()
	b := newRealBox(t, t.TempDir(), 1)
	const by = "Agnes Thorley"
	do := func(facts ...programme.Fact) {
		t.Helper()
		if err := b.p.office.desk.Do(t.Context(), facts...); err != nil {
			t.Fatal(err)
		}
	}
	at, _ := b.p.wall.Now()
	day := at.Format(time.DateOnly)
	b.good("PUT", "policy", map[string]any{"by": by, "policy": programme.Policy{Rules: "us-osha", Site: "Harrowgate Stoneworks", Hoods: 1}})
	b.good("PUT", "facepieces/corrie-m", map[string]any{"by": by, "form": programme.FacepieceForm{
		Make: "Fellside", Model: "Corrie", Style: "half mask, rubber", Size: "medium", Type: procedure.HalfMask, FitFactor: 10, Pieces: []string{},
	}})
	var made struct{ ID string }
	if err := json.Unmarshal(b.good("POST", "people", map[string]any{"by": by, "form": programme.PersonForm{Name: "Idris Penhallow", Facepieces: []string{"corrie-m"}}}), &made); err != nil {
		t.Fatal(err)
	}
	stamp := at.Format(time.RFC3339)
	fill := programme.NebuliserFilled{ID: "n-1", Solution: "s-1", At: stamp, By: by}
	do(programme.SolutionEntered{ID: "s-1", Form: programme.SolutionForm{Agent: "bitter", Strength: procedure.Weak, Lot: "L-1", Made: day, Expires: at.AddDate(0, 1, 0).Format(time.DateOnly), Recipe: "as published", Source: "the rule", Who: by}, By: by},
		programme.NebuliserEntered{ID: "n-1", Form: programme.NebuliserForm{Mark: "W1", Role: procedure.Weak, Agent: "bitter"}, By: by})
	do(fill)
	do(programme.MistChecked{ID: "n-1", Good: true, At: stamp, By: by})

	p := openTablet(t, b.base+"/")
	p.must(wire.Command{Do: "take_lease"})
	p.until("the lease", func(s wire.Snapshot) bool { return s.Driver == p.me })
	p.fence = p.last.Fence
	p.must(wire.Command{Do: "open", Open: &wire.Open{Wearer: made.ID, Facepiece: "corrie-m", Rules: "us-osha", Agent: "bitter", Tester: by}})
	p.until("a run", func(s wire.Snapshot) bool { return s.Run != nil })
	p.must(wire.Command{Do: string(procedure.DoTake), Input: procedure.Input{Mark: "W1", By: by}})
	p.until("its mark", func(s wire.Snapshot) bool { return s.Run.Kit != nil && s.Run.Kit.Mark == "W1" })
	do(fill)
	p.until("that it is asked for anew", func(s wire.Snapshot) bool { return s.Run.Kit != nil && s.Run.Kit.Mark == "" })
	p.c.Close()
}

func command(t *testing.T, out, errOut io.Writer, args ...string) int {
	t.Helper()
	return run(t.Context(), args, out, errOut)
}
