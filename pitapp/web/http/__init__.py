"""HTTP: headers, cookies, compression, assets, tokens, errors, pages and fragments."""
