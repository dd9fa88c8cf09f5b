"""Figures of a report: one file a figure, each a function that returns a matplotlib `Figure`.

style : colours, sizes and the `styled` decorator; svg : a figure as repeatable SVG text.
panels : what several figures share: errors of one channel with limits and uncertainty.
gallery : which figures a report has, with title and caption; start there.

No pyplot, no global state left behind, no clock: the same findings give the same bytes.
"""
