// Package jig computes the lightest jig that holds bottom at a spot, from the
// flow at the gauge, and how sure that is.
//
// The path of a number:
//
//	gaugings -> Fit -> Geometry              width, depth, speed against flow
//	Geometry + Spot + flow -> Station        depth and surface speed at the spot
//	Station + Rig -> Solve, Lightest         forces on jig and line (cable.go)
//	ensemble of flows -> Odds                P(size holds), widened by model error
//	log of held / did not hold -> Calibrate  one factor per spot
//	all of it -> Advise, Reach               what to tie on, pack, and when to say nothing
//
// Everything is SI inside and deterministic: same input, same bytes. Only four
// numbers are tuned (lam, theta_max, c and gust, in presentation.go); they were
// chosen and then seen to agree with what anglers commonly tie on. That is
// calibration, not validation: no field data on jigs were found, and the
// club's own log is the only validation there is.
//
// Weak points, to be printed wherever the method is explained: the line lies
// in one plane and the flow is steady (no jigging; gusts are one factor); body
// drag and buoyancy are assumed; spot velocity ratios have no source; the
// profile ignores dunes and the circulation of bends.
//
// Marks in comments: [assumed] chosen, no source; [proposal] our rule;
// [from memory] not verified; [reference calculation] computed once by an
// independent program with the same equations.
package jig
