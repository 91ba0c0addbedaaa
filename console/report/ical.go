// SPDX-License-Identifier: Apache-2.0

package report

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"strings"
	"time"
	"unicode/utf8"
)

// A DueDate is an all-day entry of a calendar.
type DueDate struct {
	UID     string // the same for the same thing in every export
	On      string // 2006-01-02
	Summary string
	About   string // may be empty
	Place   string // may be empty
}

// Calendar writes due dates as iCalendar (RFC 5545). Stamp is the instant of
// the export, which every entry has to carry.
func Calendar(w io.Writer, name string, stamp time.Time, due []DueDate) error {
	if stamp.IsZero() {
		return errors.New("a calendar needs the instant of its making")
	}
	b := bufio.NewWriter(w)
	line := func(name, value string) { fold(b, name+":"+value) }
	line("BEGIN", "VCALENDAR")
	line("VERSION", "2.0")
	line("PRODID", "-//tallyhood//due dates//EN")
	line("CALSCALE", "GREGORIAN")
	line("METHOD", "PUBLISH")
	line("X-WR-CALNAME", escape(name))
	seen := map[string]bool{}
	for i, d := range due {
		day, err := time.Parse("2006-01-02", d.On)
		if err != nil {
			return fmt.Errorf("due date %d: %q is no day", i+1, d.On)
		}
		if d.UID == "" || seen[d.UID] || strings.ContainsFunc(d.UID, func(r rune) bool { return r <= ' ' || r >= 0x7F }) {
			return fmt.Errorf("due date %d: its UID is empty, not plain, or stands twice", i+1)
		}
		seen[d.UID] = true
		line("BEGIN", "VEVENT")
		line("UID", d.UID)
		line("DTSTAMP", stamp.UTC().Format("20060102T150405Z"))
		line("DTSTART;VALUE=DATE", day.Format("20060102"))
		line("DTEND;VALUE=DATE", day.AddDate(0, 0, 1).Format("20060102"))
		line("SUMMARY", escape(d.Summary))
		if d.About != "" {
			line("DESCRIPTION", escape(d.About))
		}
		if d.Place != "" {
			line("LOCATION", escape(d.Place))
		}
		line("TRANSP", "TRANSPARENT")
		line("END", "VEVENT")
	}
	line("END", "VCALENDAR")
	return b.Flush()
}

// escape writes a TEXT value (RFC 5545, 3.3.11).
func escape(s string) string {
	s = strings.ToValidUTF8(s, "\uFFFD")
	s = strings.ReplaceAll(s, "\r\n", "\n")
	var b strings.Builder
	for _, r := range s {
		switch {
		case r == '\\' || r == ';' || r == ',':
			b.WriteByte('\\')
			b.WriteRune(r)
		case r == '\n' || r == '\r':
			b.WriteString(`\n`)
		case r == '\t' || r >= ' ' && r != 0x7F:
			b.WriteRune(r)
		}
	}
	return b.String()
}

// fold writes a content line in pieces of at most 75 octets without the line
// end, never within a character (RFC 5545, 3.1).
func fold(b *bufio.Writer, s string) {
	room := 75
	for len(s) > room {
		n := room
		for !utf8.RuneStart(s[n]) {
			n--
		}
		b.WriteString(s[:n])
		b.WriteString("\r\n ")
		s, room = s[n:], 74
	}
	b.WriteString(s)
	b.WriteString("\r\n")
}
