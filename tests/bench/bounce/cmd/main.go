// SPDX-License-Identifier: Apache-2.0

// Command cmd prints the tables of counting errors in hardware-notes/measured.md. It must
// not be part of a release.
package main

import (
	"fmt"
	"os"

	"tallyhood/tests/bench/bounce"
)

func main() {
	const presses = 100_000
	err := bounce.Table(os.Stdout, bounce.Methods, presses, bounce.Seed)
	fmt.Println()
	if err == nil {
		err = bounce.ButtonTable(os.Stdout, presses, bounce.Seed)
	}
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
	}
}
