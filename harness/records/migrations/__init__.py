"""Ordered, named migrations of the record schema, run by `harness.records.migrating`."""
