// SPDX-License-Identifier: Apache-2.0

package main

import (
	"errors"
	"fmt"
	"log/slog"
	"os"
	"strings"
	"time"

	"github.com/pelletier/go-toml/v2"

	"tallyhood/audio/voice"
	"tallyhood/console/relay"
	"tallyhood/device"
)

// A config is what differs between boxes; it never steers a run. The file that
// the package installs has every key with its meaning.
type config struct {
	Pages struct {
		Address string `toml:"address"`
	} `toml:"pages"`
	Store struct {
		File string `toml:"file"`
	} `toml:"store"`
	Board struct {
		Kind  string `toml:"kind"`  // sim or wired
		Edges string `toml:"edges"` // kernel or periph
	} `toml:"board"`
	Contact map[string]contactConfig `toml:"contact"`
	Bulb    bulbConfig               `toml:"bulb"`
	Output  map[string]outputConfig  `toml:"output"`
	Sound   soundConfig              `toml:"sound"`
	Rules   struct {
		Folder string `toml:"folder"`
	} `toml:"rules"`
	Gallery struct {
		Boards []galleryBoard `toml:"boards"`
	} `toml:"gallery"`
	Logging struct {
		Level slog.Level `toml:"level"`
	} `toml:"logging"`
}

// A contactConfig says what brings one contact.
type contactConfig struct {
	By     string `toml:"by"` // lines, pedal or bulb
	Line   string `toml:"line"`
	Chip   string `toml:"chip"`
	Offset *int   `toml:"offset"`
	Pull   string `toml:"pull"`   // up, down or none
	Active string `toml:"active"` // low or high
	Device string `toml:"device"` // of a pedal: vendor:product
	Key    int    `toml:"key"`    // of a pedal: key code
}

// A galleryBoard is another box that the Gallery shows.
type galleryBoard struct {
	Name    string `toml:"name"`
	Address string `toml:"address"`
}

// places are the boxes that the Gallery watches.
func (c *config) places() []relay.Place {
	var out []relay.Place
	for _, b := range c.Gallery.Boards {
		out = append(out, relay.Place{Name: b.Name, Address: b.Address})
	}
	return out
}

type bulbConfig struct {
	Bus     string `toml:"bus"`
	Address int    `toml:"address"`
	Sensor  string `toml:"sensor"`
}

// An outputConfig is a lamp, a buzzer or another thing that is switched.
type outputConfig struct {
	Line   string `toml:"line"`
	Chip   string `toml:"chip"`
	Offset *int   `toml:"offset"`
	Active string `toml:"active"`
	Shows  string `toml:"shows"` // due, run or stop
	Pulse  length `toml:"pulse"`
}

type soundConfig struct {
	Device    string   `toml:"device"`
	Mixer     string   `toml:"mixer"`
	Level     int      `toml:"level"` // per cent
	Languages []string `toml:"languages"`
	Speed     int      `toml:"speed"` // of speech, words a minute
	Speak     bool     `toml:"speak"`
}

// A length of time is written as Go writes it: 250ms, 1.5s.
type length time.Duration

func (l *length) UnmarshalText(b []byte) error {
	d, err := time.ParseDuration(string(b))
	if err != nil || d < 0 {
		return fmt.Errorf("%q is no length of time such as 250ms", b)
	}
	*l = length(d)
	return nil
}

// standard is the configuration of a box that has no file.
func standard() config {
	var c config
	c.Pages.Address = "127.0.0.1:8080"
	c.Board.Kind, c.Board.Edges = "sim", "kernel"
	c.Sound.Level, c.Sound.Speak, c.Sound.Languages, c.Sound.Speed = 80, true, []string{"en"}, voice.Usual
	return c
}

// readConfig reads a configuration file over the standard one. What it does not
// know is an error with its place.
func readConfig(path string) (config, error) {
	c := standard()
	if path == "" {
		return c, nil
	}
	b, err := os.ReadFile(path)
	if err != nil {
		return c, badInput{fmt.Errorf("configuration: %w", err)}
	}
	d := toml.NewDecoder(strings.NewReader(string(b)))
	d.DisallowUnknownFields()
	if err := d.Decode(&c); err != nil {
		var unknown *toml.StrictMissingError
		if errors.As(err, &unknown) && len(unknown.Errors) > 0 {
			row, col := unknown.Errors[0].Position()
			return c, badInput{fmt.Errorf("%s: line %d, column %d: no such key: %s", path, row, col, strings.Join(unknown.Errors[0].Key(), "."))}
		}
		var wrong *toml.DecodeError
		if errors.As(err, &wrong) {
			row, col := wrong.Position()
			return c, badInput{fmt.Errorf("%s: line %d, column %d: %s", path, row, col, wrong.Error())}
		}
		return c, badInput{fmt.Errorf("%s: %w", path, err)}
	}
	if err := c.check(); err != nil {
		return c, badInput{fmt.Errorf("%s: %w", path, err)}
	}
	return c, nil
}

// oneOf says what is wrong with a word that must be one of several.
func oneOf(what, got string, of ...string) error {
	for _, w := range of {
		if got == w {
			return nil
		}
	}
	return fmt.Errorf("%s is %q; it can be %s", what, got, strings.Join(of, ", "))
}

// check finds what the parts themselves would not find.
func (c *config) check() error {
	errs := []error{
		oneOf("board.kind", c.Board.Kind, "sim", "wired"),
		oneOf("board.edges", c.Board.Edges, "kernel", "periph"),
	}
	for name, k := range c.Contact {
		at := "contact." + name
		known := false
		for _, l := range device.Lines() {
			known = known || string(l) == name
		}
		if !known {
			errs = append(errs, fmt.Errorf("%s: there is no such contact; the contacts are %v", at, device.Lines()))
		}
		errs = append(errs, oneOf(at+".by", k.By, "", "lines", "pedal", "bulb"), oneOf(at+".pull", k.Pull, "", "up", "down", "none"), oneOf(at+".active", k.Active, "", "low", "high"))
		switch k.By {
		case "", "lines":
			errs = append(errs, pinned(at, k.Line, k.Chip, k.Offset))
		case "pedal":
			if name != string(device.Squeeze) && name != string(device.Step) {
				errs = append(errs, fmt.Errorf("%s: a pedal can bring squeeze and step; the wearer's button needs a wire", at))
			}
			if k.Key < 0 || k.Key > 0x2ff {
				errs = append(errs, fmt.Errorf("%s.key is %d; it can be from 1 to 767", at, k.Key))
			}
		case "bulb":
			if name != string(device.Squeeze) {
				errs = append(errs, fmt.Errorf("%s: the bulb's sensor brings squeeze alone", at))
			}
			if c.Bulb.Sensor == "" {
				errs = append(errs, fmt.Errorf("%s: bulb.sensor is missing", at))
			}
		}
	}
	for name, o := range c.Output {
		at := "output." + name
		errs = append(errs, pinned(at, o.Line, o.Chip, o.Offset), oneOf(at+".active", o.Active, "", "low", "high"),
			oneOf(at+".shows", o.Shows, string(device.LampDue), string(device.LampRun), string(device.LampStop)))
	}
	if err := relay.Check(c.places()); err != nil {
		errs = append(errs, fmt.Errorf("gallery.boards: %w", err))
	}
	if c.Sound.Level < 0 || c.Sound.Level > 100 {
		errs = append(errs, fmt.Errorf("sound.level is %d; it can be from 0 to 100", c.Sound.Level))
	}
	if c.Sound.Speed < voice.Slow || c.Sound.Speed > voice.Fast {
		errs = append(errs, fmt.Errorf("sound.speed is %d; it can be from %d to %d words a minute", c.Sound.Speed, voice.Slow, voice.Fast))
	}
	return errors.Join(errs...)
}

// pinned wants a line's name, or the chip's label and the line's number on it.
func pinned(at, line, chip string, offset *int) error {
	switch {
	case line != "" && (chip != "" || offset != nil):
		return fmt.Errorf("%s: either line, or chip and offset", at)
	case line == "" && (chip == "" || offset == nil):
		return fmt.Errorf("%s: line is missing (or chip and offset)", at)
	case offset != nil && *offset < 0:
		return fmt.Errorf("%s.offset is %d", at, *offset)
	}
	return nil
}
