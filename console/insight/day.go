// SPDX-License-Identifier: Apache-2.0

package insight

import "time"

// A Day is a day of the site's calendar, counted from 1 January 1970.
type Day int32

// NoDay is the day of a test whose clock was not trusted. A board without a
// clock says 1970, so no day from then or before is taken for one.
const NoDay Day = 0

const dayLength = 24 * time.Hour

// DayOf is the calendar day of an instant as its own zone writes it.
func DayOf(t time.Time) Day {
	y, m, d := t.Date()
	return Day(time.Date(y, m, d, 0, 0, 0, 0, time.UTC).Unix() / int64(dayLength/time.Second))
}

// Date is the day's midnight, in UTC.
func (d Day) Date() time.Time {
	return time.Unix(int64(d)*int64(dayLength/time.Second), 0).UTC()
}

// A Week is an ISO 8601 week, counted from the one that holds 1 January 1970;
// it begins on a Monday.
type Week int32

// Week is the week that holds the day.
func (d Day) Week() Week {
	n := int32(d) + 3 // 1 January 1970 was a Thursday
	if n < 0 {
		n -= 6
	}
	return Week(n / 7)
}

// ISO is the year and number of the week.
func (w Week) ISO() (year, number int) { return w.Monday().Date().ISOWeek() }

// Monday is the week's first day.
func (w Week) Monday() Day { return Day(7*int32(w) - 3) }
