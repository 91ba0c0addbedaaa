// SPDX-License-Identifier: Apache-2.0

// Package seeded puts known faults into the core, one at a time, and asks
// whether the quick tests notice. A fault that nobody notices is a hole in the
// tests, not in the product. Nothing in the tree is changed: the edited file is
// laid over the real one while a test is built.
package seeded

import (
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

const root = "../.."

// A seed is one fault: Old, which stands once in File, becomes New, and at least
// one of Checks, tried in turn, has to fail.
type seed struct {
	Name, File, Old, New string
	Checks               []string
}

// checks are the quick tests by name: the arguments of go test.
var checks = map[string][]string{
	"procedure": {"./console/procedure"},
	"contact":   {"./device/contact"},
	"level":     {"./console/hoodlevel"},
	"scripts":   {"./tests/scenarios", "-run", "TestScripts|TestMadeUpRuns", "-args", "-runs=600"},
	"engine":    {"./console/session", "-run", "TestCable|TestReport|TestInput|TestVerdict|TestBox|TestStale|TestCuesAre|TestPassCue|TestReplay|TestNotes|TestBeside|TestWhatReaches|TestTakenUp|TestPush|TestBinOf|TestStopFor"},
	"waiting":   {"./console/session", "-run", "OneBreath|Trembling|SpeaksAs|DrillThatWaited|Stubborn|TwoPeople|NothingWaiting|WhereARun|AtMostThree|WelfareOf|ButtonOf|PowerCut|StopEnds|SeveralRuns|NameSaid|NoNebuliser|AfterAFail|ProofIsLeft|DriverIsNamed"},
	"undone":    {"./console/session", "-run", "UndoesAPass|LostAtTheStop|ByHandIsNot"},
	"saving":    {"./console/session", "-run", "HeldUp|NotSaved|Journal|ASleep|OneDrives|AnyoneStops|OthersSee|PassIsShown|PassCueIsDurable|OpenRunIsClosed|RefusesWhat|WhereARun"},
}

func text(t *testing.T, file string) string {
	t.Helper()
	b, err := os.ReadFile(filepath.Join(root, file))
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

// A seed that no longer fits the code tests nothing: it has to follow the code.
func TestSeedsFit(t *testing.T) {
	seen := map[string]bool{}
	for _, s := range seeds {
		if n := strings.Count(text(t, s.File), s.Old); n != 1 {
			t.Errorf("%s: the old text stands %d times in %s; write it anew so that it stands once", s.Name, n, s.File)
		}
		if s.Old == s.New || seen[s.Name] || len(s.Checks) == 0 {
			t.Errorf("%s: changes nothing, has the name of another, or is checked by nothing", s.Name)
		}
		seen[s.Name] = true
		for _, c := range s.Checks {
			if checks[c] == nil {
				t.Errorf("%s: there are no tests called %s", s.Name, c)
			}
		}
	}
	if len(seeds) < 60 {
		t.Errorf("%d seeded faults; there have to be 60", len(seeds))
	}
}

func TestSeedsAreCaught(t *testing.T) {
	asked := os.Getenv("TALLYHOOD_SEEDED")
	if asked == "" {
		t.Skip("only when asked: some 90 builds of the tests, many minutes (TALLYHOOD_SEEDED=all, or a pattern of names)")
	}
	if asked == "all" {
		asked = "."
	}
	only, err := regexp.Compile(asked)
	if err != nil {
		t.Fatal(err)
	}
	for _, s := range seeds {
		if !only.MatchString(s.Name) {
			continue
		}
		t.Run(strings.ReplaceAll(s.Name, " ", "_"), func(t *testing.T) {
			t.Parallel()
			dir := t.TempDir()
			edited := filepath.Join(dir, filepath.Base(s.File))
			if err := os.WriteFile(edited, []byte(strings.Replace(text(t, s.File), s.Old, s.New, 1)), 0o600); err != nil {
				t.Fatal(err)
			}
			real, err := filepath.Abs(filepath.Join(root, s.File))
			if err != nil {
				t.Fatal(err)
			}
			over, err := json.Marshal(map[string]map[string]string{"Replace": {real: edited}})
			if err != nil {
				t.Fatal(err)
			}
			overlay := filepath.Join(dir, "overlay.json")
			if err := os.WriteFile(overlay, over, 0o600); err != nil {
				t.Fatal(err)
			}
			for _, c := range s.Checks {
				args := append([]string{"test", "-overlay", overlay, "-vet=off", "-count=1", "-failfast", "-timeout=5m"}, checks[c]...)
				cmd := exec.CommandContext(t.Context(), "go", args...)
				cmd.Dir = root
				out, err := cmd.CombinedOutput()
				switch {
				case err == nil:
				case strings.Contains(string(out), "[build failed]") || strings.Contains(string(out), "[setup failed]"):
					t.Fatalf("the fault does not build:\n%s", out)
				case strings.Contains(string(out), "panic: test timed out"):
					t.Logf("%s hung", c) // a fault may do that, a busy machine too: it proves nothing
				default:
					t.Logf("caught by %s", c)
					return
				}
			}
			t.Errorf("nobody noticed: in %s\n%s\nbecame\n%s", s.File, s.Old, s.New)
		})
	}
}
