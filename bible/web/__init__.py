"""Access and permissions, limits, middleware, logs, health, preferences and help."""
