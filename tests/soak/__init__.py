"""A race day with many phones, quickened: what they wait, what the server's memory does, what is lost.

`python -m tests.soak` starts a real server with `--share`, pairs the phones and lets each do what it does
on a busy day (`day.py`). A short one runs with the tests (`tests/test_proof_phones.py`).
"""
