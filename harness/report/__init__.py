"""Reports: from a judged run to sentences, figures, one HTML file and terminal output.

document : what a report is made from (`ReportInput`); the boundary to the command line.
quantities, sentences, ranking, summary, budget_rows : pure; numbers and words, no layout.
figures/ : one file a figure, matplotlib without pyplot.
html, view : the self-contained HTML file; start at `html.render_html`.
terminal : rich renderables; imports no plotting and no templates.

Nothing here talks to a bench, reads a clock or decides a verdict: the same input gives the
same bytes.
"""
