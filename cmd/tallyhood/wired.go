// SPDX-License-Identifier: Apache-2.0

package main

import (
	"context"
	"fmt"
	"maps"
	"math"
	"path/filepath"
	"slices"
	"time"

	"tallyhood/console/session"
	"tallyhood/device"
	"tallyhood/device/board"
	"tallyhood/device/bulb"
	"tallyhood/device/bulb/curve"
	"tallyhood/device/gpio"
	"tallyhood/device/pedal"
)

// pedalsFile, beside the store, keeps which pedal brings which contact.
const pedalsFile = "pedals.json"

// openWired makes the board of the contacts and outputs that are configured.
func (p *parts) openWired() error {
	opened, err := p.wired()
	if err != nil {
		return badInput{fmt.Errorf("wired board: %w", err)}
	}
	p.board, p.grace, p.source = opened, wiredGrace, opened.TimeSource
	return nil
}

func (p *parts) wired() (*board.Board, error) {
	o := board.Options{Log: p.log}
	lines := gpio.Options{Clock: p.clk, Log: p.log, Edges: p.conf.Board.Edges}
	keys := map[device.Line]pedal.Key{}
	for _, name := range slices.Sorted(maps.Keys(p.conf.Contact)) {
		k, l := p.conf.Contact[name], device.Line(name)
		switch k.By {
		case "pedal":
			key, err := pedal.ParseKey(k.Device, k.Key)
			if k.Device == "" && k.Key == 0 {
				key, err = pedal.Key{}, nil // to be learned
			}
			if err != nil {
				return nil, fmt.Errorf("contact.%s: %w", name, err)
			}
			keys[l] = key
		case "bulb":
			s, err := p.bulb()
			if err != nil {
				return nil, err
			}
			o.Sources = append(o.Sources, s)
		default:
			lines.Contacts = append(lines.Contacts, gpio.Contact{
				Line: l, Place: place(k.Line, k.Chip, k.Offset), Pull: pull(k.Pull), ActiveLow: k.Active != "high",
			})
		}
	}
	outputs := gpio.OutputOptions{Clock: p.clk, Log: p.log}
	for _, name := range slices.Sorted(maps.Keys(p.conf.Output)) {
		out := p.conf.Output[name]
		outputs.Outputs = append(outputs.Outputs, gpio.Output{
			Name: name, Place: place(out.Line, out.Chip, out.Offset), ActiveLow: out.Active == "low",
			Shows: device.Lamp(out.Shows), Pulse: time.Duration(out.Pulse),
		})
	}
	if len(lines.Contacts) > 0 {
		if _, err := gpio.Init(); err != nil {
			p.log.Warn("GPIO chips", "err", err)
		}
		o.Sources = append(o.Sources, gpio.New(lines))
	}
	if len(keys) > 0 {
		s, err := p.pedals(keys)
		if err != nil {
			return nil, err
		}
		o.Sources = append(o.Sources, s)
	} else {
		o.Parts = append(o.Parts, device.Part{Name: "pedal", State: device.Absent, Reason: "no contact is configured to come from one"})
	}
	if p.conf.Bulb.Sensor == "" {
		o.Parts = append(o.Parts, device.Part{Name: "bulb sensor", State: device.Absent, Reason: "none is configured"})
	}
	if len(outputs.Outputs) > 0 {
		o.Lights = append(o.Lights, gpio.NewOutputs(outputs))
	} else {
		o.Parts = append(o.Parts, device.Part{Name: "lamps", State: device.Absent, Reason: "none are configured"})
	}
	b, err := board.New(o)
	if err != nil {
		for _, l := range o.Lights {
			_ = l.Close() // nothing was lit yet
		}
	}
	return b, err
}

func place(line, chip string, offset *int) gpio.Place {
	at := gpio.Place{Name: line, Chip: chip}
	if offset != nil {
		at.Offset = *offset
	}
	return at
}

// pull is up where nothing is said: a contact to ground wants it.
func pull(s string) gpio.Pull {
	if s == "" {
		return gpio.PullUp
	}
	return gpio.Pull(s)
}

// pedals makes the source of the contacts that pedals bring. What was learned
// goes before what is configured.
func (p *parts) pedals(keys map[device.Line]pedal.Key) (*pedal.Source, error) {
	path := filepath.Join(filepath.Dir(p.path), pedalsFile)
	known, err := pedal.Load(path)
	if err != nil {
		return nil, fmt.Errorf("learned pedals: %w", err)
	}
	for l, k := range known {
		if _, ok := keys[l]; ok {
			keys[l] = k
		}
	}
	s, err := pedal.New(pedal.Options{Clock: p.clk, Log: p.log, Keys: keys})
	if err != nil {
		return nil, fmt.Errorf("pedals: %w", err)
	}
	p.learner = learner{s, path}
	return s, nil
}

// A learner learns a pedal and keeps what it learned.
type learner struct {
	source *pedal.Source
	path   string
}

func (l learner) Learn(ctx context.Context, line device.Line) (string, error) {
	if !slices.Contains(l.source.Lines(), line) {
		return "", fmt.Errorf("contact %s is not configured to come from a pedal", line)
	}
	k, err := l.source.Learn(ctx, line)
	if err != nil {
		return "", err
	}
	if err := pedal.Save(l.path, l.source.Keys()); err != nil {
		return "", fmt.Errorf("learned, but not saved: %w", err)
	}
	said := fmt.Sprintf("key %d of %s (%s) is %s", k.Code, k.Name, k.Device(), line)
	if k.Remark != "" {
		said += "; " + k.Remark
	}
	return said, nil
}

// bulbFile, beside the store, keeps what the calibration of the bulb has learned.
const bulbFile = "bulb.json"

func (p *parts) bulb() (device.Source, error) {
	c := p.conf.Bulb
	s, err := bulb.New(bulb.Options{
		Bus: c.Bus, Address: uint16(c.Address), Sensor: c.Sensor, File: filepath.Join(filepath.Dir(p.path), bulbFile), Clock: p.clk, Log: p.log,
	})
	if err != nil {
		return nil, fmt.Errorf("bulb: %w", err)
	}
	p.gauge = s
	// The bus is found by what finds the GPIO chips.
	if _, err := gpio.Init(); err != nil {
		p.log.Warn("buses", "err", err)
	}
	return s, nil
}

// calibrator is nil without a bulb sensor.
func (p *parts) calibrator() session.Calibrator {
	if p.gauge == nil {
		return nil
	}
	return calibrator{p.gauge}
}

// A calibrator learns the bulb by its sensor.
type calibrator struct{ source *bulb.Source }

func (c calibrator) Bulb() session.Bulb {
	p, ok := c.source.Parameters()
	return session.Bulb{Known: ok, When: p.When}
}

func (c calibrator) Calibrate(ctx context.Context, when string, told func(session.BulbStep)) (session.Bulb, error) {
	former, had := c.source.Parameters()
	told(session.BulbStep{Of: curve.Squeezes})
	p, err := c.source.Calibrate(ctx, when, func(p bulb.Progress) {
		told(session.BulbStep{Squeeze: p.Stage != curve.Resting, Done: p.Done, Of: curve.Squeezes})
	})
	if p.Out == 0 {
		return session.Bulb{}, err
	}
	b := session.Bulb{Known: true, When: p.When}
	if had {
		b.OfBefore = int(math.Round(100 * p.Out / former.Out))
	}
	return b, err
}
