// SPDX-License-Identifier: Apache-2.0

// Command testlog reads the JSON that "go test -json" writes, prints the
// lines a person needs (packages, failures, skips with their reasons) and
// judges the skips: with TALLYHOOD_CI=1 a skip fails unless its text says why
// no package could have prevented it. It must not run tests itself, and it
// never turns a failure into a success.
package main

import (
	"fmt"
	"io"
	"os"
)

func main() {
	os.Exit(run(os.Stdin, os.Stdout, os.Getenv("TALLYHOOD_CI") == "1"))
}

// run copies one stream of test events to w as text and returns the exit code.
func run(r io.Reader, w io.Writer, strict bool) int {
	log, err := read(r, w)
	if err != nil {
		fmt.Fprintf(w, "testlog: %v\n", err)
		return 1
	}
	return log.close(w, strict)
}
