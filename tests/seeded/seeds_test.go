// SPDX-License-Identifier: Apache-2.0

package seeded

const (
	decide = "console/procedure/decide.go"
	state  = "console/procedure/state.go"
	rules  = "console/procedure/rules.go"
	engine = "console/session/engine.go"
	loop   = "console/session/session.go"
	desk   = "console/session/command.go"
	runs   = "console/session/runs.go"
	shown  = "console/session/snapshot.go"
	writer = "console/session/writer.go"
	panel  = "device/contact/panel.go"
	single = "device/contact/single.go"
	reader = "device/capture/reader.go"
	pair   = "device/contact/pair.go"
	grades = "device/contact/contact.go"
	level  = "console/hoodlevel/hoodlevel.go"
)

var (
	core    = []string{"procedure", "scripts", "engine"}
	bench   = []string{"engine", "scripts"}
	contact = []string{"contact", "scripts"}
	waiting = []string{"engine", "waiting"}
	saving  = []string{"saving", "engine"}
	hood    = []string{"level"}
)

var seeds = []seed{
	// Reports.
	{"a report in the dose is no fail", decide, "	case Dosing:\n		d.say(Reported{by})\n		d.end(Fail, TastedBeforeClock, d.in.At)\n", "	case Dosing:\n		d.say(Reported{by})\n", core},
	{"a report while the clock runs is no fail", decide, "		d.end(Fail, Tasted, d.in.At)\n	case ProvingButton:", "	case ProvingButton:", core},
	{"taste ignored in a top-up", decide, "	case Running:\n		d.say(Reported{by})\n", "	case Running:\n		if _, _, dose, open := d.s.doseAt(d.in.At); open && dose.Left() > 0 {\n			return\n		}\n		d.say(Reported{by})\n", core},
	{"taste ignored in the first 100 ms of an exercise", decide, "	case Running:\n		d.say(Reported{by})\n", "	case Running:\n		if t := d.in.At - *d.s.Clock; t%time.Minute < 100*time.Millisecond {\n			return\n		}\n		d.say(Reported{by})\n", []string{"scripts", "engine", "procedure"}},
	{"taste ignored in the last second", decide, "	case Running:\n		d.say(Reported{by})\n", "	case Running:\n		if d.in.At-*d.s.Clock > d.s.Opened.Rules.Length()-time.Second {\n			return\n		}\n		d.say(Reported{by})\n", core},
	{"said aloud after the last exercise is no fail", decide, "			d.say(Reported{by})\n			d.end(Fail, Tasted, d.in.At)\n			return\n", "			return\n", core},
	{"a doubtful report in the fit test is ignored", decide, "d.in.Source == \"report\" && d.inFit()", "d.in.Source == \"report\" && d.s.Stage == Dosing", core},
	{"a report before any squeeze sets the bin", decide, "		if len(d.s.Screening) == len(d.s.screenByHand) {\n			// Also", "		if false {\n			// Also", core},
	{"a word proves the button", decide, "		if button {\n			d.say(ButtonProven{})\n		}\n		if d.s.beyond()", "		d.say(ButtonProven{})\n		if d.s.beyond()", core},
	{"a report while the taste clears does not prove the button", decide, "if button && !d.s.Proven {", "if button && !d.s.Proven && d.s.Stage == Donning {", []string{"procedure", "scripts", "engine", "waiting"}},
	{"a report becomes not valid", decide, "		d.end(Fail, TastedBeforeClock, d.in.At)", "		d.end(NotValid, TastedBeforeClock, d.in.At)", core},

	// Counting.
	{"six exercises", rules, "	return time.Duration(len(r.Exercises)) * r.Figures.Exercise.Duration()", "	return time.Duration(len(r.Exercises)-1) * r.Figures.Exercise.Duration()", core},
	{"exercises of 59.9 s", rules, "	return time.Duration(len(r.Exercises)) * r.Figures.Exercise.Duration()", "	return time.Duration(len(r.Exercises)) * (r.Figures.Exercise.Duration() - 100*time.Millisecond)", core},
	{"top-ups every 31 s", rules, "	return time.Duration(n) * r.Figures.TopUpInterval.Duration()", "	return time.Duration(n) * (r.Figures.TopUpInterval.Duration() + time.Second)", core},
	{"one top-up too few", rules, "int((r.Length() - 1) / r.Figures.TopUpInterval.Duration())", "int((r.Length() - 1) / r.Figures.TopUpInterval.Duration()) - 1", core},
	{"a bin too low at its upper end", rules, "		if count <= b.To {", "		if count <= b.To+1 {", core},
	{"a bin too low above the last", rules, "	return r.Bins[len(r.Bins)-1]\n", "	return r.Bins[0]\n", core},
	{"the window opens a second late", rules, "	n := int((t + r.House.WindowBefore.Duration()) / iv)", "	n := int((t + r.House.WindowBefore.Duration() - time.Second) / iv)", core},
	{"15 rounded to 7", decide, "		if t := s.topUp(n); t.Required < b.TopUp || t.Left() > 0 {", "		if t := s.topUp(n); t.Left() > 1 {", []string{"procedure"}},
	{"a top-up may lack one squeeze", decide, "		if t0+shut == at && s.topUp(i+1).Left() > 0 {", "		if t0+shut == at && s.topUp(i+1).Left() > 1 {", core},
	{"an initial dose one short", state, "			s.Initial = Dose{Required: s.bin().Initial}", "			s.Initial = Dose{Required: s.bin().Initial - 1}", core},
	{"top-ups one short", state, "	return Dose{Required: s.bin().TopUp}", "	return Dose{Required: s.bin().TopUp - 1}", core},
	{"same bias in both phases: a doubtful squeeze counts in the dose", decide, "			d.say(SqueezeDoubted{PartInitial})", "			d.say(Squeezed{Part: PartInitial})\n			d.dosed()", core},
	{"same bias in both phases: a doubtful squeeze is nothing in the sensitivity test", state, "func (s State) Counted() int { return len(s.Screening) + s.ScreenDoubt }", "func (s State) Counted() int { return len(s.Screening) }", core},
	{"a squeeze taken back lowers the bin", state, "			s.ScreenDoubt++ // it", "			s.ScreenDoubt += 0 // it", core},
	{"an extra squeeze counts for the next top-up", decide, "		if !open || dose.Left() == 0 {\n			d.say(SqueezedExtra{n})", "		if !open || dose.Left() == 0 {\n			if n < d.s.Opened.Rules.TopUps() {\n				d.say(Squeezed{PartTopUp, n + 1})\n				return\n			}\n			d.say(SqueezedExtra{n})", core},
	{"cannot taste is given a second early", decide, "at >= s.Screening[n-1]+r.Figures.FullExposureFor.Duration() {", "at >= s.Screening[n-1]+r.Figures.FullExposureFor.Duration()-time.Second {", []string{"procedure", "scripts"}},
	{"more than thirty squeezes in the sensitivity test", decide, "		if len(d.s.Screening) >= d.most() {\n			d.ignore(WhyScreeningFull)\n			return\n		}\n", "", core},
	{"a correction outside its window", decide, "	case !open, in.TopUp > 0", "	case !open && in.Do == \"\", in.TopUp > 0", core},
	{"a correction by two", decide, "	case in.Delta != 1 && in.Delta != -1:\n		d.refuse(WhyNotHere)\n", "", core},
	{"a correction without a reason", decide, "	case in.Reason == \"\":\n		d.refuse(WhyNoReason)\n", "", core},

	// What ends a run.
	{"a cable that opens ends nothing", decide, "		d.say(Faulted{string(in.Do), \"\"})\n		if d.inRun() {", "		d.say(Faulted{string(in.Do), \"\"})\n		if d.inRun() && in.Do == DoCableShort {", core},
	{"lost edges end nothing", decide, "		if d.inRun() {\n			d.end(NotValid, map", "		if d.inRun() && in.Do != DoGap {\n			d.end(NotValid, map", core},
	{"a stall ends nothing", decide, "		if d.inRun() {\n			d.end(NotValid, map", "		if d.inRun() && in.Do != DoStalled {\n			d.end(NotValid, map", core},
	{"a journal that fails ends nothing", decide, "		if d.inRun() {\n			d.end(NotValid, map", "		if d.inRun() && in.Do != DoJournalFailed {\n			d.end(NotValid, map", core},
	{"the hood off while the clock runs ends nothing", decide, "		d.stopIn(HoodOff, Screening, Dosing, Running, ProvingButton)", "		d.stopIn(HoodOff, Screening, Dosing, ProvingButton)", core},
	{"a facepiece that is touched ends nothing", decide, "		d.stopIn(FacepieceTouched, Dosing, Running, ProvingButton)", "		d.stopIn(FacepieceTouched, Dosing, ProvingButton)", core},
	{"the end of the day makes a pass", decide, "	case DoEnd, DoAbandon:\n		d.end(NotValid, Interrupted, in.At)", "	case DoEnd, DoAbandon:\n		d.end(Pass, \"\", in.At)", core},
	{"power lost makes a pass", decide, "		d.end(NotValid, PowerLost, in.At)", "		d.end(Pass, \"\", in.At)", []string{"procedure", "waiting"}},
	{"not valid overwritten by a late pass", decide, "	case s.Stage == Over || s.Stage == ProvingMist:\n		d.afterVerdict()", "	case in.Do != DoTick && (s.Stage == Over || s.Stage == ProvingMist):\n		d.afterVerdict()\n	case in.Do == DoTick && s.Verdict != nil && s.Verdict.Outcome == NotValid:\n		d.end(Pass, \"\", in.At)", core},
	{"an amendment overwrites: the mist proof makes a pass of anything", decide, "	passed := d.s.Verdict != nil && d.s.Verdict.Outcome == Pass && d.s.Proof == nil", "	passed := d.s.Verdict != nil && d.s.Proof == nil", core},
	{"nothing tasted in the proof leaves the pass", state, "		if !f.Tasted {\n", "		if false {\n", core},

	// What a pass needs.
	{"a pass a tick before the end", state, "func (p *plan) lastMoment() time.Duration { return p.length + 1 }", "func (p *plan) lastMoment() time.Duration { return p.length - 1 }", core},
	{"a pass without the button", decide, "	case !s.Proven:\n		return ButtonUnproven\n	case s.Cable == DoCableOpen:", "	case s.Cable == DoCableOpen:", []string{"procedure"}},
	{"a pass with the cable out", decide, "	case s.Cable == DoCableOpen:\n		return CableOpen\n", "", []string{"procedure"}},
	{"a pass after the journal failed", decide, "	case s.journalFailed():\n		return JournalFailed\n", "", []string{"procedure"}},
	{"a pass of a run that waits, or of the wrong person", decide, "	case s.Parked || s.wrongPerson() || *s.Clock", "	case *s.Clock", []string{"procedure"}},
	{"a pass before the end", decide, "	case s.At < *s.Clock+r.Length():\n		return Interrupted\n", "", []string{"procedure"}},
	{"an unsupervised button is not proven", decide, "			if s.Opened.Supervised {\n", "			if true {\n", core},
	{"the proof of the button has no end", decide, "at >= end+r.House.ButtonProof.Duration() {\n			d.end(NotValid", "at >= end+2*r.House.ButtonProof.Duration() {\n			d.end(NotValid", core},
	{"the dose begins without a proven button", decide, "	case s.Stage == Donning && !s.Proven:\n		return WhyButtonUnproven\n", "", core},
	{"begun with the button down", decide, "	case s.ReportDown:\n		return WhyButtonDown\n", "", core},
	{"begun with a faulty cable", decide, "	case s.Cable != \"\":\n		return WhyButtonFaulty\n", "", core},
	{"begun with crossed wires", decide, "	case s.Stage == Ready && s.Crossed():\n		return WhyCrossed\n", "", core},
	{"begun with open questions", decide, "	case s.Stage == Ready && s.Opened.Strict && s.open():\n		return WhyUnanswered\n", "", core},
	{"an answer of no is as good as yes", decide, "if yes, _ := s.Answer(q.ID); !yes {", "if _, answered := s.Answer(q.ID); !answered {", core},
	{"abstinence is not asked", decide, "!s.abstained(at):", "s.Abstained != nil && !s.abstained(at):", core},
	{"worn too short", decide, "at-s.Since < s.Opened.Rules.Figures.Wear.Duration():", "at-s.Since < s.Opened.Rules.Figures.Wear.Duration()/2:", core},
	{"a stale nebuliser", decide, "k.Age+later >= s.Opened.Rules.Refill():", "k.Age >= s.Opened.Rules.Refill():", []string{"procedure"}},
	{"a nebuliser of the other agent", decide, "	case k.Agent != s.Opened.Agent:\n		return WhyOtherAgent\n", "", []string{"procedure"}},

	// Runs that wait.
	{"another person is put right after the sensitivity test", state, "		s.Stranger = s.Stranger || !f.Yes && s.Stage != Ready\n", "", []string{"procedure"}},
	{"the nebuliser of before it waited", decide, "i >= s.KitFrom; i--", "i >= 0; i--", []string{"procedure"}},
	{"parked while the clock runs", decide, "	case Ready, Clearing, Donning:\n		d.say(RunParked", "	case Ready, Clearing, Donning, Running:\n		d.say(RunParked", []string{"engine", "waiting"}},
	{"a cable that was out while it waited is forgotten", state, "			s.Proven = false // nobody", "			s.Proven = s.Proven && true // nobody", waiting},
	{"a run that waits goes on", decide, "	case s.Parked:\n		d.parked()\n", "	case s.Parked && in.Do == DoTakeUp:\n		d.parked()\n", waiting},
	{"the contacts reach a run that waits", engine, "	if !e.state.Parked {\n		e.feed(at, edge)\n	}", "	e.feed(at, edge)", waiting},
	{"the old panel of a run that waits", engine, "	e.panel = contact.NewPanel(false, e.state.At)\n", "", waiting},
	{"taken up blind to what is pressed", engine, "		if e.levels[l] {\n", "		if false {\n", []string{"engine", "waiting"}},
	{"taken up without looking at the wires", runs, "	if why := s.unrest(r); why != \"\" {\n		answer(string(why))\n		return\n	}\n", "", waiting},
	{"taken up beside another", runs, "	case s.engine != nil:\n		answer(\"run_open\")\n		return\n", "", waiting},
	{"taken up and parked in one breath it hangs", desk, "		r.taking = false\n", "		r.taking = r.taking && true\n", []string{"waiting"}},
	{"a command for one that waits goes to the active one", desk, "	r := s.find(c.Run)\n	switch {\n	case !procedure.FromPerson", "	r := s.find(c.Run)\n	if r != nil {\n		r = s.openRun\n	}\n	switch {\n	case !procedure.FromPerson", []string{"waiting"}},
	{"a tester speaks as the wearer", desk, "		case in.By == string(wire.Wearer):", "		case in.By == \"nobody\":", []string{"waiting"}},
	{"a drill that is late looks like a stall", loop, "next > r.engine.Now() {", "next >= 0 {", []string{"waiting"}},
	{"runs that wait are not told of lost edges", loop, "	for _, r := range s.all() {\n		r.say(procedure.Input{At: r.engine.Now(), Do: do, Detail: detail})\n	}", "	if r := s.openRun; r.engine != nil {\n		r.say(procedure.Input{At: r.engine.Now(), Do: do, Detail: detail})\n	}", []string{"waiting"}},
	{"a power cut closes the newest run alone", desk, "		opened.Beside = append(opened.Beside, u.Run)", "		_ = u", []string{"waiting"}},
	{"a correction of the window before", decide, ", in.TopUp > 0 && in.TopUp != n:", ":", []string{"procedure"}},
	{"shallow squeezes without end", decide, "if d.s.beyond() {", "if false {", []string{"procedure"}},
	{"a sensitivity test of another day", decide, "|| *s.Clock-s.BinAt > r.Sitting():", "|| false:", []string{"procedure"}},
	{"the next step days later", decide, "case s.Stage != Ready && at-s.BinAt > s.Opened.Rules.Sitting():", "case false:", []string{"procedure"}},
	{"a word on abstinence of another day", decide, "at-s.waterSaid > s.Opened.Rules.Sitting()", "false", []string{"procedure"}},
	{"more than half of a dose by hand", decide, "part != PartScreening && dose.HalfByHand():", "part != PartScreening && dose.HalfByHand() && part == PartTopUp:", []string{"procedure"}},
	{"a squeeze of the contact that is taken back makes room for one by hand", state, "	case last >= 0 && added[last] >= n:\n", "	case last >= 0:\n", []string{"procedure"}},
	{"a nebuliser found clogged leaves the pass", decide, "	case in.Do == DoSpoiled:\n		d.undone()\n", "", []string{"procedure"}},
	{"a clogged nebuliser goes on", decide, "used = current || used && d.in.Yes\n	default", "used = false\n	default", []string{"procedure"}},
	{"a batch past its date since it was named", decide, "k.Expired || k.GoodFor > 0 && later >= k.GoodFor:", "k.Expired:", []string{"procedure"}},
	{"a batch found wrong after it was poured out", decide, "		return k.Solution == in.Batch\n", "		return false\n", []string{"procedure"}},
	{"a nebuliser found clogged under a new mark", decide, "		return k.ID == in.Nebuliser\n", "		return k.Mark == in.Nebuliser\n", []string{"procedure"}},
	{"a nebuliser filled anew stays named", state, "			s.KitFrom = len(s.Took) // it is named anew\n", "			_ = s\n", []string{"procedure"}},
	{"what was not saved stays a pass", state, "v.Outcome, v.Reason = NotValid, JournalFailed", "_ = v", []string{"procedure"}},
	{"edges that wait are overtaken", loop, "	for range mostDrained {", "	for range 1024 {", []string{"waiting"}},
	{"the run goes past what has been read", loop, "	to := s.looked - s.grace()\n", "	to := s.cfg.Clock.Now() - s.grace()\n", []string{"saving"}},
	{"the last word goes past what has been read", loop, "End(s.looked-s.grace(), ", "End(s.cfg.Clock.Now(), ", []string{"saving"}},
	{"a stall is told after the edges of it", loop, "s.cfg.Clock.Now() - s.looked); late > stall", "s.cfg.Clock.Now() - s.looked); late > time.Hour", []string{"saving"}},
	{"a note that failed is not said", "console/session/spoil.go", "			s.unnoted[run] = true\n", "			delete(s.unnoted, run)\n", []string{"saving"}},
	{"a sleep is no stall", loop, "slept > stall {", "slept > time.Hour {", []string{"saving"}},
	{"a real run without nebulisers", desk, "	case practice == \"\" && !s.cfg.Register.Kept():\n		return \"no_nebuliser_entered\"\n", "", []string{"waiting"}},
	{"the facepiece that failed again under the US rule", desk, "	case a.actor == nil && fails > 0 && !r.AfterFail.Refit:\n		return \"other_facepiece_due\"\n", "", []string{"waiting"}},
	{"a fail before a restart is forgotten", desk, "	return max(n, b.Fails)\n", "	return n\n", []string{"waiting"}},
	{"a proof that is left undone can be tasted afterwards", decide, "d.s.Proof == nil && d.s.ProofLeft == nil\n", "d.s.Proof == nil\n", []string{"procedure"}},
	{"taken up without asking for the name again", state, "			s.NameSaid = nil // who comes back may be somebody else; a no stays\n", "", []string{"procedure"}},
	{"taken up a no is forgotten", state, "		if s.NameSaid != nil && s.NameSaid.Yes {\n			s.NameSaid = nil", "		if s.NameSaid != nil {\n			s.NameSaid = nil", []string{"procedure"}},
	{"a drill is no practice", state, "			f.Practice = PracticeDrill", "			_ = PracticeDrill", []string{"procedure", "waiting"}},

	// On disk.
	{"verdict before sync", shown, "	v := r.durable.Verdict\n", "	v := st.Verdict\n", saving},
	{"commit error ignored", loop, "	if w.err != nil {\n", "	if false {\n", saving},
	{"a pass that is being undone is shown", shown, "	if v == nil || undone || s.failed", "	if v == nil || undone && s.failed != \"\" || s.failed", []string{"undone"}},
	{"a pass that was undone before it was shown sounds", loop, "o.Cue == procedure.CuePass && r.durable.Verdict.Outcome != procedure.Pass {", "o.Cue == procedure.CuePass && r.durable.Verdict == nil {", []string{"undone"}},
	{"what is lost at the stop is not noted", loop, "	s.lastWritten(err)\n	s.unsaved()\n", "	s.lastWritten(err)\n", []string{"undone"}},
	{"a later write makes up for a lost one", writer, "if w.failed == nil { // what follows a hole is worth nothing\n", "if w.failed = nil; true {\n", saving},
	{"the pass sounds before it is saved", decide, "Order{Cue: CuePass, Durable: true}", "Order{Cue: CuePass}", saving},
	{"lease without fencing", desk, "	if c.Fence != s.fence {\n		say(\"stale\")\n		return\n	}\n", "", saving},
	{"anybody drives", desk, "	if s.driver != a.client {\n		say(\"not_driver\")\n		return\n	}\n", "", saving},
	{"role checked only in the page", desk, "	if a.role != wire.Tester {\n		say(\"not_allowed\")\n		return\n	}\n", "", []string{"saving", "waiting"}},
	{"a run is closed before it is saved", desk, "	case len(r.pending) > 0 && s.failed == \"\":\n		return \"not_saved\"\n", "", saving},

	// Order of events.
	{"stale edges kept", engine, "	at := max(edge.At, e.now)\n	e.Advance(at)", "	at := edge.At\n	e.Advance(at)", bench},
	{"people before contacts", engine, "		case first == event:", "		case first == event && first != person:", bench},
	{"the clock after the contacts", engine, "		case first == tick:\n", "		case first == tick && first != event:\n", bench},
	{"the verdict does not wait for a report", engine, "if w, ok := e.state.Wake(); ok && w <= reached {", "if w, ok := e.state.Wake(); ok && w <= e.now {", bench},
	{"who stops for the person waits behind a word", engine, "		case stop >= 0:\n", "		case stop == 0:\n", bench},
	{"an input waits for no contact", engine, "case len(e.queue) > 0 && e.queue[0].At <= reached:", "case len(e.queue) > 0 && e.queue[0].At <= e.now:", bench},
	{"a report overtakes a push", engine, "			reached = min(reached, at)\n", "			_ = at\n", bench},
	{"a squeeze counts where its push had not begun", engine, "s.Kind == contact.Pressed && e.torn(s)", "false && e.torn(s)", bench},
	{"a squeeze of a dose is dated at its begin", engine, "e.state.Stage == procedure.Screening && s.Begun < s.At", "s.Begun < s.At", bench},
	{"events not in order", panel, "			return a.When() < b.When()", "			return a.When() > b.When()", contact},

	// Contacts.
	{"no debounce", grades, "	MaxChatter = 25 * ms\n", "	MaxChatter = 1 * ms\n", contact},
	{"a squeeze of 20 ms is sure", grades, "Grade{Doubt: 20 * ms, Sure: 40 * ms}", "Grade{Doubt: 20 * ms, Sure: 20 * ms}", contact},
	{"a report of 20 ms is doubtful", grades, "Grade{Doubt: 5 * ms, Sure: 20 * ms}", "Grade{Doubt: 5 * ms, Sure: 40 * ms}", contact},
	{"a report of 10 ms is nothing", grades, "Grade{Doubt: 5 * ms, Sure: 20 * ms}", "Grade{Doubt: 15 * ms, Sure: 20 * ms}", contact},
	{"unplugged taken as released", pair, "	case !p.legal() && !p.fault:", "	case !p.legal() && p.no && !p.fault:", contact},
	{"a short taken as pressed", pair, "func (p *Pair) Closed() bool { return p.no && !p.nc }", "func (p *Pair) Closed() bool { return p.no }", contact},
	{"the cable may be out for 500 ms", grades, "	CableGrace = 50 * ms\n", "	CableGrace = 500 * ms\n", contact},
	{"a flapping cable is sound", pair, "min(p.since+CableGrace, p.broken+flapLimit)+1", "p.since+CableGrace+1", contact},
	{"counted when let go alone", single, "		if s.verdict == unsure {\n			soonest(c.sureAt(), c.press)\n		}\n", "", contact},
	{"dated when known", single, "	c.emit(Pressed, s.first, at)", "	c.emit(Pressed, at, at)", contact},
	{"a repeated level is an edge", single, "	if closed == c.closed {\n		c.noise++\n		return\n	}\n", "", contact},
	{"short touches are a squeeze", single, "	body := c.grade.Doubt\n", "	body := min(solid, c.grade.Doubt)\n", []string{"contact"}},
	{"a spike makes a squeeze of a doubt", single, "		body = leanest\n", "		body = c.grade.Doubt\n", []string{"contact"}},
	{"a report in pieces is noise", single, "c.crumbled(), c.pieces():", "c.crumbled():", []string{"contact"}},
	{"a recording that was off is dated by its end", reader, "	r.off, r.gap, r.gapAt = false, true, r.offAt\n", "	r.off, r.gap, r.gapAt = false, true, r.now\n", []string{"engine"}},
	{"interference is bridged without end", single, "s.gaps <= MaxSpike {", "s.gaps <= time.Hour {", []string{"contact"}},
	{"two presses of one bounce", grades, "	minApart   = 165 * ms\n", "	minApart   = 60 * ms\n", contact},
	{"a pedal held is not said", grades, "	HeldAfter = 2 * time.Second\n", "	HeldAfter = 20 * time.Second\n", contact},

	// The modelled level.
	{"a half-life of 31 s", level, "const DefaultHalfLife = 30 * time.Second", "const DefaultHalfLife = 31 * time.Second", hood},
	{"the least level after the squeeze", level, "		least = min(least, piece.level*math.Exp2(-piece.length/half))", "		least = min(least, piece.level)", hood},
	{"a squeeze at an instant does not count there", level, "		if s <= t {", "		if s < t {", hood},
	{"a mean of samples", level, "		area -= piece.level * math.Expm1(-math.Ln2*piece.length/half)", "		area += piece.level * piece.length / half * math.Ln2", hood},
	{"a mean over the squeezes alone", level, "since(end, 0) / float64(n), true", "since(end, 0), true", hood},
}
