"""The home screen: what is next, and whether the car is ready.

It reads from the other rooms and sends the thumb to them; it keeps no data of its own.
The bell before a heat is `static/js/ring.js` (test: `e2e/test_board_ring.py`).
"""
