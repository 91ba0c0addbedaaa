// SPDX-License-Identifier: Apache-2.0

package web

import "reflect"

// Keeps says whether the last message for the pages of a run is in memory. To be
// asked while nothing is published.
func (s *Server) Keeps(run string) bool {
	newest := reflect.ValueOf(s.hub).Elem().FieldByName("newest")
	return newest.MapIndex(reflect.ValueOf(pairTopic + run)).IsValid()
}
