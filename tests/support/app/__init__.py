"""The emitted application on boards made for tests."""
