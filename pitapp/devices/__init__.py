"""Other devices on the pit's network: the guard that lets only paired ones in, pairing, TLS of our own.

How a phone works with no server belongs to `offline`; headers and known hosts to `web.headers`.
"""
