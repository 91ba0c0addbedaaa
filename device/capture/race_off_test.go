// SPDX-License-Identifier: Apache-2.0

//go:build !race

package capture

// raceDetector tells that the race detector slows the test down.
const raceDetector = false
