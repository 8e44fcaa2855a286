"""Access and permissions, limits, middleware, logs, health, theme and help."""
