"""The journal: one SQLite file that holds readings, events, alarms, notices owed, pieces and requests.

`store` is the one writer of the air and its events; `facts` writes what the owner says; `outbox` and `tail`
serve the notifier and the series writer; `reader` only reads. Each opens its own connection, so each may
live in its own thread or process; WAL and short transactions keep them out of one another's way.
"""
