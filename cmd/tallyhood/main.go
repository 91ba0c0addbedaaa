// SPDX-License-Identifier: Apache-2.0

// Command tallyhood counts, times, cues and records qualitative fit tests of
// respirators. It wires the parts together; it must not hold any of the
// knowledge that they hold.
package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"strings"
	"syscall"

	"github.com/spf13/cobra"
)

// version is set by the linker for a release.
var version = "0.1.0-dev"

// added make further commands, of files that only some builds take in.
var added []func() *cobra.Command

// badInput marks an error whose exit code is 2: what was given cannot be used.
type badInput struct{ error }

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	code := run(ctx, os.Args[1:], os.Stdout, os.Stderr)
	stop()
	os.Exit(code)
}

// run is main with its surroundings given, so that tests can start it whole.
func run(ctx context.Context, args []string, out, errOut io.Writer) int {
	root := &cobra.Command{
		Use:           "tallyhood",
		Short:         "counts, times, cues and records qualitative fit tests",
		SilenceErrors: true,
		SilenceUsage:  true,
	}
	root.AddCommand(serveCommand(), checkBoardCommand(), replayCommand(), recordsCommand(), restoreCommand(), &cobra.Command{
		Use: "version", Short: "print the version", Args: cobra.NoArgs,
		Run: func(c *cobra.Command, _ []string) { fmt.Fprintln(c.OutOrStdout(), version) },
	})
	for _, more := range added {
		root.AddCommand(more())
	}
	root.SetArgs(args)
	root.SetOut(out)
	root.SetErr(errOut)
	err := root.ExecuteContext(ctx)
	if err == nil {
		return 0
	}
	fmt.Fprintln(errOut, "tallyhood: "+oneLine(err.Error()))
	var bad badInput
	var open unchecked
	switch {
	case errors.As(err, &bad):
		return 2
	case errors.As(err, &open):
		return 3
	}
	return 1
}

func oneLine(s string) string { return strings.Join(strings.Fields(s), " ") }
