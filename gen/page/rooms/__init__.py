"""The rooms of the page, in working order: each a few addresses, from what is asked to what is shown."""
