"""Fits to logged runs: how the can warms, how lap time goes with the gear, what a run takes.

Robust fits with a prior, in plain Python: `can`, `laps`, `corners`, `charge`, `top_speed` (which
teaches drag and power), on the equations of `linear`. `run_history` sets each run beside the model,
`backtest` forecasts each from those before.
"""
