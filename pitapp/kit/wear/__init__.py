"""Parts with hours: what a differential, bearings, a belt or a rotor have run since new or rebuilt.

The runs are those of the log; what a part weighs belongs to the scales, tyres to the runs.
"""
