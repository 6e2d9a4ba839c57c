-- What is forecast and told: agency forecasts and alerts, our ensembles,
-- models, run states and briefs.

CREATE TABLE coldseam.forecast (
  forecast_id    int8          GENERATED ALWAYS AS IDENTITY,
  site_id        text          NOT NULL,
  param          text          NOT NULL,
  stat           text          NOT NULL,
  period         text          NOT NULL,
  provider       text          NOT NULL,
  issued_at      timestamptz   NOT NULL,
  known_at       timestamptz   NOT NULL,
  issued_assumed boolean       NOT NULL,
  valid_at       timestamptz[] NOT NULL,
  value          float8[]      NOT NULL,
  members        float4[],
  CONSTRAINT forecast_pkey PRIMARY KEY (forecast_id),
  CONSTRAINT forecast_key UNIQUE (site_id, param, stat, period, provider, issued_at, known_at),
  CONSTRAINT forecast_steps CHECK (cardinality(valid_at) = cardinality(value))
);
COMMENT ON TABLE coldseam.forecast IS 'Agency forecasts, every issue kept.';
COMMENT ON COLUMN coldseam.forecast.forecast_id IS 'Running number.';
COMMENT ON COLUMN coldseam.forecast.site_id IS 'The place''s own id with the provider.';
COMMENT ON COLUMN coldseam.forecast.param IS 'Parameter.';
COMMENT ON COLUMN coldseam.forecast.stat IS 'Statistic over the period.';
COMMENT ON COLUMN coldseam.forecast.period IS 'ISO 8601 duration; empty for instantaneous values.';
COMMENT ON COLUMN coldseam.forecast.provider IS 'Profile that serves it.';
COMMENT ON COLUMN coldseam.forecast.issued_at IS 'Model run.';
COMMENT ON COLUMN coldseam.forecast.known_at IS 'When it became known here.';
COMMENT ON COLUMN coldseam.forecast.issued_assumed IS 'The document gave no issue time; known_at was taken.';
COMMENT ON COLUMN coldseam.forecast.valid_at IS 'Times of the steps.';
COMMENT ON COLUMN coldseam.forecast.value IS 'Values, SI unit of the parameter.';
COMMENT ON COLUMN coldseam.forecast.members IS 'Members [member][step] where the agency sends an ensemble.';

CREATE TABLE coldseam.alert (
  provider      text        NOT NULL,
  sender        text        NOT NULL,
  identifier    text        NOT NULL,
  sent_at       timestamptz NOT NULL,
  known_at      timestamptz NOT NULL,
  starts_at     timestamptz NOT NULL,
  ends_at       timestamptz NOT NULL,
  status        text        NOT NULL,
  msg_type      text        NOT NULL,
  event         text        NOT NULL,
  severity      text        NOT NULL,
  reference_ids text[]      NOT NULL,
  body          jsonb       NOT NULL,
  CONSTRAINT alert_pkey PRIMARY KEY (provider, sender, identifier, sent_at)
);
CREATE INDEX alert_ends_idx ON coldseam.alert (ends_at);
CREATE INDEX alert_references_idx ON coldseam.alert USING gin (reference_ids);
COMMENT ON TABLE coldseam.alert IS 'Official warnings (CAP), each message once.';
COMMENT ON COLUMN coldseam.alert.provider IS 'Profile that serves it.';
COMMENT ON COLUMN coldseam.alert.sender IS 'Sender as in the message.';
COMMENT ON COLUMN coldseam.alert.identifier IS 'Identifier as in the message.';
COMMENT ON COLUMN coldseam.alert.sent_at IS 'Sent stamp of the message.';
COMMENT ON COLUMN coldseam.alert.known_at IS 'When it first became known here.';
COMMENT ON COLUMN coldseam.alert.starts_at IS 'Start of the event.';
COMMENT ON COLUMN coldseam.alert.ends_at IS 'End of the event.';
COMMENT ON COLUMN coldseam.alert.status IS 'Actual, Test, Exercise ...';
COMMENT ON COLUMN coldseam.alert.msg_type IS 'Alert, Update or Cancel.';
COMMENT ON COLUMN coldseam.alert.event IS 'Event in the agency''s words.';
COMMENT ON COLUMN coldseam.alert.severity IS 'Severity of the message.';
COMMENT ON COLUMN coldseam.alert.reference_ids IS 'Identifiers of the messages this one updates or cancels.';
COMMENT ON COLUMN coldseam.alert.body IS 'The whole alert as JSON of coldseam.Alert.';

CREATE TABLE coldseam.ensemble (
  ensemble_id int8          GENERATED ALWAYS AS IDENTITY,
  site_id     text          NOT NULL,
  param       text          NOT NULL,
  issued_at   timestamptz   NOT NULL,
  source      text          NOT NULL,
  flags       text[]        NOT NULL,
  valid_at    timestamptz[] NOT NULL,
  quantile    float4[]      NOT NULL,
  trace       date[],
  weight      float8[],
  members     float4[],
  CONSTRAINT ensemble_pkey PRIMARY KEY (ensemble_id),
  CONSTRAINT ensemble_key UNIQUE (site_id, param, issued_at, source)
);
COMMENT ON TABLE coldseam.ensemble IS 'Our forecasts as issued. Members are dropped after the retention; the quantiles stay.';
COMMENT ON COLUMN coldseam.ensemble.ensemble_id IS 'Running number.';
COMMENT ON COLUMN coldseam.ensemble.site_id IS 'The gauge.';
COMMENT ON COLUMN coldseam.ensemble.param IS 'Parameter.';
COMMENT ON COLUMN coldseam.ensemble.issued_at IS 'Issue time: nothing known later is in it.';
COMMENT ON COLUMN coldseam.ensemble.source IS 'Model and tier.';
COMMENT ON COLUMN coldseam.ensemble.flags IS 'ice, low_confidence, regulated ...';
COMMENT ON COLUMN coldseam.ensemble.valid_at IS 'Times of the steps.';
COMMENT ON COLUMN coldseam.ensemble.quantile IS 'Quantiles [step][0.05, 0.10, 0.25, 0.50, 0.75, 0.90, 0.95], SI unit.';
COMMENT ON COLUMN coldseam.ensemble.trace IS 'Historical day each member follows.';
COMMENT ON COLUMN coldseam.ensemble.weight IS 'Weights of the sources.';
COMMENT ON COLUMN coldseam.ensemble.members IS 'Members [member][step], SI unit; null = dropped after the retention.';

CREATE TABLE coldseam.forecast_score (
  site_id    text        NOT NULL,
  param      text        NOT NULL,
  issued_at  timestamptz NOT NULL,
  lead_day   int2        NOT NULL,
  source     text        NOT NULL,
  valid_day  date        NOT NULL,
  observed   float8      NOT NULL,
  p10        float8      NOT NULL,
  p50        float8      NOT NULL,
  p90        float8      NOT NULL,
  crps       float8      NOT NULL,
  persist    float8,
  CONSTRAINT forecast_score_pkey PRIMARY KEY (site_id, param, issued_at, lead_day, source)
);
COMMENT ON TABLE coldseam.forecast_score IS 'Each issued daily forecast beside what was measured.';
COMMENT ON COLUMN coldseam.forecast_score.site_id IS 'The gauge.';
COMMENT ON COLUMN coldseam.forecast_score.param IS 'Parameter.';
COMMENT ON COLUMN coldseam.forecast_score.issued_at IS 'Issue time.';
COMMENT ON COLUMN coldseam.forecast_score.lead_day IS 'Days from the civil day of issue to the day forecast.';
COMMENT ON COLUMN coldseam.forecast_score.source IS 'Model and tier.';
COMMENT ON COLUMN coldseam.forecast_score.valid_day IS 'Civil day forecast, zone of the gauge.';
COMMENT ON COLUMN coldseam.forecast_score.observed IS 'Daily mean measured, SI unit.';
COMMENT ON COLUMN coldseam.forecast_score.p10 IS '10 % quantile forecast, mean over the steps of the day.';
COMMENT ON COLUMN coldseam.forecast_score.p50 IS 'Median forecast.';
COMMENT ON COLUMN coldseam.forecast_score.p90 IS '90 % quantile forecast.';
COMMENT ON COLUMN coldseam.forecast_score.crps IS 'Continuous ranked probability score of the daily means, SI unit.';
COMMENT ON COLUMN coldseam.forecast_score.persist IS 'Absolute error of the last daily mean before the issue; null = there was none.';

CREATE TABLE coldseam.crossing (
  site_id    text        NOT NULL,
  issued_at  timestamptz NOT NULL,
  edge_c     float8      NOT NULL,
  up         boolean     NOT NULL,
  within_3d  float8      NOT NULL,
  within_7d  float8      NOT NULL,
  within_10d float8      NOT NULL,
  date_p10   date,
  date_p50   date,
  date_p90   date,
  confirmed  boolean     NOT NULL,
  body       jsonb       NOT NULL,
  CONSTRAINT crossing_pkey PRIMARY KEY (site_id, issued_at, edge_c, up)
);
COMMENT ON TABLE coldseam.crossing IS 'Forecast of the day a temperature band edge is crossed for good, as issued.';
COMMENT ON COLUMN coldseam.crossing.site_id IS 'The gauge.';
COMMENT ON COLUMN coldseam.crossing.issued_at IS 'Issue time.';
COMMENT ON COLUMN coldseam.crossing.edge_c IS 'Band edge, degC.';
COMMENT ON COLUMN coldseam.crossing.up IS 'true = spring, rising.';
COMMENT ON COLUMN coldseam.crossing.within_3d IS 'Probability of crossing within 3 days.';
COMMENT ON COLUMN coldseam.crossing.within_7d IS 'Probability of crossing within 7 days.';
COMMENT ON COLUMN coldseam.crossing.within_10d IS 'Probability of crossing within 10 days.';
COMMENT ON COLUMN coldseam.crossing.date_p10 IS '10 % quantile of the day, given that it crosses.';
COMMENT ON COLUMN coldseam.crossing.date_p50 IS 'Median of the day.';
COMMENT ON COLUMN coldseam.crossing.date_p90 IS '90 % quantile of the day.';
COMMENT ON COLUMN coldseam.crossing.confirmed IS 'Five days beyond the edge are observed.';
COMMENT ON COLUMN coldseam.crossing.body IS 'The whole forecast as JSON of coldseam.Crossing.';

CREATE TABLE coldseam.run_state (
  reach_id    text        NOT NULL,
  species     text        NOT NULL,
  day         date        NOT NULL,
  issued_at   timestamptz NOT NULL,
  stage       text        NOT NULL,
  stage_p     float8      NOT NULL,
  p_wave      float8      NOT NULL,
  arrived_p10 float8      NOT NULL,
  arrived_p50 float8      NOT NULL,
  arrived_p90 float8      NOT NULL,
  spawned_p50 float8      NOT NULL,
  body        jsonb       NOT NULL,
  CONSTRAINT run_state_pkey PRIMARY KEY (reach_id, species, day, issued_at)
);
COMMENT ON TABLE coldseam.run_state IS 'State of the spawning run as issued.';
COMMENT ON COLUMN coldseam.run_state.reach_id IS 'The reach.';
COMMENT ON COLUMN coldseam.run_state.species IS 'Species key.';
COMMENT ON COLUMN coldseam.run_state.day IS 'Civil day it speaks of.';
COMMENT ON COLUMN coldseam.run_state.issued_at IS 'Issue time.';
COMMENT ON COLUMN coldseam.run_state.stage IS 'Most likely stage of the run.';
COMMENT ON COLUMN coldseam.run_state.stage_p IS 'Its probability.';
COMMENT ON COLUMN coldseam.run_state.p_wave IS 'Probability of a wave arriving that day.';
COMMENT ON COLUMN coldseam.run_state.arrived_p10 IS '10 % quantile of the share arrived.';
COMMENT ON COLUMN coldseam.run_state.arrived_p50 IS 'Median share arrived.';
COMMENT ON COLUMN coldseam.run_state.arrived_p90 IS '90 % quantile of the share arrived.';
COMMENT ON COLUMN coldseam.run_state.spawned_p50 IS 'Median share that has spawned.';
COMMENT ON COLUMN coldseam.run_state.body IS 'The whole state as JSON of coldseam.RunState.';

CREATE TABLE coldseam.model (
  owner       text        NOT NULL,
  kind        text        NOT NULL,
  version     int4        NOT NULL,
  made_at     timestamptz NOT NULL,
  window_from date,
  window_to   date,
  score       jsonb       NOT NULL,
  params      jsonb       NOT NULL,
  note        text        NOT NULL,
  CONSTRAINT model_pkey PRIMARY KEY (owner, kind, version)
);
COMMENT ON TABLE coldseam.model IS 'Fitted parameters, every version with its training window and score.';
COMMENT ON COLUMN coldseam.model.owner IS 'Site or reach the model belongs to.';
COMMENT ON COLUMN coldseam.model.kind IS 'Kind of model, such as thermal8 or run.';
COMMENT ON COLUMN coldseam.model.version IS 'Running number for the owner and kind.';
COMMENT ON COLUMN coldseam.model.made_at IS 'When it was fitted; only values known before are in it.';
COMMENT ON COLUMN coldseam.model.window_from IS 'First day of the training window.';
COMMENT ON COLUMN coldseam.model.window_to IS 'Last day of the training window.';
COMMENT ON COLUMN coldseam.model.score IS 'Scores on days not trained on.';
COMMENT ON COLUMN coldseam.model.params IS 'Parameters.';
COMMENT ON COLUMN coldseam.model.note IS 'Why it was fitted, or who set it.';

CREATE TABLE coldseam.brief (
  brief_id     int8        GENERATED ALWAYS AS IDENTITY,
  reach_id     text        NOT NULL,
  day          date        NOT NULL,
  issued_at    timestamptz NOT NULL,
  good_until   timestamptz,
  verdict      text        NOT NULL,
  odds         float8,
  odds_note    text        NOT NULL,
  hold_p       float8      NOT NULL,
  cost         float8      NOT NULL,
  window_start timestamptz,
  window_end   timestamptz,
  water_c      float8,
  discharge_m3s float8,
  stage_m      float8,
  tie_oz       float8,
  band         text        NOT NULL,
  flow_class   text        NOT NULL,
  run_stage    text        NOT NULL,
  advice_row   text        NOT NULL,
  sure         text        NOT NULL,
  replay       boolean     NOT NULL,
  body         jsonb       NOT NULL,
  CONSTRAINT brief_pkey PRIMARY KEY (brief_id),
  CONSTRAINT brief_key UNIQUE (reach_id, day, issued_at, replay),
  CONSTRAINT brief_verdict_known CHECK (verdict IN ('GO', 'TOSS-UP', 'STAY', 'STOP', 'NO CALL')),
  CONSTRAINT brief_odds_range CHECK (odds BETWEEN 0 AND 1)
);
CREATE INDEX brief_day_idx ON coldseam.brief (day);
COMMENT ON TABLE coldseam.brief IS 'What was told: one row per reach, day and issue.';
COMMENT ON COLUMN coldseam.brief.brief_id IS 'Running number.';
COMMENT ON COLUMN coldseam.brief.reach_id IS 'The reach.';
COMMENT ON COLUMN coldseam.brief.day IS 'The morning it speaks of.';
COMMENT ON COLUMN coldseam.brief.issued_at IS 'Issue time.';
COMMENT ON COLUMN coldseam.brief.good_until IS 'End of its validity.';
COMMENT ON COLUMN coldseam.brief.verdict IS 'GO, TOSS-UP, STAY, STOP or NO CALL.';
COMMENT ON COLUMN coldseam.brief.odds IS 'Odds of a good morning in the best window, 0-1; null = none were told.';
COMMENT ON COLUMN coldseam.brief.odds_note IS 'What the odds rest on.';
COMMENT ON COLUMN coldseam.brief.hold_p IS 'Probability that the heaviest carried weight holds bottom.';
COMMENT ON COLUMN coldseam.brief.cost IS 'Cost of a wasted trip over the value of a good one.';
COMMENT ON COLUMN coldseam.brief.window_start IS 'Start of the best window.';
COMMENT ON COLUMN coldseam.brief.window_end IS 'End of the best window.';
COMMENT ON COLUMN coldseam.brief.water_c IS 'Median water temperature in the best window, degC.';
COMMENT ON COLUMN coldseam.brief.discharge_m3s IS 'Median discharge in the best window, m3/s.';
COMMENT ON COLUMN coldseam.brief.stage_m IS 'Median stage in the best window, m.';
COMMENT ON COLUMN coldseam.brief.tie_oz IS 'Weight to tie on at the advised spot, ounces; null = withheld.';
COMMENT ON COLUMN coldseam.brief.band IS 'Temperature band.';
COMMENT ON COLUMN coldseam.brief.flow_class IS 'Flow words.';
COMMENT ON COLUMN coldseam.brief.run_stage IS 'Stage of the run.';
COMMENT ON COLUMN coldseam.brief.advice_row IS 'Id of the advice row that won.';
COMMENT ON COLUMN coldseam.brief.sure IS 'high, medium or low.';
COMMENT ON COLUMN coldseam.brief.replay IS 'Made for a past morning; never counted as told.';
COMMENT ON COLUMN coldseam.brief.body IS 'The whole brief as JSON of coldseam.Brief.';
