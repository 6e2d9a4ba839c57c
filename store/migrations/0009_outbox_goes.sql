-- Which reaches a mail told its reader to go to: corrections and the question
-- how it went look at this list instead of reading every payload.
ALTER TABLE coldseam.outbox ADD COLUMN goes text[] NOT NULL DEFAULT '{}';
COMMENT ON COLUMN coldseam.outbox.goes IS 'Reaches that it told GO or TOSS-UP for.';
