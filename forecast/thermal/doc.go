// Package thermal forecasts daily water temperature 1-10 days ahead (45 for
// crossing dates) as whole member paths, from a heat balance with an ice
// bucket, a Markov air-water model, dressed persistence and damped anomaly,
// stacked by local regression and dressed with the errors of the most similar
// days. Temperatures are degC, times civil days.
package thermal
