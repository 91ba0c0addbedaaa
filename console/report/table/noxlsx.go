// SPDX-License-Identifier: Apache-2.0

//go:build noxlsx

package table

import (
	"errors"
	"fmt"
)

func readXLSX([]byte, Options) (Table, error) {
	return Table{}, fmt.Errorf("this build reads no workbooks (XLSX); save the list as CSV: %w", errors.ErrUnsupported)
}
