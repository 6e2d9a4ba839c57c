// Package ice says of each day whether a reach is open water, under ice or
// breaking up. The state is a latch: one sign of ice closes a reach at once,
// and it opens again only after full days of water, or of air and flow, that
// agree. A mild spell, a vanished qualifier or a missing reading opens nothing.
//
// Temperatures are in degC, flows in m3/s, sums of frost and thaw in degC days.
package ice
