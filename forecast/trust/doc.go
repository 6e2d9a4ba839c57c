// Package trust judges whether the readings of a gauge may carry a decision.
//
// A usable reading, flagged or not, may fire a stop. Only unflagged readings
// may lift one, or carry GO, TOSS-UP or STAY. Judge looks at the last days of
// flow, stage and water beside the station's own history and says for each
// quantity which reading is the newest to be trusted, since when the newest
// ones are not, and why. State.Lift says whether a stop of the last 24 h may
// be lifted.
//
// Nothing is altered or dropped: a reading that is not trusted stays where it
// is. Adding a flag to a reading of the days judged never makes the answer
// more favourable, because the tests look at values alone and flags only add
// doubt.
//
// Units: m3/s, m, degC. Source of the rules and their constants: [proposal],
// tuned on one half-hourly record of 61 days, so in-sample.
package trust
