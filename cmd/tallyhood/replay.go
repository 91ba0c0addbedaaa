// SPDX-License-Identifier: Apache-2.0

package main

import (
	"fmt"
	"io"
	"maps"
	"os"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"tallyhood/console/procedure"
	"tallyhood/console/record"
	"tallyhood/console/session"
	"tallyhood/device"
	"tallyhood/device/capture"
)

func replayCommand() *cobra.Command {
	var rules, agent, lang, cues string
	var asJSON bool
	var invert []string
	c := &cobra.Command{
		Use:   "replay [flags] CAPTURE.vcd",
		Short: "run a recorded capture through the engine and print its record",
		Long: "replay reads a logic-analyser capture (value change dump) with the lines squeeze, step and\n" +
			"taste, or taste_no and taste_nc, where 1 means that the contact is closed, and prints the\n" +
			"record of the run in it. The exit code is 0 whatever the outcome and 2 for bad input.",
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) != 1 {
				return badInput{fmt.Errorf("replay takes one capture, got %d arguments", len(args))}
			}
			return nil
		},
		RunE: func(c *cobra.Command, args []string) error {
			o, err := opening(rules, agent)
			if err != nil {
				return err
			}
			if l, _, _ := strings.Cut(lang, "-"); l != "en" {
				fmt.Fprintf(c.ErrOrStderr(), "tallyhood: no words for language %q yet; English is used\n", lang)
			}
			f, err := os.Open(args[0])
			if err != nil {
				return badInput{err}
			}
			defer f.Close()
			got, err := replay(f, o, invert)
			if err != nil {
				return badInput{fmt.Errorf("%s: %w", args[0], err)}
			}
			if cues != "" {
				if err := writeCues(cues, got); err != nil {
					return err
				}
			}
			rec, err := record.Of(got.State)
			if err != nil {
				return err
			}
			if asJSON {
				b, err := rec.JSON()
				if err != nil {
					return err
				}
				_, err = fmt.Fprintf(c.OutOrStdout(), "%s\n", b)
				return err
			}
			return rec.Text(c.OutOrStdout(), got.State.Opened.Rules)
		},
	}
	c.Flags().StringVar(&rules, "rules", "us-osha", "rule set: us-osha or uk-hse")
	c.Flags().StringVar(&agent, "agent", "sweet", "agent: sweet or bitter")
	c.Flags().StringVar(&lang, "lang", "en", "language of the text")
	c.Flags().BoolVar(&asJSON, "json", false, "print one JSON object ("+record.Schema+")")
	c.Flags().StringSliceVar(&invert, "invert", nil, "lines that are 0 when closed, such as squeeze,step")
	c.Flags().StringVar(&cues, "cues", "", "write the cues of the run to this WAV file")
	c.SetFlagErrorFunc(func(_ *cobra.Command, err error) error { return badInput{err} })
	return c
}

func opening(rules, agent string) (procedure.RunOpened, error) {
	all, err := procedure.Rules()
	if err != nil {
		return procedure.RunOpened{}, err
	}
	r, ok := all[rules]
	if !ok {
		return procedure.RunOpened{}, badInput{fmt.Errorf("rule set %q is not known; there are %s", rules, strings.Join(slices.Sorted(maps.Keys(all)), ", "))}
	}
	if !slices.Contains(r.Agents, agent) {
		return procedure.RunOpened{}, badInput{fmt.Errorf("agent %q is not one of %s", agent, strings.Join(r.Agents, ", "))}
	}
	return procedure.RunOpened{Run: "replay", Rules: r, Agent: agent, Version: version}, nil
}

func replay(f io.Reader, o procedure.RunOpened, invert []string) (session.Replayed, error) {
	var inv []device.Line
	for _, name := range invert {
		l := device.Line(strings.TrimSpace(name))
		if !slices.Contains(device.Lines(), l) {
			return session.Replayed{}, fmt.Errorf("--invert: %q is not one of the lines", name)
		}
		inv = append(inv, l)
	}
	r, err := capture.Open(f, capture.Options{Invert: inv})
	if err != nil {
		return session.Replayed{}, err
	}
	return session.Replay(r, o)
}
