// Package thermal forecasts daily water temperature 1-10 days ahead (45 for
// crossing dates) as whole member paths, from a heat balance with an ice
// bucket, a Markov air-water model, dressed persistence and damped anomaly,
// stacked by local regression and dressed with the errors of the most similar
// days. Temperatures are degC, times civil days.
//
// There are no weights that follow the last scores in service: the stack, made
// anew every week from all out-of-fold rows, errs less. On the last third of ten
// public records, cold season, no air forecast, days 1/3/7/10, its mean absolute
// error is .207 .424 .633 .734 degC against .214 .435 .663 .763 of weights with a
// half-life of 30 issues (five long records), and .307 .779 1.231 1.369 against
// .320 .796 1.253 1.449 (five short ones) [measured: adaptive_test.go]. What the
// stack gave each source is stored with every forecast.
package thermal
