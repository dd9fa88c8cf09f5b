"""Running a plan: `conduct` opens the bench, runs, keeps the end; `executor` visits points.

`floor` and `rehearsal` say beforehand what a run takes; `rejudge` decides a kept run again.
Nothing here prints, and nothing here knows how an instrument speaks.
"""
