// SPDX-License-Identifier: Apache-2.0

// Package voice gives the samples of the spoken cues. Each text is spoken once
// by espeak-ng, a child process that writes into memory, and kept in a folder
// under a name made of text, language, voice, speed and version, so that the
// next start only reads it.
//
// A person's own recording wins: a WAV file in the same folder named by
// language and cue, for example
//
//	en_say_stop.wav
//	pl_say_deep_breathing.wav
//	es_say_squeezes_5.wav
//
// with one channel or several, of whole numbers or floats, at any usual rate. It
// is read at the start, cut to the speech in it and brought to the level of all
// other cues. With recordings a box can speak a language that the catalogue does
// not have. All files in the folder may be deleted at any time; those named
// espeak-* are made again.
//
// All work is done in the background, and each child has limited time. Until a
// cue is ready, and for ever where espeak-ng or a language is missing, it has no
// samples: the tones go on alone and Health says why. The package must not play
// anything, let a child open the sound card, or make a caller wait.
package voice

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"log/slog"
	"maps"
	"slices"
	"strings"
	"sync"
	"time"

	"tallyhood/audio"
)

// Options of a voice.
type Options struct {
	// Languages are spoken until Use says otherwise, the tester's first. The names
	// of exercises, and what else the wearer has to do, are said in each of them
	// in turn; all other cues in the first alone. Names are as in Languages(),
	// "en" for example.
	Languages []string
	Folder    string            // of the cache and of recordings; empty: nothing is kept
	Command   string            // the program; "espeak-ng" when empty
	Voices    map[string]string // what espeak-ng calls the voice of a language; where absent, a usual one
	Speed     int               // words a minute; Usual when 0
	Limit     time.Duration     // for each child; 10 s when 0
	Log       *slog.Logger      // slog.Default() when nil
}

// Rates of speech, in words a minute.
const (
	Usual = 170
	Slow  = 120
	Fast  = 220
)

// pause lies between the languages of one cue.
const pause = 150 * time.Millisecond

// gap is the least silence between words and what comes after them.
const gap = 100 * time.Millisecond

// hopeless is how many failures in a row end the attempts in a language: a child
// that hangs takes its whole limit each time.
const hopeless = 3

// Fits says whether words that begin now are over in time before something
// that follows within so long: speech never runs into the next due moment.
// Samples that are not there do not fit.
func Fits(samples []int16, within time.Duration) bool {
	return len(samples) > 0 && audio.Instant(int64(len(samples)))+gap <= within
}

// Stats counts where the cues came from.
type Stats struct {
	Rendered, Cached, Recorded, Failed int
}

// A Voice speaks the languages of the present run. It is safe for use by
// several goroutines.
type Voice struct {
	o      Options
	ctx    context.Context
	cancel context.CancelFunc
	ask    chan struct{} // holds one: there is something to make
	ended  chan struct{}

	mu     sync.Mutex                       // never held while anything is waited for
	use    []string                         // all languages that are spoken, the tester's first
	wearer []string                         // those of them in which the wearer is told what to do
	turn   int                              // grows with each Use
	ready  chan struct{}                    // closed when all of use has been tried
	made   map[string]map[audio.Cue][]int16 // by language
	wrong  map[string]string                // by language: what is wrong
	remark map[string]string                // what people should know and nothing hangs on, by its subject
	joined map[audio.Cue][]int16            // what Of gives
	stats  Stats
	absent bool // espeak-ng is not installed
}

// New begins to make the cues and returns at once.
func New(o Options) *Voice {
	if o.Command == "" {
		o.Command = "espeak-ng"
	}
	if o.Speed == 0 {
		o.Speed = Usual
	}
	if o.Limit == 0 {
		o.Limit = 10 * time.Second
	}
	if o.Log == nil {
		o.Log = slog.Default()
	}
	v := &Voice{
		o: o, ask: make(chan struct{}, 1), ended: make(chan struct{}),
		made: map[string]map[audio.Cue][]int16{}, wrong: map[string]string{}, remark: map[string]string{},
		ready: closed(),
	}
	v.ctx, v.cancel = context.WithCancel(context.Background())
	go v.run()
	v.use = distinct(o.Languages)
	v.wearer = v.use
	v.again()
	return v
}

func closed() chan struct{} {
	c := make(chan struct{})
	close(c)
	return c
}

// Use changes the languages, as for the next run, and returns at once: the
// tester's, and those in which the wearer is told what to do, the tester's when
// there are none. What is there already speaks at once, the rest when it has
// been made; what failed before is tried again. Where the wearer's language
// cannot be spoken, the wearer hears the tester's. A language that is not in use
// any more leaves memory.
func (v *Voice) Use(tester string, wearer ...string) {
	v.mu.Lock()
	defer v.mu.Unlock()
	use := append([]string{tester}, wearer...)
	if len(wearer) == 0 {
		wearer = use
	}
	v.use, v.wearer = distinct(use), distinct(wearer)
	v.again()
}

// distinct keeps the first of each language, without empty ones.
func distinct(languages []string) []string {
	var out []string
	for _, l := range languages {
		if l != "" && !slices.Contains(out, l) {
			out = append(out, l)
		}
	}
	return out
}

// again begins to make what the languages in use lack. The caller holds mu.
func (v *Voice) again() {
	v.turn++
	v.wrong, v.absent = map[string]string{}, false
	maps.DeleteFunc(v.made, func(l string, _ map[audio.Cue][]int16) bool { return !slices.Contains(v.use, l) })
	v.join()
	select {
	case <-v.ready:
		v.ready = make(chan struct{})
	default:
	}
	select {
	case v.ask <- struct{}{}:
	default:
	}
}

// Ready is closed when every cue of the present languages has been tried.
func (v *Voice) Ready() <-chan struct{} {
	v.mu.Lock()
	defer v.mu.Unlock()
	return v.ready
}

// Of gives the samples of a spoken cue at audio.Rate, nil for one that is not
// there, or not yet, and for every tone. The slice is shared: it must not be
// changed.
func (v *Voice) Of(c audio.Cue) []int16 {
	v.mu.Lock()
	defer v.mu.Unlock()
	return v.joined[c]
}

// Over gives the samples of spoken cues and leaves all others to tones.
func (v *Voice) Over(tones func(audio.Cue) []int16) func(audio.Cue) []int16 {
	return func(c audio.Cue) []int16 {
		if c.Spoken() {
			return v.Of(c)
		}
		return tones(c)
	}
}

// Fits says whether a cue that begins now can be spoken and is over before
// something that follows within so long.
func (v *Voice) Fits(c audio.Cue, within time.Duration) bool { return Fits(v.Of(c), within) }

// Health is empty when every cue of the languages in use can be spoken, else it
// says in words why not, and begins with "no voice".
func (v *Voice) Health() string {
	v.mu.Lock()
	defer v.mu.Unlock()
	return v.health()
}

func (v *Voice) health() string {
	var reasons []string
	for _, l := range v.use {
		if r := v.wrong[l]; r != "" && !slices.Contains(reasons, r) {
			reasons = append(reasons, r)
		}
	}
	switch {
	case v.ctx.Err() != nil:
		return "no voice: it is closed"
	case len(v.use) == 0:
		return "no voice: no language is chosen"
	case len(reasons) > 0:
		return "no voice: " + strings.Join(reasons, "; ")
	}
	select {
	case <-v.ready:
		return ""
	default:
		return "no voice yet: the spoken cues are being made"
	}
}

// Part is for the start-up report.
func (v *Voice) Part() audio.Part {
	v.mu.Lock()
	defer v.mu.Unlock()
	var words []string
	for _, l := range v.use {
		if _, ok := catalogue[l]; ok && !reviewed[l] {
			words = append(words, fmt.Sprintf("the texts in %s are %s", l, machineMade))
		}
	}
	for _, subject := range slices.Sorted(maps.Keys(v.remark)) {
		words = append(words, v.remark[subject])
	}
	p := audio.Part{State: audio.PartLoaded}
	if h := v.health(); h != "" {
		words = slices.Insert(words, 0, h)
		switch {
		case len(v.use) == 0 || v.absent:
			p.State = audio.PartAbsent
		case len(v.wrong) > 0 || v.ctx.Err() != nil:
			p.State = audio.PartFailed
		}
	}
	p.Reason = strings.Join(words, "; ")
	return p
}

// Stats gives the counts since the start.
func (v *Voice) Stats() Stats {
	v.mu.Lock()
	defer v.mu.Unlock()
	return v.stats
}

// Close ends a child that runs and waits for it, about a second at most. It may
// be called more than once.
func (v *Voice) Close() error {
	v.cancel()
	<-v.ended
	return nil
}

// run makes what is asked for until Close.
func (v *Voice) run() {
	defer close(v.ended)
	for {
		select {
		case <-v.ctx.Done():
			return
		case <-v.ask:
		}
		v.make()
	}
}

// make makes what the languages in use lack.
func (v *Voice) make() {
	v.mu.Lock()
	use, turn := slices.Clone(v.use), v.turn
	v.mu.Unlock()
	version, failed := "", error(nil) // of espeak-ng, asked when first needed
	for i, l := range use {
		cues := audio.SpokenCues()
		if i > 0 {
			cues = forWearer
		}
		missing, row := 0, 0
		var first error
		for _, c := range cues {
			if !v.has(l, c) {
				samples, from, err := v.one(l, c, &version, &failed, row == hopeless)
				if errors.Is(err, errHopeless) {
					missing++
					continue
				}
				if v.ctx.Err() != nil || !v.take(turn, l, c, samples, from, err) {
					return // closed, or other languages are wanted
				}
				if err == nil {
					row = 0
					continue
				}
				missing, row = missing+1, row+1
				first = cmp.Or(first, err)
			}
		}
		if missing > 0 {
			why := first.Error()
			if missing < len(cues) {
				// The count is of use where the rest can be heard.
				why = fmt.Sprintf("%d of %d cues in %s: %s", missing, len(cues), l, why)
			}
			v.o.Log.Warn("no voice", "language", l, "cues", missing, "reason", why)
			v.mu.Lock()
			if v.turn == turn {
				v.wrong[l] = why
				v.absent = v.absent || errors.Is(first, errMissing)
			}
			v.mu.Unlock()
		}
	}
	v.mu.Lock()
	defer v.mu.Unlock()
	if v.turn == turn {
		close(v.ready)
	}
}

// take notes what came of making a cue. It reports false when its language is
// not known to be wanted any more.
func (v *Voice) take(turn int, language string, c audio.Cue, samples []int16, from *int, err error) bool {
	v.mu.Lock()
	defer v.mu.Unlock()
	if v.turn != turn {
		return false
	}
	if err != nil {
		v.stats.Failed++
		return true
	}
	if v.made[language] == nil {
		v.made[language] = map[audio.Cue][]int16{}
	}
	v.made[language][c] = samples
	*from++
	v.join()
	return true
}

func (v *Voice) has(language string, c audio.Cue) bool {
	v.mu.Lock()
	defer v.mu.Unlock()
	return v.made[language][c] != nil
}

// errHopeless: no more is tried in a language, and there is no recording.
var errHopeless = errors.New("espeak-ng is not asked any more")

// one makes a cue: a recording wins, then what was rendered before, then
// espeak-ng unless that is hopeless. It says which count of Stats grows. The
// version of espeak-ng is asked once; an error of that stays.
func (v *Voice) one(language string, c audio.Cue, version *string, failed *error, hopeless bool) ([]int16, *int, error) {
	own, err := v.recorded(language, c)
	if err == nil && own != nil {
		return own, &v.stats.Recorded, nil
	}
	if err != nil {
		v.note(RecordedName(language, c), fmt.Sprintf("the recording %s is not used: %v", RecordedName(language, c), err))
	}
	if hopeless {
		return nil, nil, errHopeless
	}
	text := Text(language, c)
	if text == "" {
		return nil, nil, fmt.Errorf("there are no texts in the language %q", language)
	}
	if *version == "" && *failed == nil {
		*version, *failed = v.version(v.ctx)
	}
	if *failed != nil {
		return nil, nil, *failed
	}
	voice := v.o.Voices[language]
	if voice == "" {
		voice = catalogue[language].voice
	}
	name := cacheName(language, voice, text, v.o.Speed, *version)
	if samples := v.cached(name); samples != nil {
		return samples, &v.stats.Cached, nil
	}
	s, err := v.speak(v.ctx, voice, text)
	if err != nil {
		return nil, nil, err
	}
	samples, err := shape(s)
	if err != nil {
		return nil, nil, fmt.Errorf("what espeak-ng said cannot be used: %w", err)
	}
	if err := v.keep(name, samples); err != nil {
		v.note("folder", fmt.Sprintf("spoken cues are not kept for the next start: %v", err))
	}
	return samples, &v.stats.Rendered, nil
}

// note keeps a remark, and logs it once.
func (v *Voice) note(subject, words string) {
	v.mu.Lock()
	before := v.remark[subject]
	v.remark[subject] = words
	v.mu.Unlock()
	if before != words {
		v.o.Log.Warn("voice", "remark", words)
	}
}

// join puts together what Of gives. The caller holds mu.
func (v *Voice) join() {
	v.joined = map[audio.Cue][]int16{}
	if len(v.use) == 0 {
		return
	}
	maps.Copy(v.joined, v.made[v.use[0]])
	for _, c := range forWearer {
		var all []int16
		for _, l := range v.wearer {
			samples := v.made[l][c]
			switch {
			case len(samples) == 0:
			case all == nil:
				all = samples
			default:
				all = slices.Concat(all, make([]int16, audio.Sample(pause)), samples)
			}
		}
		if all != nil {
			v.joined[c] = all
		}
	}
}
