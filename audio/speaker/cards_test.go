// SPDX-License-Identifier: Apache-2.0

package speaker

import (
	"slices"
	"testing"
)

func TestParseCards(t *testing.T) {
	const cards = ` 0 [Headphones     ]: bcm2835_headpho - bcm2835 Headphones
                      bcm2835 Headphones
 1 [vc4hdmi        ]: vc4-hdmi - vc4-hdmi
                      vc4-hdmi
10 [Device         ]: USB-Audio - USB Audio Device
                      Generic USB Audio Device at usb-0000:01:00.0-1.2, full speed
11 [Loopback       ]: Loopback - Loopback
                      Loopback 1
`
	const pcm = `00-00: bcm2835 Headphones : bcm2835 Headphones : playback 8
10-00: USB Audio : USB Audio : playback 1 : capture 1
11-00: Loopback PCM : Loopback PCM : capture 8
11-01: Loopback PCM : Loopback PCM : playback 8 : capture 8
01-00: a playback name : playback of nothing : capture 1
`
	want := []Card{
		{0, "Headphones", "bcm2835_headpho", "bcm2835 Headphones", true},
		{1, "vc4hdmi", "vc4-hdmi", "vc4-hdmi", false},
		{10, "Device", "USB-Audio", "USB Audio Device", true},
		{11, "Loopback", "Loopback", "Loopback", true},
	}
	if got := parseCards(cards, pcm); !slices.Equal(got, want) {
		t.Errorf("%+v, want %+v", got, want)
	}
	if d := want[2].Device(); d != "plughw:CARD=Device" {
		t.Errorf("device %q", d)
	}
	for _, none := range []string{"", "--- no soundcards ---\n", "  [x]: y - z\n", "99999999999999999999 [x]: y - z\n"} {
		if got := parseCards(none, pcm); len(got) != 0 {
			t.Errorf("%q: %+v", none, got)
		}
	}
	if got := parseCards(cards, ""); len(got) != 4 || got[0].Plays {
		t.Errorf("without a list of outputs: %+v", got)
	}
}

// The real list reads without an error, whether there are cards or not.
func TestCards(t *testing.T) {
	cards, err := Cards()
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range cards {
		if c.ID == "" || c.Driver == "" {
			t.Errorf("a card without a name: %+v", c)
		}
	}
	t.Logf("%d cards: %+v", len(cards), cards)
}
