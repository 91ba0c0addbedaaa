// SPDX-License-Identifier: Apache-2.0

package speaker

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"regexp"
	"strconv"
	"strings"
)

// A Card is a sound card that the kernel knows.
type Card struct {
	Index  int
	ID     string // short name, such as "Headphones"
	Driver string
	Name   string
	Plays  bool // it has an output
}

// Device is what aplay calls the card, with conversions where it needs them.
func (c Card) Device() string { return "plughw:CARD=" + c.ID }

// Where the kernel lists cards and what they can (Documentation/sound/designs/
// procfs.rst of the Linux kernel).
const (
	procCards = "/proc/asound/cards"
	procPCM   = "/proc/asound/pcm"
)

// Cards lists the sound cards; none is no error, nor is a kernel without sound.
func Cards() ([]Card, error) {
	cards, err := os.ReadFile(procCards)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, fmt.Errorf("list the sound cards: %w", err)
	}
	// Without this list no card is known to play.
	pcm, _ := os.ReadFile(procPCM)
	return parseCards(string(cards), string(pcm)), nil
}

var (
	cardLine = regexp.MustCompile(`^\s*([0-9]+) \[(.*?)\s*\]: (.*?) - (.*)$`)
	output   = regexp.MustCompile(`: playback [0-9]+\s*(?::|$)`)
)

func parseCards(cards, pcm string) []Card {
	plays := map[int]bool{}
	for line := range strings.Lines(pcm) {
		// 00-00: name : name : playback 8 : capture 1
		number, _, _ := strings.Cut(line, "-")
		if n, err := strconv.Atoi(number); err == nil && output.MatchString(line) {
			plays[n] = true
		}
	}
	var all []Card
	for line := range strings.Lines(cards) {
		m := cardLine.FindStringSubmatch(strings.TrimRight(line, "\r\n"))
		if m == nil {
			continue // the second line of a card, or none
		}
		n, err := strconv.Atoi(m[1])
		if err != nil {
			continue
		}
		all = append(all, Card{Index: n, ID: m[2], Driver: m[3], Name: strings.TrimSpace(m[4]), Plays: plays[n]})
	}
	return all
}
