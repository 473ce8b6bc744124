"""Before a trial: what it could tell, what it costs, when things are due.

`planned_design` (planned heads and their model), `assumptions` (variances), `power` (numbers alone), `exact`,
`simulation` and `simulated_power` (what a design can tell), `planned_power` (the answers), `executors` (where
simulations run), `trial_sizes`, `enlargements` and `larger_trials` (sizes near a trial, what buys most, what has the
power wanted), `benches`, `calendar`, `shopping`; `trial_plan` puts the document together. `invented_county`
stands in for real records in examples and tests.
"""
