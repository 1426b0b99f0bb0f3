"""Published welding schedules, and the first schedule that they suggest for a joint."""
