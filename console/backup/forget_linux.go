// SPDX-License-Identifier: Apache-2.0

package backup

import (
	"os"

	"golang.org/x/sys/unix"
)

// forget asks the system to drop what it holds of a file in memory, so that
// reading shows what is on the medium. It is a request: some systems keep it.
func forget(file *os.File) {
	_ = unix.Fadvise(int(file.Fd()), 0, 0, unix.FADV_DONTNEED)
}
