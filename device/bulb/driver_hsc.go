// SPDX-License-Identifier: Apache-2.0

package bulb

import (
	"periph.io/x/conn/v3/i2c"

	"tallyhood/device/bulb/hsc"
)

func init() {
	drivers["hsc"] = func(bus i2c.Bus, address uint16, kind string) (Sensor, error) {
		return hsc.New(bus, address, kind)
	}
}
