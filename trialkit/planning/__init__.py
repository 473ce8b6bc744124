"""Before a trial: what it could tell, what it costs, when things are due.

`design` (planned heads and their model), `assumptions` (variances), `power` (numbers alone), `exact`, `simulation` and
`simulated` (what a design can tell), `outcome` (the answers), `executors` (where simulations run), `grid` and `gains`
(sizes around a trial, what buys most), `dose_precision`. `invented_county` stands in for real records in examples and
tests.
"""
