-- The class of the flow told is the one of coldseam.flow_class, without words.
UPDATE coldseam.brief SET flow_class = CASE flow_class WHEN 'normal for the date' THEN 'normal' ELSE replace(flow_class, ' normal for the date', '') END
WHERE flow_class LIKE '%for the date';
COMMENT ON COLUMN coldseam.brief.flow_class IS 'Class of the flow for the date: much below, below, normal, above, much above; empty = under 10 years of record.';
COMMENT ON COLUMN season.brief.flow_class IS 'Class of the flow for the date told: much below, below, normal, above, much above; empty = under 10 years of record.';
