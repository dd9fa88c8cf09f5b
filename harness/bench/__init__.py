"""The bench behind one facade: `opening` opens and proves it off, `workbench` drives it.

`source` computes set-points and ramps, `acquisition` settles and overlaps meter and board,
`capabilities` says what a bench can do. No limit of a board is known here.
"""
