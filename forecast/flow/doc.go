// Package flow forecasts daily discharge 1-10 days ahead (45 for dates) as
// whole member paths in m3/s, in log space: local and global regressions,
// nearest-neighbour analogs, upstream gauges and agency forecasts, over a
// recession floor. Around them stand the guards that logarithms need.
package flow
