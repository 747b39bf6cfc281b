"""The ground speed that the carrying margins allow, and what a season has told about them."""
