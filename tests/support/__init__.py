"""What tests share: helpers lie here, never in a test file."""
