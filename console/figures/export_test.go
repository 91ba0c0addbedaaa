// SPDX-License-Identifier: Apache-2.0

package figures

import "tallyhood/console/insight"

// Packed is what is left of a test that is kept in few bytes.
func Packed(t insight.Test) insight.Test {
	p := newPacker()
	return p.unpack(p.pack(t, true))
}
