// SPDX-License-Identifier: Apache-2.0

package web

import "io/fs"

// Pages holds the modules, styles and words of the pages as they were built in.
func Pages() (fs.FS, error) { return fs.Sub(embedded, "page") }
