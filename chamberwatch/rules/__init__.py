"""One file a rule: frozen Params, immutable State, a pure `step`. None raises on data."""
