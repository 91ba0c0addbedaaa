// SPDX-License-Identifier: Apache-2.0

package bulb

import (
	"fmt"
	"slices"
	"strings"

	"periph.io/x/conn/v3/i2c"
)

// A Sensor measures gauge pressure, above ambient and below.
type Sensor interface {
	// Read gives the present pressure in pascal, or in words why it cannot. It
	// takes as long as the bus does.
	Read() (pascal float64, err error)
	// Range is what it can measure, in pascal.
	Range() (low, high float64)
	// Rate is how many readings a second are of use at most.
	Rate() float64
}

// A Driver makes a sensor on a bus. The address is 0 for the usual one; kind is
// what the driver has to know beyond its name, such as the sensor's range.
type Driver func(bus i2c.Bus, address uint16, kind string) (Sensor, error)

// drivers by name. Another one is a file of its own whose init adds it.
var drivers = map[string]Driver{}

// Drivers names the sensors that can be configured.
func Drivers() []string {
	var out []string
	for name := range drivers {
		out = append(out, name)
	}
	slices.Sort(out)
	return out
}

// driver finds the one of a configured sensor, "name:kind".
func driver(sensor string) (d Driver, kind string, err error) {
	name, kind, _ := strings.Cut(sensor, ":")
	d, ok := drivers[strings.ToLower(name)]
	if !ok {
		return nil, "", fmt.Errorf("there is no driver for a bulb sensor %q; there are %s", name, strings.Join(Drivers(), ", "))
	}
	return d, kind, nil
}
