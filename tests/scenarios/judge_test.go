// SPDX-License-Identifier: Apache-2.0

package scenarios

import "time"

// A deed is what really happened in a made-up run: the truth, without bounce.
type deed struct {
	at, until time.Duration
	what      string // squeeze, half_squeeze (doubtful), report, half_report, step, cable_open, cable_short, or a word of the tester
}

// judge is the second judge. It is written from the rules of the trade and from
// the contract of the contacts; it sees the deeds, in order and on the
// capture's clock, and shares no code with the engine. unclear is true where
// two deeds lie so close that the contract leaves open which came first.
func judge(deeds []deed, single bool, end time.Duration) (verdict string, unclear bool) {
	const s = time.Second
	var (
		stage       = 0 // 0 ready, 1 sensitivity test, 2 taste clears, 3 donning, 4 initial dose
		sure, maybe int
		giveUp      time.Duration // when someone who was given thirty squeezes cannot taste
		dose, given int
		proven      bool
		blocked     time.Duration // until when a start is refused for button or cable
		parked      bool          // the run waits, and the contacts are another person's
	)
	for i, d := range deeds {
		if d.at+100*ms > end {
			unclear = true
		}
		if stage == 1 && sure == 30 && d.at >= giveUp {
			return "cannot_taste no_taste_by_30", unclear
		}
		if mayWait := stage == 0 || stage == 2 || stage == 3; (mayWait || parked) && straddles(d, deeds) {
			unclear = true // elsewhere a run is not parked, whenever it is asked
		}
		if parked {
			switch d.what {
			case "take_up":
				parked = false
			case "welfare", "abandon":
				return "not_valid " + toll(d.what), unclear
			}
			continue
		}
		switch d.what {
		case "park":
			// Not while there is mist or it is being counted.
			parked = stage == 0 || stage == 2 || stage == 3
		case "step":
			if (stage == 0 || stage == 3) && d.at < blocked+100*ms {
				if d.at > blocked-10*ms {
					unclear = true
				}
				continue
			}
			switch {
			case stage == 0, stage == 2, stage == 3 && proven:
				stage++
			case stage == 1 && sure == 30:
				return "cannot_taste no_taste_by_30", unclear
			}
		case "squeeze":
			switch {
			case stage == 0 && i > 0 && near(deeds[:i], d.at), stage == 0 && near(deeds[i+1:], d.at):
				unclear = true
			case stage == 1 && sure < 30:
				sure++
				giveUp = d.at + 10*s
			case stage == 4:
				if given++; given == dose {
					v, u := judgeTimed(deeds[i+1:], d.at, dose, single, end)
					return v, u || unclear
				}
			}
		case "half_squeeze":
			if stage == 1 {
				maybe++
			}
		case "report", "said_aloud":
			if d.what == "report" {
				blocked = d.until
				proven = proven || stage == 2 || stage == 3
			}
			switch stage {
			case 1:
				if sure+maybe == 0 {
					continue
				}
				unclear = unclear || sure == 0
				// Ten, twenty or thirty, whatever the exact count.
				dose = min(30, (sure+maybe+9)/10*10)
				proven = d.what == "report"
				stage = 2
			case 4:
				return "fail tasted_before_clock", unclear
			}
		case "half_report":
			if stage == 4 {
				return "not_valid doubtful_report", unclear
			}
		case "cable_open", "cable_short":
			if stage > 0 {
				return "not_valid " + d.what, unclear
			}
			blocked = d.until
		default:
			if r := toll(d.what); r != "" && (stage == 4 || d.what == "welfare" || d.what == "abandon" || stage == 1 && d.what != "touched") {
				return "not_valid " + r, unclear
			}
		}
	}
	if stage == 1 && sure == 30 && end >= giveUp {
		return "cannot_taste no_taste_by_30", unclear
	}
	return "not_valid interrupted", unclear
}

// straddles: a contact's deed lies so close to the instant at which a run is
// parked or taken up that it is open whose it is.
func straddles(d deed, deeds []deed) bool {
	if d.until == d.at {
		return false
	}
	for _, p := range deeds {
		if (p.what == "park" || p.what == "take_up") && d.at-200*ms < p.at && p.at < d.until+200*ms {
			return true
		}
	}
	return false
}

// near: a report so close that button and pedal may have moved together.
func near(deeds []deed, at time.Duration) bool {
	for _, d := range deeds {
		if d.what == "report" && d.at-at < 100*ms && at-d.at < 100*ms {
			return true
		}
	}
	return false
}

// toll is the reason that a word of the tester ends a fit test with.
func toll(word string) string {
	return map[string]string{
		"hood_off": "hood_off", "touched": "facepiece_touched", "mist_failed": "mist_check_failed",
		"welfare": "stopped_for_welfare", "abandon": "interrupted",
	}[word]
}

// judgeTimed judges what follows t = 0: the earliest thing that ends the run.
func judgeTimed(deeds []deed, t0 time.Duration, dose int, single bool, end time.Duration) (verdict string, unclear bool) {
	const s = time.Second
	first, why := end-t0, "not_valid interrupted"
	earlier := func(t time.Duration, w string) {
		if t < first {
			first, why = t, w
		}
	}
	// Thirteen top-ups of half the dose, due every 30 s, none at 420 s; each has
	// from 5 s before to 25 s after.
	for k := time.Duration(1); k <= 13; k++ {
		n := 0
		for _, d := range deeds {
			if t := d.at - t0; d.what == "squeeze" && t >= 30*k*s-5*s && t < 30*k*s+25*s {
				n++
			}
		}
		if 2*n < dose {
			earlier(30*k*s+25*s, "not_valid top_up_short")
		}
	}
	const last = 420 * s // seven exercises of a minute
	proof := last + 20*s
	for _, d := range deeds {
		t := d.at - t0
		if d.at+100*ms > end {
			unclear = true
		}
		if t > last {
			if single && t < proof {
				switch {
				case d.what == "report":
					earlier(t, "pass")
				case d.what == "said_aloud":
					earlier(t, "fail tasted")
				case toll(d.what) != "":
					earlier(t, "not_valid "+toll(d.what))
				}
			}
			continue
		}
		switch d.what {
		case "report", "said_aloud":
			earlier(t, "fail tasted")
		case "half_report":
			earlier(t, "not_valid doubtful_report")
		case "cable_open", "cable_short":
			earlier(t, "not_valid "+d.what)
		default:
			if r := toll(d.what); r != "" {
				earlier(t, "not_valid "+r)
			}
		}
	}
	if single {
		earlier(proof, "not_valid button_unproven")
	} else {
		earlier(last, "pass")
	}
	return why, unclear
}
