"""Browser tests: whole journeys on a phone-sized screen against the real server."""
