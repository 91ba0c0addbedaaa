// SPDX-License-Identifier: Apache-2.0

package vm

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"net"
	"slices"
	"strings"
	"sync"
	"time"
)

// A Hand moves the input lines of the GPIO controller from outside the guest,
// and sees the levels that the guest gives to the outputs. A change takes about
// 0.3 ms.
type Hand struct {
	chip    string
	mu      sync.Mutex // one command at a time
	c       net.Conn
	answers chan string

	out     sync.Mutex
	levels  map[int]bool // outputs that the guest has set
	changes int
}

func newHand(c net.Conn, chip string) (*Hand, error) {
	h := &Hand{chip: chip, c: c, answers: make(chan string, 1), levels: map[int]bool{}}
	go h.listen()
	return h, h.ask("irq_intercept_out " + chip)
}

// listen sorts answers from news of outputs, which may come between.
func (h *Hand) listen() {
	defer close(h.answers)
	for in := bufio.NewScanner(h.c); in.Scan(); {
		line := in.Text()
		var n int
		switch {
		case strings.HasPrefix(line, "IRQ "):
			word := ""
			if _, err := fmt.Sscanf(line, "IRQ %s %d", &word, &n); err == nil {
				h.out.Lock()
				if on := word == "raise"; h.levels[n] != on {
					h.changes++
					h.levels[n] = on
				}
				h.out.Unlock()
			}
		default:
			h.answers <- line
		}
	}
}

func (h *Hand) ask(command string) error {
	h.mu.Lock()
	defer h.mu.Unlock()
	if _, err := io.WriteString(h.c, command+"\n"); err != nil {
		return err
	}
	select {
	case a, ok := <-h.answers:
		if !ok {
			return ErrEnded
		}
		if !strings.HasPrefix(a, "OK") {
			return errors.New(a)
		}
		return nil
	case <-time.After(20 * time.Second):
		return errors.New("QEMU does not move a line")
	}
}

// Set gives a line its level.
func (h *Hand) Set(line int, high bool) error {
	level := 0
	if high {
		level = 1
	}
	return h.ask(fmt.Sprintf("set_irq_in %s unnamed-gpio-in %d %d", h.chip, line, level))
}

// Output is the level of a line that the guest drives, and how many changes of
// all of them were seen so far.
func (h *Hand) Output(line int) (high bool, changes int) {
	h.out.Lock()
	defer h.out.Unlock()
	return h.levels[line], h.changes
}

// A Move is a level that a line takes, at an instant from the beginning of the
// sequence that it belongs to.
type Move struct {
	At   time.Duration `json:"at"`
	Line int           `json:"line"`
	High bool          `json:"high"`
}

// Play makes moves, each as close after its instant as the machine allows, and
// tells by how much the latest of them was late.
func (h *Hand) Play(moves []Move) (late time.Duration, err error) {
	start := time.Now()
	for _, m := range moves {
		if d := m.At - time.Since(start); d > 0 {
			time.Sleep(d)
		}
		if err := h.Set(m.Line, m.High); err != nil {
			return late, err
		}
		late = max(late, time.Since(start)-m.At)
	}
	return late, nil
}

// Bounce is a change of a line with chatter: up to toggles changes there and
// back within a time, the last of them to the level meant.
func Bounce(r *rand.Rand, at time.Duration, line int, high bool, toggles int, within time.Duration) []Move {
	moves := []Move{{At: at, Line: line, High: high}}
	for range toggles {
		moves = append(moves, Move{}, Move{})
	}
	var instants []time.Duration
	for range 2 * toggles {
		instants = append(instants, time.Duration(r.Int64N(int64(within))))
	}
	slices.Sort(instants)
	for i, d := range instants {
		moves[i+1] = Move{At: at + d, Line: line, High: high == (i%2 == 1)}
	}
	return moves
}
