// SPDX-License-Identifier: Apache-2.0

package api

import (
	"encoding/json"
	"reflect"

	"tallyhood/console/wire"
)

// object is a piece of a document.
type object = map[string]any

// messages of the live socket, by the type that each says of itself.
var messages = []struct {
	name, title, summary string
	of                   reflect.Type
	receive              bool // the box gets it
	example              any
}{
	{"hello", "Hello", "The first message of a page: its role and the version of the contract that it knows.", reflect.TypeFor[wire.Hello](), true,
		wire.Hello{Type: "hello", Role: wire.Tester, Contract: wire.Contract}},
	{"command", "Command", "Asks for something. A tester's page needs the lease for all but take_lease.", reflect.TypeFor[wire.Command](), true,
		wire.Command{Type: "command", ID: "c1", Do: "open", Fence: 3, Open: &wire.Open{Wearer: "p-7kq2m9xd", Facepiece: "corrie-m", Rules: "uk-hse", Agent: "bitter", Tester: "Agnes Thorley", Hood: "hood-1"}}},
	{"welcome", "Welcome", "Answers a hello.", reflect.TypeFor[wire.Welcome](), false,
		wire.Welcome{Type: "welcome", Client: "k7", Contract: wire.Contract, Version: "1.0.0"}},
	{"reply", "Reply", "Answers a command, by its id. Why is a key for the page's words.", reflect.TypeFor[wire.Reply](), false,
		wire.Reply{Type: "reply", ID: "c1", Why: "not_driver"}},
	{"snapshot", "Snapshot", "Everything that a page shows at one instant, as the page's role may see it. The newest one counts.", reflect.TypeFor[wire.Snapshot](), false,
		wire.Snapshot{Type: "snapshot", Number: 911, Speed: 1, Clock: wire.Clock{Wall: "2026-09-14T09:00:00+01:00", Quality: "confirmed", Trusted: true}, Inputs: wire.Inputs{Board: "wired", Supervised: true, Lines: []wire.Line{}}, Parked: []wire.Run{}}},
}

// asyncAPI describes the live socket, from the Go types that it speaks.
func asyncAPI(version string) ([]byte, error) {
	if version == "" {
		version = "unknown"
	}
	registry := newRegistry()
	channel, components := object{}, object{}
	var in, out []object
	for _, m := range messages {
		registry.Schema(m.of, true, m.title)
		components[m.name] = object{
			"name": m.name, "title": m.title, "summary": m.summary, "contentType": typeJSON,
			"payload":  object{"$ref": "#/components/schemas/" + schemaName(m.of, m.title)},
			"examples": []object{{"name": m.name, "payload": m.example}},
		}
		channel[m.name] = object{"$ref": "#/components/messages/" + m.name}
		ref := object{"$ref": "#/channels/live/messages/" + m.name}
		if m.receive {
			in = append(in, ref)
		} else {
			out = append(out, ref)
		}
	}
	finish(registry)
	for _, m := range messages {
		// Each message says what it is.
		registry.Map()[schemaName(m.of, m.title)].Properties["type"].Enum = []any{m.name}
	}
	role := registry.Map()["Hello"].Properties["role"]
	role.Enum = []any{string(wire.Tester), string(wire.Trainer), string(wire.Wearer)}
	live := object{"$ref": "#/channels/live"}
	return json.Marshal(object{
		"asyncapi": "3.0.0",
		"info": object{
			"title": "tallyhood: the live socket", "version": version, "license": object{"name": "Apache-2.0"},
			"description": "A page says hello and is sent whole snapshots; it asks by commands and gets a reply for each. The upgrade needs an Origin of the same host.",
		},
		"defaultContentType": typeJSON,
		"servers": object{"box": object{
			"host": "{host}", "protocol": "ws", "description": "This box; the port is the setting's.",
			"variables": object{"host": object{"default": "localhost:8427", "description": "Host and port of the page."}},
		}},
		"channels": object{"live": object{
			"address": "/live", "title": "The live socket", "messages": channel, "servers": []object{{"$ref": "#/servers/box"}},
			"bindings": object{"ws": object{"method": "GET", "bindingVersion": "0.1.0"}},
		}},
		"operations": object{
			"take": object{"action": "receive", "channel": live, "title": "What a page sends", "summary": "Hello first, commands after it.", "messages": in},
			"tell": object{"action": "send", "channel": live, "title": "What the box sends", "summary": "A welcome, replies, and snapshots as things change.", "messages": out},
		},
		"components": object{"messages": components, "schemas": registry},
	})
}
