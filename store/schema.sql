-- The schema as the migrations leave it, from pg_dump 15. Made by go test ./store -run Schema -update.

CREATE SCHEMA coldseam;

COMMENT ON SCHEMA coldseam IS 'Tables of the program. Not for readers: they use the views of schema season.';

CREATE SCHEMA season;

COMMENT ON SCHEMA season IS 'The club''s own questions: views on what was measured, told and caught. Start with season.dictionary.';

CREATE TABLE coldseam.brief (
    brief_id bigint NOT NULL,
    reach_id text NOT NULL,
    day date NOT NULL,
    issued_at timestamp with time zone NOT NULL,
    good_until timestamp with time zone,
    verdict text NOT NULL,
    odds double precision,
    odds_note text NOT NULL,
    hold_p double precision NOT NULL,
    cost double precision NOT NULL,
    window_start timestamp with time zone,
    window_end timestamp with time zone,
    water_c double precision,
    discharge_m3s double precision,
    stage_m double precision,
    tie_oz double precision,
    band text NOT NULL,
    flow_class text NOT NULL,
    run_stage text NOT NULL,
    advice_row text NOT NULL,
    sure text NOT NULL,
    replay boolean NOT NULL,
    body jsonb NOT NULL,
    seal bytea,
    CONSTRAINT brief_odds_range CHECK (((odds >= (0)::double precision) AND (odds <= (1)::double precision))),
    CONSTRAINT brief_verdict_known CHECK ((verdict = ANY (ARRAY['GO'::text, 'TOSS-UP'::text, 'STAY'::text, 'STOP'::text, 'NO CALL'::text])))
);

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

COMMENT ON COLUMN coldseam.brief.flow_class IS 'Class of the flow for the date: much below, below, normal, above, much above; empty = under 10 years of record.';

COMMENT ON COLUMN coldseam.brief.run_stage IS 'Stage of the run.';

COMMENT ON COLUMN coldseam.brief.advice_row IS 'Id of the advice row that won.';

COMMENT ON COLUMN coldseam.brief.sure IS 'high, medium or low.';

COMMENT ON COLUMN coldseam.brief.replay IS 'Made for a past morning; never counted as told.';

COMMENT ON COLUMN coldseam.brief.body IS 'The whole brief as JSON of coldseam.Brief.';

COMMENT ON COLUMN coldseam.brief.seal IS 'SHA-256 over the seal of the brief told before, by brief_id, and over this brief but its chart; null = a replay, or told before briefs were sealed. A migration must not rewrite what it covers.';

CREATE FUNCTION coldseam.brief_seal(before bytea, b coldseam.brief) RETURNS bytea
    LANGUAGE sql STABLE
    SET "TimeZone" TO 'UTC'
    SET extra_float_digits TO '1'
    RETURN sha256((COALESCE(before, '\x'::bytea) || convert_to((jsonb_build_array((b).brief_id, (b).reach_id, (b).day, (b).issued_at, (b).good_until, (b).verdict, (b).odds, (b).odds_note, (b).hold_p, (b).cost, (b).window_start, (b).window_end, (b).water_c, (b).discharge_m3s, (b).stage_m, (b).tie_oz, (b).band, (b).flow_class, (b).run_stage, (b).advice_row, (b).sure, (b).replay, ((b).body - 'Chart'::text)))::text, 'UTF8'::name)));

COMMENT ON FUNCTION coldseam.brief_seal(before bytea, b coldseam.brief) IS 'The seal of a brief after the seal before it.';

CREATE FUNCTION coldseam.doy_of(d date) RETURNS integer
    LANGUAGE sql IMMUTABLE
    RETURN (EXTRACT(doy FROM make_date(2000, (EXTRACT(month FROM d))::integer, (EXTRACT(day FROM d))::integer)))::integer;

COMMENT ON FUNCTION coldseam.doy_of(d date) IS 'Day of the year with 1 March as 61 in every year.';

CREATE FUNCTION coldseam.flow_class(p double precision) RETURNS text
    LANGUAGE sql IMMUTABLE
    RETURN CASE WHEN (p IS NULL) THEN NULL::text WHEN (p < (0.10)::double precision) THEN 'much below'::text WHEN (p < (0.25)::double precision) THEN 'below'::text WHEN (p <= (0.75)::double precision) THEN 'normal'::text WHEN (p <= (0.90)::double precision) THEN 'above'::text ELSE 'much above'::text END;

COMMENT ON FUNCTION coldseam.flow_class(p double precision) IS 'Flow words for a percentile.';

CREATE FUNCTION coldseam.percentile_of(q real[], v double precision) RETURNS double precision
    LANGUAGE sql IMMUTABLE
    RETURN CASE WHEN ((v IS NULL) OR (q IS NULL)) THEN NULL::double precision WHEN (v <= (q)[1]) THEN (0)::double precision WHEN (v < (q)[2]) THEN ((0.01)::double precision + (((0.04)::double precision * (v - (q)[1])) / ((q)[2] - (q)[1]))) WHEN (v < (q)[3]) THEN ((0.05)::double precision + (((0.05)::double precision * (v - (q)[2])) / ((q)[3] - (q)[2]))) WHEN (v < (q)[4]) THEN ((0.10)::double precision + (((0.15)::double precision * (v - (q)[3])) / ((q)[4] - (q)[3]))) WHEN (v < (q)[5]) THEN ((0.25)::double precision + (((0.25)::double precision * (v - (q)[4])) / ((q)[5] - (q)[4]))) WHEN (v < (q)[6]) THEN ((0.50)::double precision + (((0.25)::double precision * (v - (q)[5])) / ((q)[6] - (q)[5]))) WHEN (v < (q)[7]) THEN ((0.75)::double precision + (((0.15)::double precision * (v - (q)[6])) / ((q)[7] - (q)[6]))) WHEN (v < (q)[8]) THEN ((0.90)::double precision + (((0.05)::double precision * (v - (q)[7])) / ((q)[8] - (q)[7]))) WHEN (v < (q)[9]) THEN ((0.95)::double precision + (((0.04)::double precision * (v - (q)[8])) / ((q)[9] - (q)[8]))) ELSE (1)::double precision END;

COMMENT ON FUNCTION coldseam.percentile_of(q real[], v double precision) IS 'Share of the record below a value, 0-1, from the nine quantiles of climatology.';

CREATE TABLE coldseam.alert (
    provider text NOT NULL,
    sender text NOT NULL,
    identifier text NOT NULL,
    sent_at timestamp with time zone NOT NULL,
    known_at timestamp with time zone NOT NULL,
    starts_at timestamp with time zone NOT NULL,
    ends_at timestamp with time zone NOT NULL,
    status text NOT NULL,
    msg_type text NOT NULL,
    event text NOT NULL,
    severity text NOT NULL,
    reference_ids text[] NOT NULL,
    body jsonb NOT NULL,
    feed text DEFAULT ''::text NOT NULL,
    document text DEFAULT ''::text NOT NULL
);

COMMENT ON TABLE coldseam.alert IS 'Official warnings (CAP), each version of a message once.';

COMMENT ON COLUMN coldseam.alert.provider IS 'Provider of the profile.';

COMMENT ON COLUMN coldseam.alert.sender IS 'Sender as in the message.';

COMMENT ON COLUMN coldseam.alert.identifier IS 'Identifier as in the message.';

COMMENT ON COLUMN coldseam.alert.sent_at IS 'Sent stamp of the message.';

COMMENT ON COLUMN coldseam.alert.known_at IS 'When this version first became known here.';

COMMENT ON COLUMN coldseam.alert.starts_at IS 'Start of the event.';

COMMENT ON COLUMN coldseam.alert.ends_at IS 'End of the event.';

COMMENT ON COLUMN coldseam.alert.status IS 'Actual, Test, Exercise ...';

COMMENT ON COLUMN coldseam.alert.msg_type IS 'Alert, Update or Cancel.';

COMMENT ON COLUMN coldseam.alert.event IS 'Event in the agency''s words.';

COMMENT ON COLUMN coldseam.alert.severity IS 'Severity of the message.';

COMMENT ON COLUMN coldseam.alert.reference_ids IS 'Identifiers of the messages this one updates or cancels.';

COMMENT ON COLUMN coldseam.alert.body IS 'The whole alert as JSON of coldseam.Alert.';

COMMENT ON COLUMN coldseam.alert.feed IS 'Profile it was read by; empty in rows from before feeds were kept apart.';

COMMENT ON COLUMN coldseam.alert.document IS 'Address of its document; empty where it stood in the index itself.';

CREATE TABLE coldseam.band (
    band_no integer NOT NULL,
    key text NOT NULL,
    upper_f double precision NOT NULL
);

COMMENT ON TABLE coldseam.band IS 'The club''s water temperature bands, coldest first.';

COMMENT ON COLUMN coldseam.band.band_no IS 'Place, from 1.';

COMMENT ON COLUMN coldseam.band.key IS 'Name of the band.';

COMMENT ON COLUMN coldseam.band.upper_f IS 'Upper edge, degF, included.';

CREATE TABLE coldseam.bank_word (
    bank_word_id bigint NOT NULL,
    reach_id text NOT NULL,
    subscriber_id bigint,
    said_at timestamp with time zone NOT NULL,
    known_at timestamp with time zone NOT NULL,
    say text NOT NULL,
    CONSTRAINT bank_word_say CHECK ((say = ANY (ARRAY['ice'::text, 'wood'::text, 'launch'::text, 'clear'::text, 'stained'::text, 'muddy'::text, 'green'::text, 'ripe'::text, 'spent'::text])))
);

COMMENT ON TABLE coldseam.bank_word IS 'What members saw from the bank. A danger closes the reach; nothing here opens it.';

COMMENT ON COLUMN coldseam.bank_word.bank_word_id IS 'Key of the word.';

COMMENT ON COLUMN coldseam.bank_word.reach_id IS 'The reach.';

COMMENT ON COLUMN coldseam.bank_word.subscriber_id IS 'The member; NULL = erased.';

COMMENT ON COLUMN coldseam.bank_word.said_at IS 'The time it speaks of.';

COMMENT ON COLUMN coldseam.bank_word.known_at IS 'When it came.';

COMMENT ON COLUMN coldseam.bank_word.say IS 'Danger: ice, wood, launch; colour of the water: clear, stained, muddy; fish: green, ripe, spent.';

ALTER TABLE coldseam.bank_word ALTER COLUMN bank_word_id ADD GENERATED ALWAYS AS IDENTITY (
    SEQUENCE NAME coldseam.bank_word_bank_word_id_seq
    START WITH 1
    INCREMENT BY 1
    NO MINVALUE
    NO MAXVALUE
    CACHE 1
);

CREATE TABLE coldseam.book_row (
    dimension text NOT NULL,
    season integer NOT NULL,
    reach_id text NOT NULL,
    species text NOT NULL,
    cell text NOT NULL,
    source text NOT NULL,
    who text NOT NULL,
    day date NOT NULL,
    line_hours double precision NOT NULL,
    fish integer NOT NULL,
    stayed boolean NOT NULL,
    by_mail boolean NOT NULL,
    held boolean,
    discharge_m3s double precision
);

COMMENT ON TABLE coldseam.book_row IS 'The trip log as the book shows it: a row for each trip or rig log and dimension, renewed cell by cell; no cell of fewer than three anglers. Never granted to readers.';

COMMENT ON COLUMN coldseam.book_row.dimension IS 'all, day, month, band, flow, stage, verdict, weight, presentation, clarity, spot; held = weights that held bottom.';

COMMENT ON COLUMN coldseam.book_row.season IS 'Calendar year.';

COMMENT ON COLUMN coldseam.book_row.reach_id IS 'The reach.';

COMMENT ON COLUMN coldseam.book_row.species IS 'Species key; of held the spot.';

COMMENT ON COLUMN coldseam.book_row.cell IS 'Value of the dimension.';

COMMENT ON COLUMN coldseam.book_row.source IS 'Digest of the trip or rig log.';

COMMENT ON COLUMN coldseam.book_row.who IS 'Digest of the pseudonym; empty = not known.';

COMMENT ON COLUMN coldseam.book_row.day IS 'Civil day.';

COMMENT ON COLUMN coldseam.book_row.line_hours IS 'Hours times lines; lines not said = anglers.';

COMMENT ON COLUMN coldseam.book_row.fish IS 'Fish caught.';

COMMENT ON COLUMN coldseam.book_row.stayed IS 'Said "did not go".';

COMMENT ON COLUMN coldseam.book_row.by_mail IS 'Went, or stayed, because of the mail.';

COMMENT ON COLUMN coldseam.book_row.held IS 'The weight held bottom; null = not said.';

COMMENT ON COLUMN coldseam.book_row.discharge_m3s IS 'Discharge at a rig log, m3/s.';

CREATE VIEW coldseam.book_open AS
 SELECT b.dimension,
    b.season,
    b.reach_id,
    b.species,
    b.cell,
    b.source,
    b.who,
    b.day,
    b.line_hours,
    b.fish,
    b.stayed,
    b.by_mail,
    b.held,
    b.discharge_m3s
   FROM (coldseam.book_row b
     JOIN ( SELECT book_row.dimension,
            book_row.season,
            book_row.reach_id,
            book_row.species,
            book_row.cell
           FROM coldseam.book_row
          GROUP BY book_row.dimension, book_row.season, book_row.reach_id, book_row.species, book_row.cell
         HAVING (count(DISTINCT NULLIF(book_row.who, ''::text)) >= 3)) k USING (dimension, season, reach_id, species, cell));

COMMENT ON VIEW coldseam.book_open IS 'Rows of cells with three different anglers, which move by three at a time: what sums over cells may be made of; columns as in book_row.';

COMMENT ON COLUMN coldseam.book_open.dimension IS 'all, day, month, band, flow, stage, verdict, weight, presentation, clarity, spot; held = weights that held bottom.';

COMMENT ON COLUMN coldseam.book_open.season IS 'Calendar year.';

COMMENT ON COLUMN coldseam.book_open.reach_id IS 'The reach.';

COMMENT ON COLUMN coldseam.book_open.species IS 'Species key; of held the spot.';

COMMENT ON COLUMN coldseam.book_open.cell IS 'Value of the dimension.';

COMMENT ON COLUMN coldseam.book_open.source IS 'Digest of the trip or rig log.';

COMMENT ON COLUMN coldseam.book_open.who IS 'Digest of the pseudonym; empty = not known.';

COMMENT ON COLUMN coldseam.book_open.day IS 'Civil day.';

COMMENT ON COLUMN coldseam.book_open.line_hours IS 'Hours times lines; lines not said = anglers.';

COMMENT ON COLUMN coldseam.book_open.fish IS 'Fish caught.';

COMMENT ON COLUMN coldseam.book_open.stayed IS 'Said "did not go".';

COMMENT ON COLUMN coldseam.book_open.by_mail IS 'Went, or stayed, because of the mail.';

COMMENT ON COLUMN coldseam.book_open.held IS 'The weight held bottom; null = not said.';

COMMENT ON COLUMN coldseam.book_open.discharge_m3s IS 'Discharge at a rig log, m3/s.';

CREATE VIEW coldseam.book_cell AS
 WITH went AS (
         SELECT book_open.dimension,
            book_open.season,
            book_open.reach_id,
            book_open.species,
            book_open.cell,
            book_open.source,
            book_open.who,
            book_open.day,
            book_open.line_hours,
            book_open.fish,
            book_open.stayed,
            book_open.by_mail,
            book_open.held,
            book_open.discharge_m3s
           FROM coldseam.book_open
          WHERE (NOT book_open.stayed)
        ), cells AS (
         SELECT went.dimension,
            went.season,
            went.reach_id,
            went.species,
            went.cell,
            count(DISTINCT NULLIF(went.who, ''::text)) AS anglers,
            count(*) AS trips,
            sum(went.line_hours) AS line_hours,
            sum(went.fish) AS fish,
            avg((went.held)::integer) AS held_share,
            percentile_cont((0.5)::double precision) WITHIN GROUP (ORDER BY went.discharge_m3s) AS median_m3s,
            count(*) FILTER (WHERE (went.fish = 0)) AS blank_trips
           FROM went
          GROUP BY went.dimension, went.season, went.reach_id, went.species, went.cell
         HAVING (count(DISTINCT NULLIF(went.who, ''::text)) >= 3)
        ), counted AS (
         SELECT w.dimension,
            w.season,
            w.reach_id,
            w.species,
            w.cell,
            w.source,
            w.who,
            w.day,
            w.line_hours,
            w.fish,
            w.stayed,
            w.by_mail,
            w.held,
            w.discharge_m3s
           FROM (went w
             JOIN cells USING (dimension, season, reach_id, species, cell))
        ), apart AS (
         SELECT y.dimension,
            y.season,
            y.reach_id,
            y.species,
            count(DISTINCT NULLIF(y.who, ''::text)) AS anglers
           FROM ( SELECT x.dimension,
                    x.season,
                    x.reach_id,
                    x.species,
                    x.source,
                    max(x.who) AS who
                   FROM ( SELECT d.dimension,
                            a.season,
                            a.reach_id,
                            a.species,
                            a.source,
                            a.who
                           FROM (counted a
                             JOIN ( SELECT DISTINCT counted.dimension,
                                    counted.season,
                                    counted.reach_id,
                                    counted.species
                                   FROM counted
                                  WHERE (counted.dimension <> ALL (ARRAY['all'::text, 'held'::text]))) d USING (season, reach_id, species))
                          WHERE (a.dimension = 'all'::text)
                        UNION ALL
                         SELECT counted.dimension,
                            counted.season,
                            counted.reach_id,
                            counted.species,
                            counted.source,
                            counted.who
                           FROM counted
                          WHERE (counted.dimension <> ALL (ARRAY['all'::text, 'held'::text]))) x
                  GROUP BY x.dimension, x.season, x.reach_id, x.species, x.source
                 HAVING (count(*) = 1)) y
          GROUP BY y.dimension, y.season, y.reach_id, y.species
        ), ranked AS (
         SELECT c.dimension,
            c.season,
            c.reach_id,
            c.species,
            c.cell,
            c.anglers,
            c.trips,
            c.line_hours,
            c.fish,
            c.held_share,
            c.median_m3s,
            c.blank_trips,
            s.anglers AS apart,
            row_number() OVER (PARTITION BY c.dimension, c.season, c.reach_id, c.species ORDER BY c.anglers, c.trips, c.cell) AS place
           FROM (cells c
             LEFT JOIN apart s USING (dimension, season, reach_id, species))
        )
 SELECT ranked.dimension,
    ranked.season,
    ranked.reach_id,
    ranked.species,
    ranked.cell,
    ranked.anglers,
    ranked.trips,
    ranked.line_hours,
    ranked.fish,
    ranked.held_share,
    ranked.median_m3s,
    ((ranked.place = 1) AND COALESCE((ranked.apart < 3), false)) AS hidden,
    (ranked.apart IS NOT NULL) AS some_apart,
    ranked.blank_trips
   FROM ranked;

COMMENT ON VIEW coldseam.book_cell IS 'The open cells of the book, with the mark of what readers may not see all the same. Never granted to readers.';

COMMENT ON COLUMN coldseam.book_cell.dimension IS 'all, day, band, flow, stage, verdict, weight, presentation; held = weights that held bottom.';

COMMENT ON COLUMN coldseam.book_cell.season IS 'Calendar year.';

COMMENT ON COLUMN coldseam.book_cell.reach_id IS 'The reach.';

COMMENT ON COLUMN coldseam.book_cell.species IS 'Species key; of held the spot.';

COMMENT ON COLUMN coldseam.book_cell.cell IS 'Value of the dimension.';

COMMENT ON COLUMN coldseam.book_cell.anglers IS 'Different anglers.';

COMMENT ON COLUMN coldseam.book_cell.trips IS 'Trips or logs.';

COMMENT ON COLUMN coldseam.book_cell.line_hours IS 'Hours times lines; lines not said = anglers.';

COMMENT ON COLUMN coldseam.book_cell.fish IS 'Fish caught.';

COMMENT ON COLUMN coldseam.book_cell.held_share IS 'Share that held bottom, 0-1.';

COMMENT ON COLUMN coldseam.book_cell.median_m3s IS 'Median discharge of the logs, m3/s.';

COMMENT ON COLUMN coldseam.book_cell.hidden IS 'Not for readers.';

COMMENT ON COLUMN coldseam.book_cell.some_apart IS 'Trips of the season stand in no open cell of the dimension.';

COMMENT ON COLUMN coldseam.book_cell.blank_trips IS 'Trips without a fish.';

CREATE TABLE coldseam.climatology (
    site_id text NOT NULL,
    param text NOT NULL,
    made_at timestamp with time zone NOT NULL,
    doy smallint NOT NULL,
    years smallint NOT NULL,
    n integer NOT NULL,
    quantile real[] NOT NULL,
    CONSTRAINT climatology_doy_range CHECK (((doy >= 1) AND (doy <= 366)))
);

COMMENT ON TABLE coldseam.climatology IS 'Quantiles of daily means by day of the year, +-15 days pooled, with the time they were made: a forecast issued earlier must not see them.';

COMMENT ON COLUMN coldseam.climatology.site_id IS 'The gauge.';

COMMENT ON COLUMN coldseam.climatology.param IS 'Parameter.';

COMMENT ON COLUMN coldseam.climatology.made_at IS 'Only values known before are in it.';

COMMENT ON COLUMN coldseam.climatology.doy IS 'Day of the year, 1 = 1 January.';

COMMENT ON COLUMN coldseam.climatology.years IS 'Number of different years behind it.';

COMMENT ON COLUMN coldseam.climatology.n IS 'Number of days pooled.';

COMMENT ON COLUMN coldseam.climatology.quantile IS 'Quantiles at 0.01, 0.05, 0.10, 0.25, 0.50, 0.75, 0.90, 0.95, 0.99, SI unit.';

CREATE TABLE coldseam.club_setting (
    one boolean DEFAULT true NOT NULL,
    send_at time without time zone NOT NULL,
    CONSTRAINT club_setting_one CHECK (one)
);

COMMENT ON TABLE coldseam.club_setting IS 'What the views need of the configuration; written at each start.';

COMMENT ON COLUMN coldseam.club_setting.one IS 'There is one row.';

COMMENT ON COLUMN coldseam.club_setting.send_at IS 'Local clock time of the morning mail.';

CREATE TABLE coldseam.day_summary (
    lo double precision NOT NULL,
    hi double precision NOT NULL,
    total double precision NOT NULL,
    series_id integer NOT NULL,
    day date NOT NULL,
    n integer NOT NULL,
    quarters smallint NOT NULL,
    flags smallint NOT NULL
)
WITH (fillfactor='85');

COMMENT ON TABLE coldseam.day_summary IS 'Usable values of each series and civil day of the gauge, kept in the transaction that stores them. A period value belongs to the day its middle lies in.';

COMMENT ON COLUMN coldseam.day_summary.lo IS 'Least usable value, unit of the series.';

COMMENT ON COLUMN coldseam.day_summary.hi IS 'Greatest usable value.';

COMMENT ON COLUMN coldseam.day_summary.total IS 'Sum of the usable values; total / n is the mean.';

COMMENT ON COLUMN coldseam.day_summary.series_id IS 'The series.';

COMMENT ON COLUMN coldseam.day_summary.day IS 'Civil day in the zone of the site.';

COMMENT ON COLUMN coldseam.day_summary.n IS 'Number of usable values.';

COMMENT ON COLUMN coldseam.day_summary.quarters IS 'Bit set of the quarters of the day that have a usable value; 15 = all four.';

COMMENT ON COLUMN coldseam.day_summary.flags IS 'All bits that any usable value of the day has.';

CREATE TABLE coldseam.reach (
    reach_id text NOT NULL,
    river text NOT NULL,
    name text NOT NULL,
    site_id text NOT NULL,
    temp_site_id text,
    zone text NOT NULL,
    lat_deg double precision NOT NULL,
    lon_deg double precision NOT NULL,
    regulated boolean NOT NULL,
    max_flow_m3s double precision,
    edit integer NOT NULL,
    retired boolean DEFAULT false NOT NULL,
    updated_at timestamp with time zone NOT NULL,
    body jsonb NOT NULL,
    CONSTRAINT reach_id_not_empty CHECK ((reach_id <> ''::text))
);

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

CREATE VIEW coldseam.morning_brief AS
 SELECT DISTINCT ON (b.reach_id, b.day) b.brief_id,
    b.reach_id,
    b.day,
    b.issued_at,
    b.verdict,
    b.odds
   FROM (((coldseam.brief b
     JOIN coldseam.reach r USING (reach_id))
     CROSS JOIN coldseam.club_setting c)
     CROSS JOIN LATERAL ( SELECT ((b.day + c.send_at) AT TIME ZONE r.zone) AS mail) m)
  WHERE (NOT b.replay)
  ORDER BY b.reach_id, b.day, (b.issued_at <= m.mail) DESC, (abs(EXTRACT(epoch FROM (b.issued_at - m.mail))));

COMMENT ON VIEW coldseam.morning_brief IS 'The issue of each reach and day that stood when the club''s mail went out, else the first of the day.';

COMMENT ON COLUMN coldseam.morning_brief.brief_id IS 'Key of the brief.';

COMMENT ON COLUMN coldseam.morning_brief.reach_id IS 'The reach.';

COMMENT ON COLUMN coldseam.morning_brief.day IS 'The morning it speaks of.';

COMMENT ON COLUMN coldseam.morning_brief.issued_at IS 'Issue time.';

COMMENT ON COLUMN coldseam.morning_brief.verdict IS 'GO, TOSS-UP, STAY, STOP or NO CALL.';

COMMENT ON COLUMN coldseam.morning_brief.odds IS 'Odds told, 0-1; null = none were told.';

CREATE TABLE coldseam.rig_log (
    rig_log_id bigint NOT NULL,
    trip_id bigint,
    reach_id text NOT NULL,
    spot_id text NOT NULL,
    logged_at timestamp with time zone NOT NULL,
    angler text NOT NULL,
    presentation text NOT NULL,
    body text NOT NULL,
    line text NOT NULL,
    weight_oz double precision NOT NULL,
    held boolean NOT NULL,
    angle_deg double precision,
    discharge_m3s double precision,
    stage_m double precision,
    CONSTRAINT rig_log_weight_positive CHECK ((weight_oz > (0)::double precision))
);

COMMENT ON TABLE coldseam.rig_log IS 'Weights that held bottom or did not, for calibrating the weight advice.';

COMMENT ON COLUMN coldseam.rig_log.rig_log_id IS 'Running number.';

COMMENT ON COLUMN coldseam.rig_log.trip_id IS 'Trip it came from; null = entered alone.';

COMMENT ON COLUMN coldseam.rig_log.reach_id IS 'The reach.';

COMMENT ON COLUMN coldseam.rig_log.spot_id IS 'The spot.';

COMMENT ON COLUMN coldseam.rig_log.logged_at IS 'When it was fished.';

COMMENT ON COLUMN coldseam.rig_log.angler IS 'Pseudonym, never a name.';

COMMENT ON COLUMN coldseam.rig_log.presentation IS 'How it was fished.';

COMMENT ON COLUMN coldseam.rig_log.body IS 'Body on the jig.';

COMMENT ON COLUMN coldseam.rig_log.line IS 'Line key.';

COMMENT ON COLUMN coldseam.rig_log.weight_oz IS 'Jig weight, ounces.';

COMMENT ON COLUMN coldseam.rig_log.held IS 'Whether it held bottom.';

COMMENT ON COLUMN coldseam.rig_log.angle_deg IS 'Line angle from the vertical, degrees.';

COMMENT ON COLUMN coldseam.rig_log.discharge_m3s IS 'Discharge at that time, m3/s, from the stored series.';

COMMENT ON COLUMN coldseam.rig_log.stage_m IS 'Stage at that time, m, from the stored series.';

CREATE TABLE coldseam.run_state (
    reach_id text NOT NULL,
    species text NOT NULL,
    day date NOT NULL,
    issued_at timestamp with time zone NOT NULL,
    stage text NOT NULL,
    stage_p double precision NOT NULL,
    p_wave double precision NOT NULL,
    arrived_p10 double precision NOT NULL,
    arrived_p50 double precision NOT NULL,
    arrived_p90 double precision NOT NULL,
    spawned_p50 double precision NOT NULL,
    body jsonb NOT NULL,
    wave_rule integer DEFAULT 1 NOT NULL
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

COMMENT ON COLUMN coldseam.run_state.wave_rule IS 'What p_wave calls a wave: 1 = a fixed share of the run in one day, or not noted; 2 = twice the daily fish of the week before.';

CREATE TABLE coldseam.series (
    series_id integer NOT NULL,
    site_id text NOT NULL,
    param text NOT NULL,
    stat text NOT NULL,
    period text NOT NULL,
    provider text NOT NULL,
    series_ref text NOT NULL,
    unit text NOT NULL,
    preference smallint DEFAULT 0 NOT NULL,
    first_known_at timestamp with time zone NOT NULL,
    CONSTRAINT series_stat_known CHECK ((stat = ANY (ARRAY['instant'::text, 'mean'::text, 'min'::text, 'max'::text, 'sum'::text])))
);

COMMENT ON TABLE coldseam.series IS 'A time series as an agency serves it.';

COMMENT ON COLUMN coldseam.series.series_id IS 'Our short key.';

COMMENT ON COLUMN coldseam.series.site_id IS 'Gauge or weather place.';

COMMENT ON COLUMN coldseam.series.param IS 'discharge, stage, water_temp, turbidity, velocity, air_temp, precip, wind, gust, wind_from, thunder_prob, visibility, fish_count.';

COMMENT ON COLUMN coldseam.series.stat IS 'instant, mean, min, max or sum over the period.';

COMMENT ON COLUMN coldseam.series.period IS 'ISO 8601 duration; empty for instantaneous values.';

COMMENT ON COLUMN coldseam.series.provider IS 'Profile that serves it.';

COMMENT ON COLUMN coldseam.series.series_ref IS 'The agency''s own series id.';

COMMENT ON COLUMN coldseam.series.unit IS 'SI unit of the values.';

COMMENT ON COLUMN coldseam.series.preference IS 'Where several series measure the same at a site, the greater one leads.';

COMMENT ON COLUMN coldseam.series.first_known_at IS 'When the first value became known here; values valid before were back-filled.';

CREATE TABLE coldseam.site (
    site_id text NOT NULL,
    provider text NOT NULL,
    code text NOT NULL,
    name text NOT NULL,
    zone text NOT NULL,
    lat_deg double precision NOT NULL,
    lon_deg double precision NOT NULL,
    datum_m double precision,
    drainage_km2 double precision,
    tidal boolean DEFAULT false NOT NULL,
    daily_only boolean DEFAULT false NOT NULL,
    stub boolean DEFAULT false NOT NULL,
    updated_at timestamp with time zone DEFAULT now() NOT NULL,
    CONSTRAINT site_id_not_empty CHECK ((site_id <> ''::text))
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

CREATE VIEW coldseam.site_day AS
 SELECT DISTINCT ON (s.site_id, s.param, d.day) s.site_id,
    s.param,
    d.day,
    (d.total / (d.n)::double precision) AS mean,
    d.lo,
    d.hi,
    d.n,
    (((d.flags)::integer & 8) <> 0) AS ice,
    (((d.flags)::integer & 4) <> 0) AS estimated,
    (((d.flags)::integer & 2) = 0) AS provisional
   FROM ((coldseam.day_summary d
     JOIN coldseam.series s USING (series_id))
     JOIN coldseam.site t USING (site_id))
  WHERE (((s.stat = 'mean'::text) AND (s.period = ANY (ARRAY['P1D'::text, 'PT24H'::text]))) OR ((s.stat = ANY (ARRAY['instant'::text, 'mean'::text])) AND ((d.quarters = 15) OR t.daily_only)))
  ORDER BY s.site_id, s.param, d.day, ((s.stat = 'mean'::text) AND (s.period = ANY (ARRAY['P1D'::text, 'PT24H'::text]))) DESC, s.preference DESC, s.series_id;

COMMENT ON VIEW coldseam.site_day IS 'One daily value of each parameter of a gauge: the daily-mean series where there is one, else the mean of shorter values that cover the day.';

COMMENT ON COLUMN coldseam.site_day.site_id IS 'The gauge.';

COMMENT ON COLUMN coldseam.site_day.param IS 'Parameter.';

COMMENT ON COLUMN coldseam.site_day.day IS 'Civil day of the gauge.';

COMMENT ON COLUMN coldseam.site_day.mean IS 'Daily mean, SI unit.';

COMMENT ON COLUMN coldseam.site_day.lo IS 'Least value of the day.';

COMMENT ON COLUMN coldseam.site_day.hi IS 'Greatest value of the day.';

COMMENT ON COLUMN coldseam.site_day.n IS 'Number of values.';

COMMENT ON COLUMN coldseam.site_day.ice IS 'An ice qualifier on any of them.';

COMMENT ON COLUMN coldseam.site_day.estimated IS 'Estimated by the agency in part.';

COMMENT ON COLUMN coldseam.site_day.provisional IS 'Not approved by the agency.';

CREATE TABLE coldseam.trip (
    trip_id bigint NOT NULL,
    reach_id text NOT NULL,
    subscriber_id bigint,
    angler text NOT NULL,
    day date NOT NULL,
    start_at timestamp with time zone,
    hours double precision NOT NULL,
    anglers integer NOT NULL,
    lines integer NOT NULL,
    species text NOT NULL,
    fish integer NOT NULL,
    looked_at integer NOT NULL,
    ripe integer NOT NULL,
    spent integer NOT NULL,
    released integer NOT NULL,
    spot_id text NOT NULL,
    presentation text NOT NULL,
    body text NOT NULL,
    line text NOT NULL,
    weight_oz double precision,
    held boolean,
    held_at timestamp with time zone,
    angle_deg double precision,
    because_mail boolean,
    went_not boolean NOT NULL,
    water_c double precision,
    water_at timestamp with time zone,
    clarity text NOT NULL,
    first_fish_at timestamp with time zone,
    night boolean NOT NULL,
    note text NOT NULL,
    entered_at timestamp with time zone NOT NULL,
    source text NOT NULL,
    nth integer DEFAULT 0 NOT NULL,
    in_book boolean DEFAULT false NOT NULL,
    CONSTRAINT trip_counts CHECK (((hours >= (0)::double precision) AND (anglers >= 0) AND (lines >= 0) AND (fish >= 0)))
);

COMMENT ON TABLE coldseam.trip IS 'Trip log; trips without a fish count too.';

COMMENT ON COLUMN coldseam.trip.trip_id IS 'Running number.';

COMMENT ON COLUMN coldseam.trip.reach_id IS 'The reach.';

COMMENT ON COLUMN coldseam.trip.subscriber_id IS 'Who logged it; null = paper log, or forgotten since.';

COMMENT ON COLUMN coldseam.trip.angler IS 'Pseudonym for counting different anglers, never a name.';

COMMENT ON COLUMN coldseam.trip.day IS 'Civil day of the trip.';

COMMENT ON COLUMN coldseam.trip.start_at IS 'Start; null = not said.';

COMMENT ON COLUMN coldseam.trip.hours IS 'Length, hours.';

COMMENT ON COLUMN coldseam.trip.anglers IS 'Anglers in the party.';

COMMENT ON COLUMN coldseam.trip.lines IS 'Lines in the water.';

COMMENT ON COLUMN coldseam.trip.species IS 'Species key.';

COMMENT ON COLUMN coldseam.trip.fish IS 'Fish caught.';

COMMENT ON COLUMN coldseam.trip.looked_at IS 'Fish looked at for ripeness.';

COMMENT ON COLUMN coldseam.trip.ripe IS 'Of those, running eggs or milt.';

COMMENT ON COLUMN coldseam.trip.spent IS 'Of those, spent.';

COMMENT ON COLUMN coldseam.trip.released IS 'Fish released.';

COMMENT ON COLUMN coldseam.trip.spot_id IS 'Spot within the reach; empty = not said.';

COMMENT ON COLUMN coldseam.trip.presentation IS 'How it was fished.';

COMMENT ON COLUMN coldseam.trip.body IS 'Body on the jig.';

COMMENT ON COLUMN coldseam.trip.line IS 'Line key.';

COMMENT ON COLUMN coldseam.trip.weight_oz IS 'Jig weight, ounces; null = not said.';

COMMENT ON COLUMN coldseam.trip.held IS 'Whether it held bottom; null = not said.';

COMMENT ON COLUMN coldseam.trip.held_at IS 'When.';

COMMENT ON COLUMN coldseam.trip.angle_deg IS 'Line angle from the vertical, degrees.';

COMMENT ON COLUMN coldseam.trip.because_mail IS 'Went because of the mail; null = not said.';

COMMENT ON COLUMN coldseam.trip.went_not IS 'Said "did not go".';

COMMENT ON COLUMN coldseam.trip.water_c IS 'Water temperature measured by the angler, degC.';

COMMENT ON COLUMN coldseam.trip.water_at IS 'When.';

COMMENT ON COLUMN coldseam.trip.clarity IS 'clear, stained, muddy; empty = not said.';

COMMENT ON COLUMN coldseam.trip.first_fish_at IS 'Time of the first fish.';

COMMENT ON COLUMN coldseam.trip.night IS 'Fished in the dark.';

COMMENT ON COLUMN coldseam.trip.note IS 'Free words; never in schema season.';

COMMENT ON COLUMN coldseam.trip.entered_at IS 'When it was entered.';

COMMENT ON COLUMN coldseam.trip.source IS 'form, cli or csv.';

COMMENT ON COLUMN coldseam.trip.nth IS 'Number among the trips of a paper log of one reach, day, angler, species and start, from 0; 0 for all others.';

COMMENT ON COLUMN coldseam.trip.in_book IS 'Counted in the club''s book: a paper log that the club entered, or a member who said so.';

CREATE VIEW coldseam.trip_condition AS
 SELECT t.trip_id,
    t.reach_id,
    t.day,
    (EXTRACT(year FROM t.day))::integer AS season,
    t.species,
    NULLIF(t.angler, ''::text) AS angler,
    t.hours,
    (t.hours * (GREATEST(t.lines, 1))::double precision) AS line_hours,
    t.fish,
    t.weight_oz,
    t.held,
    t.because_mail,
    t.went_not,
    t.spot_id,
    t.presentation,
    t.ripe,
    t.spent,
    t.looked_at,
    b.verdict,
    b.odds,
    COALESCE(( SELECT x.key
           FROM coldseam.band x
          WHERE ((x.upper_f + (0.000000001)::double precision) >= ((w.mean * (1.8)::double precision) + (32)::double precision))
          ORDER BY x.band_no
         LIMIT 1), 'not known'::text) AS band,
    COALESCE(coldseam.flow_class(coldseam.percentile_of(c.quantile, q.mean)), 'not known'::text) AS flow_class,
    COALESCE(NULLIF(n.stage, ''::text), 'not known'::text) AS run_stage
   FROM ((((((coldseam.trip t
     JOIN coldseam.reach r USING (reach_id))
     LEFT JOIN LATERAL ( SELECT b_1.verdict,
            b_1.odds
           FROM coldseam.brief b_1
          WHERE ((b_1.reach_id = t.reach_id) AND (b_1.day = t.day) AND (NOT b_1.replay))
          ORDER BY b_1.issued_at DESC
         LIMIT 1) b ON (true))
     LEFT JOIN LATERAL ( SELECT d.mean
           FROM coldseam.site_day d
          WHERE ((d.site_id = r.site_id) AND (d.param = 'discharge'::text) AND (d.day = t.day))) q ON (true))
     LEFT JOIN LATERAL ( SELECT d.mean
           FROM coldseam.site_day d
          WHERE ((d.site_id = COALESCE(r.temp_site_id, r.site_id)) AND (d.param = 'water_temp'::text) AND (d.day = t.day))) w ON (true))
     LEFT JOIN LATERAL ( SELECT c_1.quantile
           FROM coldseam.climatology c_1
          WHERE ((c_1.site_id = r.site_id) AND (c_1.param = 'discharge'::text) AND (c_1.doy = coldseam.doy_of(t.day)) AND (c_1.years >= 10))
          ORDER BY c_1.made_at DESC
         LIMIT 1) c ON (true))
     LEFT JOIN LATERAL ( SELECT n_1.stage
           FROM coldseam.run_state n_1
          WHERE ((n_1.reach_id = t.reach_id) AND (n_1.species = t.species) AND (n_1.day = t.day))
          ORDER BY n_1.issued_at DESC
         LIMIT 1) n ON (true));

COMMENT ON VIEW coldseam.trip_condition IS 'Trips with the conditions and the verdict of their day. Rows of persons: never granted to readers.';

COMMENT ON COLUMN coldseam.trip_condition.trip_id IS 'The trip.';

COMMENT ON COLUMN coldseam.trip_condition.reach_id IS 'The reach.';

COMMENT ON COLUMN coldseam.trip_condition.day IS 'Civil day.';

COMMENT ON COLUMN coldseam.trip_condition.season IS 'Calendar year.';

COMMENT ON COLUMN coldseam.trip_condition.species IS 'Species key.';

COMMENT ON COLUMN coldseam.trip_condition.angler IS 'Pseudonym; null = not known.';

COMMENT ON COLUMN coldseam.trip_condition.hours IS 'Hours.';

COMMENT ON COLUMN coldseam.trip_condition.line_hours IS 'Hours times lines.';

COMMENT ON COLUMN coldseam.trip_condition.fish IS 'Fish caught.';

COMMENT ON COLUMN coldseam.trip_condition.weight_oz IS 'Jig weight, ounces.';

COMMENT ON COLUMN coldseam.trip_condition.held IS 'It held bottom.';

COMMENT ON COLUMN coldseam.trip_condition.because_mail IS 'Went, or stayed, because of the mail.';

COMMENT ON COLUMN coldseam.trip_condition.went_not IS 'Did not go.';

COMMENT ON COLUMN coldseam.trip_condition.spot_id IS 'Spot.';

COMMENT ON COLUMN coldseam.trip_condition.presentation IS 'How it was fished.';

COMMENT ON COLUMN coldseam.trip_condition.ripe IS 'Ripe fish.';

COMMENT ON COLUMN coldseam.trip_condition.spent IS 'Spent fish.';

COMMENT ON COLUMN coldseam.trip_condition.looked_at IS 'Fish looked at.';

COMMENT ON COLUMN coldseam.trip_condition.verdict IS 'Last verdict told for the day.';

COMMENT ON COLUMN coldseam.trip_condition.odds IS 'Odds told with it.';

COMMENT ON COLUMN coldseam.trip_condition.band IS 'Temperature band of the daily mean.';

COMMENT ON COLUMN coldseam.trip_condition.flow_class IS 'Flow words of the daily mean, from 10 years of record on.';

COMMENT ON COLUMN coldseam.trip_condition.run_stage IS 'Stage of the run that day.';

CREATE VIEW coldseam.book_now AS
 SELECT d.dimension,
    c.season,
    c.reach_id,
    c.species,
    d.cell,
    md5(('trip '::text || c.trip_id)) AS source,
    COALESCE(md5(c.angler), ''::text) AS who,
    c.day,
    (t.hours * (
        CASE
            WHEN (t.lines > 0) THEN t.lines
            ELSE GREATEST(t.anglers, 1)
        END)::double precision) AS line_hours,
    c.fish,
    c.went_not AS stayed,
    COALESCE(c.because_mail, false) AS by_mail,
    c.held,
    NULL::double precision AS discharge_m3s
   FROM (((coldseam.trip_condition c
     JOIN coldseam.trip t USING (trip_id))
     LEFT JOIN coldseam.morning_brief m ON (((m.reach_id = c.reach_id) AND (m.day = c.day))))
     CROSS JOIN LATERAL ( VALUES ('all'::text,'all'::text), ('day'::text,(c.day)::text), ('month'::text,to_char((c.day)::timestamp with time zone, 'YYYY-MM'::text)), ('band'::text,c.band), ('flow'::text,c.flow_class), ('stage'::text,c.run_stage), ('verdict'::text,COALESCE(m.verdict, 'none told'::text)), ('weight'::text,COALESCE(((c.weight_oz)::numeric)::text, 'not said'::text)), ('presentation'::text,COALESCE(NULLIF(c.presentation, ''::text), 'not said'::text)), ('clarity'::text,COALESCE(NULLIF(t.clarity, ''::text), 'not said'::text)), ('spot'::text,COALESCE(NULLIF(c.spot_id, ''::text), 'not said'::text))) d(dimension, cell))
  WHERE (t.in_book AND ((NOT c.went_not) OR (d.dimension = ANY (ARRAY['all'::text, 'verdict'::text]))))
UNION ALL
 SELECT 'held'::text AS dimension,
    (EXTRACT(year FROM g.logged_at))::integer AS season,
    g.reach_id,
    g.spot_id AS species,
    ((g.weight_oz)::numeric)::text AS cell,
    md5(('rig '::text || g.rig_log_id)) AS source,
    COALESCE(md5(NULLIF(g.angler, ''::text)), ''::text) AS who,
    (g.logged_at)::date AS day,
    0 AS line_hours,
    0 AS fish,
    false AS stayed,
    false AS by_mail,
    g.held,
    g.discharge_m3s
   FROM (coldseam.rig_log g
     LEFT JOIN coldseam.trip t USING (trip_id))
  WHERE COALESCE(t.in_book, true)
UNION ALL
 SELECT 'held'::text AS dimension,
    c.season,
    c.reach_id,
    c.spot_id AS species,
    ((c.weight_oz)::numeric)::text AS cell,
    md5(('trip '::text || c.trip_id)) AS source,
    COALESCE(md5(c.angler), ''::text) AS who,
    c.day,
    0 AS line_hours,
    0 AS fish,
    false AS stayed,
    false AS by_mail,
    c.held,
    NULL::double precision AS discharge_m3s
   FROM (coldseam.trip_condition c
     JOIN coldseam.trip t USING (trip_id))
  WHERE (t.in_book AND (c.held IS NOT NULL) AND (c.weight_oz IS NOT NULL) AND (NOT (EXISTS ( SELECT
           FROM coldseam.rig_log g
          WHERE (g.trip_id = c.trip_id)))));

COMMENT ON VIEW coldseam.book_now IS 'Rows of book_row as they would be now; columns as there.';

COMMENT ON COLUMN coldseam.book_now.dimension IS 'all, day, band, flow, stage, verdict, weight, presentation; held = weights that held bottom.';

COMMENT ON COLUMN coldseam.book_now.season IS 'Calendar year.';

COMMENT ON COLUMN coldseam.book_now.reach_id IS 'The reach.';

COMMENT ON COLUMN coldseam.book_now.species IS 'Species key; of held the spot.';

COMMENT ON COLUMN coldseam.book_now.cell IS 'Value of the dimension.';

COMMENT ON COLUMN coldseam.book_now.source IS 'Digest of the trip or rig log.';

COMMENT ON COLUMN coldseam.book_now.who IS 'Digest of the pseudonym; empty = not known.';

COMMENT ON COLUMN coldseam.book_now.day IS 'Civil day.';

COMMENT ON COLUMN coldseam.book_now.line_hours IS 'Hours times lines; lines not said = anglers.';

COMMENT ON COLUMN coldseam.book_now.fish IS 'Fish caught.';

COMMENT ON COLUMN coldseam.book_now.stayed IS 'Said "did not go".';

COMMENT ON COLUMN coldseam.book_now.by_mail IS 'Went, or stayed, because of the mail.';

COMMENT ON COLUMN coldseam.book_now.held IS 'The weight held bottom; null = not said.';

COMMENT ON COLUMN coldseam.book_now.discharge_m3s IS 'Discharge at a rig log, m3/s.';

CREATE TABLE coldseam.bounce (
    bounce_id bigint NOT NULL,
    subscriber_id bigint NOT NULL,
    bounced_at timestamp with time zone NOT NULL,
    mail_day date NOT NULL,
    code integer NOT NULL,
    esc text NOT NULL,
    wording text NOT NULL,
    effect text NOT NULL
);

COMMENT ON TABLE coldseam.bounce IS 'Delivery failures per subscriber with the exact words.';

COMMENT ON COLUMN coldseam.bounce.bounce_id IS 'Running number.';

COMMENT ON COLUMN coldseam.bounce.subscriber_id IS 'The subscriber.';

COMMENT ON COLUMN coldseam.bounce.bounced_at IS 'When the report came.';

COMMENT ON COLUMN coldseam.bounce.mail_day IS 'Local date of the mail that bounced.';

COMMENT ON COLUMN coldseam.bounce.code IS 'SMTP code, 0 = none.';

COMMENT ON COLUMN coldseam.bounce.esc IS 'Enhanced status code.';

COMMENT ON COLUMN coldseam.bounce.wording IS 'The server''s words.';

COMMENT ON COLUMN coldseam.bounce.effect IS 'suppressed, counted or ours (a fault on our side, never held against the address).';

ALTER TABLE coldseam.bounce ALTER COLUMN bounce_id ADD GENERATED ALWAYS AS IDENTITY (
    SEQUENCE NAME coldseam.bounce_bounce_id_seq
    START WITH 1
    INCREMENT BY 1
    NO MINVALUE
    NO MAXVALUE
    CACHE 1
);

ALTER TABLE coldseam.brief ALTER COLUMN brief_id ADD GENERATED ALWAYS AS IDENTITY (
    SEQUENCE NAME coldseam.brief_brief_id_seq
    START WITH 1
    INCREMENT BY 1
    NO MINVALUE
    NO MAXVALUE
    CACHE 1
);

CREATE TABLE coldseam.confirmation (
    confirmation_id bigint NOT NULL,
    site_id text NOT NULL,
    param text NOT NULL,
    from_at timestamp with time zone NOT NULL,
    until_at timestamp with time zone NOT NULL,
    known_at timestamp with time zone NOT NULL,
    who text NOT NULL,
    why text NOT NULL,
    CONSTRAINT confirmation_span CHECK (((from_at <= until_at) AND (until_at <= known_at)))
);

COMMENT ON TABLE coldseam.confirmation IS 'Readings that the admin has looked at and stands for.';

COMMENT ON COLUMN coldseam.confirmation.confirmation_id IS 'Key of the word.';

COMMENT ON COLUMN coldseam.confirmation.site_id IS 'The gauge.';

COMMENT ON COLUMN coldseam.confirmation.param IS 'The quantity.';

COMMENT ON COLUMN coldseam.confirmation.from_at IS 'First reading that it speaks of.';

COMMENT ON COLUMN coldseam.confirmation.until_at IS 'Last reading that it speaks of; none that was still to come.';

COMMENT ON COLUMN coldseam.confirmation.known_at IS 'When it was entered; readings that came or changed later are not covered.';

COMMENT ON COLUMN coldseam.confirmation.who IS 'A role, never an address.';

COMMENT ON COLUMN coldseam.confirmation.why IS 'The reason given.';

ALTER TABLE coldseam.confirmation ALTER COLUMN confirmation_id ADD GENERATED ALWAYS AS IDENTITY (
    SEQUENCE NAME coldseam.confirmation_confirmation_id_seq
    START WITH 1
    INCREMENT BY 1
    NO MINVALUE
    NO MAXVALUE
    CACHE 1
);

CREATE TABLE coldseam.crossing (
    site_id text NOT NULL,
    issued_at timestamp with time zone NOT NULL,
    edge_c double precision NOT NULL,
    up boolean NOT NULL,
    within_3d double precision NOT NULL,
    within_7d double precision NOT NULL,
    within_10d double precision NOT NULL,
    date_p10 date,
    date_p50 date,
    date_p90 date,
    confirmed boolean NOT NULL,
    body jsonb NOT NULL
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

CREATE TABLE coldseam.day_year (
    series_id integer NOT NULL,
    year integer NOT NULL,
    mean double precision[] NOT NULL,
    doy smallint[] NOT NULL,
    quarters smallint[] NOT NULL,
    flags smallint[] NOT NULL
);

COMMENT ON TABLE coldseam.day_year IS 'day_summary of a past year in one row, made by the daily job; a change of one of its days deletes the row.';

COMMENT ON COLUMN coldseam.day_year.series_id IS 'The series.';

COMMENT ON COLUMN coldseam.day_year.year IS 'The civil year.';

COMMENT ON COLUMN coldseam.day_year.mean IS 'Means of the days that have usable values, unit of the series.';

COMMENT ON COLUMN coldseam.day_year.doy IS 'Days of the year of those means, from 1.';

COMMENT ON COLUMN coldseam.day_year.quarters IS 'Quarters of each day, as in day_summary.';

COMMENT ON COLUMN coldseam.day_year.flags IS 'Flags of each day, as in day_summary.';

CREATE TABLE coldseam.edition (
    edition_id bigint NOT NULL,
    kind text NOT NULL,
    made_at timestamp with time zone NOT NULL,
    n integer NOT NULL,
    held boolean DEFAULT false NOT NULL,
    held_why text DEFAULT ''::text NOT NULL
);

COMMENT ON TABLE coldseam.edition IS 'One batch of mail made by one tick; its inputs never change.';

COMMENT ON COLUMN coldseam.edition.edition_id IS 'Running number.';

COMMENT ON COLUMN coldseam.edition.kind IS 'Kind of mail.';

COMMENT ON COLUMN coldseam.edition.made_at IS 'When it was made; the Date of its mails.';

COMMENT ON COLUMN coldseam.edition.n IS 'Number of rows.';

COMMENT ON COLUMN coldseam.edition.held IS 'Stopped: by the admin, or by a fault on our side.';

COMMENT ON COLUMN coldseam.edition.held_why IS 'Why it was stopped.';

ALTER TABLE coldseam.edition ALTER COLUMN edition_id ADD GENERATED ALWAYS AS IDENTITY (
    SEQUENCE NAME coldseam.edition_edition_id_seq
    START WITH 1
    INCREMENT BY 1
    NO MINVALUE
    NO MAXVALUE
    CACHE 1
);

CREATE TABLE coldseam.ensemble (
    ensemble_id bigint NOT NULL,
    site_id text NOT NULL,
    param text NOT NULL,
    issued_at timestamp with time zone NOT NULL,
    source text NOT NULL,
    flags text[] NOT NULL,
    valid_at timestamp with time zone[] NOT NULL,
    quantile real[] NOT NULL,
    trace date[],
    weight double precision[],
    members real[]
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

ALTER TABLE coldseam.ensemble ALTER COLUMN ensemble_id ADD GENERATED ALWAYS AS IDENTITY (
    SEQUENCE NAME coldseam.ensemble_ensemble_id_seq
    START WITH 1
    INCREMENT BY 1
    NO MINVALUE
    NO MAXVALUE
    CACHE 1
);

CREATE TABLE coldseam.entry_key (
    subscriber_id bigint NOT NULL,
    entry_key text NOT NULL,
    known_at timestamp with time zone NOT NULL
);

COMMENT ON TABLE coldseam.entry_key IS 'Keys of the entries that phones sent in, for as long as a phone may send one again.';

COMMENT ON COLUMN coldseam.entry_key.subscriber_id IS 'The member.';

COMMENT ON COLUMN coldseam.entry_key.entry_key IS 'The key that the phone drew.';

COMMENT ON COLUMN coldseam.entry_key.known_at IS 'When it came.';

CREATE TABLE coldseam.fetch_state (
    profile text NOT NULL,
    url text NOT NULL,
    etag text DEFAULT ''::text NOT NULL,
    last_modified text DEFAULT ''::text NOT NULL,
    not_before timestamp with time zone,
    failures integer DEFAULT 0 NOT NULL,
    last_try_at timestamp with time zone,
    last_ok_at timestamp with time zone,
    last_err text DEFAULT ''::text NOT NULL,
    gaps jsonb DEFAULT '[]'::jsonb NOT NULL
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

COMMENT ON COLUMN coldseam.fetch_state.gaps IS 'Entries that the last reading lacked, with id, title and why.';

CREATE TABLE coldseam.float_timing (
    float_timing_id bigint NOT NULL,
    reach_id text NOT NULL,
    spot_id text NOT NULL,
    subscriber_id bigint,
    timed_at timestamp with time zone NOT NULL,
    known_at timestamp with time zone NOT NULL,
    length_m double precision NOT NULL,
    seconds double precision[] NOT NULL,
    wind text NOT NULL,
    discharge_m3s double precision,
    CONSTRAINT float_timing_length CHECK (((length_m >= (3)::double precision) AND (length_m <= (100)::double precision))),
    CONSTRAINT float_timing_three CHECK (((cardinality(seconds) = 3) AND ((2)::double precision <= ALL (seconds)) AND ((600)::double precision >= ALL (seconds)))),
    CONSTRAINT float_timing_wind CHECK ((wind = ANY (ARRAY['calm'::text, 'light'::text, 'strong'::text])))
);

COMMENT ON TABLE coldseam.float_timing IS 'Surface currents that members timed with three floats. They move weights, never a word.';

COMMENT ON COLUMN coldseam.float_timing.float_timing_id IS 'Key of the timing.';

COMMENT ON COLUMN coldseam.float_timing.reach_id IS 'The reach.';

COMMENT ON COLUMN coldseam.float_timing.spot_id IS 'The spot.';

COMMENT ON COLUMN coldseam.float_timing.subscriber_id IS 'The member; NULL = erased.';

COMMENT ON COLUMN coldseam.float_timing.timed_at IS 'When the floats ran.';

COMMENT ON COLUMN coldseam.float_timing.known_at IS 'When it came.';

COMMENT ON COLUMN coldseam.float_timing.length_m IS 'Length of the run, m.';

COMMENT ON COLUMN coldseam.float_timing.seconds IS 'Time of each of the three floats, s.';

COMMENT ON COLUMN coldseam.float_timing.wind IS 'Wind on the water: calm, light or strong.';

COMMENT ON COLUMN coldseam.float_timing.discharge_m3s IS 'Discharge of the reach''s gauge at that time, m3/s; NULL = not known.';

ALTER TABLE coldseam.float_timing ALTER COLUMN float_timing_id ADD GENERATED ALWAYS AS IDENTITY (
    SEQUENCE NAME coldseam.float_timing_float_timing_id_seq
    START WITH 1
    INCREMENT BY 1
    NO MINVALUE
    NO MAXVALUE
    CACHE 1
);

CREATE TABLE coldseam.flood_level (
    site_id text NOT NULL,
    kind text NOT NULL,
    param text NOT NULL,
    value double precision NOT NULL,
    gauge text NOT NULL,
    known_at timestamp with time zone NOT NULL,
    CONSTRAINT flood_level_kind CHECK ((kind = ANY (ARRAY['action'::text, 'minor'::text, 'moderate'::text, 'major'::text]))),
    CONSTRAINT flood_level_param CHECK ((param = ANY (ARRAY['stage'::text, 'discharge'::text])))
);

COMMENT ON TABLE coldseam.flood_level IS 'Official stages and flows of a forecast point, newest word of the agency.';

COMMENT ON COLUMN coldseam.flood_level.site_id IS 'The forecast point.';

COMMENT ON COLUMN coldseam.flood_level.kind IS 'action, minor, moderate or major flood.';

COMMENT ON COLUMN coldseam.flood_level.param IS 'stage (m above the gauge''s own zero) or discharge (m3/s).';

COMMENT ON COLUMN coldseam.flood_level.value IS 'The level, in the unit of its parameter.';

COMMENT ON COLUMN coldseam.flood_level.gauge IS 'Code of the gauge that the agency names beside it; empty = none.';

COMMENT ON COLUMN coldseam.flood_level.known_at IS 'Since when it is known.';

CREATE TABLE coldseam.forecast (
    forecast_id bigint NOT NULL,
    site_id text NOT NULL,
    param text NOT NULL,
    stat text NOT NULL,
    period text NOT NULL,
    provider text NOT NULL,
    issued_at timestamp with time zone NOT NULL,
    known_at timestamp with time zone NOT NULL,
    issued_assumed boolean NOT NULL,
    valid_at timestamp with time zone[] NOT NULL,
    value double precision[] NOT NULL,
    members real[],
    from_at timestamp with time zone[],
    until_at timestamp with time zone[],
    CONSTRAINT forecast_spans CHECK ((((from_at IS NULL) = (until_at IS NULL)) AND ((from_at IS NULL) OR ((cardinality(from_at) = cardinality(valid_at)) AND (cardinality(until_at) = cardinality(valid_at)))))),
    CONSTRAINT forecast_steps CHECK ((cardinality(valid_at) = cardinality(value)))
);

COMMENT ON TABLE coldseam.forecast IS 'Agency forecasts, every issue kept.';

COMMENT ON COLUMN coldseam.forecast.forecast_id IS 'Running number.';

COMMENT ON COLUMN coldseam.forecast.site_id IS 'The place''s own id with the provider.';

COMMENT ON COLUMN coldseam.forecast.param IS 'Parameter.';

COMMENT ON COLUMN coldseam.forecast.stat IS 'Statistic over the period.';

COMMENT ON COLUMN coldseam.forecast.period IS 'ISO 8601 duration; empty for instantaneous values.';

COMMENT ON COLUMN coldseam.forecast.provider IS 'Profile that serves it.';

COMMENT ON COLUMN coldseam.forecast.issued_at IS 'Model run; where the document gives none, the first sight of what it says.';

COMMENT ON COLUMN coldseam.forecast.known_at IS 'When it became known here.';

COMMENT ON COLUMN coldseam.forecast.issued_assumed IS 'The document gave no issue time; the first sight of its content was taken.';

COMMENT ON COLUMN coldseam.forecast.valid_at IS 'Times of the steps.';

COMMENT ON COLUMN coldseam.forecast.value IS 'Values, SI unit of the parameter.';

COMMENT ON COLUMN coldseam.forecast.members IS 'Members [member][step] where the agency sends an ensemble.';

COMMENT ON COLUMN coldseam.forecast.from_at IS 'Start of what each step stands for; null = read off the spacing of valid_at.';

COMMENT ON COLUMN coldseam.forecast.until_at IS 'End of what each step stands for; null = read off the spacing of valid_at.';

ALTER TABLE coldseam.forecast ALTER COLUMN forecast_id ADD GENERATED ALWAYS AS IDENTITY (
    SEQUENCE NAME coldseam.forecast_forecast_id_seq
    START WITH 1
    INCREMENT BY 1
    NO MINVALUE
    NO MAXVALUE
    CACHE 1
);

CREATE TABLE coldseam.forecast_score (
    site_id text NOT NULL,
    param text NOT NULL,
    issued_at timestamp with time zone NOT NULL,
    lead_day smallint NOT NULL,
    source text NOT NULL,
    valid_day date NOT NULL,
    observed double precision NOT NULL,
    p10 double precision NOT NULL,
    p50 double precision NOT NULL,
    p90 double precision NOT NULL,
    crps double precision NOT NULL,
    persist double precision
);

COMMENT ON TABLE coldseam.forecast_score IS 'Each issued daily forecast beside what was measured.';

COMMENT ON COLUMN coldseam.forecast_score.site_id IS 'The gauge.';

COMMENT ON COLUMN coldseam.forecast_score.param IS 'Parameter.';

COMMENT ON COLUMN coldseam.forecast_score.issued_at IS 'Issue time.';

COMMENT ON COLUMN coldseam.forecast_score.lead_day IS 'Day of the forecast; 1 = the day of issue.';

COMMENT ON COLUMN coldseam.forecast_score.source IS 'Model and tier.';

COMMENT ON COLUMN coldseam.forecast_score.valid_day IS 'Civil day forecast, zone of the reach.';

COMMENT ON COLUMN coldseam.forecast_score.observed IS 'Daily mean measured, SI unit.';

COMMENT ON COLUMN coldseam.forecast_score.p10 IS '10 % quantile forecast, mean over the steps of the day.';

COMMENT ON COLUMN coldseam.forecast_score.p50 IS 'Median forecast.';

COMMENT ON COLUMN coldseam.forecast_score.p90 IS '90 % quantile forecast.';

COMMENT ON COLUMN coldseam.forecast_score.crps IS 'Continuous ranked probability score of the daily means, unbiased in the number of members, SI unit.';

COMMENT ON COLUMN coldseam.forecast_score.persist IS 'Absolute error of the last daily mean before the issue; null = there was none.';

CREATE TABLE coldseam.gauging (
    site_id text NOT NULL,
    measured_at timestamp with time zone NOT NULL,
    discharge_m3s double precision NOT NULL,
    stage_m double precision,
    width_m double precision,
    area_m2 double precision,
    mean_vel_ms double precision,
    method text NOT NULL,
    ice boolean NOT NULL,
    quality text NOT NULL,
    known_at timestamp with time zone NOT NULL
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

CREATE TABLE coldseam.ice_state (
    reach_id text NOT NULL,
    day date NOT NULL,
    known_at timestamp with time zone NOT NULL,
    state text NOT NULL,
    since date NOT NULL,
    cause text NOT NULL,
    frost_cd double precision NOT NULL,
    thaw_cd double precision NOT NULL,
    CONSTRAINT ice_state_known CHECK ((state = ANY (ARRAY['unknown'::text, 'open'::text, 'ice'::text, 'breaking_up'::text])))
);

COMMENT ON TABLE coldseam.ice_state IS 'The ice latch of each reach and day, one row a version; the newest counts.';

COMMENT ON COLUMN coldseam.ice_state.reach_id IS 'The reach.';

COMMENT ON COLUMN coldseam.ice_state.day IS 'Local civil day at whose end the state holds; the day under way until it is over.';

COMMENT ON COLUMN coldseam.ice_state.known_at IS 'When this version was made.';

COMMENT ON COLUMN coldseam.ice_state.state IS 'unknown (reads as ice), open, ice or breaking_up.';

COMMENT ON COLUMN coldseam.ice_state.since IS 'First day of the state.';

COMMENT ON COLUMN coldseam.ice_state.cause IS 'Code of what brought the state.';

COMMENT ON COLUMN coldseam.ice_state.frost_cd IS 'Net frost since the reach was last seen open, degC days.';

COMMENT ON COLUMN coldseam.ice_state.thaw_cd IS 'Net thaw since it closed, degC days.';

CREATE TABLE coldseam.ice_word (
    ice_word_id bigint NOT NULL,
    reach_id text NOT NULL,
    said_at timestamp with time zone NOT NULL,
    known_at timestamp with time zone NOT NULL,
    open boolean NOT NULL,
    admin boolean NOT NULL,
    who text NOT NULL,
    why text NOT NULL,
    CONSTRAINT ice_word_members_close CHECK ((admin OR (NOT open)))
);

COMMENT ON TABLE coldseam.ice_word IS 'What the admin or a member said of ice on a reach. A member''s word only closes.';

COMMENT ON COLUMN coldseam.ice_word.ice_word_id IS 'Key of the word.';

COMMENT ON COLUMN coldseam.ice_word.reach_id IS 'The reach.';

COMMENT ON COLUMN coldseam.ice_word.said_at IS 'The time it speaks of.';

COMMENT ON COLUMN coldseam.ice_word.known_at IS 'When it was entered.';

COMMENT ON COLUMN coldseam.ice_word.open IS 'Open water, by the admin alone; else ice.';

COMMENT ON COLUMN coldseam.ice_word.admin IS 'Said by the admin.';

COMMENT ON COLUMN coldseam.ice_word.who IS 'A role, or the pseudonym of a member; never an address.';

COMMENT ON COLUMN coldseam.ice_word.why IS 'The reason given.';

ALTER TABLE coldseam.ice_word ALTER COLUMN ice_word_id ADD GENERATED ALWAYS AS IDENTITY (
    SEQUENCE NAME coldseam.ice_word_ice_word_id_seq
    START WITH 1
    INCREMENT BY 1
    NO MINVALUE
    NO MAXVALUE
    CACHE 1
);

CREATE VIEW coldseam.last_brief AS
 SELECT DISTINCT ON (brief.reach_id, brief.day) brief.brief_id,
    brief.reach_id,
    brief.day,
    brief.issued_at,
    brief.good_until,
    brief.verdict,
    brief.odds,
    brief.odds_note,
    brief.hold_p,
    brief.cost,
    brief.window_start,
    brief.window_end,
    brief.water_c,
    brief.discharge_m3s,
    brief.stage_m,
    brief.tie_oz,
    brief.band,
    brief.flow_class,
    brief.run_stage,
    brief.advice_row,
    brief.sure,
    brief.replay,
    brief.body
   FROM coldseam.brief
  WHERE (NOT brief.replay)
  ORDER BY brief.reach_id, brief.day, brief.issued_at DESC;

COMMENT ON VIEW coldseam.last_brief IS 'The last brief told of each reach and day; columns as in brief.';

COMMENT ON COLUMN coldseam.last_brief.brief_id IS 'Running number.';

COMMENT ON COLUMN coldseam.last_brief.reach_id IS 'The reach.';

COMMENT ON COLUMN coldseam.last_brief.day IS 'The morning it speaks of.';

COMMENT ON COLUMN coldseam.last_brief.issued_at IS 'Issue time.';

COMMENT ON COLUMN coldseam.last_brief.good_until IS 'End of its validity.';

COMMENT ON COLUMN coldseam.last_brief.verdict IS 'GO, TOSS-UP, STAY, STOP or NO CALL.';

COMMENT ON COLUMN coldseam.last_brief.odds IS 'Odds of a good morning in the best window, 0-1; null = none were told.';

COMMENT ON COLUMN coldseam.last_brief.odds_note IS 'What the odds rest on.';

COMMENT ON COLUMN coldseam.last_brief.hold_p IS 'Probability that the heaviest carried weight holds bottom.';

COMMENT ON COLUMN coldseam.last_brief.cost IS 'Cost of a wasted trip over the value of a good one.';

COMMENT ON COLUMN coldseam.last_brief.window_start IS 'Start of the best window.';

COMMENT ON COLUMN coldseam.last_brief.window_end IS 'End of the best window.';

COMMENT ON COLUMN coldseam.last_brief.water_c IS 'Median water temperature in the best window, degC.';

COMMENT ON COLUMN coldseam.last_brief.discharge_m3s IS 'Median discharge in the best window, m3/s.';

COMMENT ON COLUMN coldseam.last_brief.stage_m IS 'Median stage in the best window, m.';

COMMENT ON COLUMN coldseam.last_brief.tie_oz IS 'Weight to tie on at the advised spot, ounces; null = withheld.';

COMMENT ON COLUMN coldseam.last_brief.band IS 'Temperature band.';

COMMENT ON COLUMN coldseam.last_brief.flow_class IS 'Flow words.';

COMMENT ON COLUMN coldseam.last_brief.run_stage IS 'Stage of the run.';

COMMENT ON COLUMN coldseam.last_brief.advice_row IS 'Id of the advice row that won.';

COMMENT ON COLUMN coldseam.last_brief.sure IS 'high, medium or low.';

COMMENT ON COLUMN coldseam.last_brief.replay IS 'Made for a past morning; never counted as told.';

COMMENT ON COLUMN coldseam.last_brief.body IS 'The whole brief as JSON of coldseam.Brief.';

CREATE VIEW coldseam.last_run AS
 SELECT DISTINCT ON (run_state.reach_id, run_state.species, run_state.day) run_state.reach_id,
    run_state.species,
    run_state.day,
    run_state.issued_at,
    run_state.stage,
    run_state.stage_p,
    run_state.p_wave,
    run_state.arrived_p10,
    run_state.arrived_p50,
    run_state.arrived_p90,
    run_state.spawned_p50,
    run_state.body,
    run_state.wave_rule
   FROM coldseam.run_state
  ORDER BY run_state.reach_id, run_state.species, run_state.day, run_state.issued_at DESC;

COMMENT ON VIEW coldseam.last_run IS 'The last run state issued for each reach, species and day; columns as in run_state.';

COMMENT ON COLUMN coldseam.last_run.reach_id IS 'The reach.';

COMMENT ON COLUMN coldseam.last_run.species IS 'Species key.';

COMMENT ON COLUMN coldseam.last_run.day IS 'Civil day it speaks of.';

COMMENT ON COLUMN coldseam.last_run.issued_at IS 'Issue time.';

COMMENT ON COLUMN coldseam.last_run.stage IS 'Most likely stage of the run.';

COMMENT ON COLUMN coldseam.last_run.stage_p IS 'Its probability.';

COMMENT ON COLUMN coldseam.last_run.p_wave IS 'Probability of a wave arriving that day.';

COMMENT ON COLUMN coldseam.last_run.arrived_p10 IS '10 % quantile of the share arrived.';

COMMENT ON COLUMN coldseam.last_run.arrived_p50 IS 'Median share arrived.';

COMMENT ON COLUMN coldseam.last_run.arrived_p90 IS '90 % quantile of the share arrived.';

COMMENT ON COLUMN coldseam.last_run.spawned_p50 IS 'Median share that has spawned.';

COMMENT ON COLUMN coldseam.last_run.body IS 'The whole state as JSON of coldseam.RunState.';

COMMENT ON COLUMN coldseam.last_run.wave_rule IS 'What p_wave calls a wave: 1 = a fixed share of the run in one day, or not noted; 2 = twice the daily fish of the week before.';

CREATE TABLE coldseam.latest (
    valid_at timestamp with time zone NOT NULL,
    known_at timestamp with time zone NOT NULL,
    changed_at timestamp with time zone NOT NULL,
    value double precision,
    series_id integer NOT NULL,
    flags smallint NOT NULL
)
WITH (fillfactor='70');

COMMENT ON TABLE coldseam.latest IS 'The newest row of each series, kept in the transaction that stores it.';

COMMENT ON COLUMN coldseam.latest.valid_at IS 'Time of its newest row.';

COMMENT ON COLUMN coldseam.latest.known_at IS 'When that version became known.';

COMMENT ON COLUMN coldseam.latest.changed_at IS 'Last change of anything in the series: reads as of this time or later may use the summaries.';

COMMENT ON COLUMN coldseam.latest.value IS 'Its value in the unit of the series; null = sent without a value.';

COMMENT ON COLUMN coldseam.latest.series_id IS 'The series.';

COMMENT ON COLUMN coldseam.latest.flags IS 'Bit set as in observation.';

CREATE TABLE coldseam.model (
    owner text NOT NULL,
    kind text NOT NULL,
    version integer NOT NULL,
    made_at timestamp with time zone NOT NULL,
    window_from date,
    window_to date,
    score jsonb NOT NULL,
    params jsonb NOT NULL,
    note text NOT NULL
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

CREATE TABLE coldseam.observation (
    valid_at timestamp with time zone NOT NULL,
    known_at timestamp with time zone NOT NULL,
    value double precision,
    series_id integer NOT NULL,
    flags smallint NOT NULL,
    qualifier_set smallint NOT NULL
);

COMMENT ON TABLE coldseam.observation IS 'The current value of every (series, time). Superseded versions are in observation_revision.';

COMMENT ON COLUMN coldseam.observation.valid_at IS 'Instant the value holds for; the end of a period.';

COMMENT ON COLUMN coldseam.observation.known_at IS 'When our fetch that brought this version ended.';

COMMENT ON COLUMN coldseam.observation.value IS 'Value in the unit of the series; null = sent without a value.';

COMMENT ON COLUMN coldseam.observation.series_id IS 'The series.';

COMMENT ON COLUMN coldseam.observation.flags IS 'Bit set of coldseam.Flag: low byte agency, high byte quality control (bit 15 makes the number negative).';

COMMENT ON COLUMN coldseam.observation.qualifier_set IS 'Raw agency codes, see qualifier_set.';

CREATE TABLE coldseam.observation_revision (
    valid_at timestamp with time zone NOT NULL,
    known_at timestamp with time zone NOT NULL,
    superseded_at timestamp with time zone NOT NULL,
    value double precision,
    fetch_id bigint,
    series_id integer NOT NULL,
    flags smallint NOT NULL,
    qualifier_set smallint NOT NULL,
    CONSTRAINT observation_revision_order CHECK ((superseded_at > known_at))
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

CREATE TABLE coldseam.outbox (
    outbox_id bigint NOT NULL,
    edition_id bigint NOT NULL,
    subscriber_id bigint,
    admin_email text,
    local_date date NOT NULL,
    kind text NOT NULL,
    reach_id text,
    state text DEFAULT 'pending'::text NOT NULL,
    priority smallint NOT NULL,
    attempt integer DEFAULT 0 NOT NULL,
    next_at timestamp with time zone NOT NULL,
    deadline timestamp with time zone NOT NULL,
    lease_until timestamp with time zone,
    worker text DEFAULT ''::text NOT NULL,
    domain text NOT NULL,
    message_id text NOT NULL,
    in_reply_to text DEFAULT ''::text NOT NULL,
    verdict text,
    done_at timestamp with time zone,
    last_stage text DEFAULT ''::text NOT NULL,
    last_code integer DEFAULT 0 NOT NULL,
    last_esc text DEFAULT ''::text NOT NULL,
    reply text DEFAULT ''::text NOT NULL,
    payload bytea NOT NULL,
    goes text[] DEFAULT '{}'::text[] NOT NULL,
    CONSTRAINT outbox_one_recipient CHECK (((subscriber_id IS NULL) <> (admin_email IS NULL))),
    CONSTRAINT outbox_state_known CHECK ((state = ANY (ARRAY['pending'::text, 'claimed'::text, 'in_data'::text, 'sent'::text, 'deferred'::text, 'failed'::text, 'skipped'::text, 'expired'::text, 'unknown'::text])))
);

COMMENT ON TABLE coldseam.outbox IS 'Every mail, one row: at most one acknowledged send each.';

COMMENT ON COLUMN coldseam.outbox.outbox_id IS 'Running number.';

COMMENT ON COLUMN coldseam.outbox.edition_id IS 'Batch it belongs to.';

COMMENT ON COLUMN coldseam.outbox.subscriber_id IS 'Recipient; null = the admin.';

COMMENT ON COLUMN coldseam.outbox.admin_email IS 'The admin''s address for mail to the admin, else null.';

COMMENT ON COLUMN coldseam.outbox.local_date IS 'Civil day at the recipient.';

COMMENT ON COLUMN coldseam.outbox.kind IS 'morning, flip, correction, outlook, confirm, welcome, pause, silent or alarm.';

COMMENT ON COLUMN coldseam.outbox.reach_id IS 'Only where one such mail per reach and day is meant (stop correction).';

COMMENT ON COLUMN coldseam.outbox.state IS 'pending, claimed, in_data, sent, deferred, failed, skipped, expired or unknown.';

COMMENT ON COLUMN coldseam.outbox.priority IS 'Lower goes first; 0 = stop correction.';

COMMENT ON COLUMN coldseam.outbox.attempt IS 'Number of claims.';

COMMENT ON COLUMN coldseam.outbox.next_at IS 'Not to be tried before.';

COMMENT ON COLUMN coldseam.outbox.deadline IS 'Not to be sent after.';

COMMENT ON COLUMN coldseam.outbox.lease_until IS 'End of the worker''s claim.';

COMMENT ON COLUMN coldseam.outbox.worker IS 'Worker that holds or held it.';

COMMENT ON COLUMN coldseam.outbox.domain IS 'Recipient domain, lower case, for pacing.';

COMMENT ON COLUMN coldseam.outbox.message_id IS 'Message-ID, the same on every retry.';

COMMENT ON COLUMN coldseam.outbox.in_reply_to IS 'Message-ID of the mail it follows up.';

COMMENT ON COLUMN coldseam.outbox.verdict IS 'Verdict told to this recipient; null = none in this kind of mail.';

COMMENT ON COLUMN coldseam.outbox.done_at IS 'When the last outcome was recorded.';

COMMENT ON COLUMN coldseam.outbox.last_stage IS 'Stage of the conversation the last attempt reached.';

COMMENT ON COLUMN coldseam.outbox.last_code IS 'SMTP code of the last attempt.';

COMMENT ON COLUMN coldseam.outbox.last_esc IS 'Enhanced status code of the last attempt.';

COMMENT ON COLUMN coldseam.outbox.reply IS 'The server''s words.';

COMMENT ON COLUMN coldseam.outbox.payload IS 'Content fixed when queued, JSON.';

COMMENT ON COLUMN coldseam.outbox.goes IS 'Reaches that it told GO or TOSS-UP for.';

ALTER TABLE coldseam.outbox ALTER COLUMN outbox_id ADD GENERATED ALWAYS AS IDENTITY (
    SEQUENCE NAME coldseam.outbox_outbox_id_seq
    START WITH 1
    INCREMENT BY 1
    NO MINVALUE
    NO MAXVALUE
    CACHE 1
);

CREATE TABLE coldseam.pace (
    domain text NOT NULL,
    rate_hz double precision NOT NULL,
    next_at timestamp with time zone NOT NULL,
    good integer DEFAULT 0 NOT NULL,
    CONSTRAINT pace_rate_positive CHECK ((rate_hz > (0)::double precision))
);

COMMENT ON TABLE coldseam.pace IS 'Sending rate per recipient domain, shared by all servers; * = all domains together.';

COMMENT ON COLUMN coldseam.pace.domain IS 'Recipient domain.';

COMMENT ON COLUMN coldseam.pace.rate_hz IS 'Mails a second.';

COMMENT ON COLUMN coldseam.pace.next_at IS 'Next claim not before.';

COMMENT ON COLUMN coldseam.pace.good IS 'Mails accepted since the rate was last changed.';

CREATE TABLE coldseam.qc_change (
    series_id integer NOT NULL,
    valid_at timestamp with time zone NOT NULL,
    changed_at timestamp with time zone NOT NULL,
    old_flags smallint NOT NULL,
    new_flags smallint NOT NULL,
    why text NOT NULL
);

COMMENT ON TABLE coldseam.qc_change IS 'Every later change of quality-control bits of a stored value; reads as of an earlier time undo them.';

COMMENT ON COLUMN coldseam.qc_change.series_id IS 'The series.';

COMMENT ON COLUMN coldseam.qc_change.valid_at IS 'The value''s time.';

COMMENT ON COLUMN coldseam.qc_change.changed_at IS 'When the bits were changed.';

COMMENT ON COLUMN coldseam.qc_change.old_flags IS 'Whole bit set before.';

COMMENT ON COLUMN coldseam.qc_change.new_flags IS 'Whole bit set after.';

COMMENT ON COLUMN coldseam.qc_change.why IS 'Test or person that changed it.';

CREATE TABLE coldseam.qualifier_set (
    qualifier_set_id smallint NOT NULL,
    codes text[] NOT NULL
);

COMMENT ON TABLE coldseam.qualifier_set IS 'Sets of raw agency qualifiers, so that a row carries two bytes.';

COMMENT ON COLUMN coldseam.qualifier_set.qualifier_set_id IS 'Key; 0 = no qualifier.';

COMMENT ON COLUMN coldseam.qualifier_set.codes IS 'Codes as sent, sorted.';

CREATE TABLE coldseam.rate_count (
    bucket text NOT NULL,
    window_start timestamp with time zone NOT NULL,
    n integer NOT NULL
);

COMMENT ON TABLE coldseam.rate_count IS 'Counters of the sign-up limits. Buckets are hashes or prefixes, never addresses.';

COMMENT ON COLUMN coldseam.rate_count.bucket IS 'What is counted.';

COMMENT ON COLUMN coldseam.rate_count.window_start IS 'Start of the window.';

COMMENT ON COLUMN coldseam.rate_count.n IS 'Count in the window.';

CREATE TABLE coldseam.rating (
    site_id text NOT NULL,
    valid_from timestamp with time zone NOT NULL,
    known_at timestamp with time zone NOT NULL,
    valid_to timestamp with time zone,
    stage_zero_m double precision NOT NULL,
    stage_m double precision[] NOT NULL,
    discharge_m3s double precision[] NOT NULL
);

COMMENT ON TABLE coldseam.rating IS 'Tables that turn stage into discharge.';

COMMENT ON COLUMN coldseam.rating.site_id IS 'The gauge.';

COMMENT ON COLUMN coldseam.rating.valid_from IS 'Start of validity.';

COMMENT ON COLUMN coldseam.rating.known_at IS 'When this table became known here.';

COMMENT ON COLUMN coldseam.rating.valid_to IS 'End of validity; null = open.';

COMMENT ON COLUMN coldseam.rating.stage_zero_m IS 'Stage of zero flow, m.';

COMMENT ON COLUMN coldseam.rating.stage_m IS 'Stages, m, ascending.';

COMMENT ON COLUMN coldseam.rating.discharge_m3s IS 'Discharge at those stages, m3/s.';

CREATE TABLE coldseam.raw_fetch (
    fetch_id bigint NOT NULL,
    profile text NOT NULL,
    url text NOT NULL,
    fetched_at timestamp with time zone NOT NULL,
    status integer NOT NULL,
    bytes bigint NOT NULL,
    sha256 text NOT NULL,
    dur_ms bigint NOT NULL,
    etag text NOT NULL,
    last_modified text NOT NULL,
    err text NOT NULL,
    rows_stored integer NOT NULL,
    attributes text NOT NULL,
    payload_gzip bytea
);
ALTER TABLE ONLY coldseam.raw_fetch ALTER COLUMN payload_gzip SET STORAGE EXTERNAL;

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

ALTER TABLE coldseam.raw_fetch ALTER COLUMN fetch_id ADD GENERATED ALWAYS AS IDENTITY (
    SEQUENCE NAME coldseam.raw_fetch_fetch_id_seq
    START WITH 1
    INCREMENT BY 1
    NO MINVALUE
    NO MAXVALUE
    CACHE 1
);

CREATE TABLE coldseam.reach_edit (
    reach_id text NOT NULL,
    edit integer NOT NULL,
    edited_at timestamp with time zone NOT NULL,
    who text NOT NULL,
    why text NOT NULL,
    body jsonb NOT NULL
);

COMMENT ON TABLE coldseam.reach_edit IS 'Every state a reach has had, with who set it, when and why.';

COMMENT ON COLUMN coldseam.reach_edit.reach_id IS 'The reach.';

COMMENT ON COLUMN coldseam.reach_edit.edit IS 'Running number of the edit, 1 = first.';

COMMENT ON COLUMN coldseam.reach_edit.edited_at IS 'When.';

COMMENT ON COLUMN coldseam.reach_edit.who IS 'Who: a role or a name the admin gave, never an address.';

COMMENT ON COLUMN coldseam.reach_edit.why IS 'The reason given.';

COMMENT ON COLUMN coldseam.reach_edit.body IS 'The whole reach after the edit.';

CREATE TABLE coldseam.request_budget (
    host text NOT NULL,
    whole_at timestamp with time zone NOT NULL,
    held_until timestamp with time zone
);

COMMENT ON TABLE coldseam.request_budget IS 'Requests to a host, shared by all servers of the club.';

COMMENT ON COLUMN coldseam.request_budget.host IS 'Host name, with its port where it is not the usual one.';

COMMENT ON COLUMN coldseam.request_budget.whole_at IS 'When the budget is whole again if nothing more is asked; each request moves it.';

COMMENT ON COLUMN coldseam.request_budget.held_until IS 'The host asked not to be called before; null = never asked.';

ALTER TABLE coldseam.rig_log ALTER COLUMN rig_log_id ADD GENERATED ALWAYS AS IDENTITY (
    SEQUENCE NAME coldseam.rig_log_rig_log_id_seq
    START WITH 1
    INCREMENT BY 1
    NO MINVALUE
    NO MAXVALUE
    CACHE 1
);

CREATE TABLE coldseam.schema_version (
    version integer NOT NULL
);

COMMENT ON TABLE coldseam.schema_version IS 'Number of the last migration applied.';

COMMENT ON COLUMN coldseam.schema_version.version IS 'Number of the last migration applied.';

CREATE TABLE coldseam.season_rule (
    reach_id text NOT NULL,
    rule_no integer NOT NULL,
    kind text NOT NULL,
    species text NOT NULL,
    allowed boolean NOT NULL,
    wording text NOT NULL,
    link text NOT NULL,
    checked_on date,
    checked_by text NOT NULL,
    closed jsonb NOT NULL
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

ALTER TABLE coldseam.series ALTER COLUMN series_id ADD GENERATED ALWAYS AS IDENTITY (
    SEQUENCE NAME coldseam.series_series_id_seq
    START WITH 1
    INCREMENT BY 1
    NO MINVALUE
    NO MAXVALUE
    CACHE 1
);

CREATE TABLE coldseam.subscriber (
    subscriber_id bigint NOT NULL,
    email text NOT NULL,
    name text DEFAULT ''::text NOT NULL,
    state text NOT NULL,
    created_at timestamp with time zone NOT NULL,
    confirmed_at timestamp with time zone,
    zone text NOT NULL,
    send_at time without time zone NOT NULL,
    window_from time without time zone,
    prefs jsonb NOT NULL,
    suppressed_why text DEFAULT ''::text NOT NULL,
    suppressed_at timestamp with time zone,
    fail_days integer DEFAULT 0 NOT NULL,
    last_fail_day date,
    angler text DEFAULT ''::text NOT NULL,
    confirm_sends integer DEFAULT 0 NOT NULL,
    CONSTRAINT subscriber_state_known CHECK ((state = ANY (ARRAY['pending'::text, 'confirmed'::text, 'paused'::text, 'suppressed'::text, 'unsubscribed'::text])))
);

COMMENT ON TABLE coldseam.subscriber IS 'People who asked for the mail. Addresses live here and in the envelope only.';

COMMENT ON COLUMN coldseam.subscriber.subscriber_id IS 'Running number.';

COMMENT ON COLUMN coldseam.subscriber.email IS 'Address as given.';

COMMENT ON COLUMN coldseam.subscriber.name IS 'For the greeting only.';

COMMENT ON COLUMN coldseam.subscriber.state IS 'pending, confirmed, paused, suppressed or unsubscribed.';

COMMENT ON COLUMN coldseam.subscriber.created_at IS 'When the address was entered.';

COMMENT ON COLUMN coldseam.subscriber.confirmed_at IS 'When it was confirmed.';

COMMENT ON COLUMN coldseam.subscriber.zone IS 'IANA zone in which the morning is counted.';

COMMENT ON COLUMN coldseam.subscriber.send_at IS 'Local time the mail is due.';

COMMENT ON COLUMN coldseam.subscriber.window_from IS 'Local start of the own fishing window; null = the best of the brief.';

COMMENT ON COLUMN coldseam.subscriber.prefs IS 'All preferences as JSON of coldseam.Preferences.';

COMMENT ON COLUMN coldseam.subscriber.suppressed_why IS 'Why no mail goes there, with the server''s words.';

COMMENT ON COLUMN coldseam.subscriber.suppressed_at IS 'Since when.';

COMMENT ON COLUMN coldseam.subscriber.fail_days IS 'Days in a row on which mail bounced for a passing reason.';

COMMENT ON COLUMN coldseam.subscriber.last_fail_day IS 'Last of those days.';

COMMENT ON COLUMN coldseam.subscriber.angler IS 'Pseudonym in the trip log.';

COMMENT ON COLUMN coldseam.subscriber.confirm_sends IS 'Confirm mails sent while unconfirmed.';

ALTER TABLE coldseam.subscriber ALTER COLUMN subscriber_id ADD GENERATED ALWAYS AS IDENTITY (
    SEQUENCE NAME coldseam.subscriber_subscriber_id_seq
    START WITH 1
    INCREMENT BY 1
    NO MINVALUE
    NO MAXVALUE
    CACHE 1
);

CREATE TABLE coldseam.switch (
    name text NOT NULL,
    is_on boolean NOT NULL,
    changed_at timestamp with time zone NOT NULL,
    who text NOT NULL,
    why text NOT NULL
);

COMMENT ON TABLE coldseam.switch IS 'Switches of the whole program; hold = no mail is sent.';

COMMENT ON COLUMN coldseam.switch.name IS 'Name of the switch.';

COMMENT ON COLUMN coldseam.switch.is_on IS 'Whether it is on.';

COMMENT ON COLUMN coldseam.switch.changed_at IS 'Since when.';

COMMENT ON COLUMN coldseam.switch.who IS 'Who set it, never an address.';

COMMENT ON COLUMN coldseam.switch.why IS 'The reason given.';

CREATE TABLE coldseam.threshold (
    key text NOT NULL,
    value text NOT NULL,
    edited_at timestamp with time zone NOT NULL,
    who text NOT NULL,
    why text NOT NULL
);

COMMENT ON TABLE coldseam.threshold IS 'Limits the club has set other than the program''s own.';

COMMENT ON COLUMN coldseam.threshold.key IS 'Name of the limit, with its unit.';

COMMENT ON COLUMN coldseam.threshold.value IS 'Value as text.';

COMMENT ON COLUMN coldseam.threshold.edited_at IS 'When it was set.';

COMMENT ON COLUMN coldseam.threshold.who IS 'Who set it, never an address.';

COMMENT ON COLUMN coldseam.threshold.why IS 'The reason given.';

CREATE TABLE coldseam.threshold_audit (
    audit_id bigint NOT NULL,
    key text NOT NULL,
    old_value text,
    new_value text,
    edited_at timestamp with time zone NOT NULL,
    who text NOT NULL,
    why text NOT NULL
);

COMMENT ON TABLE coldseam.threshold_audit IS 'Every edit of a limit.';

COMMENT ON COLUMN coldseam.threshold_audit.audit_id IS 'Running number.';

COMMENT ON COLUMN coldseam.threshold_audit.key IS 'Name of the limit.';

COMMENT ON COLUMN coldseam.threshold_audit.old_value IS 'Value before; null = the program''s own.';

COMMENT ON COLUMN coldseam.threshold_audit.new_value IS 'Value after; null = back to the program''s own.';

COMMENT ON COLUMN coldseam.threshold_audit.edited_at IS 'When.';

COMMENT ON COLUMN coldseam.threshold_audit.who IS 'Who, never an address.';

COMMENT ON COLUMN coldseam.threshold_audit.why IS 'The reason given.';

ALTER TABLE coldseam.threshold_audit ALTER COLUMN audit_id ADD GENERATED ALWAYS AS IDENTITY (
    SEQUENCE NAME coldseam.threshold_audit_audit_id_seq
    START WITH 1
    INCREMENT BY 1
    NO MINVALUE
    NO MAXVALUE
    CACHE 1
);

ALTER TABLE coldseam.trip ALTER COLUMN trip_id ADD GENERATED ALWAYS AS IDENTITY (
    SEQUENCE NAME coldseam.trip_trip_id_seq
    START WITH 1
    INCREMENT BY 1
    NO MINVALUE
    NO MAXVALUE
    CACHE 1
);

CREATE VIEW season.band AS
 SELECT band.band_no,
    band.key AS band,
    band.upper_f,
    ((band.upper_f - (32)::double precision) / (1.8)::double precision) AS upper_c
   FROM coldseam.band;

COMMENT ON VIEW season.band IS 'Water temperature bands, coldest first.';

COMMENT ON COLUMN season.band.band_no IS 'Place, from 1.';

COMMENT ON COLUMN season.band.band IS 'Name.';

COMMENT ON COLUMN season.band.upper_f IS 'Upper edge, degF, included.';

COMMENT ON COLUMN season.band.upper_c IS 'Upper edge, degC.';

CREATE VIEW season.brief AS
 SELECT b.brief_id,
    b.reach_id,
    b.day,
    (EXTRACT(year FROM b.day))::integer AS season,
    b.issued_at,
    (row_number() OVER (PARTITION BY b.reach_id, b.day ORDER BY b.issued_at DESC) = 1) AS last_word,
    b.verdict,
    b.odds,
    b.odds_note,
    b.cost,
    b.hold_p,
    b.window_start,
    b.window_end,
    b.water_c,
    ((b.water_c * (1.8)::double precision) + (32)::double precision) AS water_f,
    b.discharge_m3s,
    (b.discharge_m3s / (0.028316846592)::double precision) AS discharge_cfs,
    b.stage_m,
    b.tie_oz,
    b.band,
    b.flow_class,
    b.run_stage,
    b.sure,
    (b.brief_id = m.brief_id) AS morning_word
   FROM (coldseam.brief b
     LEFT JOIN coldseam.morning_brief m USING (reach_id, day))
  WHERE (NOT b.replay);

COMMENT ON VIEW season.brief IS 'Briefs as issued, by the club''s default preferences. Several issues of a morning are several rows.';

COMMENT ON COLUMN season.brief.brief_id IS 'Key of the brief.';

COMMENT ON COLUMN season.brief.reach_id IS 'The reach.';

COMMENT ON COLUMN season.brief.day IS 'The morning it speaks of.';

COMMENT ON COLUMN season.brief.season IS 'Calendar year.';

COMMENT ON COLUMN season.brief.issued_at IS 'When it was issued.';

COMMENT ON COLUMN season.brief.last_word IS 'The last issue of that morning.';

COMMENT ON COLUMN season.brief.verdict IS 'GO, TOSS-UP, STAY, STOP or NO CALL.';

COMMENT ON COLUMN season.brief.odds IS 'Odds of a good morning told, 0-1; null = none were told.';

COMMENT ON COLUMN season.brief.odds_note IS 'What the odds rest on.';

COMMENT ON COLUMN season.brief.cost IS 'Cost of a wasted trip over the value of a good one.';

COMMENT ON COLUMN season.brief.hold_p IS 'Probability that the heaviest weight of the club''s range holds bottom.';

COMMENT ON COLUMN season.brief.window_start IS 'Start of the best window.';

COMMENT ON COLUMN season.brief.window_end IS 'End of the best window.';

COMMENT ON COLUMN season.brief.water_c IS 'Median water temperature forecast for the window, degC.';

COMMENT ON COLUMN season.brief.water_f IS 'The same, degF.';

COMMENT ON COLUMN season.brief.discharge_m3s IS 'Median discharge forecast for the window, m3/s.';

COMMENT ON COLUMN season.brief.discharge_cfs IS 'The same, ft3/s.';

COMMENT ON COLUMN season.brief.stage_m IS 'Median stage forecast for the window, m.';

COMMENT ON COLUMN season.brief.tie_oz IS 'Weight told to tie on at the advised spot, ounces; null = withheld.';

COMMENT ON COLUMN season.brief.band IS 'Temperature band told.';

COMMENT ON COLUMN season.brief.flow_class IS 'Class of the flow for the date told: much below, below, normal, above, much above; empty = under 10 years of record.';

COMMENT ON COLUMN season.brief.run_stage IS 'Stage of the run told.';

COMMENT ON COLUMN season.brief.sure IS 'How sure: high, medium, low.';

COMMENT ON COLUMN season.brief.morning_word IS 'The issue that stood when the club''s mail went out, else the first of the day: what people drove by.';

CREATE VIEW season.call AS
 WITH days AS (
         SELECT book_open.reach_id,
            book_open.day,
            sum(book_open.line_hours) FILTER (WHERE (NOT book_open.stayed)) AS line_hours,
            sum(book_open.fish) FILTER (WHERE (NOT book_open.stayed)) AS fish,
            count(*) FILTER (WHERE (NOT book_open.stayed)) AS trips,
            count(*) FILTER (WHERE (book_open.stayed AND book_open.by_mail)) AS stayed_by_mail
           FROM coldseam.book_open
          WHERE (book_open.dimension = 'verdict'::text)
          GROUP BY book_open.reach_id, book_open.day
        ), target AS (
         SELECT d.reach_id,
            COALESCE(NULLIF(((r.body ->> 'TargetRate'::text))::double precision, (0)::double precision), percentile_cont((0.6)::double precision) WITHIN GROUP (ORDER BY ((d.fish)::double precision / NULLIF(d.line_hours, (0)::double precision)))) AS rate
           FROM (days d
             JOIN coldseam.reach r USING (reach_id))
          WHERE (d.line_hours > (0)::double precision)
          GROUP BY d.reach_id, (r.body ->> 'TargetRate'::text)
        ), words AS (
         SELECT b.reach_id,
            (EXTRACT(year FROM b.day))::integer AS season,
            b.verdict,
            count(*) AS mornings,
            count(*) FILTER (WHERE (d.trips > 0)) AS fished,
            count(*) FILTER (WHERE (((d.fish)::double precision / NULLIF(d.line_hours, (0)::double precision)) >= t.rate)) AS good,
            avg(b.odds) AS mean_odds,
            avg(b.odds) FILTER (WHERE (d.trips > 0)) AS mean_odds_fished,
            COALESCE(sum(d.stayed_by_mail), (0)::numeric) AS stayed_by_mail
           FROM ((coldseam.morning_brief b
             LEFT JOIN days d USING (reach_id, day))
             LEFT JOIN target t USING (reach_id))
          GROUP BY b.reach_id, ((EXTRACT(year FROM b.day))::integer), b.verdict
        ), who AS (
         SELECT book_open.reach_id,
            book_open.season,
            book_open.cell AS verdict,
            count(DISTINCT NULLIF(book_open.who, ''::text)) AS anglers
           FROM coldseam.book_open
          WHERE (book_open.dimension = 'verdict'::text)
          GROUP BY book_open.reach_id, book_open.season, book_open.cell
        )
 SELECT m.reach_id,
    m.season,
    m.verdict,
    m.mornings,
    round((m.mean_odds)::numeric, 2) AS mean_odds,
        CASE
            WHEN (w.anglers >= 3) THEN m.fished
            ELSE NULL::bigint
        END AS mornings_fished,
        CASE
            WHEN (w.anglers >= 3) THEN m.good
            ELSE NULL::bigint
        END AS good_mornings,
        CASE
            WHEN (w.anglers >= 3) THEN round((m.mean_odds_fished)::numeric, 2)
            ELSE NULL::numeric
        END AS mean_odds_fished,
        CASE
            WHEN (w.anglers >= 3) THEN m.stayed_by_mail
            ELSE NULL::numeric
        END AS drives_saved,
    (GREATEST((3 - COALESCE(w.anglers, (0)::bigint)), (0)::bigint))::integer AS anglers_lacking
   FROM (words m
     LEFT JOIN who w USING (reach_id, season, verdict));

COMMENT ON VIEW season.call IS 'What we said against what happened, by the word that people drove by (brief.morning_word): a correction that came later is not held for it. Numbers from fewer than three different anglers are left empty.';

COMMENT ON COLUMN season.call.reach_id IS 'The reach.';

COMMENT ON COLUMN season.call.season IS 'Calendar year.';

COMMENT ON COLUMN season.call.verdict IS 'The morning''s word.';

COMMENT ON COLUMN season.call.mornings IS 'Mornings with that word.';

COMMENT ON COLUMN season.call.mean_odds IS 'Mean odds told, 0-1.';

COMMENT ON COLUMN season.call.mornings_fished IS 'Of those, mornings with a logged trip.';

COMMENT ON COLUMN season.call.good_mornings IS 'Of those, good ones: fish per line hour at or above the target of the reach.';

COMMENT ON COLUMN season.call.mean_odds_fished IS 'Mean odds of the mornings fished: compare with good over fished.';

COMMENT ON COLUMN season.call.drives_saved IS 'Times somebody stayed at home because of the mail.';

COMMENT ON COLUMN season.call.anglers_lacking IS 'How many more anglers would fill the empty numbers; 0 = they are filled.';

CREATE VIEW season.confirmation AS
 SELECT confirmation.site_id,
    confirmation.param,
    confirmation.from_at,
    confirmation.until_at,
    confirmation.known_at,
    confirmation.why
   FROM coldseam.confirmation;

COMMENT ON VIEW season.confirmation IS 'Readings that the admin stands for whatever their flags say, without names.';

COMMENT ON COLUMN season.confirmation.site_id IS 'The gauge.';

COMMENT ON COLUMN season.confirmation.param IS 'Parameter.';

COMMENT ON COLUMN season.confirmation.from_at IS 'First reading that the word speaks of.';

COMMENT ON COLUMN season.confirmation.until_at IS 'Last reading that it speaks of.';

COMMENT ON COLUMN season.confirmation.known_at IS 'When it was entered; readings that came or changed later are not covered.';

COMMENT ON COLUMN season.confirmation.why IS 'The reason given.';

CREATE VIEW season.crossing AS
 SELECT r.reach_id,
    c.site_id,
    c.issued_at,
    c.edge_c,
    ((c.edge_c * (1.8)::double precision) + (32)::double precision) AS edge_f,
    c.up,
    c.within_3d,
    c.within_7d,
    c.within_10d,
    c.date_p10,
    c.date_p50,
    c.date_p90,
    c.confirmed
   FROM (coldseam.crossing c
     JOIN coldseam.reach r ON (((c.site_id = COALESCE(r.temp_site_id, r.site_id)) OR (c.site_id = r.site_id))));

COMMENT ON VIEW season.crossing IS 'Forecasts of the day a band edge is crossed for good.';

COMMENT ON COLUMN season.crossing.reach_id IS 'The reach.';

COMMENT ON COLUMN season.crossing.site_id IS 'The gauge.';

COMMENT ON COLUMN season.crossing.issued_at IS 'Issue time.';

COMMENT ON COLUMN season.crossing.edge_c IS 'Band edge, degC.';

COMMENT ON COLUMN season.crossing.edge_f IS 'Band edge, degF.';

COMMENT ON COLUMN season.crossing.up IS 'true = rising, spring.';

COMMENT ON COLUMN season.crossing.within_3d IS 'Probability within 3 days.';

COMMENT ON COLUMN season.crossing.within_7d IS 'Probability within 7 days.';

COMMENT ON COLUMN season.crossing.within_10d IS 'Probability within 10 days.';

COMMENT ON COLUMN season.crossing.date_p10 IS 'Early date, given that it crosses.';

COMMENT ON COLUMN season.crossing.date_p50 IS 'Median date.';

COMMENT ON COLUMN season.crossing.date_p90 IS 'Late date.';

COMMENT ON COLUMN season.crossing.confirmed IS 'Observed for five days.';

CREATE VIEW season.daily AS
 WITH lead AS (
         SELECT s.series_id,
            s.site_id,
            s.param,
            t.daily_only,
            ((s.stat = 'mean'::text) AND (s.period = ANY (ARRAY['P1D'::text, 'PT24H'::text]))) AS daily,
            (row_number() OVER (PARTITION BY s.site_id, s.param ORDER BY ((s.stat = 'mean'::text) AND (s.period = ANY (ARRAY['P1D'::text, 'PT24H'::text]))) DESC, s.preference DESC, s.series_id))::double precision AS place
           FROM (coldseam.series s
             JOIN coldseam.site t USING (site_id))
          WHERE ((s.stat = ANY (ARRAY['instant'::text, 'mean'::text])) AND (s.param = ANY (ARRAY['discharge'::text, 'stage'::text, 'water_temp'::text])))
        ), days AS (
         SELECT r.reach_id,
            r.site_id,
            d_1.day,
            min(ARRAY[l.place, (d_1.total / (d_1.n)::double precision), (d_1.flags)::double precision]) FILTER (WHERE (l.param = 'discharge'::text)) AS q,
            min(ARRAY[l.place, (d_1.total / (d_1.n)::double precision), (d_1.flags)::double precision]) FILTER (WHERE (l.param = 'stage'::text)) AS g,
            min(ARRAY[l.place, (d_1.total / (d_1.n)::double precision), (d_1.flags)::double precision, d_1.lo, d_1.hi]) FILTER (WHERE (l.param = 'water_temp'::text)) AS w
           FROM ((coldseam.reach r
             JOIN lead l ON ((l.site_id =
                CASE
                    WHEN (l.param = 'water_temp'::text) THEN COALESCE(r.temp_site_id, r.site_id)
                    ELSE r.site_id
                END)))
             JOIN coldseam.day_summary d_1 USING (series_id))
          WHERE (l.daily OR l.daily_only OR (d_1.quarters = 15))
          GROUP BY r.reach_id, r.site_id, d_1.day
        )
 SELECT d.reach_id,
    d.day,
    (EXTRACT(year FROM d.day))::integer AS season,
    d.q[2] AS discharge_m3s,
    (d.q[2] / (0.028316846592)::double precision) AS discharge_cfs,
    d.g[2] AS stage_m,
    (d.g[2] / (0.3048)::double precision) AS stage_ft,
    d.w[2] AS water_c,
    ((d.w[2] * (1.8)::double precision) + (32)::double precision) AS water_f,
    d.w[4] AS water_min_c,
    d.w[5] AS water_max_c,
    ( SELECT x.key
           FROM coldseam.band x
          WHERE ((x.upper_f + (0.000000001)::double precision) >= ((d.w[2] * (1.8)::double precision) + (32)::double precision))
          ORDER BY x.band_no
         LIMIT 1) AS band,
    coldseam.percentile_of(c.quantile, d.q[2]) AS flow_percentile,
    coldseam.flow_class(coldseam.percentile_of(c.quantile, d.q[2])) AS flow_class,
    c.years AS record_years,
    (((COALESCE(((d.q[3])::integer & 8), 0) | COALESCE(((d.g[3])::integer & 8), 0)) | COALESCE(((d.w[3])::integer & 8), 0)) <> 0) AS ice,
    (COALESCE(((d.q[3])::integer & 4), 0) <> 0) AS discharge_estimated,
    (COALESCE(((d.q[3])::integer & 2), 0) = 0) AS provisional
   FROM (days d
     LEFT JOIN coldseam.climatology c ON (((c.site_id = d.site_id) AND (c.param = 'discharge'::text) AND (c.doy = coldseam.doy_of(d.day)) AND (c.years >= 10) AND (c.made_at = ( SELECT max(m.made_at) AS max
           FROM coldseam.climatology m
          WHERE ((m.site_id = c.site_id) AND (m.param = 'discharge'::text) AND (m.doy = c.doy)))))));

COMMENT ON VIEW season.daily IS 'Daily flow, stage and water temperature of each reach''s gauge, with band and flow words. Values may be provisional.';

COMMENT ON COLUMN season.daily.reach_id IS 'The reach.';

COMMENT ON COLUMN season.daily.day IS 'Civil day of the gauge.';

COMMENT ON COLUMN season.daily.season IS 'Calendar year.';

COMMENT ON COLUMN season.daily.discharge_m3s IS 'Daily mean discharge, m3/s.';

COMMENT ON COLUMN season.daily.discharge_cfs IS 'Daily mean discharge, ft3/s.';

COMMENT ON COLUMN season.daily.stage_m IS 'Daily mean stage, m.';

COMMENT ON COLUMN season.daily.stage_ft IS 'Daily mean stage, ft.';

COMMENT ON COLUMN season.daily.water_c IS 'Daily mean water temperature, degC.';

COMMENT ON COLUMN season.daily.water_f IS 'Daily mean water temperature, degF.';

COMMENT ON COLUMN season.daily.water_min_c IS 'Least value of the day, degC; for a daily-mean series the mean.';

COMMENT ON COLUMN season.daily.water_max_c IS 'Greatest value of the day, degC; for a daily-mean series the mean.';

COMMENT ON COLUMN season.daily.band IS 'Temperature band of the daily mean.';

COMMENT ON COLUMN season.daily.flow_percentile IS 'Share of the record +-15 days around the date below this flow, 0-1; null under 10 years.';

COMMENT ON COLUMN season.daily.flow_class IS 'Flow words: much below, below, normal, above, much above; null under 10 years.';

COMMENT ON COLUMN season.daily.record_years IS 'Years behind the percentile.';

COMMENT ON COLUMN season.daily.ice IS 'The agency marked ice that day.';

COMMENT ON COLUMN season.daily.discharge_estimated IS 'The agency estimated the flow in part.';

COMMENT ON COLUMN season.daily.provisional IS 'The flow is not approved by the agency yet.';

CREATE VIEW season.dictionary AS
 SELECT (c.relname)::text AS view_name,
    (a.attname)::text AS column_name,
    format_type(a.atttypid, a.atttypmod) AS type,
    col_description(c.oid, (a.attnum)::integer) AS meaning,
    obj_description(c.oid, 'pg_class'::name) AS view_meaning,
    (a.attnum)::integer AS place,
        CASE
            WHEN (a.attname ~ '_m3s$'::text) THEN 'm3/s'::text
            WHEN (a.attname ~ '_cfs$'::text) THEN 'ft3/s'::text
            WHEN (a.attname ~ '_f$'::text) THEN 'degF'::text
            WHEN (a.attname ~ '_(min_|max_)?c$'::text) THEN 'degC'::text
            WHEN (a.attname ~ '_oz$'::text) THEN 'ounces'::text
            WHEN (a.attname ~ '_g$'::text) THEN 'grams'::text
            WHEN (a.attname ~ '_km$'::text) THEN 'km'::text
            WHEN (a.attname ~ '_mi$'::text) THEN 'miles'::text
            WHEN (a.attname ~ '_m$'::text) THEN 'm'::text
            WHEN (a.attname ~ '_ft$'::text) THEN 'ft'::text
            WHEN (a.attname ~ '_cd$'::text) THEN 'degC days'::text
            WHEN ((a.attname ~ '_us$'::text) AND (a.attname <> 'unit_us'::name)) THEN 'unit_us'::text
            WHEN (a.atttypid = ('date'::regtype)::oid) THEN 'civil day of the gauge or reach'::text
            WHEN (a.atttypid = ('timestamp with time zone'::regtype)::oid) THEN 'time with zone'::text
            WHEN (a.attname = 'fish_per_line_hour'::name) THEN 'fish per hour and line'::text
            WHEN (a.attname = 'line_hours'::name) THEN 'hours times lines'::text
            WHEN ((c.relname = ANY (ARRAY['forecast'::name, 'normal'::name, 'skill'::name])) AND (a.attname ~ '^(observed|p[0-9]+|crps|abs_error|persistence_error|mean_abs_error|mean_crps)$'::text)) THEN 'as param says'::text
            WHEN ((a.attname ~ '(odds|share|_p|cost|percentile|skill|inside|_lo|_hi)$'::text) OR (a.attname ~ '^(odds|mean_odds|p_wave|within_|skill|inside|arrived|spawned)'::text)) THEN '0-1'::text
            WHEN ((a.attname = ANY (ARRAY['season'::name, 'doy'::name, 'lead_day'::name, 'days'::name, 'n'::name, 'independent_days'::name])) OR (a.attname ~ 'years'::text)) THEN
            CASE a.attname
                WHEN 'season'::name THEN 'calendar year'::text
                ELSE 'count'::text
            END
            WHEN (a.atttypid = ANY (ARRAY[('integer'::regtype)::oid, ('bigint'::regtype)::oid, ('smallint'::regtype)::oid, ('numeric'::regtype)::oid, ('double precision'::regtype)::oid])) THEN 'count'::text
            WHEN (a.atttypid = ('boolean'::regtype)::oid) THEN 'yes or no'::text
            ELSE 'words'::text
        END AS unit,
        CASE
            WHEN ((c.relname = ANY (ARRAY['trip'::name, 'weight'::name, 'roaming'::name])) OR ((c.relname = 'morning'::name) AND (a.attname ~ '^(trips|anglers|fish)'::text)) OR (a.attname ~ '^(anglers_lacking|came|drives_saved|good_mornings|mornings_fished)$'::text)) THEN 'the trip log, of those whom the book counts'::text
            WHEN ((c.relname = ANY (ARRAY['daily'::name, 'outage'::name, 'normal'::name])) OR (a.attname ~ '^(observed|next_flow|next_water|flow_m3s|flow_cfs)'::text) OR ((c.relname = 'morning'::name) AND (a.attname ~ '^(flow|water|band$)'::text))) THEN 'the agency''s gauge, daily means, may be provisional'::text
            WHEN (c.relname = ANY (ARRAY['forecast'::name, 'skill'::name, 'crossing'::name, 'wave'::name, 'run_date'::name])) THEN 'forecasts as issued'::text
            WHEN (c.relname = ANY (ARRAY['brief'::name, 'reason'::name, 'stop'::name, 'call'::name, 'morning'::name])) THEN 'the briefs as told'::text
            WHEN (c.relname = ANY (ARRAY['river'::name, 'band'::name, 'rule'::name, 'edit'::name, 'confirmation'::name])) THEN 'the club''s admin'::text
            WHEN (c.relname = 'ice'::name) THEN 'gauge, thermometer and the admin''s word'::text
            WHEN (c.relname = 'mail'::name) THEN 'the club''s outbox'::text
            ELSE 'this database'::text
        END AS source
   FROM (pg_class c
     JOIN pg_attribute a ON (((a.attrelid = c.oid) AND (a.attnum > 0) AND (NOT a.attisdropped))))
  WHERE ((c.relnamespace = ('season'::regnamespace)::oid) AND (c.relkind = 'v'::"char"));

COMMENT ON VIEW season.dictionary IS 'Every view and column of this schema with its meaning.';

COMMENT ON COLUMN season.dictionary.view_name IS 'View.';

COMMENT ON COLUMN season.dictionary.column_name IS 'Column.';

COMMENT ON COLUMN season.dictionary.type IS 'Type.';

COMMENT ON COLUMN season.dictionary.meaning IS 'Meaning and unit of the column.';

COMMENT ON COLUMN season.dictionary.view_meaning IS 'Meaning of the view.';

COMMENT ON COLUMN season.dictionary.place IS 'Place of the column.';

COMMENT ON COLUMN season.dictionary.unit IS 'Unit of the column.';

COMMENT ON COLUMN season.dictionary.source IS 'Where its values come from.';

CREATE VIEW season.edit AS
 SELECT e.edited_at,
    e.reach_id,
    'reach'::text AS what,
    e.why,
    ((e.body ->> 'MaxFlowM3S'::text))::double precision AS max_flow_m3s
   FROM coldseam.reach_edit e
UNION ALL
 SELECT a.edited_at,
    NULL::text AS reach_id,
    ((((a.key || ': '::text) || COALESCE(a.old_value, 'default'::text)) || ' to '::text) || COALESCE(a.new_value, 'default'::text)) AS what,
    a.why,
    NULL::double precision AS max_flow_m3s
   FROM coldseam.threshold_audit a;

COMMENT ON VIEW season.edit IS 'Edits of reaches and limits with their reasons, without names.';

COMMENT ON COLUMN season.edit.edited_at IS 'When.';

COMMENT ON COLUMN season.edit.reach_id IS 'The reach; null = a limit of the club.';

COMMENT ON COLUMN season.edit.what IS 'What was edited.';

COMMENT ON COLUMN season.edit.why IS 'The reason given.';

COMMENT ON COLUMN season.edit.max_flow_m3s IS 'Flow limit of the reach after the edit, m3/s.';

CREATE VIEW season.forecast AS
 SELECT r.reach_id,
    f.site_id,
    f.param,
    f.source,
    f.issued_at,
    f.lead_day,
    f.valid_day,
    (EXTRACT(year FROM f.valid_day))::integer AS season,
    f.observed,
    f.p10,
    f.p50,
    f.p90,
    u.unit_us,
    ((f.observed * (u.times)::double precision) + (u.plus)::double precision) AS observed_us,
    ((f.p10 * (u.times)::double precision) + (u.plus)::double precision) AS p10_us,
    ((f.p50 * (u.times)::double precision) + (u.plus)::double precision) AS p50_us,
    ((f.p90 * (u.times)::double precision) + (u.plus)::double precision) AS p90_us,
    f.crps,
    abs((f.observed - f.p50)) AS abs_error,
    ((f.observed >= f.p10) AND (f.observed <= f.p90)) AS inside,
    f.persist AS persistence_error
   FROM ((coldseam.forecast_score f
     JOIN coldseam.reach r ON (((f.site_id = r.site_id) OR (f.site_id = r.temp_site_id))))
     LEFT JOIN ( VALUES ('discharge'::text,'ft3/s'::text,((1)::numeric / 0.028316846592),0.0), ('stage'::text,'ft'::text,((1)::numeric / 0.3048),0), ('water_temp'::text,'degF'::text,1.8,32)) u(param, unit_us, times, plus) ON ((u.param = f.param)));

COMMENT ON VIEW season.forecast IS 'Each daily forecast beside what was measured afterwards.';

COMMENT ON COLUMN season.forecast.reach_id IS 'The reach.';

COMMENT ON COLUMN season.forecast.site_id IS 'The gauge.';

COMMENT ON COLUMN season.forecast.param IS 'discharge (m3/s), stage (m) or water_temp (degC).';

COMMENT ON COLUMN season.forecast.source IS 'Model and tier.';

COMMENT ON COLUMN season.forecast.issued_at IS 'Issue time.';

COMMENT ON COLUMN season.forecast.lead_day IS 'Day of the forecast; 1 = the day of issue.';

COMMENT ON COLUMN season.forecast.valid_day IS 'Day forecast.';

COMMENT ON COLUMN season.forecast.season IS 'Calendar year of that day.';

COMMENT ON COLUMN season.forecast.observed IS 'Daily mean measured.';

COMMENT ON COLUMN season.forecast.p10 IS '10 % quantile forecast.';

COMMENT ON COLUMN season.forecast.p50 IS 'Median forecast.';

COMMENT ON COLUMN season.forecast.p90 IS '90 % quantile forecast.';

COMMENT ON COLUMN season.forecast.unit_us IS 'Unit of the columns that end in _us.';

COMMENT ON COLUMN season.forecast.observed_us IS 'Daily mean measured, in unit_us.';

COMMENT ON COLUMN season.forecast.p10_us IS '10 % quantile forecast, in unit_us.';

COMMENT ON COLUMN season.forecast.p50_us IS 'Median forecast, in unit_us.';

COMMENT ON COLUMN season.forecast.p90_us IS '90 % quantile forecast, in unit_us.';

COMMENT ON COLUMN season.forecast.crps IS 'Continuous ranked probability score; 0 = perfect.';

COMMENT ON COLUMN season.forecast.abs_error IS 'Absolute error of the median.';

COMMENT ON COLUMN season.forecast.inside IS 'Measured within p10-p90; 8 in 10 is right.';

COMMENT ON COLUMN season.forecast.persistence_error IS 'Absolute error of "stays as it was yesterday".';

CREATE VIEW season.gone AS
 SELECT v.gone,
    v.instead
   FROM ( VALUES ('advice'::text,'season.morning: band_told, action, tie_oz'::text), ('catch'::text,'season.trip, with the same columns'::text), ('catch_by_band'::text,'season.trip WHERE dimension = ''band'''::text), ('catch_by_flow'::text,'season.trip WHERE dimension = ''flow'''::text), ('catch_by_stage'::text,'season.trip WHERE dimension = ''stage'''::text), ('catch_by_weight'::text,'season.trip WHERE dimension = ''weight'''::text), ('trip_day'::text,'season.morning: trips, anglers, fish_per_line_hour'::text), ('weight_held'::text,'season.weight'::text), ('forecast_pair'::text,'season.forecast'::text), ('run_day'::text,'season.wave'::text), ('feed'::text,'the page of the club''s status'::text)) v(gone, instead);

COMMENT ON VIEW season.gone IS 'Views of before, and what answers their questions now.';

COMMENT ON COLUMN season.gone.gone IS 'View that is gone.';

COMMENT ON COLUMN season.gone.instead IS 'What to ask instead.';

CREATE VIEW season.ice AS
 SELECT DISTINCT ON (ice_state.reach_id, ice_state.day) ice_state.reach_id,
    ice_state.day,
    ice_state.state,
    ice_state.since,
    ice_state.cause,
    ice_state.frost_cd,
    ice_state.thaw_cd,
    ice_state.known_at
   FROM coldseam.ice_state
  ORDER BY ice_state.reach_id, ice_state.day, ice_state.known_at DESC;

COMMENT ON VIEW season.ice IS 'The state of ice of each reach and day, as known last.';

COMMENT ON COLUMN season.ice.reach_id IS 'The reach.';

COMMENT ON COLUMN season.ice.day IS 'Local civil day.';

COMMENT ON COLUMN season.ice.state IS 'unknown (reads as ice), open, ice or breaking_up.';

COMMENT ON COLUMN season.ice.since IS 'First day of the state.';

COMMENT ON COLUMN season.ice.cause IS 'Code of what brought the state.';

COMMENT ON COLUMN season.ice.frost_cd IS 'Net frost since the reach was last seen open, degC days.';

COMMENT ON COLUMN season.ice.thaw_cd IS 'Net thaw since it closed, degC days.';

COMMENT ON COLUMN season.ice.known_at IS 'When this was made.';

CREATE VIEW season.mail AS
 SELECT outbox.local_date AS day,
    (EXTRACT(year FROM outbox.local_date))::integer AS season,
    outbox.kind,
    outbox.state,
    count(*) AS mails
   FROM coldseam.outbox
  WHERE (outbox.subscriber_id IS NOT NULL)
  GROUP BY outbox.local_date, outbox.kind, outbox.state;

COMMENT ON VIEW season.mail IS 'Mails by day, kind and state.';

COMMENT ON COLUMN season.mail.day IS 'Local date.';

COMMENT ON COLUMN season.mail.season IS 'Calendar year.';

COMMENT ON COLUMN season.mail.kind IS 'Kind of mail.';

COMMENT ON COLUMN season.mail.state IS 'sent, failed, expired, unknown ...';

COMMENT ON COLUMN season.mail.mails IS 'Number.';

CREATE VIEW season.trip AS
 SELECT book_cell.dimension,
    book_cell.season,
    book_cell.reach_id,
    book_cell.species,
    book_cell.cell,
    book_cell.anglers,
    book_cell.trips,
        CASE
            WHEN (book_cell.dimension = 'all'::text) THEN round((book_cell.line_hours)::numeric)
            ELSE NULL::numeric
        END AS line_hours,
        CASE
            WHEN (book_cell.dimension = 'all'::text) THEN book_cell.fish
            ELSE NULL::bigint
        END AS fish,
    round((((book_cell.fish)::double precision / NULLIF(book_cell.line_hours, (0)::double precision)))::numeric, 2) AS fish_per_line_hour,
    book_cell.hidden,
    0 AS anglers_lacking,
        CASE
            WHEN (book_cell.dimension = 'all'::text) THEN book_cell.blank_trips
            ELSE NULL::bigint
        END AS blank_trips
   FROM coldseam.book_cell
  WHERE ((book_cell.dimension <> 'held'::text) AND (NOT book_cell.hidden))
UNION ALL
 SELECT DISTINCT book_cell.dimension,
    book_cell.season,
    book_cell.reach_id,
    book_cell.species,
    'too few'::text AS cell,
    NULL::bigint AS anglers,
    NULL::bigint AS trips,
    NULL::numeric AS line_hours,
    NULL::bigint AS fish,
    NULL::numeric AS fish_per_line_hour,
    true AS hidden,
    3 AS anglers_lacking,
    NULL::bigint AS blank_trips
   FROM coldseam.book_cell
  WHERE ((book_cell.dimension <> ALL (ARRAY['held'::text, 'day'::text])) AND book_cell.some_apart)
UNION ALL
 SELECT 'all'::text AS dimension,
    m.season,
    m.reach_id,
    m.species,
    'all'::text AS cell,
    NULL::bigint AS anglers,
    NULL::bigint AS trips,
    NULL::numeric AS line_hours,
    NULL::bigint AS fish,
    NULL::numeric AS fish_per_line_hour,
    true AS hidden,
    3 AS anglers_lacking,
    NULL::bigint AS blank_trips
   FROM ( SELECT DISTINCT (EXTRACT(year FROM b.day))::integer AS season,
            b.reach_id,
            ((r.body -> 'Species'::text) ->> 0) AS species
           FROM (coldseam.morning_brief b
             JOIN coldseam.reach r USING (reach_id))) m
  WHERE ((m.species IS NOT NULL) AND (NOT (EXISTS ( SELECT
           FROM coldseam.book_cell c
          WHERE ((c.dimension = 'all'::text) AND ((c.season = m.season) AND (c.reach_id = m.reach_id) AND (c.species = m.species)))))));

COMMENT ON VIEW season.trip IS 'Trips by one dimension at a time, of those whom the book counts. A cell opens, moves and closes only with three different anglers; trips that stand in none are "too few", and a cell goes with them where they could be had by subtraction.';

COMMENT ON COLUMN season.trip.dimension IS 'all, day, month, band, flow, stage, verdict (the morning''s word), weight (ounces), presentation, clarity or spot.';

COMMENT ON COLUMN season.trip.season IS 'Calendar year.';

COMMENT ON COLUMN season.trip.reach_id IS 'The reach.';

COMMENT ON COLUMN season.trip.species IS 'Species key.';

COMMENT ON COLUMN season.trip.cell IS 'Value of the dimension; "not known", "not said" and "none told" are values too, "too few" is what fewer than three anglers share.';

COMMENT ON COLUMN season.trip.anglers IS 'Different anglers.';

COMMENT ON COLUMN season.trip.trips IS 'Trips, those without fish included.';

COMMENT ON COLUMN season.trip.line_hours IS 'Hours times lines, whole hours; only for the whole season: sums of one dimension could be subtracted from those of another.';

COMMENT ON COLUMN season.trip.fish IS 'Fish caught; only for the whole season.';

COMMENT ON COLUMN season.trip.fish_per_line_hour IS 'Fish per line hour.';

COMMENT ON COLUMN season.trip.hidden IS 'Numbers left empty to protect anglers.';

COMMENT ON COLUMN season.trip.anglers_lacking IS 'Different anglers that open a number, at most; 0 = open. How many there are already is not told: it would tell of one.';

COMMENT ON COLUMN season.trip.blank_trips IS 'Of the trips those without a fish; only for the whole season.';

CREATE VIEW season.morning AS
 WITH lead AS (
         SELECT s.series_id,
            s.site_id,
            s.param,
            t_1.daily_only,
            ((s.stat = 'mean'::text) AND (s.period = ANY (ARRAY['P1D'::text, 'PT24H'::text]))) AS daily,
            (row_number() OVER (PARTITION BY s.site_id, s.param ORDER BY ((s.stat = 'mean'::text) AND (s.period = ANY (ARRAY['P1D'::text, 'PT24H'::text]))) DESC, s.preference DESC, s.series_id))::double precision AS place
           FROM (coldseam.series s
             JOIN coldseam.site t_1 USING (site_id))
          WHERE ((s.stat = ANY (ARRAY['instant'::text, 'mean'::text])) AND (s.param = ANY (ARRAY['discharge'::text, 'water_temp'::text])))
        ), days AS (
         SELECT x.reach_id,
            x.day,
            (EXTRACT(year FROM x.day))::integer AS season,
            min(x.v) FILTER (WHERE (x.param = 'discharge'::text)) AS q,
            min(x.v) FILTER (WHERE (x.param = 'water_temp'::text)) AS w
           FROM ( SELECT r_1.reach_id,
                    d_1.day,
                    l.param,
                    ARRAY[l.place, (d_1.total / (d_1.n)::double precision)] AS v
                   FROM ((coldseam.reach r_1
                     JOIN lead l ON ((l.site_id =
                        CASE
                            WHEN (l.param = 'water_temp'::text) THEN COALESCE(r_1.temp_site_id, r_1.site_id)
                            ELSE r_1.site_id
                        END)))
                     JOIN coldseam.day_summary d_1 USING (series_id))
                  WHERE (l.daily OR l.daily_only OR (d_1.quarters = 15))
                UNION ALL
                 SELECT b_1.reach_id,
                    b_1.day,
                    NULL::text,
                    NULL::double precision[]
                   FROM coldseam.brief b_1
                  WHERE (NOT b_1.replay)) x
          GROUP BY x.reach_id, x.day
        ), next AS (
         SELECT days.reach_id,
            days.day,
            days.season,
            days.q,
            days.w,
            lead(days.day) OVER y AS next_day,
            lead(days.q[2]) OVER y AS next_q,
            lead(days.w[2]) OVER y AS next_w
           FROM days
          WINDOW y AS (PARTITION BY days.reach_id, days.season ORDER BY days.day)
        )
 SELECT r.river,
    r.name AS reach,
    d.reach_id,
    d.season,
    d.day,
    b.verdict AS word,
    b.odds,
    ( SELECT string_agg(DISTINCT (e.value ->> 'Code'::text), ' '::text) AS string_agg
           FROM jsonb_array_elements(
                CASE
                    WHEN (jsonb_typeof((b.body -> 'Stops'::text)) = 'array'::text) THEN (b.body -> 'Stops'::text)
                    ELSE '[]'::jsonb
                END) e(value)) AS stops,
    d.q[2] AS flow_m3s,
    (d.q[2] / (0.028316846592)::double precision) AS flow_cfs,
    ( SELECT coldseam.flow_class(coldseam.percentile_of(c.quantile, d.q[2])) AS flow_class
           FROM coldseam.climatology c
          WHERE ((c.site_id = r.site_id) AND (c.param = 'discharge'::text) AND (c.doy = coldseam.doy_of(d.day)) AND (c.years >= 10))
          ORDER BY c.made_at DESC
         LIMIT 1) AS flow_class,
    d.w[2] AS water_c,
    ((d.w[2] * (1.8)::double precision) + (32)::double precision) AS water_f,
    ( SELECT x.key
           FROM coldseam.band x
          WHERE ((x.upper_f + (0.000000001)::double precision) >= ((d.w[2] * (1.8)::double precision) + (32)::double precision))
          ORDER BY x.band_no
         LIMIT 1) AS band,
    NULLIF(b.run_stage, ''::text) AS run_stage,
    b.band AS band_told,
    ((b.body -> 'How'::text) ->> 'Action'::text) AS action,
    b.tie_oz,
    (b.tie_oz * (28.349523125)::double precision) AS tie_g,
    t.trips,
    t.anglers,
    t.fish_per_line_hour,
        CASE
            WHEN (d.next_day = (d.day + 1)) THEN d.next_q
            ELSE NULL::double precision
        END AS next_flow_m3s,
        CASE
            WHEN (d.next_day = (d.day + 1)) THEN (d.next_q / (0.028316846592)::double precision)
            ELSE NULL::double precision
        END AS next_flow_cfs,
        CASE
            WHEN (d.next_day = (d.day + 1)) THEN d.next_w
            ELSE NULL::double precision
        END AS next_water_c,
        CASE
            WHEN (d.next_day = (d.day + 1)) THEN ((d.next_w * (1.8)::double precision) + (32)::double precision)
            ELSE NULL::double precision
        END AS next_water_f
   FROM ((((next d
     JOIN coldseam.reach r USING (reach_id))
     LEFT JOIN coldseam.morning_brief m USING (reach_id, day))
     LEFT JOIN coldseam.brief b ON ((b.brief_id = m.brief_id)))
     LEFT JOIN ( SELECT trip.season,
            trip.reach_id,
            (trip.cell)::date AS day,
            sum(trip.trips) AS trips,
            max(trip.anglers) AS anglers,
            round((sum((trip.fish_per_line_hour * (trip.trips)::numeric)) / NULLIF(sum(trip.trips), (0)::numeric)), 2) AS fish_per_line_hour
           FROM season.trip
          WHERE (trip.dimension = 'day'::text)
          GROUP BY trip.season, trip.reach_id, trip.cell) t ON (((t.season = d.season) AND (t.reach_id = d.reach_id) AND (t.day = d.day))));

COMMENT ON VIEW season.morning IS 'A row for each reach and day that was measured or told: what was said, what the river did, what was caught. Start here.';

COMMENT ON COLUMN season.morning.river IS 'Name of the river.';

COMMENT ON COLUMN season.morning.reach IS 'Name of the reach.';

COMMENT ON COLUMN season.morning.reach_id IS 'Key of the reach, used in all views.';

COMMENT ON COLUMN season.morning.season IS 'Calendar year.';

COMMENT ON COLUMN season.morning.day IS 'Civil day.';

COMMENT ON COLUMN season.morning.word IS 'GO, TOSS-UP, STAY, STOP or NO CALL by which people drove; null = nothing was told.';

COMMENT ON COLUMN season.morning.odds IS 'Odds of a good morning told, 0-1; null = none were told.';

COMMENT ON COLUMN season.morning.stops IS 'Codes of the stops told, with a blank between; null = none.';

COMMENT ON COLUMN season.morning.flow_m3s IS 'Daily mean discharge, m3/s.';

COMMENT ON COLUMN season.morning.flow_cfs IS 'Daily mean discharge, ft3/s.';

COMMENT ON COLUMN season.morning.flow_class IS 'Flow for the date: much below, below, normal, above, much above; null under 10 years of record.';

COMMENT ON COLUMN season.morning.water_c IS 'Daily mean water temperature, degC.';

COMMENT ON COLUMN season.morning.water_f IS 'Daily mean water temperature, degF.';

COMMENT ON COLUMN season.morning.band IS 'Temperature band of the daily mean.';

COMMENT ON COLUMN season.morning.run_stage IS 'Stage of the run told.';

COMMENT ON COLUMN season.morning.band_told IS 'Temperature band of the advice.';

COMMENT ON COLUMN season.morning.action IS 'Presentation told.';

COMMENT ON COLUMN season.morning.tie_oz IS 'Weight told to tie on at the advised spot, ounces; null = withheld.';

COMMENT ON COLUMN season.morning.tie_g IS 'The same, grams.';

COMMENT ON COLUMN season.morning.trips IS 'Trips that the book counts; null = none, or fewer than three anglers.';

COMMENT ON COLUMN season.morning.anglers IS 'Different anglers.';

COMMENT ON COLUMN season.morning.fish_per_line_hour IS 'Fish per line hour.';

COMMENT ON COLUMN season.morning.next_flow_m3s IS 'Daily mean discharge of the day after, m3/s; null on 31 December.';

COMMENT ON COLUMN season.morning.next_flow_cfs IS 'The same, ft3/s.';

COMMENT ON COLUMN season.morning.next_water_c IS 'Daily mean water temperature of the day after, degC.';

COMMENT ON COLUMN season.morning.next_water_f IS 'The same, degF.';

CREATE VIEW season.normal AS
 SELECT DISTINCT ON (c.site_id, c.param, c.doy) c.site_id,
    c.param,
    c.doy,
    c.years,
    c.quantile[3] AS p10,
    c.quantile[4] AS p25,
    c.quantile[5] AS p50,
    c.quantile[6] AS p75,
    c.quantile[7] AS p90
   FROM coldseam.climatology c
  ORDER BY c.site_id, c.param, c.doy, c.made_at DESC;

COMMENT ON VIEW season.normal IS 'What is usual for the date: daily means of +-15 days of all years.';

COMMENT ON COLUMN season.normal.site_id IS 'The gauge.';

COMMENT ON COLUMN season.normal.param IS 'Parameter.';

COMMENT ON COLUMN season.normal.doy IS 'Day of the year, 1 March = 61 in every year.';

COMMENT ON COLUMN season.normal.years IS 'Years behind it.';

COMMENT ON COLUMN season.normal.p10 IS '10 % quantile, SI unit.';

COMMENT ON COLUMN season.normal.p25 IS '25 % quantile.';

COMMENT ON COLUMN season.normal.p50 IS 'Median.';

COMMENT ON COLUMN season.normal.p75 IS '75 % quantile.';

COMMENT ON COLUMN season.normal.p90 IS '90 % quantile.';

CREATE VIEW season.outage AS
 WITH days AS (
         SELECT s.site_id,
            s.param,
            d.day,
            (d.day - (row_number() OVER (PARTITION BY s.site_id, s.param ORDER BY d.day))::integer) AS island
           FROM (( SELECT DISTINCT series.site_id,
                    series.param,
                    y.day
                   FROM (coldseam.day_summary y
                     JOIN coldseam.series USING (series_id))) d
             JOIN ( SELECT DISTINCT series.site_id,
                    series.param
                   FROM coldseam.series) s ON (((s.site_id = d.site_id) AND (s.param = d.param))))
        ), islands AS (
         SELECT days.site_id,
            days.param,
            min(days.day) AS first_day,
            max(days.day) AS last_day
           FROM days
          GROUP BY days.site_id, days.param, days.island
        ), gaps AS (
         SELECT islands.site_id,
            islands.param,
            (lag(islands.last_day) OVER (PARTITION BY islands.site_id, islands.param ORDER BY islands.first_day) + 1) AS from_day,
            (islands.first_day - 1) AS to_day
           FROM islands
        )
 SELECT gaps.site_id,
    gaps.param,
    gaps.from_day,
    gaps.to_day,
    ((gaps.to_day - gaps.from_day) + 1) AS days,
    (EXTRACT(year FROM gaps.from_day))::integer AS season
   FROM gaps
  WHERE (gaps.from_day IS NOT NULL);

COMMENT ON VIEW season.outage IS 'Spans of whole days without a usable value between the first and the last of a parameter.';

COMMENT ON COLUMN season.outage.site_id IS 'The gauge.';

COMMENT ON COLUMN season.outage.param IS 'Parameter.';

COMMENT ON COLUMN season.outage.from_day IS 'First day without.';

COMMENT ON COLUMN season.outage.to_day IS 'Last day without.';

COMMENT ON COLUMN season.outage.days IS 'Number of days.';

COMMENT ON COLUMN season.outage.season IS 'Calendar year of the first day.';

CREATE VIEW season.reason AS
 SELECT b.brief_id,
    b.reach_id,
    b.day,
    (EXTRACT(year FROM b.day))::integer AS season,
    b.verdict,
    x.list,
    (x.r ->> 'Code'::text) AS code,
    (x.r ->> 'Kind'::text) AS kind,
    (x.r ->> 'Text'::text) AS wording,
    (x.r ->> 'Source'::text) AS source
   FROM (coldseam.last_brief b
     CROSS JOIN LATERAL ( SELECT 'stop'::text AS list,
            e.value AS r
           FROM jsonb_array_elements(
                CASE
                    WHEN (jsonb_typeof((b.body -> 'Stops'::text)) = 'array'::text) THEN (b.body -> 'Stops'::text)
                    ELSE '[]'::jsonb
                END) e(value)
        UNION ALL
         SELECT 'reason'::text,
            e.value AS e
           FROM jsonb_array_elements(
                CASE
                    WHEN (jsonb_typeof((b.body -> 'Reasons'::text)) = 'array'::text) THEN (b.body -> 'Reasons'::text)
                    ELSE '[]'::jsonb
                END) e(value)
        UNION ALL
         SELECT 'caution'::text,
            e.value AS e
           FROM jsonb_array_elements(
                CASE
                    WHEN (jsonb_typeof((b.body -> 'Cautions'::text)) = 'array'::text) THEN (b.body -> 'Cautions'::text)
                    ELSE '[]'::jsonb
                END) e(value)) x);

COMMENT ON VIEW season.reason IS 'Stops fired, reasons and cautions of the last brief of each morning, one row each.';

COMMENT ON COLUMN season.reason.brief_id IS 'Key of the brief.';

COMMENT ON COLUMN season.reason.reach_id IS 'The reach.';

COMMENT ON COLUMN season.reason.day IS 'The morning.';

COMMENT ON COLUMN season.reason.season IS 'Calendar year.';

COMMENT ON COLUMN season.reason.verdict IS 'Verdict of the brief.';

COMMENT ON COLUMN season.reason.list IS 'stop, reason or caution.';

COMMENT ON COLUMN season.reason.code IS 'Rule that fired.';

COMMENT ON COLUMN season.reason.kind IS 'safety, legal, missing, odds, cap, caution or note.';

COMMENT ON COLUMN season.reason.wording IS 'As told.';

COMMENT ON COLUMN season.reason.source IS 'Agency or club rule.';

CREATE VIEW season.river AS
 SELECT r.reach_id,
    r.river,
    r.name AS reach,
    r.site_id,
    s.name AS gauge,
    r.temp_site_id,
    r.zone,
    r.regulated,
    r.max_flow_m3s,
    (r.max_flow_m3s / (0.028316846592)::double precision) AS max_flow_cfs,
    (NOT r.retired) AS fished,
    r.updated_at,
    NULLIF(((r.body ->> 'DriveKM'::text))::double precision, (0)::double precision) AS drive_km,
    (NULLIF(((r.body ->> 'DriveKM'::text))::double precision, (0)::double precision) / (1.609344)::double precision) AS drive_mi,
    ( SELECT string_agg((x.value ->> 'Name'::text), ', '::text) AS string_agg
           FROM jsonb_array_elements(
                CASE
                    WHEN (jsonb_typeof((r.body -> 'Spots'::text)) = 'array'::text) THEN (r.body -> 'Spots'::text)
                    ELSE '[]'::jsonb
                END) x(value)
          WHERE ((x.value ->> 'DepthRefM'::text) IS NULL)) AS spots_to_sound
   FROM (coldseam.reach r
     JOIN coldseam.site s USING (site_id));

COMMENT ON VIEW season.river IS 'Reaches and their gauges.';

COMMENT ON COLUMN season.river.reach_id IS 'Key of the reach, used in all views.';

COMMENT ON COLUMN season.river.river IS 'Name of the river.';

COMMENT ON COLUMN season.river.reach IS 'Name of the reach.';

COMMENT ON COLUMN season.river.site_id IS 'Key of its gauge, used in all views.';

COMMENT ON COLUMN season.river.gauge IS 'Name of the gauge.';

COMMENT ON COLUMN season.river.temp_site_id IS 'Neighbour whose thermometer is used; null = the gauge''s own.';

COMMENT ON COLUMN season.river.zone IS 'Time zone.';

COMMENT ON COLUMN season.river.regulated IS 'Flow is set by dam releases.';

COMMENT ON COLUMN season.river.max_flow_m3s IS 'Flow above which it is a STOP, m3/s.';

COMMENT ON COLUMN season.river.max_flow_cfs IS 'The same, ft3/s.';

COMMENT ON COLUMN season.river.fished IS 'Still fished.';

COMMENT ON COLUMN season.river.updated_at IS 'Last edit.';

COMMENT ON COLUMN season.river.drive_km IS 'The drive there and back that a STAY saves, km; null = not set.';

COMMENT ON COLUMN season.river.drive_mi IS 'The same, miles.';

COMMENT ON COLUMN season.river.spots_to_sound IS 'Spots without a sounded depth, for which no weight is told; null = none.';

CREATE VIEW season.roaming AS
 SELECT w.season,
    w.reaches,
        CASE
            WHEN (count(*) >= 3) THEN count(*)
            ELSE NULL::bigint
        END AS anglers,
        CASE
            WHEN (count(*) >= 3) THEN 0
            ELSE 3
        END AS anglers_lacking
   FROM ( SELECT book_open.season,
            book_open.who,
            count(DISTINCT book_open.reach_id) AS reaches
           FROM coldseam.book_open
          WHERE ((book_open.dimension = 'all'::text) AND (NOT book_open.stayed) AND (book_open.who <> ''::text))
          GROUP BY book_open.season, book_open.who) w
  GROUP BY w.season, w.reaches;

COMMENT ON VIEW season.roaming IS 'How many anglers of those whom the book counts fished how many different reaches.';

COMMENT ON COLUMN season.roaming.season IS 'Calendar year.';

COMMENT ON COLUMN season.roaming.reaches IS 'Different reaches fished.';

COMMENT ON COLUMN season.roaming.anglers IS 'Anglers who fished so many; null = fewer than three.';

COMMENT ON COLUMN season.roaming.anglers_lacking IS 'Different anglers that open the number, at most; 0 = open.';

CREATE VIEW season.rule AS
 SELECT season_rule.reach_id,
    season_rule.kind,
    season_rule.species,
    season_rule.allowed,
    season_rule.wording,
    season_rule.link,
    season_rule.checked_on,
    (season_rule.checked_on + 365) AS recheck_by,
    season_rule.closed
   FROM coldseam.season_rule;

COMMENT ON VIEW season.rule IS 'Local law as entered, with the day it was last checked.';

COMMENT ON COLUMN season.rule.reach_id IS 'The reach.';

COMMENT ON COLUMN season.rule.kind IS 'season, bait or life_jacket.';

COMMENT ON COLUMN season.rule.species IS 'Species key; empty = the whole reach.';

COMMENT ON COLUMN season.rule.allowed IS 'For bait rules: natural bait is allowed.';

COMMENT ON COLUMN season.rule.wording IS 'The rule in words.';

COMMENT ON COLUMN season.rule.link IS 'Where it is published.';

COMMENT ON COLUMN season.rule.checked_on IS 'Day it was last checked; null = never.';

COMMENT ON COLUMN season.rule.recheck_by IS 'Day after which it counts as not verified.';

COMMENT ON COLUMN season.rule.closed IS 'Closed spans of the year, JSON.';

CREATE VIEW season.wave AS
 WITH days AS (
         SELECT book_open.reach_id,
            book_open.species,
            book_open.day,
            count(DISTINCT NULLIF(book_open.who, ''::text)) AS anglers,
            sum(book_open.line_hours) AS hours,
            sum(book_open.fish) AS fish
           FROM coldseam.book_open
          WHERE ((book_open.dimension = 'all'::text) AND (NOT book_open.stayed))
          GROUP BY book_open.reach_id, book_open.species, book_open.day
        ), logged AS (
         SELECT d.reach_id,
            d.species,
            d.day,
            (((((d.fish)::numeric + 0.5))::double precision / d.hours) > ((((2)::numeric * (sum(w.fish) + 0.5)))::double precision / sum(w.hours))) AS came
           FROM (days d
             JOIN days w ON (((w.reach_id = d.reach_id) AND (w.species = d.species) AND ((w.day >= (d.day - 7)) AND (w.day <= (d.day - 1))))))
          WHERE ((d.anglers >= 3) AND (d.hours >= (6)::double precision))
          GROUP BY d.reach_id, d.species, d.day, d.fish, d.hours
         HAVING ((sum(w.hours) >= (6)::double precision) AND (max(w.anglers) >= 3))
        )
 SELECT r.reach_id,
    r.species,
    r.day,
    (EXTRACT(year FROM r.day))::integer AS season,
    r.stage,
    r.stage_p,
    r.p_wave,
    l.came,
    r.arrived_p10,
    r.arrived_p50,
    r.arrived_p90,
    r.spawned_p50,
    r.wave_rule
   FROM (coldseam.last_run r
     LEFT JOIN logged l USING (reach_id, species, day));

COMMENT ON VIEW season.wave IS 'State of the run told for each day, last issue, and whether the log saw a wave: twice the fish per line hour of the seven days before.';

COMMENT ON COLUMN season.wave.reach_id IS 'The reach.';

COMMENT ON COLUMN season.wave.species IS 'Species key.';

COMMENT ON COLUMN season.wave.day IS 'Civil day.';

COMMENT ON COLUMN season.wave.season IS 'Calendar year.';

COMMENT ON COLUMN season.wave.stage IS 'Most likely stage.';

COMMENT ON COLUMN season.wave.stage_p IS 'Its probability.';

COMMENT ON COLUMN season.wave.p_wave IS 'Probability of a wave that day.';

COMMENT ON COLUMN season.wave.came IS 'The log saw a wave; null = fewer than three anglers, or too few hours, that day or in the week before.';

COMMENT ON COLUMN season.wave.arrived_p10 IS '10 % quantile of the share arrived.';

COMMENT ON COLUMN season.wave.arrived_p50 IS 'Median share arrived.';

COMMENT ON COLUMN season.wave.arrived_p90 IS '90 % quantile of the share arrived.';

COMMENT ON COLUMN season.wave.spawned_p50 IS 'Median share that has spawned.';

COMMENT ON COLUMN season.wave.wave_rule IS 'What p_wave calls a wave: 1 = a fixed share of the run in one day, or not noted; 2 = twice the daily fish of the week before. Never average over both.';

CREATE VIEW season.run_date AS
 SELECT wave.reach_id,
    wave.species,
    wave.season,
    min(wave.day) FILTER (WHERE (wave.arrived_p50 >= (0.05)::double precision)) AS first_fish,
    min(wave.day) FILTER (WHERE (wave.arrived_p50 >= (0.5)::double precision)) AS half_in,
    min(wave.day) FILTER (WHERE (wave.spawned_p50 >= (0.5)::double precision)) AS half_spawned,
    (array_agg(wave.day ORDER BY wave.wave_rule DESC, wave.p_wave DESC, wave.day))[1] AS best_wave,
    (array_agg(wave.p_wave ORDER BY wave.wave_rule DESC, wave.p_wave DESC))[1] AS best_wave_p,
    min(wave.day) FILTER (WHERE (wave.arrived_p50 >= (0.95)::double precision)) AS last_fish
   FROM season.wave
  GROUP BY wave.reach_id, wave.species, wave.season;

COMMENT ON VIEW season.run_date IS 'Dates of the run by the run clock.';

COMMENT ON COLUMN season.run_date.reach_id IS 'The reach.';

COMMENT ON COLUMN season.run_date.species IS 'Species key.';

COMMENT ON COLUMN season.run_date.season IS 'Calendar year.';

COMMENT ON COLUMN season.run_date.first_fish IS 'First day with 5 % arrived.';

COMMENT ON COLUMN season.run_date.half_in IS 'First day with half arrived.';

COMMENT ON COLUMN season.run_date.half_spawned IS 'First day with half spawned.';

COMMENT ON COLUMN season.run_date.best_wave IS 'Day with the likeliest wave, by the newest rule of the season.';

COMMENT ON COLUMN season.run_date.best_wave_p IS 'Its probability.';

COMMENT ON COLUMN season.run_date.last_fish IS 'First day with 95 % arrived.';

CREATE VIEW season.skill AS
 WITH one AS (
         SELECT DISTINCT ON (forecast.reach_id, forecast.param, forecast.lead_day, forecast.valid_day) forecast.reach_id,
            forecast.site_id,
            forecast.param,
            forecast.source,
            forecast.issued_at,
            forecast.lead_day,
            forecast.valid_day,
            forecast.season,
            forecast.observed,
            forecast.p10,
            forecast.p50,
            forecast.p90,
            forecast.unit_us,
            forecast.observed_us,
            forecast.p10_us,
            forecast.p50_us,
            forecast.p90_us,
            forecast.crps,
            forecast.abs_error,
            forecast.inside,
            forecast.persistence_error
           FROM season.forecast
          ORDER BY forecast.reach_id, forecast.param, forecast.lead_day, forecast.valid_day, forecast.issued_at DESC
        ), pairs AS (
         SELECT one.reach_id,
            one.site_id,
            one.param,
            one.source,
            one.issued_at,
            one.lead_day,
            one.valid_day,
            one.season,
            one.observed,
            one.p10,
            one.p50,
            one.p90,
            one.unit_us,
            one.observed_us,
            one.p10_us,
            one.p50_us,
            one.p90_us,
            one.crps,
            one.abs_error,
            one.inside,
            one.persistence_error,
            lag(one.abs_error) OVER (PARTITION BY one.reach_id, one.param, one.season, one.lead_day ORDER BY one.valid_day) AS before
           FROM one
        ), sums AS (
         SELECT pairs.reach_id,
            pairs.param,
            pairs.season,
            pairs.lead_day,
            count(*) AS n,
            GREATEST(COALESCE(corr(pairs.abs_error, pairs.before), (0)::double precision), (0)::double precision) AS r,
            avg(pairs.abs_error) AS e,
            avg(pairs.crps) AS crps,
            (avg((pairs.inside)::integer))::double precision AS inside,
            avg(pairs.persistence_error) AS p,
            avg(pairs.abs_error) FILTER (WHERE (pairs.persistence_error IS NOT NULL)) AS ep,
            var_samp(pairs.abs_error) FILTER (WHERE (pairs.persistence_error IS NOT NULL)) AS ve,
            var_samp(pairs.persistence_error) AS vp,
            covar_samp(pairs.abs_error, pairs.persistence_error) AS vep
           FROM pairs
          GROUP BY pairs.reach_id, pairs.param, pairs.season, pairs.lead_day
        ), worth AS (
         SELECT sums.reach_id,
            sums.param,
            sums.season,
            sums.lead_day,
            sums.n,
            sums.r,
            sums.e,
            sums.crps,
            sums.inside,
            sums.p,
            sums.ep,
            sums.ve,
            sums.vp,
            sums.vep,
            (((sums.n)::double precision * ((1)::double precision - sums.r)) / ((1)::double precision + sums.r)) AS free,
            ((1)::double precision - (sums.ep / NULLIF(sums.p, (0)::double precision))) AS skill,
            (sqrt(GREATEST(((sums.ve - ((((2)::double precision * sums.ep) / NULLIF(sums.p, (0)::double precision)) * sums.vep)) + (((sums.ep / NULLIF(sums.p, (0)::double precision)) ^ (2)::double precision) * sums.vp)), (0)::double precision)) / NULLIF(sums.p, (0)::double precision)) AS sd
           FROM sums
        )
 SELECT worth.reach_id,
    worth.param,
    worth.season,
    worth.lead_day,
    worth.n,
    (floor(worth.free))::integer AS independent_days,
        CASE
            WHEN (worth.free >= (20)::double precision) THEN 'enough'::text
            ELSE 'too few'::text
        END AS evidence,
    worth.e AS mean_abs_error,
    worth.crps AS mean_crps,
    worth.p AS persistence_error,
        CASE
            WHEN (worth.free >= (20)::double precision) THEN worth.inside
            ELSE NULL::double precision
        END AS inside_share,
        CASE
            WHEN (worth.free >= (20)::double precision) THEN (((worth.inside + ((1.353)::double precision / worth.free)) - ((1.645)::double precision * sqrt((((worth.inside * ((1)::double precision - worth.inside)) / worth.free) + ((0.6765)::double precision / (worth.free ^ (2)::double precision)))))) / ((1)::double precision + ((2.706)::double precision / worth.free)))
            ELSE NULL::double precision
        END AS inside_lo,
        CASE
            WHEN (worth.free >= (20)::double precision) THEN (((worth.inside + ((1.353)::double precision / worth.free)) + ((1.645)::double precision * sqrt((((worth.inside * ((1)::double precision - worth.inside)) / worth.free) + ((0.6765)::double precision / (worth.free ^ (2)::double precision)))))) / ((1)::double precision + ((2.706)::double precision / worth.free)))
            ELSE NULL::double precision
        END AS inside_hi,
        CASE
            WHEN (worth.free >= (20)::double precision) THEN worth.skill
            ELSE NULL::double precision
        END AS skill,
        CASE
            WHEN (worth.free >= (20)::double precision) THEN (worth.skill - (((1.645)::double precision * worth.sd) / sqrt(worth.free)))
            ELSE NULL::double precision
        END AS skill_lo,
        CASE
            WHEN (worth.free >= (20)::double precision) THEN (worth.skill + (((1.645)::double precision * worth.sd) / sqrt(worth.free)))
            ELSE NULL::double precision
        END AS skill_hi
   FROM worth;

COMMENT ON VIEW season.skill IS 'Forecast skill by lead, the last issue of each day, with 90 % intervals; under 20 independent days nothing is claimed.';

COMMENT ON COLUMN season.skill.reach_id IS 'The reach.';

COMMENT ON COLUMN season.skill.param IS 'discharge (m3/s), stage (m) or water_temp (degC).';

COMMENT ON COLUMN season.skill.season IS 'Calendar year.';

COMMENT ON COLUMN season.skill.lead_day IS 'Day of the forecast; 1 = the day of issue.';

COMMENT ON COLUMN season.skill.n IS 'Days scored.';

COMMENT ON COLUMN season.skill.independent_days IS 'How many independent days those are worth, as errors of neighbouring days resemble one another.';

COMMENT ON COLUMN season.skill.evidence IS 'enough, or too few: under 20 independent days.';

COMMENT ON COLUMN season.skill.mean_abs_error IS 'Mean absolute error of the median.';

COMMENT ON COLUMN season.skill.mean_crps IS 'Mean continuous ranked probability score.';

COMMENT ON COLUMN season.skill.persistence_error IS 'Mean absolute error of "stays as it was yesterday".';

COMMENT ON COLUMN season.skill.inside_share IS 'Share measured within p10-p90, 0-1; 0.8 is right.';

COMMENT ON COLUMN season.skill.inside_lo IS 'Lower end of its 90 % interval.';

COMMENT ON COLUMN season.skill.inside_hi IS 'Upper end of its 90 % interval.';

COMMENT ON COLUMN season.skill.skill IS 'Share of that error saved by the forecast; 0 = none, 1 = all, negative = worse.';

COMMENT ON COLUMN season.skill.skill_lo IS 'Lower end of its 90 % interval.';

COMMENT ON COLUMN season.skill.skill_hi IS 'Upper end of its 90 % interval.';

CREATE VIEW season.stop AS
 SELECT s.reach_id,
    s.season,
    s.day,
    s.code,
    s.kind,
    s.wording,
    s.source,
    m.flow_cfs,
    m.flow_m3s,
    m.next_flow_cfs,
    m.next_flow_m3s,
    ( SELECT n.verdict
           FROM coldseam.morning_brief n
          WHERE ((n.reach_id = s.reach_id) AND (n.day = (s.day + 1)))) AS next_word,
    f.forecast_error_share
   FROM ((season.reason s
     LEFT JOIN season.morning m USING (reach_id, season, day))
     LEFT JOIN LATERAL ( SELECT (f_1.abs_error / NULLIF(f_1.observed, (0)::double precision)) AS forecast_error_share
           FROM season.forecast f_1
          WHERE ((f_1.reach_id = s.reach_id) AND (f_1.param = 'discharge'::text) AND (f_1.lead_day = 2) AND (f_1.valid_day = s.day))
          ORDER BY f_1.issued_at DESC
         LIMIT 1) f ON (true))
  WHERE ((s.list = 'stop'::text) OR ((s.kind = 'missing'::text) AND (s.verdict = 'NO CALL'::text)));

COMMENT ON VIEW season.stop IS 'Mornings that were stopped, or without a call for what was missing: a row for each rule, with what followed.';

COMMENT ON COLUMN season.stop.reach_id IS 'The reach.';

COMMENT ON COLUMN season.stop.season IS 'Calendar year.';

COMMENT ON COLUMN season.stop.day IS 'The morning.';

COMMENT ON COLUMN season.stop.code IS 'Rule that fired.';

COMMENT ON COLUMN season.stop.kind IS 'safety, legal or missing.';

COMMENT ON COLUMN season.stop.wording IS 'As told; null where the rule is told by its code alone.';

COMMENT ON COLUMN season.stop.source IS 'Agency or club rule.';

COMMENT ON COLUMN season.stop.flow_cfs IS 'Daily mean discharge of that day, ft3/s.';

COMMENT ON COLUMN season.stop.flow_m3s IS 'Daily mean discharge of that day, m3/s.';

COMMENT ON COLUMN season.stop.next_flow_cfs IS 'Daily mean discharge of the day after, ft3/s.';

COMMENT ON COLUMN season.stop.next_flow_m3s IS 'Daily mean discharge of the day after, m3/s.';

COMMENT ON COLUMN season.stop.next_word IS 'Word of the morning after.';

COMMENT ON COLUMN season.stop.forecast_error_share IS 'Error of the discharge forecast made the day before, as a share of what came, 0-1.';

CREATE VIEW season.weight AS
 SELECT book_cell.season,
    book_cell.reach_id,
    book_cell.species AS spot_id,
    (book_cell.cell)::double precision AS weight_oz,
    round((((book_cell.cell)::double precision * (28.349523125)::double precision))::numeric, 1) AS weight_g,
    book_cell.anglers,
    book_cell.trips AS logs,
    round(book_cell.held_share, 2) AS held_share,
    round((book_cell.median_m3s)::numeric) AS median_m3s,
    round(((book_cell.median_m3s / (0.028316846592)::double precision))::numeric, '-1'::integer) AS median_cfs
   FROM coldseam.book_cell
  WHERE (book_cell.dimension = 'held'::text);

COMMENT ON VIEW season.weight IS 'Which weights held bottom at which spot, where three different anglers logged one; it moves only with three.';

COMMENT ON COLUMN season.weight.season IS 'Calendar year.';

COMMENT ON COLUMN season.weight.reach_id IS 'The reach.';

COMMENT ON COLUMN season.weight.spot_id IS 'The spot.';

COMMENT ON COLUMN season.weight.weight_oz IS 'Jig weight, ounces.';

COMMENT ON COLUMN season.weight.weight_g IS 'Jig weight, grams.';

COMMENT ON COLUMN season.weight.anglers IS 'Different anglers.';

COMMENT ON COLUMN season.weight.logs IS 'Logs.';

COMMENT ON COLUMN season.weight.held_share IS 'Share that held bottom, 0-1.';

COMMENT ON COLUMN season.weight.median_m3s IS 'Median discharge of the logs, m3/s.';

COMMENT ON COLUMN season.weight.median_cfs IS 'Median discharge of the logs, ft3/s.';

ALTER TABLE ONLY coldseam.alert
    ADD CONSTRAINT alert_pkey PRIMARY KEY (feed, document, provider, sender, identifier, sent_at, known_at);

ALTER TABLE ONLY coldseam.band
    ADD CONSTRAINT band_key UNIQUE (key);

ALTER TABLE ONLY coldseam.band
    ADD CONSTRAINT band_pkey PRIMARY KEY (band_no);

ALTER TABLE ONLY coldseam.bank_word
    ADD CONSTRAINT bank_word_pkey PRIMARY KEY (bank_word_id);

ALTER TABLE ONLY coldseam.book_row
    ADD CONSTRAINT book_row_pkey PRIMARY KEY (dimension, season, reach_id, species, cell, source);

ALTER TABLE ONLY coldseam.bounce
    ADD CONSTRAINT bounce_pkey PRIMARY KEY (bounce_id);

ALTER TABLE ONLY coldseam.brief
    ADD CONSTRAINT brief_key UNIQUE (reach_id, day, issued_at, replay);

ALTER TABLE ONLY coldseam.brief
    ADD CONSTRAINT brief_pkey PRIMARY KEY (brief_id);

ALTER TABLE ONLY coldseam.climatology
    ADD CONSTRAINT climatology_pkey PRIMARY KEY (site_id, param, doy, made_at);

ALTER TABLE ONLY coldseam.club_setting
    ADD CONSTRAINT club_setting_pkey PRIMARY KEY (one);

ALTER TABLE ONLY coldseam.confirmation
    ADD CONSTRAINT confirmation_key UNIQUE (site_id, param, from_at, until_at, known_at);

ALTER TABLE ONLY coldseam.confirmation
    ADD CONSTRAINT confirmation_pkey PRIMARY KEY (confirmation_id);

ALTER TABLE ONLY coldseam.crossing
    ADD CONSTRAINT crossing_pkey PRIMARY KEY (site_id, issued_at, edge_c, up);

ALTER TABLE ONLY coldseam.day_summary
    ADD CONSTRAINT day_summary_pkey PRIMARY KEY (series_id, day);

ALTER TABLE ONLY coldseam.day_year
    ADD CONSTRAINT day_year_pkey PRIMARY KEY (series_id, year);

ALTER TABLE ONLY coldseam.edition
    ADD CONSTRAINT edition_pkey PRIMARY KEY (edition_id);

ALTER TABLE ONLY coldseam.ensemble
    ADD CONSTRAINT ensemble_key UNIQUE (site_id, param, issued_at, source);

ALTER TABLE ONLY coldseam.ensemble
    ADD CONSTRAINT ensemble_pkey PRIMARY KEY (ensemble_id);

ALTER TABLE ONLY coldseam.entry_key
    ADD CONSTRAINT entry_key_pkey PRIMARY KEY (subscriber_id, entry_key);

ALTER TABLE ONLY coldseam.fetch_state
    ADD CONSTRAINT fetch_state_pkey PRIMARY KEY (profile, url);

ALTER TABLE ONLY coldseam.float_timing
    ADD CONSTRAINT float_timing_pkey PRIMARY KEY (float_timing_id);

ALTER TABLE ONLY coldseam.flood_level
    ADD CONSTRAINT flood_level_pkey PRIMARY KEY (site_id, kind, param);

ALTER TABLE ONLY coldseam.forecast
    ADD CONSTRAINT forecast_key UNIQUE (site_id, param, stat, period, provider, issued_at, known_at);

ALTER TABLE ONLY coldseam.forecast
    ADD CONSTRAINT forecast_pkey PRIMARY KEY (forecast_id);

ALTER TABLE ONLY coldseam.forecast_score
    ADD CONSTRAINT forecast_score_pkey PRIMARY KEY (site_id, param, issued_at, lead_day, source);

ALTER TABLE ONLY coldseam.gauging
    ADD CONSTRAINT gauging_pkey PRIMARY KEY (site_id, measured_at);

ALTER TABLE ONLY coldseam.ice_state
    ADD CONSTRAINT ice_state_pkey PRIMARY KEY (reach_id, day, known_at);

ALTER TABLE ONLY coldseam.ice_word
    ADD CONSTRAINT ice_word_key UNIQUE (reach_id, said_at, open, who);

ALTER TABLE ONLY coldseam.ice_word
    ADD CONSTRAINT ice_word_pkey PRIMARY KEY (ice_word_id);

ALTER TABLE ONLY coldseam.latest
    ADD CONSTRAINT latest_pkey PRIMARY KEY (series_id);

ALTER TABLE ONLY coldseam.model
    ADD CONSTRAINT model_pkey PRIMARY KEY (owner, kind, version);

ALTER TABLE ONLY coldseam.observation
    ADD CONSTRAINT observation_pkey PRIMARY KEY (series_id, valid_at);

ALTER TABLE ONLY coldseam.observation_revision
    ADD CONSTRAINT observation_revision_pkey PRIMARY KEY (series_id, valid_at, known_at);

ALTER TABLE ONLY coldseam.outbox
    ADD CONSTRAINT outbox_key UNIQUE NULLS NOT DISTINCT (subscriber_id, admin_email, local_date, kind, reach_id);

ALTER TABLE ONLY coldseam.outbox
    ADD CONSTRAINT outbox_pkey PRIMARY KEY (outbox_id);

ALTER TABLE ONLY coldseam.pace
    ADD CONSTRAINT pace_pkey PRIMARY KEY (domain);

ALTER TABLE ONLY coldseam.qc_change
    ADD CONSTRAINT qc_change_pkey PRIMARY KEY (series_id, valid_at, changed_at);

ALTER TABLE ONLY coldseam.qualifier_set
    ADD CONSTRAINT qualifier_set_codes_key UNIQUE (codes);

ALTER TABLE ONLY coldseam.qualifier_set
    ADD CONSTRAINT qualifier_set_pkey PRIMARY KEY (qualifier_set_id);

ALTER TABLE ONLY coldseam.rate_count
    ADD CONSTRAINT rate_count_pkey PRIMARY KEY (bucket, window_start);

ALTER TABLE ONLY coldseam.rating
    ADD CONSTRAINT rating_pkey PRIMARY KEY (site_id, valid_from, known_at);

ALTER TABLE ONLY coldseam.raw_fetch
    ADD CONSTRAINT raw_fetch_pkey PRIMARY KEY (fetch_id);

ALTER TABLE ONLY coldseam.reach_edit
    ADD CONSTRAINT reach_edit_pkey PRIMARY KEY (reach_id, edit);

ALTER TABLE ONLY coldseam.reach
    ADD CONSTRAINT reach_pkey PRIMARY KEY (reach_id);

ALTER TABLE ONLY coldseam.request_budget
    ADD CONSTRAINT request_budget_pkey PRIMARY KEY (host);

ALTER TABLE ONLY coldseam.rig_log
    ADD CONSTRAINT rig_log_key UNIQUE NULLS NOT DISTINCT (reach_id, spot_id, logged_at, angler, weight_oz, trip_id);

ALTER TABLE ONLY coldseam.rig_log
    ADD CONSTRAINT rig_log_pkey PRIMARY KEY (rig_log_id);

ALTER TABLE ONLY coldseam.run_state
    ADD CONSTRAINT run_state_pkey PRIMARY KEY (reach_id, species, day, issued_at);

ALTER TABLE ONLY coldseam.season_rule
    ADD CONSTRAINT season_rule_pkey PRIMARY KEY (reach_id, rule_no);

ALTER TABLE ONLY coldseam.series
    ADD CONSTRAINT series_key UNIQUE (site_id, param, stat, period, provider, series_ref);

ALTER TABLE ONLY coldseam.series
    ADD CONSTRAINT series_pkey PRIMARY KEY (series_id);

ALTER TABLE ONLY coldseam.site
    ADD CONSTRAINT site_pkey PRIMARY KEY (site_id);

ALTER TABLE ONLY coldseam.subscriber
    ADD CONSTRAINT subscriber_pkey PRIMARY KEY (subscriber_id);

ALTER TABLE ONLY coldseam.switch
    ADD CONSTRAINT switch_pkey PRIMARY KEY (name);

ALTER TABLE ONLY coldseam.threshold_audit
    ADD CONSTRAINT threshold_audit_pkey PRIMARY KEY (audit_id);

ALTER TABLE ONLY coldseam.threshold
    ADD CONSTRAINT threshold_pkey PRIMARY KEY (key);

ALTER TABLE ONLY coldseam.trip
    ADD CONSTRAINT trip_key UNIQUE NULLS NOT DISTINCT (reach_id, day, angler, species, start_at, nth);

ALTER TABLE ONLY coldseam.trip
    ADD CONSTRAINT trip_pkey PRIMARY KEY (trip_id);

CREATE INDEX alert_ends_idx ON coldseam.alert USING btree (ends_at);

CREATE INDEX alert_references_idx ON coldseam.alert USING gin (reference_ids);

CREATE INDEX bank_word_reach ON coldseam.bank_word USING btree (reach_id, said_at);

CREATE INDEX bank_word_subscriber ON coldseam.bank_word USING btree (subscriber_id, known_at);

CREATE INDEX bounce_subscriber_idx ON coldseam.bounce USING btree (subscriber_id, bounced_at);

CREATE INDEX brief_day_idx ON coldseam.brief USING btree (day);

CREATE INDEX float_timing_spot ON coldseam.float_timing USING btree (reach_id, spot_id, timed_at);

CREATE INDEX float_timing_subscriber ON coldseam.float_timing USING btree (subscriber_id, known_at);

CREATE INDEX forecast_issued_idx ON coldseam.forecast USING btree (site_id, param, issued_at);

CREATE INDEX model_made_idx ON coldseam.model USING btree (owner, kind, made_at, version);

CREATE INDEX outbox_day_idx ON coldseam.outbox USING btree (local_date);

CREATE INDEX outbox_edition_idx ON coldseam.outbox USING btree (edition_id);

CREATE INDEX outbox_leased_idx ON coldseam.outbox USING btree (lease_until) WHERE (state = ANY (ARRAY['claimed'::text, 'in_data'::text, 'unknown'::text]));

CREATE INDEX outbox_open_idx ON coldseam.outbox USING btree (priority, next_at) WHERE (state = ANY (ARRAY['pending'::text, 'deferred'::text]));

CREATE INDEX raw_fetch_url_idx ON coldseam.raw_fetch USING btree (profile, url, fetched_at DESC);

CREATE INDEX reach_place_idx ON coldseam.reach USING gist (point(lon_deg, lat_deg));

CREATE INDEX reach_site_idx ON coldseam.reach USING btree (site_id);

CREATE INDEX site_place_idx ON coldseam.site USING btree (lat_deg, lon_deg);

CREATE UNIQUE INDEX subscriber_email_key ON coldseam.subscriber USING btree (lower(email));

CREATE INDEX trip_day_idx ON coldseam.trip USING btree (day);

ALTER TABLE ONLY coldseam.bank_word
    ADD CONSTRAINT bank_word_reach_fkey FOREIGN KEY (reach_id) REFERENCES coldseam.reach(reach_id);

ALTER TABLE ONLY coldseam.bank_word
    ADD CONSTRAINT bank_word_subscriber_fkey FOREIGN KEY (subscriber_id) REFERENCES coldseam.subscriber(subscriber_id) ON DELETE SET NULL;

ALTER TABLE ONLY coldseam.bounce
    ADD CONSTRAINT bounce_subscriber_fkey FOREIGN KEY (subscriber_id) REFERENCES coldseam.subscriber(subscriber_id) ON DELETE CASCADE;

ALTER TABLE ONLY coldseam.confirmation
    ADD CONSTRAINT confirmation_site_fkey FOREIGN KEY (site_id) REFERENCES coldseam.site(site_id);

ALTER TABLE ONLY coldseam.day_year
    ADD CONSTRAINT day_year_series_fkey FOREIGN KEY (series_id) REFERENCES coldseam.series(series_id) ON DELETE CASCADE;

ALTER TABLE ONLY coldseam.entry_key
    ADD CONSTRAINT entry_key_subscriber_fkey FOREIGN KEY (subscriber_id) REFERENCES coldseam.subscriber(subscriber_id) ON DELETE CASCADE;

ALTER TABLE ONLY coldseam.float_timing
    ADD CONSTRAINT float_timing_reach_fkey FOREIGN KEY (reach_id) REFERENCES coldseam.reach(reach_id);

ALTER TABLE ONLY coldseam.float_timing
    ADD CONSTRAINT float_timing_subscriber_fkey FOREIGN KEY (subscriber_id) REFERENCES coldseam.subscriber(subscriber_id) ON DELETE SET NULL;

ALTER TABLE ONLY coldseam.ice_state
    ADD CONSTRAINT ice_state_reach_fkey FOREIGN KEY (reach_id) REFERENCES coldseam.reach(reach_id);

ALTER TABLE ONLY coldseam.ice_word
    ADD CONSTRAINT ice_word_reach_fkey FOREIGN KEY (reach_id) REFERENCES coldseam.reach(reach_id);

ALTER TABLE ONLY coldseam.outbox
    ADD CONSTRAINT outbox_edition_fkey FOREIGN KEY (edition_id) REFERENCES coldseam.edition(edition_id);

ALTER TABLE ONLY coldseam.outbox
    ADD CONSTRAINT outbox_subscriber_fkey FOREIGN KEY (subscriber_id) REFERENCES coldseam.subscriber(subscriber_id) ON DELETE CASCADE;

ALTER TABLE ONLY coldseam.reach_edit
    ADD CONSTRAINT reach_edit_reach_fkey FOREIGN KEY (reach_id) REFERENCES coldseam.reach(reach_id);

ALTER TABLE ONLY coldseam.reach
    ADD CONSTRAINT reach_site_fkey FOREIGN KEY (site_id) REFERENCES coldseam.site(site_id);

ALTER TABLE ONLY coldseam.rig_log
    ADD CONSTRAINT rig_log_reach_fkey FOREIGN KEY (reach_id) REFERENCES coldseam.reach(reach_id);

ALTER TABLE ONLY coldseam.rig_log
    ADD CONSTRAINT rig_log_trip_fkey FOREIGN KEY (trip_id) REFERENCES coldseam.trip(trip_id) ON DELETE CASCADE;

ALTER TABLE ONLY coldseam.season_rule
    ADD CONSTRAINT season_rule_reach_fkey FOREIGN KEY (reach_id) REFERENCES coldseam.reach(reach_id) ON DELETE CASCADE;

ALTER TABLE ONLY coldseam.series
    ADD CONSTRAINT series_site_fkey FOREIGN KEY (site_id) REFERENCES coldseam.site(site_id);

ALTER TABLE ONLY coldseam.trip
    ADD CONSTRAINT trip_reach_fkey FOREIGN KEY (reach_id) REFERENCES coldseam.reach(reach_id);

ALTER TABLE ONLY coldseam.trip
    ADD CONSTRAINT trip_subscriber_fkey FOREIGN KEY (subscriber_id) REFERENCES coldseam.subscriber(subscriber_id) ON DELETE SET NULL;
