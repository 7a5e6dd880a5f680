"""Commissioning: the sums behind each step, the steps themselves, and the record that keeps them.

Pure: it is handed readings and dates. `steps.STEPS` says what to do and which verdicts each step unlocks,
`evaluate.evaluate` turns the readings of a step into its result, and `record` keeps both as JSON.
"""
