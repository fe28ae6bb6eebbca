"""Running it for real: health, logs, metrics, the operator's page, backup and restore."""
