"""Controllers: what they are, which car they are in, and the list of settings each begins with.

Reading the settings off a controller is a run-through, and stands one folder up.
"""
