"""From scrap welds to a setting that holds: what was tried, what it says of the joint, and what to try next."""
