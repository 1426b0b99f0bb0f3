"""The rooms of the page. Each module has the addresses of one room, from request to response."""
