"""Instruments: what turns plain requests into messages on a wire, and replies into values.

Bottom up: `wire` (bytes to and fro) <- `transport` (one message and its answer, in step) <-
`driver` (identity, error queue) <- the roles `supply`, `meter`, `decade`, `switch`. The
`envelope` stands before every supply command, `relay_guard` before every closing relay, and
`bench_lock` before everything. `opening` puts them together from a description.
"""
