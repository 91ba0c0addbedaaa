// SPDX-License-Identifier: Apache-2.0

package api

import "testing"

// A body that breaks off within a part is refused.
func TestBrokenForm(t *testing.T) {
	s := newSite(t, (&parts{}).all)
	kind := set("Content-Type", "multipart/form-data; boundary=x")
	for _, body := range []string{
		"--x\r\nContent-Disposition: form-data; name=passphrase\r\n\r\n", "--x\r\n", "--x--\r\n", "\x00",
		"--x\r\nContent-Disposition: form-data; name=passphrase\r\n\r\nsix words\r\n--x\r\nContent-Disposition: form-data; name=file\r\n\r\nage",
	} {
		if g := s.ask("POST", "/restore", body, kind); g.status < 400 {
			t.Errorf("%q: %d %s", body, g.status, g.body)
		}
	}
}
