"""The home screen: what is next, and whether the car is ready.

It reads from the other rooms and sends the thumb to them; it keeps no data of its own.
"""
