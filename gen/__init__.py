"""From what the user wants to what the board runs: schedules, timing tables, firmware."""
