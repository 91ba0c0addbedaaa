// SPDX-License-Identifier: Apache-2.0

package evidence

import (
	"fmt"
	"strings"
)

// alphabet of Base45, RFC 9285: the 45 signs that a QR code packs two in 11 bits.
const alphabet = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ $%*+-./:"

// encode45 writes bytes as Base45: two bytes as three signs, a last one as two,
// lowest place first.
func encode45(data []byte) string {
	var b strings.Builder
	for len(data) > 1 {
		n := int(data[0])<<8 | int(data[1])
		b.WriteByte(alphabet[n%45])
		b.WriteByte(alphabet[n/45%45])
		b.WriteByte(alphabet[n/45/45])
		data = data[2:]
	}
	if len(data) == 1 {
		b.WriteByte(alphabet[data[0]%45])
		b.WriteByte(alphabet[data[0]/45])
	}
	return b.String()
}

// decode45 reads Base45; only what encode45 writes is accepted.
func decode45(text string) ([]byte, error) {
	out := make([]byte, 0, len(text)/3*2+1)
	for len(text) > 0 {
		n, place, k := 0, 1, min(3, len(text))
		for _, c := range []byte(text[:k]) {
			d := strings.IndexByte(alphabet, c)
			if d < 0 {
				return nil, fmt.Errorf("%w: %q is no sign of Base45", ErrForm, c)
			}
			n, place = n+d*place, place*45
		}
		switch {
		case k == 3 && n <= 0xFFFF:
			out = append(out, byte(n>>8), byte(n))
		case k == 2 && n <= 0xFF:
			out = append(out, byte(n))
		default:
			return nil, fmt.Errorf("%w: %q is no byte in Base45", ErrForm, text[:k])
		}
		text = text[k:]
	}
	return out, nil
}
