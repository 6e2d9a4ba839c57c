// Package hindcast replays past issues with models that never saw what came
// after, and scores them beside the four references every forecast must beat:
// persistence, dressed persistence, the climatology of the day of the year and
// damped anomaly persistence. Temperatures are scored in degC, discharge as
// ln of m3/s.
package hindcast
