"""Descriptions: what the user writes in TOML, as frozen values.

bench, board, instrument, curve, plan : the declared types; values : their field types.
setup : everything about one run together, and its canonical text and hash.
reading : files -> values, or all faults at once; start here.
faults, locating, wording : what a fault is, where it stands, how it reads.
cross_checks and its parts : faults that only show when files are read together.
paths, curve_values : relay names and thermistor curves as the rest of the harness needs them.
library/ : generic instrument models and curves, found by bare name.

Nothing here talks to an instrument, waits, or imports a layer above.
"""
