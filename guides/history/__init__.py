"""Reading the past: which code was in force over which issues. No Django in here."""
