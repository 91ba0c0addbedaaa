// SPDX-License-Identifier: Apache-2.0

//go:build race

package curve

// underRace: the race detector makes everything some ten times slower, and
// there are no goroutines here; fewer hands will do.
const underRace = true
