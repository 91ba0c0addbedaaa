// SPDX-License-Identifier: Apache-2.0

package pedal

import (
	"fmt"
	"sort"
	"strings"
)

// port is the place of a device, without the number of its interface there: a
// pedal often shows itself as several devices in one port.
func port(phys string) (where, part string) {
	if i := strings.LastIndexByte(phys, '/'); i >= 0 {
		return phys[:i], phys[i+1:]
	}
	return phys, ""
}

// sameUnit says whether two devices are one thing in one port. Of devices
// without a port nobody knows.
func sameUnit(a, b identity) bool {
	pa, _ := port(a.phys)
	pb, _ := port(b.phys)
	return pa != "" && pa == pb && a.vendor == b.vendor && a.product == b.product && a.uniq == b.uniq
}

// units counts the things that some devices belong to.
func units(ids map[string]identity, names []string) int {
	n := 0
	for i, a := range names {
		first := true
		for _, b := range names[:i] {
			first = first && !sameUnit(ids[a], ids[b])
		}
		if first {
			n++
		}
	}
	return n
}

// choose finds the device of a key among those that are there. An empty name
// comes with the reason in words; a remark is for the report.
func choose(k Key, ids map[string]identity) (name, remark, why string) {
	var fit []string
	kind := false
	for n, id := range ids {
		if id.vendor == k.Vendor && id.product == k.Product {
			kind = true
			if id.keys.has(k.Code) {
				fit = append(fit, n)
			}
		}
	}
	sort.Strings(fit)
	switch {
	case !kind:
		return "", "", fmt.Sprintf("no pedal %s is plugged in", k.Device())
	case len(fit) == 0:
		return "", "", fmt.Sprintf("pedal %s is plugged in, but it has no key %d; learn it again", k.Device(), k.Code)
	}
	equal := units(ids, fit)
	_, learnedPart := port(k.Phys)
	for _, by := range []struct {
		want string
		of   func(identity) string
	}{
		{k.Name, func(id identity) string { return id.name }},
		{k.Uniq, func(id identity) string { return id.uniq }},
		{learnedPart, func(id identity) string { _, p := port(id.phys); return p }},
		{k.Phys, func(id identity) string { return id.phys }},
	} {
		var closer []string
		for _, n := range fit {
			if by.want != "" && by.of(ids[n]) == by.want {
				closer = append(closer, n)
			}
		}
		if len(closer) > 0 {
			fit = closer
		}
	}
	switch {
	case len(fit) == 1 && equal > 1:
		return fit[0], secondPedal(equal, ids[fit[0]]), ""
	case len(fit) == 1:
		return fit[0], "", ""
	case units(ids, fit) > 1:
		return "", "", fmt.Sprintf("%d equal pedals %s are plugged in and nothing tells which is meant; unplug the others, or learn it again", equal, k.Device())
	}
	return "", "", fmt.Sprintf("pedal %s offers key %d in several ways; learn it by pressing it", k.Device(), k.Code)
}

func secondPedal(n int, used identity) string {
	where, _ := port(used.phys)
	if where == "" {
		where = "which is unknown"
	}
	return fmt.Sprintf("%d equal pedals are plugged in; only the one in port %s is heard", n, where)
}

// again counts the pedals that fit a key which has its pedal already.
func again(k Key, ids map[string]identity) int {
	var fit []string
	for n, id := range ids {
		if id.vendor == k.Vendor && id.product == k.Product && id.keys.has(k.Code) {
			fit = append(fit, n)
		}
	}
	return units(ids, fit)
}
