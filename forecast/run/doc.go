// Package run is the clock of the spawning run: a staging pool that ripens
// smoothly with day length and warmth, and a gate that warming opens and a
// cold spell shuts. It is run as 500 trajectories on the members of the
// temperature and flow forecast.
//
// All quantities are fractions of one season's run; abundance is never
// computed and cannot be learnt from a trip log. The day is the step, water
// temperatures are daily means in degC, flows daily means in m3/s.
//
// The vertices and clock constants of every species are proposals fitted to
// published windows; only walleye was tried against real springs. Read
// species.csv for the value, mark and source of each.
package run
