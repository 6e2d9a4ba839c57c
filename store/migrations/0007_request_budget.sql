-- A provider counts requests by address or key, whichever of the club's servers
-- sends them: they share one budget a host.
CREATE TABLE coldseam.request_budget (
  host       text        NOT NULL,
  whole_at   timestamptz NOT NULL,
  held_until timestamptz,
  CONSTRAINT request_budget_pkey PRIMARY KEY (host)
);
COMMENT ON TABLE coldseam.request_budget IS 'Requests to a host, shared by all servers of the club.';
COMMENT ON COLUMN coldseam.request_budget.host IS 'Host name, with its port where it is not the usual one.';
COMMENT ON COLUMN coldseam.request_budget.whole_at IS 'When the budget is whole again if nothing more is asked; each request moves it.';
COMMENT ON COLUMN coldseam.request_budget.held_until IS 'The host asked not to be called before; null = never asked.';
