// Package run is the clock of the spawning run: a staging pool that ripens
// smoothly with day length and warmth, and a gate that warming opens and a
// cold spell shuts. It is run as 500 trajectories on the members of the
// temperature and flow forecast.
//
// What the clock is known to miss, on 63 modelled lake springs and 9 river
// springs (the constraint benchmark prints it): late cold springs spawn too
// late (11 % by 40 F against 25 % wanted), males lead females by 6 days in
// rivers where 7-14 are published, and the shift with ice-out, .60 day a day,
// sits near the lower end of .5-1.0. Lower male and higher female ripeness
// (8, 15, 44 C d) mend the lead and lose the late cold spring; a stronger late
// urge (Du 4.5) mends the late cold spring and loses the constant 2 C water and
// the ice-out slope. Neither is better as a whole, so the values stand.
//
// The way of the fish between gauge and reach is not modelled: the shift delta
// that a club's log teaches takes it up.
//
// All quantities are fractions of one season's run; abundance is never
// computed and cannot be learnt from a trip log. The day is the step, water
// temperatures are daily means in degC, flows daily means in m3/s.
//
// The vertices and clock constants of every species are proposals fitted to
// published windows; only walleye was tried against real springs. Read
// species.csv for the value, mark and source of each.
package run
