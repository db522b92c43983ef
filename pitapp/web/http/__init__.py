"""HTTP: headers, cookies, compression, assets, tokens, errors, pages and fragments.

Whom the guards here keep out, and how far, says `SECURITY.md` beside them.
"""
