"""Records: what was measured, kept for good, in one relational schema.

Modules, in the order to read them:

- `run_header`: the frozen values that readers hand out (no database needed to import it)
- `schema`: the tables; `migrations`: how a database gets them
- `migrating`: runs the migrations, refuses what is newer or not ours
- `database`: connections, durability, and what a database's complaints mean
- `writing`: one run being written, one transaction a point
- `reading`: everything that can be asked of the records
- `store`: the two together behind one door; start here to use the records
- `resuming`: where to take up a run that was stopped
- `export`: one run as CSV, Parquet and JSON files
- `import_columns`, `import_table`, `importing`: observations measured elsewhere become a run
  like any other

Records are added, never edited: nothing here updates or deletes a row.
"""
