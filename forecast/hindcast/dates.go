package hindcast

// dateScores gathers crossing dates and their Brier scores.
type dateScores struct{}

func newDateScores(*replay) *dateScores { return nil }

func (*dateScores) issue(*replay, fold, forecaster, *reference, int) error { return nil }

func (*dateScores) report(*Report) {}
