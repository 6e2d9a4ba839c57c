// Package forecast turns what is known of a reach at one moment into a
// morning's brief: ensembles of flow and water temperature, band crossings, the
// state of the run, the lightest jig for each spot, and the verdict.
//
// It is pure: no clock, network, database or log; random numbers come from a
// seed in Inputs. The same Inputs give the same bytes. The sub-packages
// hold the models (flow, thermal, run, jig) and the decision (verdict); this
// package puts one morning together.
package forecast
