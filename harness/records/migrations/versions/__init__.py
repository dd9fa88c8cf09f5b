"""One module a migration, numbered in order; a released one is never changed."""
