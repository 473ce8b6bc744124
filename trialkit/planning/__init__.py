"""Before a trial: what it is worth, what it could tell, what it takes, when things are due.

`effort` (what a trial takes), `beliefs` and `earlier_trials` (what is thought before it), `trial_value` (designs within
the limits, what they are worth, which to run); `planned_design` (planned heads and their model), `assumptions`
(variances), `power` (numbers alone), `exact`, `simulation` and `simulated_power` (what a design can tell),
`planned_power` (the answers), `executors` (where simulations run), `trial_sizes` (sizes near a trial); `benches`,
`calendar`, `shopping`; `trial_plan` puts the document together. `invented_county` stands in for real records in
examples and tests.
"""
