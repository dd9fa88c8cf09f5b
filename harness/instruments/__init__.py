"""Instruments: what turns plain requests into messages on a wire, and replies into values.

Bottom up: `wire` (bytes to and fro; `visa_wire` is the real one) <- `transport` (one message and
its answer, in step) <- `driver` (identity, error queue) <- the roles `supply`, `meter`, `decade`,
`switch`. The `envelope` stands before every supply command, `relay_guard` before every closing
relay, `regulation` behind every set-point, `bench_lock` before everything. `faults` names what
can go wrong. Nothing here knows of boards, checks or records.
"""
