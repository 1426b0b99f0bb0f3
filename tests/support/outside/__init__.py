"""Mathematics and tables that the project did not write, or wrote a second time."""
