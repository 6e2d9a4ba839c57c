package verdict

// ThresholdValue is one row of the table as a club runs it.
type ThresholdValue struct {
	Threshold
	Value  float64
	Reason string // the admin's, for a changed value
}

// List returns every limit with its value, default, source and reason.
func (t Table) List() []ThresholdValue {
	rows := Thresholds()
	out := make([]ThresholdValue, len(rows))
	for i, r := range rows {
		out[i] = ThresholdValue{Threshold: r, Value: *r.at(&t), Reason: t.Reasons[r.Key]}
	}
	return out
}
