package run

// Learnt is the state of the particle filter after the trips so far: the
// particles with their weights, spun up to the day of the last trip.
type Learnt struct {
	par    []draw
	st     []state
	weight []float64
	days   int // days since 1 January that st has seen
}
