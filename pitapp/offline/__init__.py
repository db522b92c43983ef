"""Working with no server: the service worker, what it keeps on the phone, and writes that arrive late.

The worker's own strategies stand in `static/js/sw/`, one a file. Making a write happen once belongs
to `web.writes`.
"""
