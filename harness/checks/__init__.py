"""Checks: one module a check, each with planned points, `acquire` (I/O) and `judge` (pure).

check : what a check is, and the bench as checks see it.
registry : kind -> check; the place where a new kind of check is added.
mapping, cell_accuracy, stack_total, noise, thermistor_accuracy, thermistor_faults : the checks.
judgement : a whole run, or many runs, judged under a whole plan.
effort : how many frames and readings a point gets, and the meter's integration time.
limits : the limits that apply, the plan's before the board's.
visiting : what all checks do alike when they visit a point.
samples : observations arranged as arrays over visit, channel and sample.
reference : the meter, range, column and bracket behind the reference readings.
reference_budget, board_budget : contributions to uncertainty of the bench and of the board.
mapping_evidence, mapping_story : what channels did while cells moved, and the words for it.
cell_budget, stack_budget, thermistor_budget : the budgets that are made of them.
statements : errors, limits and budgets turned into findings.
usability : values that must not be judged, each with its sentence.
liveness, thermistor_states : what a channel that repeats itself, or a thermistor frame, says.

Nothing here imports a driver, a store or a face.
"""
