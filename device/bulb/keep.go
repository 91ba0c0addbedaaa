// SPDX-License-Identifier: Apache-2.0

package bulb

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"

	"tallyhood/device/bulb/curve"
)

// Load reads the parameters of a calibration. A file that is not there is
// reported as fs.ErrNotExist.
func Load(file string) (curve.Parameters, error) {
	f, err := os.Open(file)
	if err != nil {
		return curve.Parameters{}, fmt.Errorf("the bulb's calibration: %w", err)
	}
	defer f.Close()
	raw, err := io.ReadAll(io.LimitReader(f, 1<<16))
	if err != nil {
		return curve.Parameters{}, fmt.Errorf("the bulb's calibration: %w", err)
	}
	var p curve.Parameters
	if err := json.Unmarshal(raw, &p); err != nil {
		return curve.Parameters{}, fmt.Errorf("the bulb's calibration in %s cannot be read: %w", file, err)
	}
	return p, p.Check()
}

// Save writes parameters so that after a power cut either the old or the new
// ones are there.
func Save(file string, p curve.Parameters) error {
	if err := p.Check(); err != nil {
		return err
	}
	raw, err := json.MarshalIndent(p, "", "  ")
	if err != nil {
		return fmt.Errorf("save the bulb's calibration: %w", err)
	}
	folder := filepath.Dir(file)
	f, err := os.CreateTemp(folder, filepath.Base(file)+".*")
	if err != nil {
		return fmt.Errorf("save the bulb's calibration: %w", err)
	}
	_, err = f.Write(append(raw, '\n'))
	err = errors.Join(err, f.Sync(), f.Close())
	if err == nil {
		err = os.Rename(f.Name(), file)
	}
	if err != nil {
		_ = os.Remove(f.Name()) // what is left of a failed attempt
		return fmt.Errorf("save the bulb's calibration: %w", err)
	}
	d, err := os.Open(folder)
	if err != nil {
		return fmt.Errorf("save the bulb's calibration: %w", err)
	}
	if err := errors.Join(d.Sync(), d.Close()); err != nil {
		return fmt.Errorf("save the bulb's calibration: %w", err)
	}
	return nil
}
