"""The command line: thin commands that parse, call the library and show what it gives.

`main` is the group and imports a command only when it is called. Errors become messages and
exit codes in `translating`, verdicts become exit codes in `exit_codes`; nothing is measured or
decided here.
"""
