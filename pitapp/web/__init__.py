"""What two or more rooms need to speak HTTP: making the app, forms, fragments, headers, figures.

Nothing about gears, motors, packs or meetings belongs here.
"""
