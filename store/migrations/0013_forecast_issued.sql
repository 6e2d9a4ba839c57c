-- The newest issue of a forecast is found without a look at those of years.
CREATE INDEX forecast_issued_idx ON coldseam.forecast (site_id, param, issued_at);
