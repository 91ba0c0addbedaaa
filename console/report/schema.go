// SPDX-License-Identifier: Apache-2.0

package report

import (
	_ "embed"
	"slices"
)

//go:embed schema/record-1.schema.json
var recordSchema []byte

// RecordSchema is the JSON Schema (draft 2020-12) of a record's JSON, schema
// tallyhood.record/1.
func RecordSchema() []byte { return slices.Clone(recordSchema) }
