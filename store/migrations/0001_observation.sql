-- What is measured: sites, reaches, series, observations and the fetches that
-- brought them.

COMMENT ON SCHEMA coldseam IS 'Tables of the program. Not for readers: they use the views of schema season.';
COMMENT ON TABLE coldseam.schema_version IS 'Number of the last migration applied.';
COMMENT ON COLUMN coldseam.schema_version.version IS 'Number of the last migration applied.';

CREATE TABLE coldseam.site (
  site_id      text        NOT NULL,
  provider     text        NOT NULL,
  code         text        NOT NULL,
  name         text        NOT NULL,
  zone         text        NOT NULL,
  lat_deg      float8      NOT NULL,
  lon_deg      float8      NOT NULL,
  datum_m      float8,
  drainage_km2 float8,
  tidal        boolean     NOT NULL DEFAULT false,
  daily_only   boolean     NOT NULL DEFAULT false,
  stub         boolean     NOT NULL DEFAULT false,
  updated_at   timestamptz NOT NULL DEFAULT now(),
  CONSTRAINT site_pkey PRIMARY KEY (site_id),
  CONSTRAINT site_id_not_empty CHECK (site_id <> '')
);
COMMENT ON TABLE coldseam.site IS 'A gauge of an agency.';
COMMENT ON COLUMN coldseam.site.site_id IS 'provider:code, both as the agency spells them.';
COMMENT ON COLUMN coldseam.site.provider IS 'Profile that serves the gauge.';
COMMENT ON COLUMN coldseam.site.code IS 'The agency''s station code.';
COMMENT ON COLUMN coldseam.site.name IS 'Name of the gauge.';
COMMENT ON COLUMN coldseam.site.zone IS 'IANA time zone; civil days of the gauge are cut in it.';
COMMENT ON COLUMN coldseam.site.lat_deg IS 'Latitude, WGS 84, degrees north.';
COMMENT ON COLUMN coldseam.site.lon_deg IS 'Longitude, WGS 84, degrees east.';
COMMENT ON COLUMN coldseam.site.datum_m IS 'Elevation of gauge zero, m; null = not known.';
COMMENT ON COLUMN coldseam.site.drainage_km2 IS 'Drainage area, km2; null = not known.';
COMMENT ON COLUMN coldseam.site.tidal IS 'Negative discharge is genuine here.';
COMMENT ON COLUMN coldseam.site.daily_only IS 'Reports once a day.';
COMMENT ON COLUMN coldseam.site.stub IS 'Made by a series that arrived before the site was described.';
COMMENT ON COLUMN coldseam.site.updated_at IS 'Last change of the row.';

CREATE TABLE coldseam.reach (
  reach_id     text        NOT NULL,
  river        text        NOT NULL,
  name         text        NOT NULL,
  site_id      text        NOT NULL,
  temp_site_id text,
  zone         text        NOT NULL,
  lat_deg      float8      NOT NULL,
  lon_deg      float8      NOT NULL,
  regulated    boolean     NOT NULL,
  max_flow_m3s float8,
  edit         int4        NOT NULL,
  retired      boolean     NOT NULL DEFAULT false,
  updated_at   timestamptz NOT NULL,
  body         jsonb       NOT NULL,
  CONSTRAINT reach_pkey PRIMARY KEY (reach_id),
  CONSTRAINT reach_site_fkey FOREIGN KEY (site_id) REFERENCES coldseam.site (site_id),
  CONSTRAINT reach_id_not_empty CHECK (reach_id <> '')
);
CREATE INDEX reach_site_idx ON coldseam.reach (site_id);
COMMENT ON TABLE coldseam.reach IS 'A stretch of river the club fishes, as it stands now; the history of edits is in reach_edit.';
COMMENT ON COLUMN coldseam.reach.reach_id IS 'Key of the reach.';
COMMENT ON COLUMN coldseam.reach.river IS 'Name of the river.';
COMMENT ON COLUMN coldseam.reach.name IS 'Name of the reach.';
COMMENT ON COLUMN coldseam.reach.site_id IS 'Gauge that stands for the reach.';
COMMENT ON COLUMN coldseam.reach.temp_site_id IS 'Neighbour with a thermometer where the gauge has none.';
COMMENT ON COLUMN coldseam.reach.zone IS 'IANA time zone of the reach.';
COMMENT ON COLUMN coldseam.reach.lat_deg IS 'Latitude, WGS 84, degrees north.';
COMMENT ON COLUMN coldseam.reach.lon_deg IS 'Longitude, WGS 84, degrees east.';
COMMENT ON COLUMN coldseam.reach.regulated IS 'Flow is set by dam releases.';
COMMENT ON COLUMN coldseam.reach.max_flow_m3s IS 'Flow above which the reach is a STOP, m3/s; null = not set.';
COMMENT ON COLUMN coldseam.reach.edit IS 'Number of the edit that made this state.';
COMMENT ON COLUMN coldseam.reach.retired IS 'No longer fished: no briefs, history kept.';
COMMENT ON COLUMN coldseam.reach.updated_at IS 'Time of the last edit.';
COMMENT ON COLUMN coldseam.reach.body IS 'The whole reach with spots and rules, as JSON of coldseam.Reach.';

CREATE TABLE coldseam.reach_edit (
  reach_id  text        NOT NULL,
  edit      int4        NOT NULL,
  edited_at timestamptz NOT NULL,
  who       text        NOT NULL,
  why       text        NOT NULL,
  body      jsonb       NOT NULL,
  CONSTRAINT reach_edit_pkey PRIMARY KEY (reach_id, edit),
  CONSTRAINT reach_edit_reach_fkey FOREIGN KEY (reach_id) REFERENCES coldseam.reach (reach_id)
);
COMMENT ON TABLE coldseam.reach_edit IS 'Every state a reach has had, with who set it, when and why.';
COMMENT ON COLUMN coldseam.reach_edit.reach_id IS 'The reach.';
COMMENT ON COLUMN coldseam.reach_edit.edit IS 'Running number of the edit, 1 = first.';
COMMENT ON COLUMN coldseam.reach_edit.edited_at IS 'When.';
COMMENT ON COLUMN coldseam.reach_edit.who IS 'Who: a role or a name the admin gave, never an address.';
COMMENT ON COLUMN coldseam.reach_edit.why IS 'The reason given.';
COMMENT ON COLUMN coldseam.reach_edit.body IS 'The whole reach after the edit.';

CREATE TABLE coldseam.season_rule (
  reach_id   text  NOT NULL,
  rule_no    int4  NOT NULL,
  kind       text  NOT NULL,
  species    text  NOT NULL,
  allowed    boolean NOT NULL,
  wording    text  NOT NULL,
  link       text  NOT NULL,
  checked_on date,
  checked_by text  NOT NULL,
  closed     jsonb NOT NULL,
  CONSTRAINT season_rule_pkey PRIMARY KEY (reach_id, rule_no),
  CONSTRAINT season_rule_reach_fkey FOREIGN KEY (reach_id) REFERENCES coldseam.reach (reach_id) ON DELETE CASCADE
);
COMMENT ON TABLE coldseam.season_rule IS 'Rows of local law of the present state of each reach, for queries; they are edited with the reach.';
COMMENT ON COLUMN coldseam.season_rule.reach_id IS 'The reach.';
COMMENT ON COLUMN coldseam.season_rule.rule_no IS 'Place in the list of the reach, from 0.';
COMMENT ON COLUMN coldseam.season_rule.kind IS 'season, bait or life_jacket.';
COMMENT ON COLUMN coldseam.season_rule.species IS 'Species key; empty = the whole reach.';
COMMENT ON COLUMN coldseam.season_rule.allowed IS 'For bait rules: natural bait is allowed.';
COMMENT ON COLUMN coldseam.season_rule.wording IS 'The rule in words.';
COMMENT ON COLUMN coldseam.season_rule.link IS 'Where the rule is published.';
COMMENT ON COLUMN coldseam.season_rule.checked_on IS 'Day a person last compared it with the link; null = never.';
COMMENT ON COLUMN coldseam.season_rule.checked_by IS 'Role of that person.';
COMMENT ON COLUMN coldseam.season_rule.closed IS 'Closed spans of the year.';

CREATE TABLE coldseam.threshold (
  key       text        NOT NULL,
  value     text        NOT NULL,
  edited_at timestamptz NOT NULL,
  who       text        NOT NULL,
  why       text        NOT NULL,
  CONSTRAINT threshold_pkey PRIMARY KEY (key)
);
COMMENT ON TABLE coldseam.threshold IS 'Limits the club has set other than the program''s own.';
COMMENT ON COLUMN coldseam.threshold.key IS 'Name of the limit, with its unit.';
COMMENT ON COLUMN coldseam.threshold.value IS 'Value as text.';
COMMENT ON COLUMN coldseam.threshold.edited_at IS 'When it was set.';
COMMENT ON COLUMN coldseam.threshold.who IS 'Who set it, never an address.';
COMMENT ON COLUMN coldseam.threshold.why IS 'The reason given.';

CREATE TABLE coldseam.threshold_audit (
  audit_id  int8        GENERATED ALWAYS AS IDENTITY,
  key       text        NOT NULL,
  old_value text,
  new_value text,
  edited_at timestamptz NOT NULL,
  who       text        NOT NULL,
  why       text        NOT NULL,
  CONSTRAINT threshold_audit_pkey PRIMARY KEY (audit_id)
);
COMMENT ON TABLE coldseam.threshold_audit IS 'Every edit of a limit.';
COMMENT ON COLUMN coldseam.threshold_audit.audit_id IS 'Running number.';
COMMENT ON COLUMN coldseam.threshold_audit.key IS 'Name of the limit.';
COMMENT ON COLUMN coldseam.threshold_audit.old_value IS 'Value before; null = the program''s own.';
COMMENT ON COLUMN coldseam.threshold_audit.new_value IS 'Value after; null = back to the program''s own.';
COMMENT ON COLUMN coldseam.threshold_audit.edited_at IS 'When.';
COMMENT ON COLUMN coldseam.threshold_audit.who IS 'Who, never an address.';
COMMENT ON COLUMN coldseam.threshold_audit.why IS 'The reason given.';

CREATE TABLE coldseam.series (
  series_id      int4        GENERATED ALWAYS AS IDENTITY,
  site_id        text        NOT NULL,
  param          text        NOT NULL,
  stat           text        NOT NULL,
  period         text        NOT NULL,
  provider       text        NOT NULL,
  series_ref     text        NOT NULL,
  unit           text        NOT NULL,
  preference     int2        NOT NULL DEFAULT 0,
  first_known_at timestamptz NOT NULL,
  CONSTRAINT series_pkey PRIMARY KEY (series_id),
  CONSTRAINT series_key UNIQUE (site_id, param, stat, period, provider, series_ref),
  CONSTRAINT series_site_fkey FOREIGN KEY (site_id) REFERENCES coldseam.site (site_id),
  CONSTRAINT series_stat_known CHECK (stat IN ('instant', 'mean', 'min', 'max', 'sum'))
);
COMMENT ON TABLE coldseam.series IS 'A time series as an agency serves it.';
COMMENT ON COLUMN coldseam.series.series_id IS 'Our short key.';
COMMENT ON COLUMN coldseam.series.site_id IS 'Gauge or weather place.';
COMMENT ON COLUMN coldseam.series.param IS 'discharge, stage, water_temp, turbidity, velocity, air_temp, precip, wind, gust, thunder_prob.';
COMMENT ON COLUMN coldseam.series.stat IS 'instant, mean, min, max or sum over the period.';
COMMENT ON COLUMN coldseam.series.period IS 'ISO 8601 duration; empty for instantaneous values.';
COMMENT ON COLUMN coldseam.series.provider IS 'Profile that serves it.';
COMMENT ON COLUMN coldseam.series.series_ref IS 'The agency''s own series id.';
COMMENT ON COLUMN coldseam.series.unit IS 'SI unit of the values.';
COMMENT ON COLUMN coldseam.series.preference IS 'Where several series measure the same at a site, the greater one leads.';
COMMENT ON COLUMN coldseam.series.first_known_at IS 'When the first value became known here; values valid before were back-filled.';

CREATE TABLE coldseam.qualifier_set (
  qualifier_set_id int2   NOT NULL,
  codes            text[] NOT NULL,
  CONSTRAINT qualifier_set_pkey PRIMARY KEY (qualifier_set_id),
  CONSTRAINT qualifier_set_codes_key UNIQUE (codes)
);
COMMENT ON TABLE coldseam.qualifier_set IS 'Sets of raw agency qualifiers, so that a row carries two bytes.';
COMMENT ON COLUMN coldseam.qualifier_set.qualifier_set_id IS 'Key; 0 = no qualifier.';
COMMENT ON COLUMN coldseam.qualifier_set.codes IS 'Codes as sent, sorted.';
INSERT INTO coldseam.qualifier_set (qualifier_set_id, codes) VALUES (0, '{}');

-- No foreign key to series: it would cost a look-up per loaded row, series are
-- never deleted, and UpsertSeries is the only writer. Column order saves
-- padding: 56 bytes a tuple.
CREATE TABLE coldseam.observation (
  valid_at      timestamptz NOT NULL,
  known_at      timestamptz NOT NULL,
  value         float8,
  series_id     int4        NOT NULL,
  flags         int2        NOT NULL,
  qualifier_set int2        NOT NULL,
  CONSTRAINT observation_pkey PRIMARY KEY (series_id, valid_at)
);
COMMENT ON TABLE coldseam.observation IS 'The current value of every (series, time). Superseded versions are in observation_revision.';
COMMENT ON COLUMN coldseam.observation.valid_at IS 'Instant the value holds for; the end of a period.';
COMMENT ON COLUMN coldseam.observation.known_at IS 'When our fetch that brought this version ended.';
COMMENT ON COLUMN coldseam.observation.value IS 'Value in the unit of the series; null = sent without a value.';
COMMENT ON COLUMN coldseam.observation.series_id IS 'The series.';
COMMENT ON COLUMN coldseam.observation.flags IS 'Bit set of coldseam.Flag: low byte agency, high byte quality control (bit 15 makes the number negative).';
COMMENT ON COLUMN coldseam.observation.qualifier_set IS 'Raw agency codes, see qualifier_set.';

CREATE TABLE coldseam.observation_revision (
  valid_at      timestamptz NOT NULL,
  known_at      timestamptz NOT NULL,
  superseded_at timestamptz NOT NULL,
  value         float8,
  fetch_id      int8,
  series_id     int4        NOT NULL,
  flags         int2        NOT NULL,
  qualifier_set int2        NOT NULL,
  CONSTRAINT observation_revision_pkey PRIMARY KEY (series_id, valid_at, known_at),
  CONSTRAINT observation_revision_order CHECK (superseded_at > known_at)
);
COMMENT ON TABLE coldseam.observation_revision IS 'Every superseded version of an observation.';
COMMENT ON COLUMN coldseam.observation_revision.valid_at IS 'Instant the value held for.';
COMMENT ON COLUMN coldseam.observation_revision.known_at IS 'When this version became known.';
COMMENT ON COLUMN coldseam.observation_revision.superseded_at IS 'When the next version became known.';
COMMENT ON COLUMN coldseam.observation_revision.value IS 'Value of this version; null = sent without a value.';
COMMENT ON COLUMN coldseam.observation_revision.fetch_id IS 'Fetch that brought the next version; null = not a fetch.';
COMMENT ON COLUMN coldseam.observation_revision.series_id IS 'The series.';
COMMENT ON COLUMN coldseam.observation_revision.flags IS 'Bit set as in observation.';
COMMENT ON COLUMN coldseam.observation_revision.qualifier_set IS 'Raw agency codes, see qualifier_set.';

CREATE TABLE coldseam.qc_change (
  series_id  int4        NOT NULL,
  valid_at   timestamptz NOT NULL,
  changed_at timestamptz NOT NULL,
  old_flags  int2        NOT NULL,
  new_flags  int2        NOT NULL,
  why        text        NOT NULL,
  CONSTRAINT qc_change_pkey PRIMARY KEY (series_id, valid_at, changed_at)
);
COMMENT ON TABLE coldseam.qc_change IS 'Every later change of quality-control bits of a stored value; reads as of an earlier time undo them.';
COMMENT ON COLUMN coldseam.qc_change.series_id IS 'The series.';
COMMENT ON COLUMN coldseam.qc_change.valid_at IS 'The value''s time.';
COMMENT ON COLUMN coldseam.qc_change.changed_at IS 'When the bits were changed.';
COMMENT ON COLUMN coldseam.qc_change.old_flags IS 'Whole bit set before.';
COMMENT ON COLUMN coldseam.qc_change.new_flags IS 'Whole bit set after.';
COMMENT ON COLUMN coldseam.qc_change.why IS 'Test or person that changed it.';

CREATE TABLE coldseam.latest (
  valid_at   timestamptz NOT NULL,
  known_at   timestamptz NOT NULL,
  changed_at timestamptz NOT NULL,
  value      float8,
  series_id  int4        NOT NULL,
  flags      int2        NOT NULL,
  CONSTRAINT latest_pkey PRIMARY KEY (series_id)
) WITH (fillfactor = 70);
COMMENT ON TABLE coldseam.latest IS 'The newest row of each series, kept in the transaction that stores it.';
COMMENT ON COLUMN coldseam.latest.series_id IS 'The series.';
COMMENT ON COLUMN coldseam.latest.valid_at IS 'Time of its newest row.';
COMMENT ON COLUMN coldseam.latest.known_at IS 'When that version became known.';
COMMENT ON COLUMN coldseam.latest.changed_at IS 'Last change of anything in the series: reads as of this time or later may use the summaries.';
COMMENT ON COLUMN coldseam.latest.value IS 'Its value in the unit of the series; null = sent without a value.';
COMMENT ON COLUMN coldseam.latest.flags IS 'Bit set as in observation.';

CREATE TABLE coldseam.day_summary (
  lo        float8 NOT NULL,
  hi        float8 NOT NULL,
  total     float8 NOT NULL,
  series_id int4   NOT NULL,
  day       date   NOT NULL,
  n         int4   NOT NULL,
  quarters  int2   NOT NULL,
  flags     int2   NOT NULL,
  CONSTRAINT day_summary_pkey PRIMARY KEY (series_id, day)
);
COMMENT ON TABLE coldseam.day_summary IS 'Usable values of each series and civil day of the gauge, kept in the transaction that stores them. A period value belongs to the day its middle lies in.';
COMMENT ON COLUMN coldseam.day_summary.lo IS 'Least usable value, unit of the series.';
COMMENT ON COLUMN coldseam.day_summary.hi IS 'Greatest usable value.';
COMMENT ON COLUMN coldseam.day_summary.total IS 'Sum of the usable values; total / n is the mean.';
COMMENT ON COLUMN coldseam.day_summary.series_id IS 'The series.';
COMMENT ON COLUMN coldseam.day_summary.day IS 'Civil day in the zone of the site.';
COMMENT ON COLUMN coldseam.day_summary.n IS 'Number of usable values.';
COMMENT ON COLUMN coldseam.day_summary.quarters IS 'Bit set of the quarters of the day that have a usable value; 15 = all four.';
COMMENT ON COLUMN coldseam.day_summary.flags IS 'All bits that any usable value of the day has.';

CREATE TABLE coldseam.climatology (
  site_id   text        NOT NULL,
  param     text        NOT NULL,
  made_at   timestamptz NOT NULL,
  doy       int2        NOT NULL,
  years     int2        NOT NULL,
  n         int4        NOT NULL,
  quantile  float4[]    NOT NULL,
  CONSTRAINT climatology_pkey PRIMARY KEY (site_id, param, made_at, doy),
  CONSTRAINT climatology_doy_range CHECK (doy BETWEEN 1 AND 366)
);
COMMENT ON TABLE coldseam.climatology IS 'Quantiles of daily means by day of the year, +-15 days pooled, with the time they were made: a forecast issued earlier must not see them.';
COMMENT ON COLUMN coldseam.climatology.site_id IS 'The gauge.';
COMMENT ON COLUMN coldseam.climatology.param IS 'Parameter.';
COMMENT ON COLUMN coldseam.climatology.made_at IS 'Only values known before are in it.';
COMMENT ON COLUMN coldseam.climatology.doy IS 'Day of the year, 1 = 1 January.';
COMMENT ON COLUMN coldseam.climatology.years IS 'Number of different years behind it.';
COMMENT ON COLUMN coldseam.climatology.n IS 'Number of days pooled.';
COMMENT ON COLUMN coldseam.climatology.quantile IS 'Quantiles at 0.01, 0.05, 0.10, 0.25, 0.50, 0.75, 0.90, 0.95, 0.99, SI unit.';

CREATE TABLE coldseam.raw_fetch (
  fetch_id      int8        GENERATED ALWAYS AS IDENTITY,
  profile       text        NOT NULL,
  url           text        NOT NULL,
  fetched_at    timestamptz NOT NULL,
  status        int4        NOT NULL,
  bytes         int8        NOT NULL,
  sha256        text        NOT NULL,
  dur_ms        int8        NOT NULL,
  etag          text        NOT NULL,
  last_modified text        NOT NULL,
  err           text        NOT NULL,
  rows_stored   int4        NOT NULL,
  attributes    text        NOT NULL,
  payload_gzip  bytea,
  CONSTRAINT raw_fetch_pkey PRIMARY KEY (fetch_id)
);
ALTER TABLE coldseam.raw_fetch ALTER COLUMN payload_gzip SET STORAGE EXTERNAL;
CREATE INDEX raw_fetch_url_idx ON coldseam.raw_fetch (profile, url, fetched_at DESC);
COMMENT ON TABLE coldseam.raw_fetch IS 'Log of fetches; the newest payloads of each address are kept for replay.';
COMMENT ON COLUMN coldseam.raw_fetch.fetch_id IS 'Running number.';
COMMENT ON COLUMN coldseam.raw_fetch.profile IS 'Feed profile.';
COMMENT ON COLUMN coldseam.raw_fetch.url IS 'Address without key.';
COMMENT ON COLUMN coldseam.raw_fetch.fetched_at IS 'End of the fetch: the known-at of what it brought.';
COMMENT ON COLUMN coldseam.raw_fetch.status IS 'HTTP status; 0 = no answer.';
COMMENT ON COLUMN coldseam.raw_fetch.bytes IS 'Size of the body, bytes.';
COMMENT ON COLUMN coldseam.raw_fetch.sha256 IS 'Hash of the body, hexadecimal.';
COMMENT ON COLUMN coldseam.raw_fetch.dur_ms IS 'Duration, ms.';
COMMENT ON COLUMN coldseam.raw_fetch.etag IS 'ETag as sent.';
COMMENT ON COLUMN coldseam.raw_fetch.last_modified IS 'Last-Modified as sent.';
COMMENT ON COLUMN coldseam.raw_fetch.err IS 'What went wrong in one line; empty = nothing.';
COMMENT ON COLUMN coldseam.raw_fetch.rows_stored IS 'Rows found in the document.';
COMMENT ON COLUMN coldseam.raw_fetch.attributes IS 'Further facts about the document.';
COMMENT ON COLUMN coldseam.raw_fetch.payload_gzip IS 'The body, gzip; null = dropped, empty or the same bytes as the fetch before.';

CREATE TABLE coldseam.fetch_state (
  profile       text        NOT NULL,
  url           text        NOT NULL,
  etag          text        NOT NULL DEFAULT '',
  last_modified text        NOT NULL DEFAULT '',
  not_before    timestamptz,
  failures      int4        NOT NULL DEFAULT 0,
  last_try_at   timestamptz,
  last_ok_at    timestamptz,
  last_err      text        NOT NULL DEFAULT '',
  CONSTRAINT fetch_state_pkey PRIMARY KEY (profile, url)
);
COMMENT ON TABLE coldseam.fetch_state IS 'What the next fetch of an address needs to know.';
COMMENT ON COLUMN coldseam.fetch_state.profile IS 'Feed profile.';
COMMENT ON COLUMN coldseam.fetch_state.url IS 'Address without key.';
COMMENT ON COLUMN coldseam.fetch_state.etag IS 'ETag of the last good answer.';
COMMENT ON COLUMN coldseam.fetch_state.last_modified IS 'Last-Modified of the last good answer.';
COMMENT ON COLUMN coldseam.fetch_state.not_before IS 'Not to be asked before; null = any time.';
COMMENT ON COLUMN coldseam.fetch_state.failures IS 'Failures in a row.';
COMMENT ON COLUMN coldseam.fetch_state.last_try_at IS 'Last fetch.';
COMMENT ON COLUMN coldseam.fetch_state.last_ok_at IS 'Last good answer, "not modified" included.';
COMMENT ON COLUMN coldseam.fetch_state.last_err IS 'Error of the last fetch; empty = none.';

CREATE TABLE coldseam.gauging (
  site_id       text        NOT NULL,
  measured_at   timestamptz NOT NULL,
  discharge_m3s float8      NOT NULL,
  stage_m       float8,
  width_m       float8,
  area_m2       float8,
  mean_vel_ms   float8,
  method        text        NOT NULL,
  ice           boolean     NOT NULL,
  quality       text        NOT NULL,
  known_at      timestamptz NOT NULL,
  CONSTRAINT gauging_pkey PRIMARY KEY (site_id, measured_at)
);
COMMENT ON TABLE coldseam.gauging IS 'Field measurements of channels.';
COMMENT ON COLUMN coldseam.gauging.site_id IS 'The gauge.';
COMMENT ON COLUMN coldseam.gauging.measured_at IS 'When it was measured.';
COMMENT ON COLUMN coldseam.gauging.discharge_m3s IS 'Discharge, m3/s.';
COMMENT ON COLUMN coldseam.gauging.stage_m IS 'Stage, m.';
COMMENT ON COLUMN coldseam.gauging.width_m IS 'Width of the section, m.';
COMMENT ON COLUMN coldseam.gauging.area_m2 IS 'Area of the section, m2.';
COMMENT ON COLUMN coldseam.gauging.mean_vel_ms IS 'Mean velocity of the section, m/s.';
COMMENT ON COLUMN coldseam.gauging.method IS 'bridge, boat, cableway, wading; empty = unknown.';
COMMENT ON COLUMN coldseam.gauging.ice IS 'Measured under or beside ice.';
COMMENT ON COLUMN coldseam.gauging.quality IS 'The agency''s word for its quality.';
COMMENT ON COLUMN coldseam.gauging.known_at IS 'When it became known here.';

CREATE TABLE coldseam.rating (
  site_id       text        NOT NULL,
  valid_from    timestamptz NOT NULL,
  known_at      timestamptz NOT NULL,
  valid_to      timestamptz,
  stage_zero_m  float8      NOT NULL,
  stage_m       float8[]    NOT NULL,
  discharge_m3s float8[]    NOT NULL,
  CONSTRAINT rating_pkey PRIMARY KEY (site_id, valid_from, known_at)
);
COMMENT ON TABLE coldseam.rating IS 'Tables that turn stage into discharge.';
COMMENT ON COLUMN coldseam.rating.site_id IS 'The gauge.';
COMMENT ON COLUMN coldseam.rating.valid_from IS 'Start of validity.';
COMMENT ON COLUMN coldseam.rating.known_at IS 'When this table became known here.';
COMMENT ON COLUMN coldseam.rating.valid_to IS 'End of validity; null = open.';
COMMENT ON COLUMN coldseam.rating.stage_zero_m IS 'Stage of zero flow, m.';
COMMENT ON COLUMN coldseam.rating.stage_m IS 'Stages, m, ascending.';
COMMENT ON COLUMN coldseam.rating.discharge_m3s IS 'Discharge at those stages, m3/s.';
