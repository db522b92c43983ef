"""The classes: the rules raced under, entered by the racer. None is built in."""
