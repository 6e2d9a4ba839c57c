-- What was told is sealed: a brief carries a hash over the seal before it and
-- over itself, so that an edit, an insertion or a deletion shows.
ALTER TABLE coldseam.brief ADD COLUMN seal bytea;
COMMENT ON COLUMN coldseam.brief.seal IS 'SHA-256 over the seal of the brief told before, by brief_id, and over this brief but its chart; null = a replay, or told before briefs were sealed. A migration must not rewrite what it covers.';

CREATE FUNCTION coldseam.brief_seal(before bytea, b coldseam.brief) RETURNS bytea LANGUAGE sql STABLE
SET timezone = 'UTC' SET extra_float_digits = 1
RETURN sha256(COALESCE(before, ''::bytea) || convert_to(jsonb_build_array((b).brief_id, (b).reach_id, (b).day, (b).issued_at,
  (b).good_until, (b).verdict, (b).odds, (b).odds_note, (b).hold_p, (b).cost, (b).window_start, (b).window_end, (b).water_c,
  (b).discharge_m3s, (b).stage_m, (b).tie_oz, (b).band, (b).flow_class, (b).run_stage, (b).advice_row, (b).sure, (b).replay,
  (b).body - 'Chart')::text, 'UTF8'));
COMMENT ON FUNCTION coldseam.brief_seal IS 'The seal of a brief after the seal before it.';
