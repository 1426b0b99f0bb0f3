"""The `weldbeat` command as a test types it."""
