// SPDX-License-Identifier: Apache-2.0

package api

import (
	"tallyhood/console/procedure"
	"tallyhood/console/programme"
	"tallyhood/console/review"
)

// The examples of the documents: Harrowgate Stoneworks, a yard that does not
// exist. They are Go values, so that they cannot differ from the types.

func exampleForm() programme.PersonForm {
	return programme.PersonForm{
		Name: "Tomasz Zieliński", Number: "HS-021", Job: "saw hand", Languages: []string{"pl", "en"},
		Facepieces: []string{"corrie-m"}, Rules: "us-osha", Agent: "bitter", Note: "mornings only",
	}
}

func examplePerson() programme.Person {
	return programme.Person{
		ID: "p-7kq2m9xd", PersonForm: exampleForm(), Cleared: &programme.Clearance{On: "2026-09-01", Who: "Dr Hale, works clinic"},
		Tested: []programme.Tested{{Facepiece: "corrie-m", Run: "r000412", On: "2026-09-14", Rules: "uk-hse", Trusted: true}},
		Due:    []programme.Due{exampleDue().Due}, Fails: map[string]int{},
	}
}

func exampleDue() DueRow {
	return DueRow{programme.Due{Person: "p-7kq2m9xd", Facepiece: "corrie-m", On: "2028-09-14", Why: "interval"}, "Tomasz Zieliński", "Fellside Corrie, medium"}
}

func exampleRun() programme.Run {
	return programme.Run{
		Run: "r000412", Person: "p-7kq2m9xd", Facepiece: "corrie-m", Make: "Fellside", Model: "Corrie", Size: "medium", Rules: "uk-hse", Agent: "bitter",
		Tester: "Agnes Thorley", At: "2026-09-14T09:02:11+01:00", Quality: "confirmed", Outcome: procedure.Pass, First: procedure.Pass,
		Bin: 10, Screening: 7, Squeezes: 75, StagesS: map[string]int{"screening": 12, "clearing": 300, "donning": 310, "dosing": 14, "running": 420},
		Nebulisers: []string{"bitter-weak-1", "bitter-strong-1"}, Hood: "hood-1", Number: 4288,
		Hash: "9f2c4a7be1d05836fa47c01d2be98f60a3d7715c84e2b96f0d3a5c7e18b4f602", Signed: []programme.Signature{}, Amended: []programme.RunAmended{},
	}
}

func exampleFacepieceForm() programme.FacepieceForm {
	return programme.FacepieceForm{
		Make: "Fellside", Model: "Corrie", Style: "half mask, rubber, with two P3 filters", Size: "medium", Type: procedure.HalfMask, FitFactor: 100,
		Pieces: []string{"C-M-1", "C-M-2"}, Stock: 2,
	}
}

func exampleFacepieces() FacepieceList {
	beacon := programme.FacepieceForm{Make: "Tarnwick", Model: "Beacon", Style: "full face mask, silicone", Size: "medium", Type: procedure.FullFace, FitFactor: 500, Pieces: []string{}}
	return FacepieceList{[]FacepieceRow{
		{programme.Facepiece{ID: "corrie-m", FacepieceForm: exampleFacepieceForm(), Cleaned: map[string]string{"C-M-1": "2026-09-14T15:40:00+01:00"}}, map[string]string{}},
		{programme.Facepiece{ID: "beacon-m", FacepieceForm: beacon, Cleaned: map[string]string{}}, map[string]string{"uk-hse": "Full face masks are not tested by taste. Use a quantitative test."}},
	}}
}

func exampleNebuliser() programme.Nebuliser {
	return programme.Nebuliser{
		ID: "bitter-strong-1", NebuliserForm: programme.NebuliserForm{Mark: "B2", Role: procedure.Strong, Agent: "bitter"}, Solution: "bitter-strong-260901",
		Filled: "2026-09-14T08:30:00+01:00", Squeezes: 310, Checked: "2026-09-14T08:32:00+01:00", Good: true, GoodAt: "2026-09-14T08:32:00+01:00",
	}
}

func exampleSolution() programme.Solution {
	return programme.Solution{ID: "bitter-strong-260901", SolutionForm: programme.SolutionForm{
		Agent: "bitter", Strength: procedure.Strong, Lot: "HS-26-09-A", Made: "2026-09-01", Expires: "2026-12-01",
		Recipe: "as the published recipe says, in 200 ml", Source: "29 CFR 1910.134 App. A", Who: "Bram Okafor",
	}}
}

func exampleKit() Kit {
	left := int64(11_400)
	return Kit{
		Hoods:      []HoodRow{{programme.Hood{ID: "hood-1", HoodForm: programme.HoodForm{Mark: "H1", AcrossMM: 305, TallMM: 356}}, false}},
		Nebulisers: []NebuliserRow{{exampleNebuliser(), &left, ""}}, Solutions: []SolutionRow{{exampleSolution(), false}}, Warnings: []WarningRow{},
	}
}

func exampleSweep() programme.Sweep {
	return programme.Sweep{Nebuliser: "bitter-strong-1", Since: "2026-09-14T08:32:00+01:00", Runs: []programme.Run{exampleRun()}, People: []string{"p-7kq2m9xd"}}
}

func exampleRecipe() programme.Recipe {
	return programme.Recipe{
		ID: "sweet-strong", Agent: "sweet", Strength: procedure.Strong, Name: "Sodium saccharin, strong, from powder", VolumeML: 100,
		Parts: []programme.RecipePart{{What: "sodium saccharin, USP", Amount: 83, Unit: "g", Powder: true}}, Text: "Dissolve the sodium saccharin in the warm water.",
		Source: "29 CFR 1910.134 Appendix A, Part I.B.3", Mark: "[1]", Cautions: []string{"Label the bottle at once."},
	}
}

func examplePreview() Preview {
	return Preview{
		Token: "u-00112233445566778899aabbccddeeff", Columns: []string{"Nummer", "Name", "Maske"}, Rows: [][]string{{"HS-021", "Tomasz Zieliński", "corrie-m"}},
		Encoding: "windows-1250", Delimiter: ";", Sheets: []string{}, Guess: map[string]int{"number": 0, "name": 1},
	}
}

func exampleImport() ImportBody {
	return ImportBody{"u-00112233445566778899aabbccddeeff", Reading{"windows-1250", ";", ""}, map[string]int{"number": 0, "name": 1, "facepieces": 2}, true, Who{"Agnes Thorley"}}
}

func exampleDay() programme.Day {
	return programme.Day{
		Day: "2026-09-14", NextFree: "2026-09-14T09:25:00+01:00", Waiting: 1, Steps: []programme.StepTime{{Step: "running", Seconds: 421, Source: "median of past runs", Mark: "[D]"}},
		Expected: []programme.Expected{{
			Person: "p-7kq2m9xd", Name: "Tomasz Zieliński", Number: "HS-021", Listed: true, Place: 1, Due: []programme.Due{exampleDue().Due}, State: programme.DayWaiting,
			SlotAt: "2026-09-14T09:25:00+01:00", StopEating: "2026-09-14T08:55:00+01:00", AbstainS: 1800, AbstainWhy: "INDG479",
		}},
		EndOfDay: []programme.Task{{What: "rinse", ID: "bitter-strong-1", Name: "B2"}},
	}
}

func examplePlan() programme.PlanResult {
	return programme.PlanResult{
		PerDay: programme.Spread{Median: 14, Low: 12, High: 16}, FinishS: programme.Spread{Median: 24_600, Low: 22_000, High: 27_400},
		Steps: []programme.StepTime{{Step: "running", Seconds: 421, Source: "median of past runs", Mark: "[D]"}}, Past: 212, Said: []string{"One tester; no breaks."},
	}
}

func examplePolicy() programme.Policy {
	return programme.Policy{Rules: "uk-hse", RetestMonths: 24, Site: "Harrowgate Stoneworks, the yard", Hoods: 2}
}

func exampleRetention() programme.Retention {
	return programme.Retention{Months: 480, Runs: []programme.Run{}, People: []programme.RetiredShown{{Person: "p-7kq2m9xd", Name: "Tomasz Zieliński", Number: "HS-021", Left: "1986-03-31", LastRun: "1985-11-04"}}}
}

func exampleHead() SignedHead {
	return SignedHead{
		Size: 51204, Root: "q83vEjRWeJCrze8SNFZ4kKvN7xI0VniQq83vEjRWeJA=", Wall: "2026-09-14T08:21:00Z", Quality: "confirmed",
		Note: "tallyhood.head/1\n51204\nq83vEjRWeJCrze8SNFZ4kKvN7xI0VniQq83vEjRWeJA=\n2026-09-14T08:21:00Z confirmed\n\n— tallyhood/harrowgate AAAA\n",
		Key:  "tallyhood/harrowgate+00000000+AAAA",
	}
}

func exampleChecked() Checked {
	return Checked{
		Holds: true, Found: []string{"The signature is the box's."}, Run: "r000412", Outcome: "pass", Make: "Fellside", Model: "Corrie", Size: "medium",
		On: "2026-09-14", Due: "2028-09-14", Here: true,
	}
}

// exampleReview is the beginning of a review: the frames of a whole one are
// hundreds.
func exampleReview() review.Sequence {
	clock := int64(641_000)
	return review.Sequence{
		Run: "r000412", Opened: "2026-09-14", Masked: true, Outcome: procedure.Pass, Hash: exampleRun().Hash, Supervised: true, LengthMS: 1_066_000, ClockMS: &clock,
		Stages: []review.Staged{{AtMS: 0, Stage: procedure.Screening}, {AtMS: 641_000, Stage: procedure.Running}}, Frames: []review.Frame{},
		Moments: []review.Moment{{AtMS: 702_400, Kind: "late", TopUp: 2}}, Cues: []review.Cue{},
	}
}

func exampleBackups() Backups {
	return Backups{Generations: []Generation{{
		Where: "/media/stick", File: "/media/stick/tallyhood-box-5f0c2a-a.age", Bytes: 48_211_968, Made: "2026-09-14T16:40:00+01:00", Quality: "confirmed",
		Proven: "2026-09-14T16:40:09+01:00", Entries: 51_204, Hash: exampleRun().Hash, Here: true,
	}}, Restores: []BroughtIn{{
		At: "2026-08-03T07:55:00+01:00", Quality: "confirmed", Box: "box-5f0c2a", Made: "2026-07-31T16:40:00+01:00", Entries: 48_730, Head: exampleRun().Hash, By: "Agnes Thorley",
	}}}
}
