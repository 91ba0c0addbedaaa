// SPDX-License-Identifier: Apache-2.0

package wire

// Watch asks for the boards of other boxes beside this one's own snapshots; a
// trainer's page sends it after its Hello.
type Watch struct {
	Type string `json:"type"` // watch
}

// A Board is another box that this one was told of, as a trainer sees it. It
// comes with each snapshot of that box, and once a second while none comes.
type Board struct {
	Type  string     `json:"type"`  // board
	Name  string     `json:"name"`  // as this box calls it
	State BoardState `json:"state"` //
	// AgeMS is how old the snapshot was when this was sent, in milliseconds;
	// -1 while there has been none.
	AgeMS    int64     `json:"age_ms"`
	Snapshot *Snapshot `json:"snapshot"` // names masked; null while there has been none
}

// A BoardState is how it stands with the line to another box.
type BoardState string

// The states of a line.
const (
	BoardLive    BoardState = "live"    // snapshots come
	BoardLost    BoardState = "lost"    // no answer; it is tried again
	BoardRefused BoardState = "refused" // something answers and takes no connection
	BoardOther   BoardState = "other"   // a box of another version, whose messages do not fit
)
