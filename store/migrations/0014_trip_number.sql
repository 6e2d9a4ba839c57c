-- Trips of a paper log that say the same are told apart by their number, and a
-- weight belongs to its trip.
ALTER TABLE coldseam.trip ADD COLUMN nth int4 NOT NULL DEFAULT 0;
ALTER TABLE coldseam.trip DROP CONSTRAINT trip_key;
ALTER TABLE coldseam.trip ADD CONSTRAINT trip_key UNIQUE NULLS NOT DISTINCT (reach_id, day, angler, species, start_at, nth);
COMMENT ON COLUMN coldseam.trip.nth IS 'Number among the trips of a paper log of one reach, day, angler, species and start, from 0; 0 for all others.';
ALTER TABLE coldseam.rig_log DROP CONSTRAINT rig_log_key;
ALTER TABLE coldseam.rig_log ADD CONSTRAINT rig_log_key UNIQUE NULLS NOT DISTINCT (reach_id, spot_id, logged_at, angler, weight_oz, trip_id);
