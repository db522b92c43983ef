"""Page objects, one module a room: what a racer can do and read on that room's screens."""
