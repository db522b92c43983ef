"""Tests that need no browser."""
