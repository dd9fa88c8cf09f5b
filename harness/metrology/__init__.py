"""Measurement science: pure functions on numbers and arrays, nothing else.

No file, socket, clock, print or random source in here; a random generator comes in as an
argument. Values are SI (degrees Celsius for temperature), arrays have shape (n,) with one
entry a finding unless said otherwise, and nothing loops over findings. Import the module you
need:

specification     what a meter's data sheet promises, as a standard uncertainty
repeatability     means, scatter, autocorrelation, grouped and pooled
resolution        the reported step, with and without the board's own noise
loading           input resistance on a source resistance
budget            contributions, their combination, Welch-Satterthwaite
coverage          coverage factor from the shape of the combined distribution
decision          verdict words, decision rules, specific risks
guard_band        acceptance limits by the customary formulas
risk              global consumer's and producer's risk
montecarlo        propagation of distributions (JCGM 101)
propagation       law of propagation with correlations (GUM 5.2)
line              straight lines with covariance
thermistor        thermistor curves; platinum : Pt100
settling          is it settled, when will it be
planning          how many frames, which integration time
bases             cell basis and tap basis
control_chart     constants of small samples
"""
