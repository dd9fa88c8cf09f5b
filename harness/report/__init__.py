"""Reports: from a judged run to sentences, figures, one HTML file and terminal output.

document : what a report is made from (`ReportInput`); the boundary to the command line.
quantities, sentences, wording, ranking, summary, budget_rows, tap_errors, code_histogram : pure;
numbers and words, no layout.
tables, calibration, conditions : what the HTML shows, as plain text cells.
figures/ : one file a figure, matplotlib without pyplot; start at `figures.gallery`.
html : the self-contained HTML file; start at `html.render_html`.
terminal : rich renderables; imports no plotting and no templates.

Nothing here talks to a bench, reads a clock or decides a verdict: the same input gives the
same bytes.
"""
