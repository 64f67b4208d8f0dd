"""Electrolysis arithmetic: what charge makes, what it costs, what the lye is, what the gas could do.

`constants`, `errors` and `elementwise` stand below; `faraday` and `thermodynamics` on them; `lye` (properties), `batch`
(making up and correcting), `efficiency`, `gas_safety` and `room` on those. Every function takes floats or arrays, names
its units, and raises errors.OutOfRange where its source no longer holds.
"""
