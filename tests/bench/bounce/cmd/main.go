// SPDX-License-Identifier: Apache-2.0

// Command cmd prints the table of counting errors. It must not be shipped.
package main

import (
	"fmt"
	"os"

	"tallyhood/tests/bench/bounce"
)

func main() {
	if err := bounce.Table(os.Stdout, bounce.Methods, 100_000, bounce.Seed); err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
}
