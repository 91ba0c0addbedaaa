// SPDX-License-Identifier: Apache-2.0

package programme

import (
	"cmp"
	"context"
	"encoding/binary"
	"fmt"
	"hash/fnv"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"tallyhood/console/procedure"
)

// A mark is what a run is sorted out by, in few bytes: a search that finds
// nothing goes through all marks of a million runs in some hundredths of a
// second, and reads no more runs than it gives. Words are hashes, so a mark may
// say yes where the run then says no, never the other way round.
type mark struct {
	number    uint64 // in the run's id
	day       uint16 // days since markEpoch; 0: only the run itself can say
	outcome   uint8  // place in outcomeMarks
	practice  bool
	recalled  bool
	facepiece uint16
	tester    uint16
}

// A stack is some marks in the order of their numbers.
type stack []mark

// mostMarks is how many a stack holds before the next one begins: each run that
// ends writes one stack, and a search reads all of them.
const mostMarks = 1024

// The bits beside the place of an outcome.
const (
	bitPractice = 0x80
	bitRecalled = 0x40
	bitsOutcome = 0x3f
)

func bit(is bool, b uint8) uint8 {
	if is {
		return b
	}
	return 0
}

// outcomeMarks gives outcomes their places; a place once given stays.
var outcomeMarks = []procedure.Outcome{"", procedure.Pass, procedure.Fail, procedure.NotValid, procedure.CannotTaste}

// markEpoch is before the day that a clock says which nobody has set; days reach
// from there to the year 2148.
var markEpoch = time.Date(1969, 1, 1, 0, 0, 0, 0, time.UTC)

// markDay is a day (2006-01-02) as marks hold it; 0 when they cannot.
func markDay(day string) uint16 {
	if n, is := daysSince(day); is && n >= 1 && n <= math.MaxUint16 {
		return uint16(n)
	}
	return 0
}

func daysSince(day string) (int, bool) {
	t, err := time.Parse(time.DateOnly, day)
	return int(t.Sub(markEpoch) / (24 * time.Hour)), err == nil
}

func markWord(word string) uint16 {
	h := fnv.New32a()
	_, _ = h.Write([]byte(word)) // which never fails
	return uint16(h.Sum32()>>16) ^ uint16(h.Sum32())
}

// numberOf is the number in a run's id. Runs get theirs in the order in which
// they are opened.
func numberOf(run string) (uint64, bool) {
	digits, is := strings.CutPrefix(run, "r")
	n, err := strconv.ParseUint(digits, 10, 64)
	return n, is && err == nil && idOf(n) == run
}

func idOf(number uint64) string { return fmt.Sprintf("r%06d", number) }

// TestedBy is who tested, as a correction of the record says last.
func (r Run) TestedBy() string {
	name := r.Tester
	for _, a := range r.Amended {
		if a.Field == "tester" {
			name = a.To
		}
	}
	return name
}

func markOf(r Run, number uint64) mark {
	return mark{
		number: number, day: markDay(dayOf(r.At)), outcome: uint8(max(0, slices.Index(outcomeMarks, r.Outcome))), practice: r.Practice, recalled: r.Recalled != "",
		facepiece: markWord(r.Facepiece), tester: markWord(Fold(r.TestedBy())),
	}
}

// encode writes the marks one after the other, number and day as what they are
// above those before, in some 8 bytes each.
func (s stack) encode() []byte {
	out := make([]byte, 0, 9*len(s))
	last := mark{number: s[0].number}
	for _, m := range s {
		out = binary.AppendUvarint(out, m.number-last.number)
		out = binary.AppendVarint(out, int64(m.day)-int64(last.day))
		out = append(out, m.outcome|bit(m.practice, bitPractice)|bit(m.recalled, bitRecalled))
		out = binary.LittleEndian.AppendUint16(out, m.facepiece)
		out = binary.LittleEndian.AppendUint16(out, m.tester)
		last = m
	}
	return out
}

// markRest is how many bytes of a mark follow its day.
const markRest = 5

// decodeStack reads a row of the table of marks into s, which may be used again.
func decodeStack(s stack, key string, value []byte) (stack, error) {
	first, err := strconv.ParseUint(key, 16, 64)
	last := mark{number: ^first}
	for s = s[:0]; err == nil && len(value) > 0; s = append(s, last) {
		number, n := binary.Uvarint(value)
		day, k := binary.Varint(value[max(0, n):])
		if n <= 0 || k <= 0 || len(value) < n+k+markRest {
			break
		}
		value = value[n+k:]
		last = mark{
			number: last.number + number, day: uint16(int64(last.day) + day), outcome: value[0] & bitsOutcome,
			practice: value[0]&bitPractice != 0, recalled: value[0]&bitRecalled != 0,
			facepiece: binary.LittleEndian.Uint16(value[1:]), tester: binary.LittleEndian.Uint16(value[3:]),
		}
		value = value[markRest:]
	}
	if err != nil || len(value) > 0 || len(s) == 0 {
		return nil, fmt.Errorf("view %s: the row %q cannot be read", tableMarks, key)
	}
	return s, nil
}

// stackKey sorts stacks by the number of their first mark, the newest first,
// since tables are read forwards.
func stackKey(first uint64) string { return fmt.Sprintf("%016x", ^first) }

// stackFrom reads the stack in which a number belongs: the newest that does not
// begin after it. There may be none.
func (d *Desk) stackFrom(ctx context.Context, number uint64) (s stack, err error) {
	after := ""
	if number < ^uint64(0) {
		after = stackKey(number + 1)
	}
	err = d.cfg.Store.Table(tableMarks).Range(ctx, "", after, 1, func(key string, value []byte) (err error) {
		s, err = decodeStack(nil, key, value)
		return err
	})
	return s, err
}

// markRuns brings the marks of runs up to date. All runs of the change come at
// once: what it has written is not looked at again.
func (c *change) markRuns(runs []RunChange) error {
	marks := make(stack, 0, len(runs))
	for _, x := range runs {
		if n, is := numberOf(x.Is.Run); is {
			marks = append(marks, markOf(x.Is, n))
		}
	}
	if len(marks) == 0 {
		return nil
	}
	slices.SortFunc(marks, func(a, b mark) int { return cmp.Compare(a.number, b.number) })
	// What is newer than all before, as it mostly is, belongs in the newest stack.
	newest, err := c.d.stackFrom(c.ctx, ^uint64(0))
	if err != nil {
		return err
	}
	var s stack
	put := func() {
		if len(s) > 0 {
			c.set(tableMarks, stackKey(s[0].number), s.encode())
		}
	}
	for _, m := range marks {
		there := newest
		if len(newest) > 0 && m.number < newest[0].number {
			if there, err = c.d.stackFrom(c.ctx, m.number); err != nil {
				return err
			}
		}
		// Unless it is the one at hand, or was when this change began.
		if len(s) == 0 || len(there) > 0 && there[0].number > s[0].number {
			put()
			s = there
		}
		at, found := slices.BinarySearchFunc(s, m.number, func(m mark, n uint64) int { return cmp.Compare(m.number, n) })
		switch {
		case found:
			s[at] = m
		case at == len(s) && len(s) >= mostMarks:
			put()
			s = stack{m}
		default:
			s = slices.Insert(s, at, m)
		}
	}
	put()
	return nil
}

// What a list of runs may hold alone.
const (
	OnlyTests    = "tests" // no practice
	OnlyPractice = "practice"
	OnlyRecalled = "recalled"
)

// A RunQuery says which runs are looked for; what is empty holds all.
type RunQuery struct {
	From, To  string // days, both in it
	Person    string
	Facepiece string
	Tester    string // as corrected last; capitals and accents do not count
	Outcome   procedure.Outcome
	Only      string
}

func (q RunQuery) kind(practice, recalled bool) bool {
	switch q.Only {
	case OnlyTests:
		return !practice
	case OnlyPractice:
		return practice
	case OnlyRecalled:
		return recalled
	}
	return true
}

// holds says whether a run is one of those that are looked for.
func (q RunQuery) holds(r Run) bool {
	return q.kind(r.Practice, r.Recalled != "") && dayOf(r.At) >= q.From && (q.To == "" || dayOf(r.At) <= q.To) && (q.Person == "" || r.Person == q.Person) &&
		(q.Facepiece == "" || r.Facepiece == q.Facepiece) && (q.Outcome == "" || r.Outcome == q.Outcome) &&
		(q.Tester == "" || Fold(r.TestedBy()) == Fold(q.Tester))
}

// A sieve lets marks through whose runs may be looked for.
type sieve struct {
	RunQuery
	from, to          int // days, both in it
	facepiece, tester uint16
	outcome           uint8
}

func (q RunQuery) sieve() sieve {
	s := sieve{q, 0, math.MaxInt, markWord(q.Facepiece), markWord(Fold(q.Tester)), uint8(max(0, slices.Index(outcomeMarks, q.Outcome)))}
	if n, is := daysSince(q.From); is {
		s.from = n
	}
	if n, is := daysSince(q.To); is {
		s.to = n
	}
	return s
}

func (s *sieve) lets(m mark) bool {
	return s.kind(m.practice, m.recalled) && (m.day == 0 || int(m.day) >= s.from && int(m.day) <= s.to) && (s.Facepiece == "" || m.facepiece == s.facepiece) &&
		(s.Tester == "" || m.tester == s.tester) && (s.outcome == 0 || m.outcome == s.outcome)
}

// mostLooked is how many marks one call looks at, so that it ends in time on a
// box of any size.
const mostLooked = 2_000_000

// Of stacks so many are read at a time: few at first, since often they do.
const (
	firstStacks = 1
	mostStacks  = 64
)

// RunsLike gives runs that have ended, the one that was opened last first, at
// most limit of them whose number is below before (0: all), and what to ask with
// for those that follow; 0 when there are none. When very many are looked at it
// may give fewer, or none, and others follow all the same.
func (d *Desk) RunsLike(ctx context.Context, q RunQuery, before uint64, limit int) (runs []Run, next uint64, err error) {
	if before == 0 {
		before = ^uint64(0)
	}
	through := q.sieve()
	if q.Person != "" {
		return d.runsOfLike(ctx, through, before, limit)
	}
	s := make(stack, 0, mostMarks)
	for looked, step := 0, firstStacks; ; step = min(4*step, mostStacks) {
		var like []string
		stacks := 0
		err := d.cfg.Store.Table(tableMarks).Range(ctx, "", stackKey(before), step, func(key string, value []byte) (err error) {
			stacks++
			if s, err = decodeStack(s, key, value); err != nil {
				return err
			}
			for _, m := range slices.Backward(s) {
				if len(runs)+len(like) == limit {
					break
				}
				if m.number >= before {
					continue
				}
				looked++
				before = m.number
				if through.lets(m) {
					like = append(like, idOf(m.number))
				}
			}
			return nil
		})
		if err != nil {
			return nil, 0, err
		}
		// Whether there is anything behind is not known when enough were found.
		over := stacks < step && len(runs)+len(like) < limit
		found, err := some[Run](ctx, d, tableRuns, like)
		if err != nil {
			return nil, 0, err
		}
		for _, r := range found {
			if q.holds(r) {
				runs = append(runs, r)
			}
		}
		switch {
		case over:
			return runs, 0, nil
		case len(runs) == limit || looked >= mostLooked:
			return runs, before, nil
		}
	}
}

// runsOfLike is RunsLike of a person: few runs, whatever the box holds.
func (d *Desk) runsOfLike(ctx context.Context, through sieve, before uint64, limit int) (runs []Run, next uint64, err error) {
	all, err := d.RunsOf(ctx, through.Person)
	if err != nil {
		return nil, 0, err
	}
	numbers := map[string]uint64{}
	all = slices.DeleteFunc(all, func(r Run) bool {
		n, is := numberOf(r.Run)
		numbers[r.Run] = n
		return !is || n >= before
	})
	slices.SortFunc(all, func(a, b Run) int { return cmp.Compare(numbers[b.Run], numbers[a.Run]) })
	for _, r := range all {
		if !through.holds(r) {
			continue
		}
		if len(runs) == limit {
			return runs, numbers[runs[limit-1].Run], nil
		}
		runs = append(runs, r)
	}
	return runs, 0, nil
}
