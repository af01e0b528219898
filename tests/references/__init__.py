"""Outside values for the tests, each with its source."""
