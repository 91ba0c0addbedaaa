// SPDX-License-Identifier: Apache-2.0

package hub

// mostKept is how many answers a Once keeps: more than a page has under way.
const mostKept = 64

// A Once lets what one client says twice be done once: a repeated key gets the
// answer that the first one got. It keeps the newest answers and forgets the
// rest. Its zero value is ready; like the messages of a client it is for one
// goroutine at a time.
type Once struct {
	of   map[string]any
	keys []string // oldest first
}

// Do calls act and keeps what it answers, or gives what was answered to the same
// key. An empty key is never the same.
func (o *Once) Do(key string, act func() any) any {
	if data, ok := o.of[key]; ok {
		return data
	}
	data := act()
	if key == "" {
		return data
	}
	if o.of == nil {
		o.of = map[string]any{}
	}
	if len(o.keys) == mostKept {
		delete(o.of, o.keys[0])
		o.keys = o.keys[1:]
	}
	o.of[key] = data
	o.keys = append(o.keys, key)
	return data
}
