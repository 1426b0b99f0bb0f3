"""One TOML file a board; read by `gen.boards`."""
