"""Locks that somebody without the right to lock has asked for."""
