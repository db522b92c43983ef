"""The car on the track by the laws of motion: one straight, one lap, in closed forms.

`straight_kernel` drives a straight phase by phase, `phase_end` finds where a phase ends, `riccati`
has the law at full throttle, `gear_coefficients` its figures in one gear. Nothing here knows a run.
"""
