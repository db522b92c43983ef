"""A past run's set-up put right: what the racer had forgotten to write down before the run.

The car's own list is not changed from here.
"""
