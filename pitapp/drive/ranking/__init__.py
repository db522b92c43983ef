"""Which gear to fit: every ± in one place, the gear at the head, what to try next, what to buy.

It weighs what `physics` says with what `learning` has fitted. `ranking_view` puts it into the form
that the screens show; nothing here asks a database.
"""
