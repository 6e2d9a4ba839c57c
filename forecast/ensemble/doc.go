// Package ensemble holds what the daily models of flow and water temperature
// share: the issue they are asked for and the result they give, the training
// rule, harmonic climatologies, historical traces, small regressions and the
// band-crossing dates read off member paths.
//
// Everything is a pure function of its arguments. Random numbers come from a
// generator seeded by the caller, one stream per (seed, issue day), so that
// neither order nor parallelism changes a byte.
package ensemble
