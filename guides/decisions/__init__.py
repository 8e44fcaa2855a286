"""Locks, scenes and readings as they are decided from what marks say."""
