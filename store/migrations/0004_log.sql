-- What anglers tell: trips and weights that held or did not.

CREATE TABLE coldseam.trip (
  trip_id       int8        GENERATED ALWAYS AS IDENTITY,
  reach_id      text        NOT NULL,
  subscriber_id int8,
  angler        text        NOT NULL,
  day           date        NOT NULL,
  start_at      timestamptz,
  hours         float8      NOT NULL,
  anglers       int4        NOT NULL,
  lines         int4        NOT NULL,
  species       text        NOT NULL,
  fish          int4        NOT NULL,
  looked_at     int4        NOT NULL,
  ripe          int4        NOT NULL,
  spent         int4        NOT NULL,
  released      int4        NOT NULL,
  spot_id       text        NOT NULL,
  presentation  text        NOT NULL,
  body          text        NOT NULL,
  line          text        NOT NULL,
  weight_oz     float8,
  held          boolean,
  held_at       timestamptz,
  angle_deg     float8,
  because_mail  boolean,
  went_not      boolean     NOT NULL,
  water_c       float8,
  water_at      timestamptz,
  clarity       text        NOT NULL,
  first_fish_at timestamptz,
  night         boolean     NOT NULL,
  note          text        NOT NULL,
  entered_at    timestamptz NOT NULL,
  source        text        NOT NULL,
  CONSTRAINT trip_pkey PRIMARY KEY (trip_id),
  CONSTRAINT trip_key UNIQUE NULLS NOT DISTINCT (reach_id, day, angler, species, start_at),
  CONSTRAINT trip_reach_fkey FOREIGN KEY (reach_id) REFERENCES coldseam.reach (reach_id),
  CONSTRAINT trip_subscriber_fkey FOREIGN KEY (subscriber_id) REFERENCES coldseam.subscriber (subscriber_id) ON DELETE SET NULL,
  CONSTRAINT trip_counts CHECK (hours >= 0 AND anglers >= 0 AND lines >= 0 AND fish >= 0)
);
CREATE INDEX trip_day_idx ON coldseam.trip (day);
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

CREATE TABLE coldseam.rig_log (
  rig_log_id    int8        GENERATED ALWAYS AS IDENTITY,
  trip_id       int8,
  reach_id      text        NOT NULL,
  spot_id       text        NOT NULL,
  logged_at     timestamptz NOT NULL,
  angler        text        NOT NULL,
  presentation  text        NOT NULL,
  body          text        NOT NULL,
  line          text        NOT NULL,
  weight_oz     float8      NOT NULL,
  held          boolean     NOT NULL,
  angle_deg     float8,
  discharge_m3s float8,
  stage_m       float8,
  CONSTRAINT rig_log_pkey PRIMARY KEY (rig_log_id),
  CONSTRAINT rig_log_key UNIQUE (reach_id, spot_id, logged_at, angler, weight_oz),
  CONSTRAINT rig_log_reach_fkey FOREIGN KEY (reach_id) REFERENCES coldseam.reach (reach_id),
  CONSTRAINT rig_log_trip_fkey FOREIGN KEY (trip_id) REFERENCES coldseam.trip (trip_id) ON DELETE CASCADE,
  CONSTRAINT rig_log_weight_positive CHECK (weight_oz > 0)
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
