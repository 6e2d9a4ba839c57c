-- The newest day of every series is updated with each fetch: room on its page
-- keeps the key out of it.
ALTER TABLE coldseam.day_summary SET (fillfactor = 85);
