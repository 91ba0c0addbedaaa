// SPDX-License-Identifier: Apache-2.0

package insight

import "time"

// A Histogram counts times exactly in classes that grow with them: 1 s wide up
// to 10 minutes, 5 s up to 30 minutes, 30 s up to 2 hours, and one class for
// more. It takes at most 4 kB however many times it holds.
type Histogram struct {
	n       int
	classes []uint32 // up to the highest one used
}

type zone struct {
	from, to, width time.Duration
}

var zones = [...]zone{
	{0, 10 * time.Minute, time.Second},
	{10 * time.Minute, 30 * time.Minute, 5 * time.Second},
	{30 * time.Minute, 2 * time.Hour, 30 * time.Second},
}

// class of a time, and the class's bounds; over: it has no upper one.
func class(d time.Duration) int {
	at := 0
	for _, z := range zones {
		if d < z.to {
			return at + int((d-z.from)/z.width)
		}
		at += int((z.to - z.from) / z.width)
	}
	return at
}

func bounds(class int) Span {
	for _, z := range zones {
		k := int((z.to - z.from) / z.width)
		if class < k {
			lo := z.from + time.Duration(class)*z.width
			return Span{From: lo, To: lo + z.width}
		}
		class -= k
	}
	end := zones[len(zones)-1].to
	return Span{From: end, To: end, Over: true}
}

func (h *Histogram) add(d time.Duration) {
	c := class(d)
	for len(h.classes) <= c {
		h.classes = append(h.classes, 0)
	}
	h.classes[c]++
	h.n++
}

func (h *Histogram) has(d time.Duration) bool {
	c := class(d)
	return c < len(h.classes) && h.classes[c] > 0
}

func (h *Histogram) remove(d time.Duration) {
	h.classes[class(d)]--
	h.n--
}

func (h *Histogram) merge(o Histogram) {
	for len(h.classes) < len(o.classes) {
		h.classes = append(h.classes, 0)
	}
	for c, k := range o.classes {
		h.classes[c] += k
	}
	h.n += o.n
}

// N is how many times it holds.
func (h Histogram) N() int { return h.n }

// A Span is the class that a quantile lies in: the true time is at least From
// and under To. Over: it is 2 hours or more.
type Span struct {
	From, To time.Duration
	Over     bool
}

// Mid is the middle of the span; its error is at most half the class's width.
func (s Span) Mid() time.Duration { return (s.From + s.To) / 2 }

// Quantile is the span of the smallest time that has at least the share q of
// all times at or under it; ok is false without times.
func (h Histogram) Quantile(q float64) (s Span, ok bool) {
	if h.n == 0 {
		return Span{}, false
	}
	need := q * float64(h.n)
	var seen int
	last := 0
	for c, k := range h.classes {
		if k == 0 {
			continue
		}
		seen, last = seen+int(k), c
		if float64(seen) >= need {
			break
		}
	}
	return bounds(last), true
}
