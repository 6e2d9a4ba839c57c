-- The admin's word on readings stands in the recap schema beside the other edits.
CREATE VIEW season.confirmation AS
SELECT site_id, param, from_at, until_at, known_at, why
FROM coldseam.confirmation;
COMMENT ON VIEW season.confirmation IS 'Readings that the admin stands for whatever their flags say, without names.';
COMMENT ON COLUMN season.confirmation.site_id IS 'The gauge.';
COMMENT ON COLUMN season.confirmation.param IS 'Parameter.';
COMMENT ON COLUMN season.confirmation.from_at IS 'First reading that the word speaks of.';
COMMENT ON COLUMN season.confirmation.until_at IS 'Last reading that it speaks of.';
COMMENT ON COLUMN season.confirmation.known_at IS 'When it was entered; readings that came or changed later are not covered.';
COMMENT ON COLUMN season.confirmation.why IS 'The reason given.';
