// SPDX-License-Identifier: Apache-2.0

package main

import (
	"errors"
	"fmt"
	"os"

	"tallyhood/audio/file"
	"tallyhood/console/session"
)

// writeCues writes the sounds of a replayed run, each placed on its sample.
func writeCues(path string, got session.Replayed) error {
	f, err := os.Create(path)
	if err != nil {
		return fmt.Errorf("write cues: %w", err)
	}
	err = file.WriteTrack(f, got.Cues, got.End)
	if err = errors.Join(err, f.Close()); err != nil {
		return fmt.Errorf("write cues: %w", err)
	}
	return nil
}
