// SPDX-License-Identifier: Apache-2.0

package main

import (
	"context"
	"time"

	"tallyhood/console/demo"
	"tallyhood/console/procedure"
	"tallyhood/console/session"
	"tallyhood/console/wire"
)

// playDemo drives one scripted run as a tester would, through the same commands
// and contacts. When a person takes the lease it leaves the rest to them.
func playDemo(ctx context.Context, ses *session.Session, p *parts) {
	const me = "demo script"
	n := 0
	fence := uint64(0)
	run := ""
	ask := func(c wire.Command) bool {
		n++
		c.Type, c.Fence, c.Run = "command", fence, run
		r := ses.Command(ctx, me, wire.Tester, c)
		if !r.OK && ctx.Err() == nil {
			p.log.Info("demo script stops", "at", c.Do, "why", r.Why)
		}
		return r.OK
	}
	if p.clk.Sleep(ctx, p.clk.Now()+time.Duration(3*p.clk.Speed())*time.Second) != nil {
		return
	}
	if !ask(wire.Command{Do: "take_lease"}) {
		return
	}
	fence = 1 // the first lease of this process
	r := p.rules["us-osha"]
	wearer := "hs-014"
	if found, err := p.office.desk.Find(ctx, demo.People()[0].Name, 1); err == nil && len(found) > 0 {
		wearer = found[0].ID
	}
	if !ask(wire.Command{Do: "open", Open: &wire.Open{Wearer: wearer, Facepiece: "corrie-m", Rules: "us-osha", Agent: "bitter", Tester: "Agnes Thorley"}}) {
		return
	}
	run = ses.OpenRun()
	for _, q := range r.Before {
		if !ask(wire.Command{Do: string(procedure.DoAnswer), Input: procedure.Input{Question: q.ID, Yes: true, By: "Agnes Thorley"}}) {
			return
		}
	}
	if !ask(wire.Command{Do: string(procedure.DoAbstained), Input: procedure.Input{For: 20 * time.Minute, By: "Agnes Thorley"}}) {
		return
	}
	if err := p.sim.Play(ctx, p.clk.Now(), demo.Script(r)); err != nil && ctx.Err() == nil {
		p.log.Error("demo script", "err", err)
	}
}
